"""The machine's current through a joint, by the joint's resistance and the firing of each half-cycle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gen.machine.welder import Welder
from gen.table import TimingTable
from gen.units import us_to_degrees
from sim.core.impulse import gate_windows, run, sine
from sim.core.transformer import MagnetisingCurve, TransformerCircuit
from sim.core.weld_current import circuit_of
from sim.joint.weld import Amperes, Span

_OHM = np.geomspace(5e-6, 5e-2, 17)  # joint resistances at which the current is computed
_HALF_CYCLES = 4  # until the current is steady
_FAR = 10.0  # factor on the knee: the core is far from it in the middle of a weld


class NoCurrentKnown(ValueError):
    """The secondary current cannot be derived from the welder file."""


def machine_amperes(welder: Welder, delay_deg: float | None) -> Amperes:
    """RMS secondary current by the joint's resistance, at a firing delay. None: full conduction. Raises NoCurrentKnown."""
    turns = welder.machine.in_use.turns_ratio
    if turns is None:
        raise NoCurrentKnown("transformer.open_secondary_V")
    circuit, ratio = _linear(circuit_of(welder)), turns.middle
    rest = circuit.secondary_ohm - welder.machine.work_resistance.middle
    supply = sine(welder.mains.voltage_V, welder.mains.frequency_Hz, _HALF_CYCLES + 1)
    delays = [0.0 if delay_deg is None else delay_deg] * _HALF_CYCLES
    found = []
    for ohm in _OHM:
        loaded = replace(circuit, secondary_ohm=max(rest, 1e-6) + float(ohm) * ratio**2)
        if delay_deg is None:
            found.append(welder.mains.voltage_V / _impedance_ohm(loaded, welder.mains.frequency_Hz) * ratio)
            continue
        swings = run(loaded, supply, gate_windows(supply, delays)).swings
        found.append(swings[-1].primary_rms_A * ratio if swings else 0.0)
    amperes, places = np.array(found), np.log(_OHM)
    return lambda ohm: float(np.interp(np.log(max(ohm, 1e-9)), places, amperes))


def _linear(circuit: TransformerCircuit) -> TransformerCircuit:
    """The circuit without saturation."""
    flux_Vs, idle_A = circuit.curve.knees[0]
    return replace(circuit, curve=MagnetisingCurve(((_FAR * flux_Vs, _FAR * idle_A),), circuit.curve.saturated_H))


def _impedance_ohm(circuit: TransformerCircuit, frequency_Hz: float) -> float:
    omega = 2 * np.pi * frequency_Hz
    resistance = circuit.source_ohm + circuit.primary_ohm + circuit.secondary_ohm
    reactance = omega * (circuit.source_H + circuit.primary_H + circuit.secondary_H)
    return float(abs(complex(resistance, reactance)))


def machine_spans(table: TimingTable, welder: Welder) -> tuple[Span, ...]:
    """The table's rows with current and the pauses between them, with this machine's current. Raises NoCurrentKnown."""
    half_s, known, spans = 0.5 / table.frequency_Hz, {}, []
    for row in table.impulse_rows:
        delay = row.firing_delay_us
        if delay is not None and delay not in known:
            known[delay] = machine_amperes(welder, us_to_degrees(delay, table.frequency_Hz))
        spans.append(Span(row.half_cycles * half_s, None if delay is None else known[delay]))
    return tuple(spans)
