"""Remedies for a refused job, found by trying: a slower pace, another percentage, another tap."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from gen.errors import InputError
from gen.job import Job, make_job
from gen.machine.welder import WELDER_FILE, Welder
from gen.schedule import SLOPE_END_PERCENT, Pulse, Weld
from gen.user_files import validated
from sim.core.weld_current import weld_currents
from sim.run import simulated
from sim.verdict import PacedJob, Verdict, judge_plan
from sim.verdict.heat import SLOWEST_PACE, electrode_peak

_TENTHS = 10  # steps of a pace to one weld a minute
_NOT_COMPILED = frozenset({"not compiled"})  # stands for the refusals of a job that does not compile


@dataclass(frozen=True)
class Remedy:
    """One change that was tried."""

    what: Literal["pace", "percent", "tap"]
    value: float | str
    """After the change."""
    left: tuple[str, ...]
    """The refusals left after it; empty if the job passes."""
    says: str


def remedies(job: Job, welds_per_minute: float, verdict: Verdict) -> tuple[Remedy, ...]:
    """The smallest change of each kind that leaves fewer refusals. Those that leave none come first.

    Each was simulated. Nothing is tried if the verdict does not refuse.
    """
    if not verdict.refused:
        return ()
    trying = _Trying(job, welds_per_minute, refusing(verdict))
    found = [*trying.slower(), *trying.other_percent(), *trying.other_tap()]
    return tuple(sorted(found, key=lambda remedy: len(remedy.left)))


def refusing(verdict: Verdict) -> frozenset[str]:
    """The names of the findings that refuse."""
    return frozenset(f.name for f in verdict.findings if f.severity == "refuse")


def bearable_pace(job: Job, welds_per_minute: float) -> float | None:
    """The fastest pace up to this one, in tenths, at which the verdict allows the job; None if there is none."""
    trying = _Trying(job, welds_per_minute, frozenset())
    pace = trying.fastest(frozenset())
    return None if pace is None or trying.left(job, pace) else pace


@dataclass(frozen=True)
class _Trying:
    """A job refused at a pace."""

    job: Job
    pace: float
    before: frozenset[str]
    """The findings that refuse it."""

    def slower(self) -> Iterator[Remedy]:
        """The fastest pace at which no more is refused than at the slowest."""
        pace = self.fastest(self._planned(self.job, SLOWEST_PACE))
        if pace is not None and pace < self.pace:
            left = self.left(self.job, pace)
            yield from self._remedy("pace", pace, f"Weld no faster than {pace:g} a minute", left)

    def fastest(self, left: frozenset[str]) -> float | None:
        """The fastest pace in tenths at which only `left` refuses; None if more refuses at the slowest pace."""
        plan = _plan(self.job, self.pace)

        def suits(tenths: int) -> bool:
            return self._refused(replace(plan, welds_per_minute=tenths / _TENTHS)) <= left

        tenths = _last(suits, round(SLOWEST_PACE * _TENTHS), math.floor(self.pace * _TENTHS + 1e-9))
        return None if tenths is None else tenths / _TENTHS

    def other_percent(self) -> Iterator[Remedy]:
        """The greatest lower percentage that helps, as a maximum for every impulse; else the least higher one, as a minimum."""
        impulses = [phase for phase in self.job.schedule.phases if isinstance(phase, (Pulse, Weld))]
        asked = [phase.current_percent for phase in impulses]
        ends = [end for phase in impulses if isinstance(phase, Weld) for end in _slope_ends(phase)]
        which = "all impulses" if len(asked) > 1 else "the weld"
        lowest = math.floor(max(ends, default=SLOPE_END_PERCENT - 1)) + 1
        percent = self._nearest_that_helps(range(lowest, math.ceil(max(asked))), min)
        if percent is not None:
            say = f"Bring {which} to {percent} % at most, from {max(asked):g} %"
            yield from self._at(percent, min, say)
            return
        percent = self._nearest_that_helps(range(100, math.floor(min(asked)), -1), max)
        if percent is not None:
            say = f"Bring {which} to {percent} % at least, from {min(asked):g} %"
            yield from self._at(percent, max, say)

    def _nearest_that_helps(self, percents: range, bound: Callable[..., float]) -> int | None:
        """The nearest of `percents` at which no more is refused than at the furthest, which is the first."""
        if not percents:
            return None
        left = self._planned_at(percents[0], bound)
        if not left < self.before:
            return None
        at = _last(lambda place: self._planned_at(percents[place], bound) <= left, 0, len(percents) - 1)
        return None if at is None else percents[at]

    def _planned_at(self, percent: int, bound: Callable[..., float]) -> frozenset[str]:
        try:
            return self._planned(_with_percent(self.job, percent, bound), self.pace)
        except InputError:
            return _NOT_COMPILED

    def _at(self, percent: int, bound: Callable[..., float], say: str) -> Iterator[Remedy]:
        yield from self._remedy("percent", percent, say, self.left(_with_percent(self.job, percent, bound), self.pace))

    def other_tap(self) -> Iterator[Remedy]:
        """The next lower tap that helps, else the next higher one."""
        t = self.job.welder.transformer
        if t.taps is None or t.tap is None:
            return
        taps, now = t.taps, t.taps[t.tap]
        lower = sorted((name for name in taps if taps[name] < now), key=lambda name: -taps[name])
        higher = sorted((name for name in taps if taps[name] > now), key=lambda name: taps[name])
        for tap in (*lower, *higher):
            try:
                changed = make_job(self.job.schedule, on_tap(self.job.welder, tap), _source(self.job))
            except InputError:
                continue
            if self._planned(changed, self.pace) < self.before:
                say = f"Use tap {tap} in place of tap {t.tap}, at the same percentage"
                yield from self._remedy("tap", tap, say, self.left(changed, self.pace))
                return

    def _planned(self, job: Job, pace: float) -> frozenset[str]:
        """The checks that refuse without a run."""
        return self._refused(_plan(job, pace))

    def _refused(self, plan: PacedJob) -> frozenset[str]:
        """The checks that refuse a plan. Melting faces, slow to judge, are left out unless refused; the last run has all."""
        return refusing(judge_plan(plan, () if "electrode-peak" in self.before else (electrode_peak,)))

    @staticmethod
    def left(job: Job, pace: float) -> frozenset[str]:
        """The checks that refuse after a run."""
        return refusing(simulated(_plan(job, pace), seed=0).verdict)

    def _remedy(
        self, what: Literal["pace", "percent", "tap"], value: float | str, say: str, left: frozenset[str]
    ) -> Iterator[Remedy]:
        """The remedy, unless its run shows no fewer refusals."""
        if left < self.before:
            then = "then it passes" if not left else f"then this is still refused: {', '.join(sorted(left))}"
            yield Remedy(what, value, tuple(sorted(left)), f"{say}: {then}.")


def _plan(job: Job, pace: float) -> PacedJob:
    return PacedJob(job=job, welds_per_minute=pace, currents=weld_currents(job.strongest, job.welder), advises=False)


def _last(suits: Callable[[int], bool], first: int, last: int) -> int | None:
    """The last whole number of a range that suits, by bisection: all before it suit. None if the first does not suit."""
    if first > last or not suits(first):
        return None
    if suits(last):
        return last
    while last - first > 1:
        middle = (first + last) // 2
        first, last = (middle, last) if suits(middle) else (first, middle)
    return first


def _slope_ends(phase: Weld) -> Iterator[float]:
    if phase.upslope is not None:
        yield phase.upslope_from_percent
    if phase.downslope is not None:
        yield phase.downslope_to_percent


def _with_percent(job: Job, percent: int, bound: Callable[..., float]) -> Job:
    """The job with `bound` (min or max) of `percent` and each impulse's percentage. Raises InputError."""
    phases = tuple(
        phase.model_copy(update={"current_percent": float(bound(phase.current_percent, percent))})
        if isinstance(phase, (Pulse, Weld))
        else phase
        for phase in job.schedule.phases
    )
    return make_job(job.schedule.model_copy(update={"phases": phases}), job.welder, _source(job))


def _source(job: Job) -> Path:
    return Path(f"{job.schedule.name}.toml")


def on_tap(welder: Welder, tap: str) -> Welder:
    """The same machine on another of its taps, derived anew. Raises InputError if its readings contradict that."""
    tables = {name: table.model_dump(exclude_unset=True) for name, table in welder if table is not None}
    transformer = tables["transformer"] | {"tap": tap}
    transformer.pop("open_secondary_V", None)
    return validated(Welder, tables | {"transformer": transformer}, Path(WELDER_FILE))
