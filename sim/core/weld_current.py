"""The currents of one weld of a table on this machine, for the checks of electrics and heat.

Gives the circuit that follows from the owner's readings (gen.machine) to sim.core.impulse. The knee, the remanence and the
joint's share are on no rating plate: they are assumed here and swept by sim.sweep. The impedance of a saturated core is the
least that the machine may have (gen.machine.inductance).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate, pairwise

from gen.machine.welder import Welder
from gen.schedule import SLOPE_END_PERCENT
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

# Common practice, no source: power transformers saturate at 1.1 to 1.4 of their rated flux and keep up to 0.8 of it.
KNEE = 1.2
REMANENCE = 0.5
JOINT_SHARE = 0.25  # share of the joint's heat that flows into each electrode
JOINT_SHARE_RANGE = (0.15, 0.4)  # common practice, no source

SLOPE_HALF_CYCLES = 20  # length of the upslope advised against inrush
GAP_AFTER_ODD = 5  # half-cycles before the next weld begins on the wrong polarity
_LEAST_OHM = 1e-6
_HALVINGS = 10  # to a tenth of a degree
RELAY_INHIBIT_V = 25.0  # a zero-cross relay turns on only below it; 10 to 35 V, common practice, no source


@dataclass(frozen=True)
class Assumed:
    """Figures that no rating plate gives."""

    knee: float = KNEE
    """Flux at the knee over the steady peak flux."""
    remanence: float = REMANENCE
    """Remanent flux over the flux at the knee."""
    air_core_ohm: float | None = None
    """The primary's reactance with its core saturated; None for the least that the machine may have."""
    joint_share: float = JOINT_SHARE
    """The share of the joint's heat that flows into each electrode."""
    most_joint_share: float = JOINT_SHARE_RANGE[1]


