"""What one weld of a table does to this machine: every swing of its current, for the checks of electrics and heat.

Composes gen.machine (what the owner's readings come to) with sim.impulse (what a firing pattern does). The saturation
curve, the remanence and the joint's share are on no plate: they are assumed here, named, and swept by sim.sweep.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate, pairwise

from gen.machine.welder import Welder
from gen.table import TimingTable
from gen.units import us_to_degrees
from sim.bench.mains import HalfCycle
from sim.core.impulse import (
    Firing,
    Impulse,
    Swing,
    gate_windows,
    inrush,
    missed_firing,
    odd_half_cycle,
    open_electrodes,
    run,
    sine,
    worst_of_residues,
)
from sim.core.transformer import MagnetisingCurve, TransformerCircuit

# Common practice, no source: power transformers saturate at 1.1 to 1.4 of their rated flux, keep up to 0.8 of it, and the
# winding without its core has a few times the leakage inductance.
KNEE = 1.2
REMANENCE = 0.5
SATURATED_OVER_LEAKAGE = 4.0
JOINT_SHARE = 0.25  # of the joint's heat into each electrode

GAP_AFTER_ODD = 5  # half-cycles
GAP_AFTER_ODD = 5  # half-cycles before the next weld begins on the wrong polarity
RELAY_INHIBIT_V = 25.0  # a zero-cross relay turns on only below it; 10 to 35 V, common practice, no source


@dataclass(frozen=True)
class Assumed:
    """What no plate gives: knee in units of the steady peak flux, remanence as a fraction of the knee, joint's share."""

    knee: float = KNEE
    remanence: float = REMANENCE
    saturated_over_leakage: float = SATURATED_OVER_LEAKAGE
    joint_share: float = JOINT_SHARE


