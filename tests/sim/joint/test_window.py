"""The computed window: one long weld has the results of every shorter one, and what is kept is read again or made anew.

No source outside: the model itself is held against tables and other codes in tests/outside.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from gen.joint import Joint
from sim.joint.estimate import amperes_at_full, joint_work
from sim.joint.outcome import JointEdges, edges_of, outcome
from sim.joint.sites import SiteMeasures
from sim.joint.weld import Span, WeldCourse
from sim.joint.window import JointWindow, PercentWindow, WindowPlan, as_text, from_text, key_of, window_of
from sim.joint.work import COARSE, RANGES, Work, one_weld, ranges_of
from tests.support.machines import known_welder

SHEETS = Work("low_carbon_steel", 2000, sheets_m=(1e-3, 1e-3), face_m=5e-3)
RODS = Work("low_carbon_steel", 1500, rods_m=(5e-3, 5e-3))
NEVER = math.inf


def _course(*measures: SiteMeasures, boiled: bool = False) -> WeldCourse:
    """A weld of one tenth of a second for each of these."""
    times = np.arange(1, len(measures) + 1) / 10
    return WeldCourse(times, times, times, measures, (), 0.0, 0.0, 0.0, 0.0, len(measures), boiled)


def _sheet(nugget_m: float, tip_C: float = 800) -> SiteMeasures:
    return SiteMeasures(1600, 1600, tip_C, 0.0, nugget_m, 6e-3)


def _rod(setdown_m: float, joint_C: float = 1200) -> SiteMeasures:
    return SiteMeasures(joint_C, joint_C, 300, setdown_m, 0.0, 3e-3)


@pytest.mark.parametrize(
    ("work", "course", "edges"),
    [
        (SHEETS, _course(_sheet(3.4e-3), _sheet(3.6e-3), _sheet(5.1e-3)), (0.2, 0.3, NEVER)),
        (SHEETS, _course(_sheet(3.6e-3), _sheet(5.1e-3), _sheet(5.2e-3, 1500)), (0.1, 0.2, 0.3)),
        (SHEETS, _course(_sheet(1e-3), _sheet(1e-3), boiled=True), (NEVER, NEVER, 0.2)),
        (RODS, _course(_rod(0.2e-3), _rod(0.3e-3), _rod(0.7e-3), _rod(1.2e-3)), (0.2, 0.3, 0.4)),
        (RODS, _course(_rod(0.7e-3, 900), _rod(0.8e-3, 1100), _rod(0.8e-3, 900)), (0.2, 0.2, NEVER)),
    ],
)
def test_edges_are_those_of_the_outcome_at_each_time(
    work: Work, course: WeldCourse, edges: tuple[float, float, float]
) -> None:
    assert edges_of(work, course, 1.1e-3) == JointEdges(*edges)


def test_edges_of_a_real_weld_are_where_its_outcome_changes() -> None:
    """The same weld, ended just before and just after an edge."""
    amperes = amperes_at_full(known_welder())
    work = Work("low_carbon_steel", 700, rods_m=(3e-3, 3e-3), strip=(0.15, 0.15))
    course = one_weld(work, (Span(1.2, amperes),), fineness=COARSE)
    tore_s = edges_of(work, course).tore_s
    assert math.isfinite(tore_s)
    for sooner, ending in ((True, "tore the parent"), (False, "bonded")):
        count = int((course.time_s <= tore_s).sum()) - (not sooner)
        part = replace(course, time_s=course.time_s[:count], measures=course.measures[:count])
        assert outcome(work, part).ending in {ending, "no bond"}
        assert (outcome(work, part).ending == "tore the parent") == sooner


def _window() -> JointWindow:
    draws = (JointEdges(0.2, 0.3, 0.5), JointEdges(0.5, 0.7, NEVER), JointEdges(NEVER, NEVER, NEVER))
    return JointWindow((PercentWindow(100, JointEdges(0.3, 0.4, 0.8), draws),), (0.25, 0.45, 1.0), 1)


def test_how_a_weld_ends_and_in_how_many_draws_it_is_good() -> None:
    each = _window().percents[0]
    assert [each.cell(time_s) for time_s in (0.25, 0.35, 0.45, 1.0)] == ["no bond", "bonded", "good", "past good"]
    assert [each.share(time_s, "good") for time_s in (0.25, 0.45, 1.0)] == pytest.approx([0, 1 / 3, 1 / 3])
    assert each.spread("tore_s").high_s == math.inf


def test_the_width_of_a_prior_is_that_of_the_draws() -> None:
    """Root of the mean square of the logs of 0.3, 0.7 and never, which counts as twice the longest weld, over 0.4 s."""
    times = _window().times
    assert times is not None
    assert (times.low_s, times.high_s, times.percent) == (0.4, 0.8, 100)
    logs = [math.log(each / 0.4) for each in (0.3, 0.7, 12.0)]
    assert times.within == pytest.approx(math.sqrt(sum(each**2 for each in logs) / 3))
    cold = replace(_window().percents[0], middle=JointEdges(NEVER, NEVER, NEVER))
    assert replace(_window(), percents=(cold,)).times is None


def test_what_is_kept_is_read_again_and_damage_is_seen() -> None:
    text = as_text(_window(), "one")
    assert from_text(text, "one") == _window()
    assert from_text(text, "another") is None
    body = json.loads(text)
    damaged = [text[:40], text.replace("0.4", "0.5", 1), "[]", "null", "[" * 20_000, json.dumps(body | {"percents": 7})]
    assert [from_text(each, "one") for each in damaged] == [None] * len(damaged)


def test_a_window_is_that_of_its_work_machine_and_draws() -> None:
    """Anything that moves it has another key."""
    plan = WindowPlan(RODS, known_welder(), 1e-3, (100,), 2)
    other = known_welder(transformer={"working_current_A": 22})
    others = [
        replace(plan, work=replace(RODS, force_N=1600)),
        replace(plan, welder=other),
        replace(plan, deepest_m=2e-3),
        replace(plan, draws=3),
    ]
    assert len({key_of(each) for each in (plan, *others)}) == 5
    assert key_of(replace(plan)) == key_of(plan)


def test_every_weld_is_counted() -> None:
    welder, counted = known_welder(), []
    plan = WindowPlan(joint_work(Joint(rods_mm=(3, 3), force_N=700), welder).work, welder, 0.675e-3, (100,), 1)
    window = window_of(plan, 2, counted.append)
    assert counted == [1, 1]
    each = window.percents[0]
    assert each.middle.bonded_s <= each.middle.tore_s < each.middle.past_s
    assert each.draws[0] != each.middle


def test_thin_sheets_have_a_wider_range() -> None:
    """Of the fitted rows the only one that thin is far off."""
    assert (
        ranges_of(replace(SHEETS, sheets_m=(0.3e-3, 0.3e-3))).model > 1.5 > ranges_of(SHEETS).model == RANGES.model > 1
    )
