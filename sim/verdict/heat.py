"""Heat at a pace: the checks in endless work, the fastest safe pace, and the temperature of each part."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from gen.job import Job
from gen.machine.breaker import Trip, curve_of, thermal
from gen.machine.welder import Welder
from sim.core.weld_current import WeldCurrents
from sim.verdict.finding import Finding, PacedJob, judged
from sim.verdict.hot_parts import (
    HotPart,
    case_part,
    electrode_part,
    electrode_peak_part,
    hot_parts,
    junction_part,
    winding_part,
)

SLOWEST_PACE = 0.1  # welds a minute: a slower one is no work
_FLAT_K = 2.0  # a part that rises less in a weld has no distinct hottest moment
_NEAR = 1e-6  # relative change of the pace that ends the iteration
_ROUNDS = 30
_HALVINGS = 50
_HAND_S = 0.2  # for the pedal, the wait for the right polarity and slow mains


def junction(run: PacedJob) -> Finding | None:
    """The hotter junction of the switch against its data sheet."""
    part = junction_part(run.currents, run.welder)
    return None if part is None else _judged(part, run)


def case(run: PacedJob) -> Finding:
    """The case of the switch against the temperature at which its rated current is given."""
    return _judged(case_part(run.currents, run.welder), run)


def winding(run: PacedJob) -> Finding:
    """The winding against its insulation class."""
    return _judged(winding_part(run.currents, run.welder), run)


def electrode_heat(run: PacedJob) -> Finding | None:
    """The mean of an electrode's face against the softening temperature of a furnace."""
    part = electrode_part(run.currents, run.welder, _pace(run))
    return None if part is None else _judged(part, run)


def electrode_peak(run: PacedJob) -> Finding | None:
    """The peak of an electrode's face against softening in its short time, and against melting."""
    part = electrode_peak_part(run.currents, run.welder, _pace(run))
    return None if part is None else _judged(part, run)


def _pace(run: PacedJob) -> float:
    """Welds a minute, no more than the weld's length allows; another check refuses a faster pace."""
    return min(run.welds_per_minute, 60 / _weld_s(run))


def _weld_s(run: PacedJob) -> float:
    """The schedule without its off time."""
    return (run.table.half_cycles - run.table.time_of("off")) * 0.5 / run.table.frequency_Hz


def _judged(part: HotPart, run: PacedJob) -> Finding:
    """The part in continuous work, judged by its limit."""
    weld_s = _weld_s(run)
    final = part.for_ever(_pace(run))
    figure = final.mean_degC if part.by_mean else final.peak_degC
    fastest = at_its_pace(part, weld_s).fastest(weld_s) if run.advises and figure > part.limit_C else 0.0
    slower = f" At {_floored(fastest):g} welds a minute it stays below its limit." if fastest >= 0.1 else ""
    found = judged(
        part.name,
        figure,
        part.limit_C,
        "degC in continuous work at this pace",
        part.source,
        part.advice + slower,
        otherwise=part.severity,
        digits=1,
        says=f"{part.called} reaches {'a mean of ' if part.by_mean else ''}{{figure}} degC in continuous work; "
        "{limit} degC is allowed.",
        zero=part.network.ambient_degC,
    )
    found = replace(found, conditions=("mean" if part.by_mean else "peak",), meaning=part.meaning)
    if part.by_mean or final.peak_degC - final.end_degC < _FLAT_K:
        return found
    into = math.ceil(final.peak_at_s * 2 * run.table.frequency_Hz) - 1
    return replace(found, half_cycle=min(run.first_fired + max(into, 0), run.table.half_cycles - 1))


def _floored(pace: float) -> float:
    """A pace rounded down to tenths, to be typed."""
    return math.floor(10 * pace) / 10


@dataclass(frozen=True)
class PaceLimit:
    """One limit of the pace."""

    name: str
    """The name of the finding."""
    welds_per_minute: float
    """The fastest pace that it allows; 0 for none."""


@dataclass(frozen=True)
class FastestPace:
    """Every limit of the pace, the tightest first."""

    limits: tuple[PaceLimit, ...]

    @property
    def limit(self) -> PaceLimit:
        """The tightest."""
        return self.limits[0]

    @property
    def possible(self) -> bool:
        """Whether any pace can be sustained."""
        return self.limit.welds_per_minute >= SLOWEST_PACE

    @property
    def welds_per_minute(self) -> float:
        """Rounded down to tenths."""
        return math.floor(10 * self.limit.welds_per_minute + 1e-9) / 10


