"""What the model takes from the user's files, and what it says of how a weld ends."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from gen.handbook.tables import rod_rows
from gen.joint import Joint
from gen.user_files import Wrong
from sim.joint.estimate import grid_error, joint_work
from sim.joint.field import Diverged
from sim.joint.outcome import electrode_pressure_MPa, good_s, good_test, outcome, target_m
from sim.joint.sites import SiteMeasures
from sim.joint.weld import WeldCourse
from sim.joint.work import Work
from tests.support.machines import known_welder

SHEETS = Work("low_carbon_steel", 2000, sheets_m=(1e-3, 1e-3), face_m=5e-3)
RODS = Work("low_carbon_steel", 1500, rods_m=(5e-3, 5e-3))


def test_a_groove_holds_a_rod_over_more_than_a_flat_face() -> None:
    flat, grooved = (
        joint_work(Joint(rods_mm=(5, 5), force_N=1500, **given), known_welder()).work
        for given in ({"face_diameter_mm": 8}, {"groove_radius_mm": 2.5})
    )
    assert grooved.strip[0] > 2 * flat.strip[0]


def test_a_rod_on_a_flat_bar_is_taken_with_its_face_and_its_groove() -> None:
    """The groove along the rod, the flat face on the bar, no wider than it; a bar in a groove is refused."""
    joint = Joint(rods_mm=(5, 3), flat_width_mm=6, force_N=900, groove_radius_mm=(2.5, None))
    given = joint_work(joint, known_welder())
    assert given.work.flat_m == pytest.approx(6e-3)
    assert given.work.face_m <= 6e-3
    assert given.work.strip[0] == pytest.approx(0.4)
    assert any("two such rods" in words for words in given.assumed)
    assert not any("flat faces" in words for words in given.assumed)
    flat = joint_work(joint.model_copy(update={"groove_radius_mm": None}), known_welder())
    assert any("flat faces" in words for words in flat.assumed)
    with pytest.raises(Wrong, match="edges of a groove"):
        joint_work(joint.model_copy(update={"groove_radius_mm": (2.5, 4.0)}), known_welder())


def test_a_dome_is_taken_as_the_file_has_it() -> None:
    given = {"sheets_mm": (1, 1), "force_N": 1500, "face_diameter_mm": 6}
    assert joint_work(Joint(**given, dome_radius_mm=40), known_welder()).work.dome_m == pytest.approx(0.04)
    assert joint_work(Joint(**given), known_welder()).work.dome_m == math.inf


def test_a_missing_force_is_the_tables_or_refused() -> None:
    joint = Joint(rods_mm=(5, 5))
    given = joint_work(joint, known_welder(), 1600.0)
    assert given.work.force_N == 1600
    assert any("1600 N, the table's" in words for words in given.assumed)
    with pytest.raises(Wrong, match="the model needs"):
        joint_work(joint, known_welder(), None)


def test_what_the_model_does_not_tell_apart_is_said() -> None:
    """Finish and scale; of zinc it says nothing at all. The table's currents of hot-drawn rods are up to 9 % above the others."""
    for given, words in (({"finish": "hot_drawn"}, "hot-drawn"), ({"surface": "scaled"}, "scale")):
        assumed = joint_work(Joint(rods_mm=(5, 5), force_N=1500, **given), known_welder()).assumed
        assert any(words in each for each in assumed)
    ratios = [
        hot.current_A / cold.current_A
        for setdown in (15, 30, 50)
        for hot, cold in zip(rod_rows("hot_drawn", setdown), rod_rows("cold_drawn", setdown), strict=True)
    ]
    assert max(ratios) == pytest.approx(1.09, abs=0.005)
    with pytest.raises(Wrong, match="has no zinc"):
        joint_work(Joint(rods_mm=(5, 5), force_N=1500, surface="zinc"), known_welder())


def test_a_force_over_the_hardness_is_said() -> None:
    """A 1 mm face under 1500 N: 1900 MPa, where copper bears 1200."""
    given = joint_work(Joint(sheets_mm=(1, 1), force_N=1500, face_diameter_mm=1), known_welder())
    assert any("sinks in" in words for words in given.assumed)


