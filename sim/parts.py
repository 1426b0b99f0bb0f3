"""The demands on parts to be chosen: the inrush of one weld on the worst core, and the temperatures of the switch.

Implements `WeldSimulated` of gen.wiring.choosing.
"""

from __future__ import annotations

from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.core import impulse
from sim.core.weld_current import Assumed, weld_currents
from sim.verdict.hot_parts import hot_parts

LONGEST_ROW = 20  # half-cycles simulated of a long weld; after them the current repeats
HARD = Assumed(1.05, 0.8)  # knee and remanence of the hardest core that sim.sweep draws
_OF_SWITCH = ("case", "junction")


def inrush(table: TimingTable, welder: Welder) -> tuple[float, float, float]:
    """With shorted electrodes: peak of the planned start, A; worst peak, A; worst I2t of a half-cycle, A2s.

    The worst is of a start at the voltage zero from the worst residue, or of the shorted current at the upper end of its
    range. The impedance that limits the inrush is at its least in all of them.
    """
    planned = weld_currents(table, welder, longest_row=LONGEST_ROW)
    hard = weld_currents(table, welder, HARD, longest_row=LONGEST_ROW)
    frequency_Hz = welder.mains.frequency_Hz
    supply = impulse.sine(welder.mains.voltage_V, frequency_Hz, frequency_Hz)  # it fades in half a second
    worst = impulse.inrush(hard.shorted, supply, 0.0)
    scale = welder.machine.in_use.short_primary.high / welder.machine.in_use.short_primary.middle
    shorted = planned.shorted_settled
    rms_A = max(swing.primary_rms_A for swing in worst.swings)
    shorted_rms_A = scale * max(swing.primary_rms_A for swing in shorted.swings)
    return (
        planned.shorted_worst.primary_peak_A,
        max(worst.primary_peak_A, scale * shorted.primary_peak_A),
        max(rms_A, shorted_rms_A) ** 2 * hard.half_s,
    )


def warmth(table: TimingTable, welder: Welder, period_s: float) -> list[tuple[str, float, float]]:
    """(Name, peak, limit) of the switch's case and junction in degC, with a weld every `period_s` without end."""
    pace = 60 / period_s
    parts = hot_parts(weld_currents(table, welder), welder, pace)
    return [(part.name, part.for_ever(pace).peak_degC, part.limit_C) for part in parts if part.name in _OF_SWITCH]
