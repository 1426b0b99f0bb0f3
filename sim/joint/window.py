"""The window of a joint: the expected ending of a weld over weld time and percent current, with its probability.

A weld at one current passes through its endings in time, so one long weld gives the ending of every shorter one. Each percent
is welded once with the nominal properties, and once for each draw of the uncertain properties and the model's own error.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np

from gen.handbook import table_force_N, with_electrodes
from gen.joint import Joint
from gen.machine.welder import Welder
from gen.trials.joints import setdown_wanted
from gen.trials.values import ComputedTimes
from sim.joint.contact import Contacts
from sim.joint.estimate import LONGEST_S, JointWork, amperes_at, joint_work
from sim.joint.field import Diverged
from sim.joint.outcome import JointEdges, edges_of
from sim.joint.sites import SiteMeasures
from sim.joint.weld import Span
from sim.joint.work import COARSE, Factors, Work, drawn_factors, one_weld, ranges_of, with_factors
from sim.workers import by_workers

PERCENTS = (50, 60, 70, 80, 90, 100)
DRAWS = 12
_SEED = 17
_TIMES = 7  # weld times reported at each percent
_MOST_LOST = 0.25  # greatest share of welds that may diverge
_FEW = 8  # up to so many welds take less time than the start of another process
_NEVER_S = 2 * LONGEST_S  # the time assumed of a draw that never tears
_PAST = 1.3  # a weld ends at this multiple of the rods' deepest setdown wanted

Cell = Literal["no bond", "bonded", "good", "past good"]
CELLS: tuple[Cell, ...] = ("no bond", "bonded", "good", "past good")


@dataclass(frozen=True)
class WindowPlan:
    """The welds of a window, which every worker receives."""

    work: Work
    welder: Welder
    deepest_m: float
    """Greatest setdown wanted of rods; infinite if there is no such limit."""
    percents: tuple[int, ...]
    draws: int
    """Draws of the uncertain properties at each percent."""

    @property
    def welds(self) -> int:
        """The number of welds."""
        return len(self.percents) * (1 + self.draws)

    def judged(self, number: int) -> JointEdges | None:
        """The edges of weld `number`, counted by percents, the nominal weld before the draws. None if it did not settle."""
        place, draw = divmod(number, 1 + self.draws)
        factors = Factors() if draw == 0 else drawn_factors(self.draws, _SEED, ranges_of(self.work))[draw - 1]
        work, contacts = with_factors(self.work, Contacts(), factors)
        amperes = amperes_at(self.welder, self.percents[place])
        deepest = self.deepest_m

        def over(measures: SiteMeasures) -> bool:
            return measures.setdown_m > _PAST * deepest

        spans = (Span(LONGEST_S, lambda ohm: factors.amperes * amperes(ohm)),)
        try:
            return edges_of(work, one_weld(work, spans, contacts, COARSE, until=over), deepest)
        except Diverged:
            return None


@dataclass(frozen=True)
class SpreadTime:
    """A time and its spread over the draws; infinite if it is not reached."""

    middle_s: float
    """The time with nominal properties."""
    low_s: float
    """The least time of the draws."""
    high_s: float
    """The greatest time of the draws."""


@dataclass(frozen=True)
class PercentWindow:
    """The edges of a weld at one percent."""

    percent: int
    middle: JointEdges
    """The edges with nominal properties."""
    draws: tuple[JointEdges, ...]
    """The edges of each draw."""

    def spread(self, name: str) -> SpreadTime:
        """The spread of the named edge."""
        middle_s = float(getattr(self.middle, name))
        times = [float(getattr(each, name)) for each in self.draws] or [middle_s]
        return SpreadTime(middle_s, min(times), max(times))

    def cell(self, time_s: float) -> Cell:
        """The ending of the nominal weld after this time."""
        return _cell(self.middle, time_s)

    def share(self, time_s: float, cell: Cell) -> float:
        """The share of the draws with this ending."""
        return sum(_cell(each, time_s) == cell for each in self.draws) / max(1, len(self.draws))


def _cell(edges: JointEdges, time_s: float) -> Cell:
    if time_s >= edges.past_s:
        return "past good"
    if time_s >= edges.tore_s:
        return "good"
    return "bonded" if time_s >= edges.bonded_s else "no bond"


@dataclass(frozen=True)
class JointWindow:
    """The window of a joint."""

    percents: tuple[PercentWindow, ...]
    """The percents, rising."""
    times_s: tuple[float, ...]
    """The weld times to report, rising."""
    lost: int
    """The number of welds that diverged and were left out."""

    @property
    def times(self) -> ComputedTimes | None:
        """The prior of the estimate from trials: the times at the highest percent with a good weld. None if none has.

        Its width is the spread of the draws, which include the model's own measured error.
        """
        for each in reversed(self.percents):
            low_s, high_s = each.middle.tore_s, min(each.middle.past_s, LONGEST_S)
            if low_s < high_s and len(each.draws) > 1:
                logs = np.log([min(draw.tore_s, _NEVER_S) for draw in each.draws])
                within = float(np.sqrt(np.mean((logs - math.log(low_s)) ** 2)))
                return ComputedTimes(low_s, high_s, float(each.percent), within)
        return None

    @property
    def settings(self) -> int:
        return len(self.percents) * len(self.times_s)


def planned(
    joint: Joint, welder: Welder, percents: tuple[int, ...] | None = None, draws: int | None = None
) -> tuple[JointWork, WindowPlan]:
    """The joint as input of the model, and the welds of its window. Raises as `joint_work` does."""
    wanted = with_electrodes(joint, welder)
    given = joint_work(wanted, welder, table_force_N(wanted, welder))
    share = setdown_wanted(joint)
    deepest_m = given.work.setdown_m(share[1]) if share else math.inf
    return given, WindowPlan(given.work, welder, deepest_m, percents or PERCENTS, draws or DRAWS)


def window_of(plan: WindowPlan, workers: int = 1, made: Callable[[int], None] = lambda _: None) -> JointWindow:
    """The window. `made` is called with the number of further welds done. The result does not depend on `workers`.

    Raises Diverged where too many welds diverge, NoCurrentKnown where the secondary current is unknown, and WorkerLost where
    a process was ended from outside.
    """
    amperes_at(plan.welder, 100)
    workers = min(workers, plan.welds // _FEW)
    if workers <= 1:
        found = []
        for number in range(plan.welds):
            found.append(plan.judged(number))
            made(1)
    else:
        found = by_workers(plan, [range(n, n + 1) for n in range(plan.welds)], workers, made)
    return _gathered(plan, found)


def _gathered(plan: WindowPlan, found: Sequence[JointEdges | None]) -> JointWindow:
    lost = sum(each is None for each in found)
    each_percent = []
    for place, percent in enumerate(plan.percents):
        middle, *others = found[place * (1 + plan.draws) : (place + 1) * (1 + plan.draws)]
        if middle is None or lost > _MOST_LOST * len(found):
            raise Diverged(f"{lost} of {len(found)} simulated welds have no stable solution")
        each_percent.append(PercentWindow(percent, middle, tuple(each for each in others if each is not None)))
    return JointWindow(tuple(each_percent), _times(each_percent), lost)


def _times(percents: Sequence[PercentWindow]) -> tuple[float, ...]:
    """Weld times in equal ratios, from before the first good weld of any percent to after the last.

    If no percent has a good weld: from the first that bonds or is past good to the longest weld.
    """
    edges = [each.middle for each in percents]
    good = [(each.tore_s, min(each.past_s, LONGEST_S)) for each in edges if each.tore_s < min(each.past_s, LONGEST_S)]
    begins = [begin for begin, _ in good] or [min(each.bonded_s, each.past_s, LONGEST_S / 2) for each in edges]
    low, high = 0.75 * min(begins), min(LONGEST_S, 1.2 * max((end for _, end in good), default=LONGEST_S))
    return tuple(float(f"{time:.2g}") for time in np.geomspace(low, max(high, 2 * low), _TIMES))


def key_of(plan: WindowPlan) -> str:
    """The digest of everything that a window depends on: the work, the machine's current, the model's code."""
    amperes = [[amperes_at(plan.welder, percent)(ohm) for ohm in (1e-5, 1e-4, 1e-3)] for percent in plan.percents]
    given = {
        "work": asdict(plan.work),
        "amperes": [[float(f"{each:.9g}") for each in some] for some in amperes],
        "deepest": plan.deepest_m,
        "percents": plan.percents,
        "draws": plan.draws,
        "code": _code(),
    }
    return hashlib.sha256(json.dumps(given, sort_keys=True).encode()).hexdigest()


@cache
def _code() -> str:
    """A digest of this package's source text."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def as_text(window: JointWindow, key: str) -> str:
    """The window as text for a file, to be read by `from_text`."""
    edges = [[_figures(edge) for edge in (each.middle, *each.draws)] for each in window.percents]
    percents = [each.percent for each in window.percents]
    body = {"key": key, "percents": percents, "edges": edges, "times_s": window.times_s, "lost": window.lost}
    return json.dumps(body | {"digest": _digest(body)}) + "\n"


def from_text(text: str, key: str) -> JointWindow | None:
    """The window kept under this key. None if the text is damaged or has another key."""
    try:
        body: dict[str, Any] = json.loads(text)
        if body.pop("digest") != _digest(body) or body["key"] != key:
            return None
        percents = []
        for percent, edges in zip(body["percents"], body["edges"], strict=True):
            middle, *draws = (JointEdges(*(math.inf if s is None else float(s) for s in each)) for each in edges)
            percents.append(PercentWindow(int(percent), middle, tuple(draws)))
        return JointWindow(tuple(percents), tuple(float(each) for each in body["times_s"]), int(body["lost"]))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _digest(body: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()


def _figures(edges: JointEdges) -> list[float | None]:
    return [None if math.isinf(each) else each for each in asdict(edges).values()]


def processors() -> int:
    """The number of processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