def test_a_force_over_the_hot_hardness_is_known() -> None:
    """306 MPa: borne at 300 degC; copper at 900 degC bears some 270."""
    work = replace(SHEETS, force_N=6000)
    for hot_C, sinks in ((300, False), (900, True)):
        pressure, bears = electrode_pressure_MPa(work, _course(1700, hot_C, 0, 5e-3))
        assert (pressure > bears) == sinks


def test_a_figure_that_finer_cells_move_is_not_given() -> None:
    assert grid_error(1.0, 1.1) == pytest.approx(0.1)
    assert grid_error(math.inf, math.inf) == 0
    for pair in ((1.0, 1.5), (1.0, math.inf)):
        with pytest.raises(Diverged):
            grid_error(*pair)


def _course(
    core_C: float, tip_C: float, setdown_m: float, nugget_m: float, contact_m: float = 6e-3, melt_force_N: float = 0
) -> WeldCourse:
    measures = (SiteMeasures(core_C, core_C, tip_C, setdown_m, nugget_m, contact_m, melt_force_N),)
    one = np.array([1.0])
    return WeldCourse(one, one, one, measures, (), 0.0, 0.0, 0.0, 0.0, 1)


@pytest.mark.parametrize(
    ("work", "course", "ending"),
    [
        (SHEETS, _course(1600, 800, 0, 3.4e-3), "no bond"),
        (SHEETS, _course(1600, 800, 0, 3.6e-3), "bonded"),
        (SHEETS, _course(1700, 800, 0, 5.1e-3), "tore the parent"),
        (SHEETS, _course(1700, 1495, 0, 5.1e-3), "expelled"),
        (SHEETS, _course(1700, 800, 0, 5.1e-3, 5.2e-3, 1990), "tore the parent"),
        (SHEETS, _course(1700, 800, 0, 5.1e-3, 5.1e-3), "expelled"),
        (SHEETS, _course(1700, 800, 0, 5.1e-3, 5.2e-3, 2010), "expelled"),
        (RODS, _course(1000, 300, 0.5e-3, 0), "no bond"),
        (RODS, _course(1200, 300, 0.2e-3, 0), "no bond"),
        (RODS, _course(1200, 300, 0.5e-3, 0), "bonded"),
        (RODS, _course(1200, 300, 0.7e-3, 0), "tore the parent"),
        (RODS, _course(1900, 300, 0.7e-3, 3.9e-3, 4e-3, 1490), "tore the parent"),
        (RODS, _course(1600, 300, 0.7e-3, 4e-3, 4e-3), "expelled"),
        (RODS, _course(1600, 300, 0.7e-3, 3e-3, 4e-3, 1510), "expelled"),
    ],
)
def test_how_a_weld_ends(work: Work, course: WeldCourse, ending: str) -> None:
    """ISO 14373's 3.5 and 5 roots (from memory), forge welding's heat, the table's setdown: either side of each limit."""
    assert outcome(work, course).ending == ending


def test_where_the_model_fails_is_said() -> None:
    assert outcome(replace(SHEETS, sheets_m=(0.3e-3, 0.3e-3)), _course(900, 500, 0, 0)).doubts
    assert not outcome(SHEETS, _course(900, 500, 0, 0)).doubts
    assert outcome(replace(RODS, metal="brass"), _course(900, 500, 0, 0)).doubts


def test_a_rod_on_a_flat_bar_is_good_once_it_is_hot_as_well() -> None:
    bar = replace(RODS, flat_m=10e-3)
    cold = _course(900, 300, 0.5e-3, 0)
    hot = _course(1200, 300, 0.5e-3, 0)
    for course, at in ((cold, math.inf), (hot, 1.0)):
        assert good_s(bar, course, "setdown_m", 0.1e-3) == at
        assert good_test(bar, "setdown_m", 0.1e-3)(course.measures[0]) == math.isfinite(at)
    assert good_s(RODS, cold, "setdown_m", 0.1e-3) == 1.0
    assert good_s(bar, hot, "setdown_m", 0.6e-3) == math.inf


def test_what_makes_a_good_weld() -> None:
    assert target_m(RODS, 30) == ("setdown_m", pytest.approx(1.5e-3))
    assert target_m(SHEETS, 15) == ("nugget_m", pytest.approx(5e-3))