@dataclass(frozen=True)
class Pattern:
    """The firing pattern from the first half-cycle fired to the last."""

    rows: tuple[tuple[int, float | None], ...]
    """(Half-cycles, firing delay in degrees; None: not fired)."""
    longest_row: int | None = None
    """Greatest number of half-cycles simulated of a row; their last pair is repeated for the rest. None for all."""

    @property
    def kept(self) -> tuple[int, ...]:
        """Simulated half-cycles of each row: all, or fewer by an even number."""
        most = self.longest_row
        return tuple(n if most is None or n <= most else most - (n - most) % 2 for n, _ in self.rows)

    @property
    def delays_deg(self) -> tuple[float | None, ...]:
        """Firing delay of each simulated half-cycle."""
        return tuple(delay for kept, (_, delay) in zip(self.kept, self.rows, strict=True) for _ in range(kept))

    def whole(self, swings: Sequence[Swing]) -> tuple[Swing, ...]:
        """The swings of the whole pattern, from those of the simulated half-cycles."""
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
    """The currents of one weld, in primary amperes. Each run is computed when it is first used."""

    circuit: TransformerCircuit
    shorted: TransformerCircuit
    """The circuit with the electrodes shorted."""
    voltage_V: float
    half_s: float
    pattern: Pattern
    scale: float
    """The upper end of the working current over its middle, for figures judged at their worst."""
    turns: float | None
    """None if not known."""
    assumed: Assumed
    percent: float
    """The greatest current of the weld, in percent."""

    @property
    def delays_deg(self) -> tuple[float | None, ...]:
        """Firing delay of each simulated half-cycle."""
        return self.pattern.delays_deg

    @cached_property
    def _supply_and_gates(self) -> tuple[tuple[HalfCycle, ...], tuple[Firing, ...]]:
        delays = self.pattern.delays_deg
        supply = sine(self.voltage_V, 0.5 / self.half_s, len(delays) + 1)
        return supply, gate_windows(supply, delays)

    @cached_property
    def settled(self) -> Impulse:
        """A weld without residual flux, for heating."""
        found = run(self.circuit, *self._supply_and_gates)
        return replace(found, swings=self.pattern.whole(found.swings))

    @cached_property
    def worst(self) -> Impulse:
        """A weld from the residual flux with the greatest peak."""
        residues = self.circuit.remanent_Vs, -self.circuit.remanent_Vs
        found = [run(self.circuit, *self._supply_and_gates, residue, remanent=True) for residue in residues if residue]
        return max(found, key=lambda impulse: impulse.primary_peak_A, default=self.settled)

    @cached_property
    def against_residue(self) -> Impulse:
        """Against the residue: a weld that follows another begins on the polarity opposite to the last half-cycle."""
        return run(self.circuit, *self._supply_and_gates, -self.circuit.remanent_Vs, remanent=True)

    @cached_property
    def slope_deg(self) -> tuple[float, ...]:
        """Firing delay of each half-cycle of the upslope advised against inrush, to the weld's greatest current.

        The steps are even in degrees, nearly even in per cent. Empty if the weld is not above the foot of a slope.
        """
        earliest = min(d for d in self.delays_deg if d is not None)
        if self.percent <= SLOPE_END_PERCENT:
            return ()
        wanted_A = self._steady_rms_A(earliest) * SLOPE_END_PERCENT / self.percent
        early, late = earliest, 180.0
        for _ in range(_HALVINGS):
            middle = (early + late) / 2
            early, late = (middle, late) if self._steady_rms_A(middle) > wanted_A else (early, middle)
        return tuple(early + (earliest - early) * n / SLOPE_HALF_CYCLES for n in range(SLOPE_HALF_CYCLES))

    def _steady_rms_A(self, delay_deg: float) -> float:
        """RMS current of one half-cycle fired at this delay, with the core far from its knee."""
        (knee_Vs, knee_A), supply = self.circuit.curve.knees[0], sine(self.voltage_V, 0.5 / self.half_s, 2)
        linear = MagnetisingCurve(((10 * knee_Vs, 10 * knee_A),), self.circuit.curve.saturated_H)
        swings = run(
            replace(self.circuit, curve=linear), supply, gate_windows(supply, [delay_deg], delay_deg + 1)
        ).swings
        return swings[0].primary_rms_A if swings else 0.0

    @cached_property
    def sloped_worst(self) -> Impulse:
        """A weld from the worst residual flux, with the advised upslope."""
        delays = self.slope_deg + (min(d for d in self.delays_deg if d is not None),) * 2
        supply = sine(self.voltage_V, 0.5 / self.half_s, len(delays) + 1)
        return worst_of_residues(self.circuit, supply, gate_windows(supply, delays))

    @cached_property
    def shorted_settled(self) -> Impulse:
        """A weld with shorted electrodes, without residual flux."""
        return run(self.shorted, *self._supply_and_gates)

    @cached_property
    def shorted_worst(self) -> Impulse:
        """A weld with shorted electrodes, from the worst residual flux."""
        return worst_of_residues(self.shorted, *self._supply_and_gates)

    @cached_property
    def _half_a_second(self) -> tuple[HalfCycle, ...]:
        return sine(self.voltage_V, 0.5 / self.half_s, round(0.5 / self.half_s))  # inrush fades within it

    @cached_property
    def zero_worst(self) -> Impulse:
        """Switched on at voltage zero from the worst residue, by a switch that fires again as soon as a current ends."""
        return inrush(self.circuit, self._half_a_second, 0.0)

    @cached_property
    def zero_inhibited(self) -> Impulse:
        """As `zero_worst`, by a switch that turns on near voltage zero only: a current past the zero skips a half-cycle."""
        supply = self._half_a_second
        until_deg = math.degrees(math.asin(RELAY_INHIBIT_V / (self.voltage_V * math.sqrt(2))))
        return worst_of_residues(self.circuit, supply, gate_windows(supply, [0.0] * len(supply), until_deg))

    @cached_property
    def odd_worst(self) -> Impulse:
        """The weld on the polarity that conducted last, a few half-cycles after a weld that lost its last half-cycle."""
        return odd_half_cycle(self.circuit, self._supply_and_gates[0], self.delays_deg, GAP_AFTER_ODD)

    @cached_property
    def missed_worst(self) -> Impulse:
        """The weld with its middle firing missed, from the worst residue."""
        fired = [n for n, delay in enumerate(self.delays_deg) if delay is not None]
        return missed_firing(self.circuit, self._supply_and_gates[0], self.delays_deg, fired[len(fired) // 2])

    @cached_property
    def open_worst(self) -> Impulse:
        """The weld with nothing between the electrodes, from the worst residue."""
        return open_electrodes(self.circuit, self._supply_and_gates[0], self.delays_deg)

    @cached_property
    def working_peak_A(self) -> float:
        """Greatest peak of the last swings of the rows, without those that begin an impulse.

        The greatest of all may be the inrush, and the last of all may be at the foot of a slope.
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
    """The machine as a circuit: the middle of its total impedance, and before the core only the least that it may have.

    A saturated core shorts the impedance behind it, so that only supply, primary resistance and the coil in air limit the
    current. The least of these goes before the core. The rest goes behind it, where it still limits the working current.
    The coil in air includes the primary's leakage: half of it is before the core, half is the core's branch. The division
    does not change the inrush.
    """
    assumed = assumed or Assumed()
    machine, omega = welder.machine, 2 * math.pi * welder.mains.frequency_Hz
    work = 0.0 if shorted else machine.work_resistance.middle
    source = complex(machine.source_resistance.low, machine.source_reactance.low)
    primary_ohm = max(_primary_share(welder) * machine.leakage_resistance.low, _LEAST_OHM)
    air_ohm = machine.air_core_reactance.low if assumed.air_core_ohm is None else assumed.air_core_ohm
    before = source + complex(primary_ohm, air_ohm / 2)
    behind = machine.source_ohm + machine.leakage_ohm + machine.loop_ohm + work - before
    curve = MagnetisingCurve.from_working_point(
        welder.mains.voltage_V,
        welder.mains.frequency_Hz,
        welder.transformer.idle_current_A,
        assumed.knee,
        air_ohm / 2 / omega,
    )
    return TransformerCircuit(
        source_ohm=source.real,
        source_H=source.imag / omega,
        primary_ohm=primary_ohm,
        primary_H=air_ohm / 2 / omega,
        secondary_ohm=max(behind.real, _LEAST_OHM),
        secondary_H=max(behind.imag, _LEAST_OHM) / omega,
        curve=curve,
        remanence=assumed.remanence,
    )


def _primary_share(welder: Welder) -> float:
    """The primary's share of the resistance of windings (and of the loop, where the two are one figure)."""
    return 0.5 if welder.machine.loop_resistance is not None else 0.25


def weld_currents(
    table: TimingTable,
    welder: Welder,
    assumed: Assumed | None = None,
    *,
    late_us: float = 0.0,
    longest_row: int | None = None,
) -> WeldCurrents:
    """The table's pattern on the machine's circuit, with every gate `late_us` later than in the table."""
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
        percent=max(
            (row.current_percent for row in table.impulse_rows if row.firing_delay_us is not None), default=0.0
        ),
    )


def _degrees(delay_us: float, table: TimingTable) -> float:
    return us_to_degrees(delay_us, table.frequency_Hz)
