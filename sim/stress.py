"""What one weld of a table does to this machine: every swing of its current, for the checks of electrics and heat.

Composes gen.machine (what the owner's readings come to) with sim.impulse (what a firing pattern does). The saturation
curve and the remanence are on no plate: they are assumed here, named, and swept by `weldbeat sweep`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from gen.timing import TimingTable
from gen.units import us_to_degrees
from gen.welder import Welder
from sim.impulse import Impulse, gate_windows, inrush, run, sine, worst_of_residues
from sim.transformer import MagnetisingCurve, TransformerCircuit

# Common practice, no source: power transformers saturate at 1.1 to 1.4 of their rated flux, keep up to 0.8 of it, and the
# winding without its core has a few times the leakage inductance.
KNEE = 1.2
REMANENCE = 0.5
SATURATED_OVER_LEAKAGE = 4.0


@dataclass(frozen=True)
class Core:
    """What is assumed of the core: knee in units of the steady peak flux, remanence as a fraction of the knee."""

    knee: float = KNEE
    remanence: float = REMANENCE
    saturated_over_leakage: float = SATURATED_OVER_LEAKAGE


@dataclass(frozen=True)
class Stress:
    """One weld, in primary amperes.

    `settled`: begun without residue, for heating. `worst`: from the worst residue. `shorted_worst`: the same with the
    electrodes shorted. `zero_worst`: what switching on at voltage zero would do. `scale`: the upper end of the working
    current over its middle, for what is judged at its worst. `turns` None: not known.
    """

    circuit: TransformerCircuit
    half_s: float
    delays_deg: tuple[float | None, ...]
    settled: Impulse
    worst: Impulse
    shorted_worst: Impulse
    zero_worst: Impulse
    scale: float
    turns: float | None

    @property
    def working_peak_A(self) -> float:
        """Greatest current once the start is over: that of the last swing."""
        return self.settled.swings[-1].primary_peak_A if self.settled.swings else 0.0

    @property
    def impulses(self) -> tuple[tuple[float, float], ...]:
        """(RMS amperes, seconds) of each impulse at the upper end of the working current, for a breaker."""
        groups: list[list[float]] = []
        last = None
        for swing in self.settled.swings:
            if last is None or swing.half_cycle - last > 1:
                groups.append([])
            groups[-1].append(swing.primary_rms_A * self.scale)
            last = swing.half_cycle
        return tuple((math.sqrt(sum(a * a for a in g) / len(g)), len(g) * self.half_s) for g in groups)


def circuit_of(welder: Welder, core: Core | None = None, *, shorted: bool = False) -> TransformerCircuit:
    """The machine's middle as a circuit; windings and leakage are divided evenly between primary and secondary."""
    core = core or Core()
    machine, omega = welder.machine, 2 * math.pi * welder.mains.frequency_Hz
    leakage = machine.leakage_ohm
    work = 0.0 if shorted else machine.work_resistance.middle
    secondary = leakage / 2 + machine.loop_ohm + work
    curve = MagnetisingCurve.from_working_point(
        welder.mains.voltage_V,
        welder.mains.frequency_Hz,
        welder.transformer.idle_current_A,
        core.knee,
        core.saturated_over_leakage * max(leakage.imag, 1e-3) / omega,
    )
    return TransformerCircuit(
        source_ohm=machine.source_ohm.real,
        source_H=machine.source_ohm.imag / omega,
        primary_ohm=max(leakage.real / 2, 1e-6),
        primary_H=max(leakage.imag / 2, 1e-6) / omega,
        secondary_ohm=max(secondary.real, 1e-6),
        secondary_H=max(secondary.imag, 1e-6) / omega,
        curve=curve,
        remanence=core.remanence,
    )


def stress_of(table: TimingTable, welder: Welder, core: Core | None = None) -> Stress:
    """Run the table's pattern through the machine's circuit."""
    f = table.frequency_Hz
    delays = tuple(
        None if row.firing_delay_us is None else us_to_degrees(row.firing_delay_us, f)
        for row in table.impulse_rows
        for _ in range(row.half_cycles)
    )
    supply = sine(welder.mains.voltage_V, f, len(delays) + 1)
    gates = gate_windows(supply, delays)
    circuit = circuit_of(welder, core)
    working = welder.machine.in_use.working_primary
    turns = welder.machine.in_use.turns_ratio
    # Inrush fades within a second: half a second at zero delay shows its worst.
    start = supply[: min(len(supply), f)]
    return Stress(
        circuit=circuit,
        half_s=0.5 / f,
        delays_deg=delays,
        settled=run(circuit, supply, gates),
        worst=worst_of_residues(circuit, supply, gates),
        shorted_worst=worst_of_residues(circuit_of(welder, core, shorted=True), supply, gates),
        zero_worst=inrush(replace(circuit), start, 0.0),
        scale=working.high / working.middle,
        turns=turns.middle if turns else None,
    )
