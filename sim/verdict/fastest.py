"""The fastest pace that may go on for ever, and what limits it: heat, duty, the breaker or the schedule's own length."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.job import Job
from gen.machine.breaker import Trip, thermal
from gen.machine.welder import Welder
from sim.core.weld_current import WeldCurrents
from sim.verdict.hot_parts import HotPart, hot_parts

SLOWEST_PACE = 0.1  # welds a minute: a slower one is no work
_NEAR = 1e-6  # of a pace: two rounds that differ by less agree
_ROUNDS = 30
_HALVINGS = 50
_HAND_S = 0.2  # the pedal, the wait for the right polarity, mains that runs slow: the board is ready a little later


@dataclass(frozen=True)
class PaceLimit:
    """One thing that limits the pace: a finding's name, and the welds a minute up to which it holds; 0: not one."""

    name: str
    welds_per_minute: float


@dataclass(frozen=True)
class FastestPace:
    """Every limit, the tightest first."""

    limits: tuple[PaceLimit, ...]

    @property
    def limit(self) -> PaceLimit:
        """The tightest."""
        return self.limits[0]

    @property
    def possible(self) -> bool:
        """Whether any pace can go on for ever."""
        return self.limit.welds_per_minute >= SLOWEST_PACE

    @property
    def welds_per_minute(self) -> float:
        """Rounded down to tenths."""
        return math.floor(10 * self.limit.welds_per_minute + 1e-9) / 10


def fastest_pace(job: Job, currents: WeldCurrents) -> FastestPace:
    """The paces that each part of the machine, its plate, its breaker and the schedule's own length allow."""
    table, welder = job.table, job.welder
    period_s = table.half_cycles * 0.5 / table.frequency_Hz + _HAND_S
    limits = [PaceLimit("schedule", 60 / period_s)]
    limits.append(PaceLimit("duty", welder.allowed_duty * 120 * table.frequency_Hz / table.heating_half_cycles))
    if welder.breaker is not None and welder.breaker.standard == "IEC 60898-1":
        limits.append(PaceLimit("breaker-heat", _breaker_pace(currents, welder, 60 / period_s)))
    limits += [PaceLimit(part.name, part.fastest(period_s)) for part in parts_at_their_pace(currents, welder, period_s)]
    return FastestPace(tuple(sorted(limits, key=lambda limit: limit.welds_per_minute)))


def parts_at_their_pace(currents: WeldCurrents, welder: Welder, least_period_s: float) -> list[HotPart]:
    """The parts, each as it is at its own fastest pace: an electrode's resistance goes with its heat, and what its face bears."""
    return [at_its_pace(part, least_period_s) for part in hot_parts(currents, welder, 60 / least_period_s)]


def at_its_pace(part: HotPart, least_period_s: float) -> HotPart:
    """The part as it is at its own fastest pace, found by substitution."""
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
    """The fastest pace up to `most` at which the bimetal surely holds, by bisection."""

    def holds(pace: float) -> bool:
        return thermal(welder.breaker, currents.impulses, 60 / pace).trip is Trip.HOLDS

    low, high = 0.0, most
    if holds(high):
        return high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
