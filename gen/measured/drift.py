"""Drift over the welds of one job: a line through what each weld showed, with the interval in which its slope may lie.

Worn faces spread the current and the resistance falls; faces that pick up zinc or scale raise it. Either calls for dressing.
The slope is that of least squares, its interval Student's. Neighbours that are alike, as under a mains that wanders, count for
less: the interval is widened by what the residuals say of that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from gen.measured.course import Course
from gen.records import WeldRecord

SURE = 0.999  # confidence of the interval; the check after each weld gives many chances of a false alarm
LEAST_WELDS = 8
SAME_JOB = timedelta(hours=12)  # between two welds of one job
MOST_WELDS = 60  # the newest of a job; reckoning more would take seconds
GATES = 18  # of each, the same of every weld
SETTLING_GATES = 2  # in which the contacts break down
_MOST_ALIKE = 0.9


@dataclass(frozen=True)
class Slope:
    """Per weld, as a share of the mean: the likeliest, and where it lies at `SURE`."""

    per_weld: float
    low: float
    high: float
    welds: int

    @property
    def drifts(self) -> bool:
        """Whether no drift is excluded."""
        return not self.low <= 0 <= self.high


@dataclass(frozen=True)
class Drift:
    """What drifts or does not: "resistance" of the loop over its reactance, or "current"."""

    of: str
    slope: Slope

    @property
    def text(self) -> str:
        """The slope in words, and what to do where no drift is excluded."""
        s = self.slope
        found = (
            f"Over {s.welds} welds of this job the {self.of} changes by {100 * s.per_weld:+.2f} % a weld "
            f"({100 * s.low:+.2f} to {100 * s.high:+.2f} at {100 * SURE:g} %)"
        )
        return f"{found}: dress the electrodes." if s.drifts else f"{found}: no drift is shown."


def slope_of(values: Sequence[float], sure: float = SURE) -> Slope | None:
    """The slope of values in a row; None where they are too few, or their mean is not above 0."""
    count = len(values)
    mean = sum(values) / count if count else 0.0
    if count < LEAST_WELDS or mean <= 0:
        return None
    places = [n - (count - 1) / 2 for n in range(count)]
    spread = sum(place**2 for place in places)
    slope = sum(place * value for place, value in zip(places, values, strict=True)) / spread
    left = [value - mean - slope * place for place, value in zip(places, values, strict=True)]
    squares = sum(residual**2 for residual in left)
    error = math.sqrt(squares / (count - 2) / spread) * _widened(left, squares)
    reach = _student(sure, count - 2) * error
    return Slope(slope / mean, (slope - reach) / mean, (slope + reach) / mean, count)


def _widened(left: Sequence[float], squares: float) -> float:
    """The factor by which correlated neighbours widen the interval. A fitted line lowers their correlation by about 2/n."""
    if squares == 0:
        return 1.0
    alike = sum(one * other for one, other in zip(left, left[1:], strict=False)) / squares + 2 / len(left)
    alike = min(max(alike, 0.0), _MOST_ALIKE)
    return math.sqrt((1 + alike) / (1 - alike))


def _student(sure: float, free: int) -> float:
    from scipy.special import stdtrit  # type: ignore[import-untyped,unused-ignore]

    return float(stdtrit(free, (1 + sure) / 2))


def job_of(weld: WeldRecord, kept: Sequence[WeldRecord], since: WeldRecord | None = None) -> list[WeldRecord]:
    """The completed welds of a weld's job up to it, oldest first: one board, one schedule, no pause longer than SAME_JOB.

    `kept`: in the order of their ends. `since`: the first to count, as after a dressing.
    """
    found: list[WeldRecord] = []
    for other in reversed(kept[: kept.index(weld) + 1]):
        if (other.board, other.digest) != (weld.board, weld.digest) or other.ending != weld.ending:
            continue
        if found and _ended(found[-1]) - _ended(other) > SAME_JOB:
            break
        found.append(other)
        if other == since or len(found) == MOST_WELDS:
            break
    return found[::-1]


def _ended(weld: WeldRecord) -> datetime:
    return datetime.fromisoformat(weld.ended_at)


def drift_of(courses: Sequence[Course]) -> Drift | None:
    """The drift of a job from the courses of its welds; None where too few were timed or measured.

    Of the resistance, where enough welds were timed, since the mains is not in it; else of the current, for the table as it is.
    """
    ratios = [course.ratio for course in courses if course.ratio is not None]
    slope = slope_of(ratios)
    if slope is not None:
        return Drift("resistance", slope)
    slope = slope_of([amperes for amperes in map(_current_A, courses) if amperes is not None])
    return None if slope is None else Drift("current", slope)


def _current_A(course: Course) -> float | None:
    """The mean of a weld's currents, over what it was fired for."""
    amperes = [value for gate, value in course.currents if gate >= SETTLING_GATES]
    if not amperes:
        return None
    return sum(amperes) / len(amperes) * 100 / (course.weld.fired_for_percent or 100.0)
