"""What to change first where the verdict refuses, found by trying: the pace, the percentage, the tap that would pass."""

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

_TENTHS = 10  # of a weld a minute: how finely a pace is sought
_NOT_TO_BE_HAD = frozenset({"not to be had"})  # stands for the refusals of what does not compile


@dataclass(frozen=True)
class Remedy:
    """One change that was tried: to which `value`, and which refusals are `left` after it; none: it passes."""

    what: Literal["pace", "percent", "tap"]
    value: float | str
    left: tuple[str, ...]
    says: str


def remedies(job: Job, welds_per_minute: float, verdict: Verdict) -> tuple[Remedy, ...]:
    """Each single change after which less is refused, the smallest of its kind, those after which all passes first.

    Each was simulated at last. Nothing is tried where the verdict does not refuse.
    """
    if not verdict.refused:
        return ()
    trying = _Trying(job, welds_per_minute, refusing(verdict))
    found = [*trying.slower(), *trying.other_percent(), *trying.other_tap()]
    return tuple(sorted(found, key=lambda remedy: len(remedy.left)))


def refusing(verdict: Verdict) -> frozenset[str]:
    """The names of what refuses."""
    return frozenset(f.name for f in verdict.findings if f.severity == "refuse")


def bearable_pace(job: Job, welds_per_minute: float) -> float | None:
    """The fastest pace up to this one, in tenths, at which the verdict lets the job by; None where there is none."""
    trying = _Trying(job, welds_per_minute, frozenset())
    pace = trying.fastest(frozenset())
    return None if pace is None or trying.left(job, pace) else pace


@dataclass(frozen=True)
class _Trying:
    """A job that is refused at a pace, and what refuses it."""

    job: Job
    pace: float
    before: frozenset[str]

    def slower(self) -> Iterator[Remedy]:
        """The fastest pace at which no more is refused than at the slowest."""
        pace = self.fastest(self._planned(self.job, SLOWEST_PACE))
        if pace is not None and pace < self.pace:
            left = self.left(self.job, pace)
            yield from self._told("pace", pace, f"Weld no faster than {pace:g} a minute", left)

    def fastest(self, left: frozenset[str]) -> float | None:
        """The fastest pace in tenths at which no more than `left` is refused; None where the slowest does not do."""
        plan = _plan(self.job, self.pace)

        def does(tenths: int) -> bool:
            return self._refused(replace(plan, welds_per_minute=tenths / _TENTHS)) <= left

        tenths = _last(does, round(SLOWEST_PACE * _TENTHS), math.floor(self.pace * _TENTHS + 1e-9))
        return None if tenths is None else tenths / _TENTHS

    def other_percent(self) -> Iterator[Remedy]:
        """The greatest percentage below that helps, as the most of every impulse; or else the least above, as the least."""
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
        """Of these, the furthest first, the nearest at which no more is refused than at the furthest."""
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
            return _NOT_TO_BE_HAD

    def _at(self, percent: int, bound: Callable[..., float], say: str) -> Iterator[Remedy]:
        yield from self._told("percent", percent, say, self.left(_with_percent(self.job, percent, bound), self.pace))

    def other_tap(self) -> Iterator[Remedy]:
        """The tap next below that helps, or else the next above."""
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
                yield from self._told("tap", tap, say, self.left(changed, self.pace))
                return

    def _planned(self, job: Job, pace: float) -> frozenset[str]:
        """What refuses of that which needs no run."""
        return self._refused(_plan(job, pace))

    def _refused(self, plan: PacedJob) -> frozenset[str]:
        """The same; melting faces, which take longest to judge, only where they were refused: the run at last judges all."""
        return refusing(judge_plan(plan, () if "electrode-peak" in self.before else (electrode_peak,)))

    @staticmethod
    def left(job: Job, pace: float) -> frozenset[str]:
        """What refuses after a run."""
        return refusing(simulated(_plan(job, pace), seed=0).verdict)

    def _told(
        self, what: Literal["pace", "percent", "tap"], value: float | str, say: str, left: frozenset[str]
    ) -> Iterator[Remedy]:
        """The remedy, unless the run after it shows that it is none."""
        if left < self.before:
            then = "then it passes" if not left else f"then there is still to mend: {', '.join(sorted(left))}"
            yield Remedy(what, value, tuple(sorted(left)), f"{say}: {then}.")


def _plan(job: Job, pace: float) -> PacedJob:
    return PacedJob(job=job, welds_per_minute=pace, currents=weld_currents(job.table, job.welder), advises=False)


def _last(does: Callable[[int], bool], first: int, last: int) -> int | None:
    """The last whole number of a range for which it does, where it does for all before; None where not even for the first."""
    if first > last or not does(first):
        return None
    if does(last):
        return last
    while last - first > 1:
        middle = (first + last) // 2
        first, last = (middle, last) if does(middle) else (first, middle)
    return first


def _slope_ends(phase: Weld) -> Iterator[float]:
    if phase.upslope is not None:
        yield phase.upslope_from_percent
    if phase.downslope is not None:
        yield phase.downslope_to_percent


def _with_percent(job: Job, percent: int, bound: Callable[..., float]) -> Job:
    """The job with every impulse's percentage and this one's `bound`, the smaller or the greater. Raises InputError."""
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
    """The same machine on another of its taps, derived anew. Raises InputError where its readings do not allow it."""
    tables = {name: table.model_dump(exclude_unset=True) for name, table in welder if table is not None}
    transformer = tables["transformer"] | {"tap": tap}
    transformer.pop("open_secondary_V", None)
    return validated(Welder, tables | {"transformer": transformer}, Path(WELDER_FILE))