def fastest_pace(job: Job, currents: WeldCurrents) -> FastestPace:
    """The pace allowed by each part of the machine, its rating plate, its breaker and the length of the schedule."""
    table, welder = job.strongest, job.welder
    period_s = table.half_cycles * 0.5 / table.frequency_Hz + _HAND_S
    limits = [PaceLimit("schedule", 60 / period_s)]
    limits.append(PaceLimit("duty", welder.allowed_duty * 120 * table.frequency_Hz / table.heating_half_cycles))
    if curve_of(welder.breaker) is not None:
        limits.append(PaceLimit("breaker-heat", _breaker_pace(currents, welder, 60 / period_s)))
    limits += [PaceLimit(part.name, part.fastest(period_s)) for part in parts_at_their_pace(currents, welder, period_s)]
    return FastestPace(tuple(sorted(limits, key=lambda limit: limit.welds_per_minute)))


def parts_at_their_pace(currents: WeldCurrents, welder: Welder, least_period_s: float) -> list[HotPart]:
    """The parts, each at its own fastest pace. An electrode's resistance and its limit depend on the pace."""
    return [at_its_pace(part, least_period_s) for part in hot_parts(currents, welder, 60 / least_period_s)]


def at_its_pace(part: HotPart, least_period_s: float) -> HotPart:
    """The part at its own fastest pace, found by iteration."""
    if part.remade is None:
        return part
    pace = part.fastest(least_period_s)
    for _ in range(_ROUNDS):
        part = part.remade(max(pace, 1e-3))
        before, pace = pace, part.fastest(least_period_s)
        if abs(pace - before) <= _NEAR * before:
            break
    return part


def _breaker_pace(currents: WeldCurrents, welder: Welder, most: float) -> float:
    """The fastest pace up to `most` at which the bimetal cannot trip, by bisection."""

    def holds(pace: float) -> bool:
        return thermal(welder.breaker, currents.impulses, 60 / pace).trip is Trip.HOLDS

    low, high = 0.0, most
    if holds(high):
        return high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


@dataclass(frozen=True)
class Temperature:
    """One part, in degC: its peak in a weld, or its mean where the limit applies to the mean."""

    name: str
    after_run_C: float
    minute_later_C: float
    for_ever_C: float
    limit_C: float
    by_mean: bool
    """Whether the limit applies to the mean."""
    fastest_pace: float
    """Welds a minute that never pass the limit; 0 for none."""
    time_to_limit_s: float | None
    """None: this pace never passes the limit."""
    rest_s: float | None
    """After the burst asked for. None: no burst was asked for, or the limit is of the mean. inf: no rest is enough."""


def temperatures(run: PacedJob, welds: int, burst: int | None = None) -> tuple[Temperature, ...]:
    """Each part after `welds` welds at this pace. The `burst` welds are as fast as the schedule allows."""
    currents, table, welder = run.currents, run.table, run.welder
    period_s = table.half_cycles * 0.5 / table.frequency_Hz
    weld_s = period_s - table.time_of("off") * 0.5 / table.frequency_Hz
    pace = min(run.welds_per_minute, 60 / weld_s)
    fastest = parts_at_their_pace(currents, welder, period_s)
    return tuple(
        _temperature(part, pace, welds, at_its_pace.fastest(period_s), period_s, burst)
        for part, at_its_pace in zip(hot_parts(currents, welder, pace), fastest, strict=True)
    )


def _temperature(
    part: HotPart, pace: float, welds: int, fastest: float, period_s: float, burst: int | None
) -> Temperature:
    outlook = part.outlook(pace, welds)
    now, later, for_ever = (
        cycle.mean_degC if part.by_mean else cycle.peak_degC
        for cycle in (outlook.now, outlook.minute_later, outlook.equilibrium)
    )
    passes_s = part.time_to_limit_s(pace) if for_ever > part.limit_C else math.inf
    rest_s = None if burst is None or part.by_mean else part.rest_s(60 / period_s, burst)
    return Temperature(
        part.name,
        now,
        later,
        for_ever,
        part.limit_C,
        part.by_mean,
        fastest,
        passes_s if math.isfinite(passes_s) else None,
        rest_s,
    )