@dataclass(frozen=True)
class Pattern:
    """The firing pattern from the first half-cycle fired to the last: its rows as (half-cycles, delay in degrees).

    `longest_row`: of a longer row only so many half-cycles are followed, and their last pair stands for the others.
    """

    rows: tuple[tuple[int, float | None], ...]
    longest_row: int | None = None

    @property
    def kept(self) -> tuple[int, ...]:
        """Half-cycles followed of each row: as many as it has, or fewer by an even number."""
        most = self.longest_row
        return tuple(n if most is None or n <= most else most - (n - most) % 2 for n, _ in self.rows)

    @property
    def delays_deg(self) -> tuple[float | None, ...]:
        """Firing delay of each half-cycle that is followed."""
        return tuple(delay for kept, (_, delay) in zip(self.kept, self.rows, strict=True) for _ in range(kept))

    def whole(self, swings: Sequence[Swing]) -> tuple[Swing, ...]:
        """The swings of the whole pattern, from those of what was followed."""
        if self.longest_row is None:
            return tuple(swings)
        found: list[Swing] = []
        begun = shift = 0
        for kept, (half_cycles, _) in zip(self.kept, self.rows, strict=True):
            ended = begun + kept
            found += [replace(s, half_cycle=s.half_cycle + shift) for s in swings if begun <= s.half_cycle < ended]
            for _ in range((half_cycles - kept) // 2):
                shift += 2
                pair = [s for s in swings if ended - 2 <= s.half_cycle < ended]
                found += [replace(s, half_cycle=s.half_cycle + shift) for s in pair]
            begun = ended
        return tuple(found)


@dataclass(frozen=True)
class WeldCurrents:
    """One weld, in primary amperes. Each run is made when it is first asked for.

    `scale`: the upper end of the working current over its middle, for what is judged at its worst. `turns` None: not
    known.
    """

    circuit: TransformerCircuit
    shorted: TransformerCircuit
    voltage_V: float
    half_s: float
    pattern: Pattern
    scale: float
    turns: float | None
    assumed: Assumed

    @property
    def delays_deg(self) -> tuple[float | None, ...]:
        """Firing delay of each half-cycle that is followed."""
        return self.pattern.delays_deg

    @cached_property
    def _supply_and_gates(self) -> tuple[tuple[HalfCycle, ...], tuple[Firing, ...]]:
        delays = self.pattern.delays_deg
        supply = sine(self.voltage_V, 0.5 / self.half_s, len(delays) + 1)
        return supply, gate_windows(supply, delays)

    @cached_property
    def settled(self) -> Impulse:
        """Begun without residue, for heating."""
        found = run(self.circuit, *self._supply_and_gates)
        return replace(found, swings=self.pattern.whole(found.swings))

    @cached_property
    def worst(self) -> Impulse:
        """From the residue with the greatest peak."""
        residues = self.circuit.remanent_Vs, -self.circuit.remanent_Vs
        found = [run(self.circuit, *self._supply_and_gates, residue) for residue in residues if residue]
        return max(found, key=lambda impulse: impulse.primary_peak_A, default=self.settled)

    @cached_property
    def shorted_worst(self) -> Impulse:
        """The same with the electrodes shorted."""
        return worst_of_residues(self.shorted, *self._supply_and_gates)

    @cached_property
    def _half_a_second(self) -> tuple[HalfCycle, ...]:
        return sine(self.voltage_V, 0.5 / self.half_s, round(0.5 / self.half_s))  # inrush fades within it

    @cached_property
    def zero_worst(self) -> Impulse:
        """Switched on at voltage zero from the worst residue, in a switch that fires again as soon as a current ends."""
        return inrush(self.circuit, self._half_a_second, 0.0)

    @cached_property
    def zero_inhibited(self) -> Impulse:
        """The same in one that turns on near a voltage zero only: a current that outlasts the zero loses the next turn."""
        supply = self._half_a_second
        until_deg = math.degrees(math.asin(RELAY_INHIBIT_V / (self.voltage_V * math.sqrt(2))))
        return worst_of_residues(self.circuit, supply, gate_windows(supply, [0.0] * len(supply), until_deg))

    @cached_property
    def odd_worst(self) -> Impulse:
        """The weld begun on the polarity that conducted last, a few half-cycles after one that lost its last half-cycle."""
        return odd_half_cycle(self.circuit, self._supply_and_gates[0], self.delays_deg, GAP_AFTER_ODD)

    @cached_property
    def missed_worst(self) -> Impulse:
        """The weld with one firing missed half-way, from the worst residue."""
        fired = [n for n, delay in enumerate(self.delays_deg) if delay is not None]
        return missed_firing(self.circuit, self._supply_and_gates[0], self.delays_deg, fired[len(fired) // 2])

    @cached_property
    def open_worst(self) -> Impulse:
        """The weld with nothing between the electrodes, from the worst residue."""
        return open_electrodes(self.circuit, self._supply_and_gates[0], self.delays_deg)

    @cached_property
    def working_peak_A(self) -> float:
        """Greatest current once the start is over: of each row's last swing, but the first of an impulse.

        Not simply the greatest, which may be the inrush itself, nor the last of all, which may be at the foot of a slope.
        """
        ends = set(accumulate(half_cycles for half_cycles, _ in self.pattern.rows))
        swings = self.settled.swings
        steady = [
            swing.primary_peak_A
            for before, swing in pairwise(swings)
            if swing.half_cycle + 1 in ends and swing.half_cycle - before.half_cycle == 1
        ]
        return max(steady, default=swings[-1].primary_peak_A if swings else 0.0)

    @cached_property
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


def circuit_of(welder: Welder, assumed: Assumed | None = None, *, shorted: bool = False) -> TransformerCircuit:
    """The machine's middle as a circuit; windings and leakage are divided evenly between primary and secondary."""
    assumed = assumed or Assumed()
    machine, omega = welder.machine, 2 * math.pi * welder.mains.frequency_Hz
    leakage = machine.leakage_ohm
    work = 0.0 if shorted else machine.work_resistance.middle
    secondary = leakage / 2 + machine.loop_ohm + work
    curve = MagnetisingCurve.from_working_point(
        welder.mains.voltage_V,
        welder.mains.frequency_Hz,
        welder.transformer.idle_current_A,
        assumed.knee,
        assumed.saturated_over_leakage * max(leakage.imag, 1e-3) / omega,
    )
    return TransformerCircuit(
        source_ohm=machine.source_ohm.real,
        source_H=machine.source_ohm.imag / omega,
        primary_ohm=max(leakage.real / 2, 1e-6),
        primary_H=max(leakage.imag / 2, 1e-6) / omega,
        secondary_ohm=max(secondary.real, 1e-6),
        secondary_H=max(secondary.imag, 1e-6) / omega,
        curve=curve,
        remanence=assumed.remanence,
    )


def weld_currents(
    table: TimingTable,
    welder: Welder,
    assumed: Assumed | None = None,
    *,
    late_us: float = 0.0,
    longest_row: int | None = None,
) -> WeldCurrents:
    """The table's pattern on the machine's circuit, every gate `late_us` later than the table has it."""
    assumed = assumed or Assumed()
    rows = tuple(
        (row.half_cycles, None if row.firing_delay_us is None else _degrees(row.firing_delay_us + late_us, table))
        for row in table.impulse_rows
    )
    working = welder.machine.in_use.working_primary
    turns = welder.machine.in_use.turns_ratio
    return WeldCurrents(
        circuit=circuit_of(welder, assumed),
        shorted=circuit_of(welder, assumed, shorted=True),
        voltage_V=welder.mains.voltage_V,
        half_s=0.5 / table.frequency_Hz,
        pattern=Pattern(rows, longest_row),
        scale=working.high / working.middle,
        turns=turns.middle if turns else None,
        assumed=assumed,
    )


def _degrees(delay_us: float, table: TimingTable) -> float:
    return us_to_degrees(delay_us, table.frequency_Hz)
