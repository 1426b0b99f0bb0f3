"""Crossed rods: the cross-wire table at its rows, and a small machine far below them.

Sources: the cross-wire table, from memory but for cold-drawn rods at 15 and 30 % setdown; facts of the trade, which are
common practice, no source; a three-dimensional conduction model (tests/support/outside/rods_conduction.py), whose resistance a
finite element code (scikit-fem) computes as well; ASTM A1064, from memory. Run with `-s` to see the figures.
"""

from __future__ import annotations

import importlib
import math

import pytest

from gen.handbook.rods import WITHIN_CONDUCTION, effective_mm, setting
from gen.handbook.tables import rod_rows
from gen.joint import SETDOWNS
from tests.support.outside.rods_conduction import FLAT, GROOVE, CrossedRods, Electrode, calibrated
from tests.support.outside.suggesting import FINISHES, named, rods


@pytest.mark.parametrize("finish", FINISHES)
@pytest.mark.parametrize("setdown", SETDOWNS)
@pytest.mark.parametrize("row", range(8))
def test_rods_at_a_row(finish: str, setdown: int, row: int) -> None:
    """At a row's diameter and current: the row's time, force, strength; what is from memory is marked where it is shown."""
    r = rod_rows(finish, setdown)[row]
    found = rods(r.size_mm, r.size_mm, r.current_A, finish=finish, setdown_percent=setdown)
    assert found.start_s == pytest.approx(r.weld_s, rel=1e-6)
    assert found.percent == 100
    table = f"cross-wire table, {finish.replace('_', '-')}, setdown {setdown} %, row {r.printed}"
    for name, value in (("force", r.force_N), ("strength", r.strength_N), ("current", r.current_A)):
        figure = named(found, name, table)
        assert figure.middle == pytest.approx(value)
        assert ("FROM MEMORY" in figure.source) == r.from_memory
    assert named(found, "setdown", f"{setdown} %").middle == pytest.approx(setdown / 100 * r.size_mm)


def test_the_one_force_that_copies_disagree_about() -> None:
    """0.3125 in, cold-drawn, 15 %: 825 lb here and 933 lb in a metric copy. Both are shown."""
    found = rods(7.9375, 7.9375, 6000)
    assert named(found, "force", "up to").high == pytest.approx(933 * 4.448222)
    assert named(found, "force", "cross-wire").high == pytest.approx(825 * 4.448222)


# -- rods on a small machine ----------------------------------------------------------------------------------------


# Factors on the table's time found by a conduction model that is not this project's, two diameters and more: least and most.
ELSEWHERE = {0.7: (3.4, 3.9), 0.6: (6.5, 7.9)}


def test_rods_below_the_table() -> None:
    """Far longer than by equal I^2 t, near what another model of conduction gives; at half of the current 14 times, or never."""
    for mm in (5, 6, 8, 10):
        s = setting("cold_drawn", 15, mm)
        for contact in ("flat", "groove"):
            assert s.time_s(s.current_A, contact) == pytest.approx(s.weld_s)
        for share, (least, most) in ELSEWHERE.items():
            found = [s.time_s(share * s.current_A, contact) / s.weld_s for contact in ("flat", "groove")]
            print(f"{mm} mm at {share:.0%}: {found[0]:.2f} to {found[1]:.2f} times; elsewhere {least} to {most}")
            assert found[0] * (1 - WITHIN_CONDUCTION) <= most
            assert found[1] * (1 + WITHIN_CONDUCTION) >= least
            assert found[0] > 1.5 / share**2
        assert s.time_s(0.5 * s.current_A, "flat") > 14 * s.weld_s
        assert s.time_s(0.4 * s.current_A, "flat") == math.inf


def test_below_which_current_no_time_will_do_for_8_mm() -> None:
    """About 3100 A by another model of conduction; nothing is suggested below, and what is needed is said."""
    s = setting("cold_drawn", 15, 8)
    assert s.least_A("flat") < 3100 < s.least_A("groove")
    cold = rods(8, 8, 2500)
    assert not cold.known
    assert cold.why_not.startswith("no time is enough")
    assert f"more than {named(cold, 'no time is enough below', 'a conduction fit').text} is needed" in cold.why_not


@pytest.mark.parametrize(("electrode", "contact"), [(FLAT, "flat"), (GROOVE, "groove")])
def test_the_fit_is_the_models(electrode: Electrode, contact: str) -> None:
    """5 mm rods, coarse grid, calibrated on their row: the time at 70 % of the current within the error that is stated."""
    s = setting("cold_drawn", 15, 5)
    patch = calibrated(0.005, s.current_A, s.weld_s, electrode, cells=6)
    model_s = CrossedRods(0.005, 0.005, patch, electrode, cells=6).joined_s(0.7 * s.current_A, 20 * s.weld_s)
    fit_s = s.time_s(0.7 * s.current_A, contact)
    print(f"{contact}: patch {patch:.3f} of the diameter, {model_s:.2f} s, by the fit {fit_s:.2f} s")
    assert fit_s == pytest.approx(model_s, rel=WITHIN_CONDUCTION)


def test_the_model_foretells_a_row_that_it_was_not_set_by() -> None:
    """Calibrated on 5 mm, it gives 8 mm rods the table's time at the table's current within 8 %, on a coarse grid."""
    five, eight = (setting("cold_drawn", 15, mm) for mm in (5, 8))
    patch = calibrated(0.005, five.current_A, five.weld_s, FLAT, cells=4)
    foretold_s = CrossedRods(0.008, 0.008, patch, FLAT, cells=4).joined_s(eight.current_A, 5 * eight.weld_s)
    print(f"8 mm: {foretold_s:.3f} s, in the table {eight.weld_s:.3f} s")
    assert foretold_s == pytest.approx(eight.weld_s, rel=0.08)


def test_unlike_rods_by_the_model() -> None:
    """5 on 8 mm at the table's current for sqrt(d1 d2): far sooner than the table's time there, and inside the range."""
    middle = setting("cold_drawn", 15, math.sqrt(40))
    five = setting("cold_drawn", 15, 5)
    patch = calibrated(0.005, five.current_A, five.weld_s, FLAT, cells=4)
    model_s = CrossedRods(0.005, 0.008, patch, FLAT, cells=4).joined_s(middle.current_A, 5 * middle.weld_s)
    low, mid, high = (setting("cold_drawn", 15, mm).time_s(middle.current_A, "flat") for mm in effective_mm(5, 8))
    print(f"5 on 8 mm at {middle.current_A:.0f} A: model {model_s:.3f} s, range {low:.3f}, {mid:.3f}, {high:.3f} s")
    assert high == pytest.approx(middle.weld_s)
    for seconds in (model_s, 0.305):  # the second by another model of conduction
        assert low * (1 - WITHIN_CONDUCTION) < seconds < 0.85 * high
    assert mid == pytest.approx(0.305, rel=0.1)


@pytest.mark.parametrize("electrode", [FLAT, GROOVE])
def test_the_models_resistance_by_finite_elements(electrode: Electrode) -> None:
    """Cold rods between their electrodes by scikit-fem, on a mesh of its own: within 8 %; the finer grid is nearer."""
    pytest.importorskip("skfem")
    elements = importlib.import_module("tests.support.outside.rods_by_elements")
    other_ohm = elements.RodByElements(0.005, 0.34, electrode, elements=3).cold_ohm()
    ours_ohm = [CrossedRods(0.005, 0.005, 0.34, electrode, cells).cold_ohm() for cells in (4, 12)]
    print(f"{1e6 * other_ohm:.1f} uohm by elements, {', '.join(f'{1e6 * ohm:.1f}' for ohm in ours_ohm)} by volumes")
    assert ours_ohm[1] == pytest.approx(other_ohm, rel=0.08)
    assert abs(ours_ohm[1] - other_ohm) < abs(ours_ohm[0] - other_ohm)


def test_rods_too_unlike() -> None:
    """Beyond the ratio that was computed it is said; so is ASTM A1064's 40 % of area (from memory), which 5 on 8 mm just miss."""
    assert not any("area" in text or "ratio" in text for text in rods(5, 7.8, 4000).cautions)
    area = [text for text in rods(5, 8, 4000).cautions if "area" in text]
    assert len(area) == 1
    assert "39 % of the thicker's area" in area[0]
    assert not any("ratio" in text for text in rods(5, 12, 5000).cautions)
    assert any("ratio, 2.5, is beyond" in text for text in rods(4, 10, 4000).cautions)


@pytest.mark.parametrize("current_A", [2200, 2400])
def test_small_machine_times(current_A: float) -> None:
    """Rods of 3 to 6 mm on a small bench machine: about 1 to 2 s and more (common practice, no source), and two 6 mm rods hold at
    2 s, but can still be broken: their full setdown wants longer, or never comes."""
    for a, b in ((3, 6), (4, 6), (5, 5)):
        ends = [rods(a, b, current_A, setdown_percent=s).weld for s in (15, 30)]
        reach = [(w.low, w.high) for w in ends if w]
        print(f"{a} x {b} mm at {current_A} A:", [f"{low:.2g} to {high:.2g} s" for low, high in reach])
        assert reach
        assert min(low for low, _ in reach) <= 2
        assert max(high for _, high in reach) >= 1
    for mm in (5, 6):
        thick = rods(mm, 6, current_A)
        assert not thick.known or (thick.weld is not None and thick.weld.high > 2)


@pytest.mark.parametrize("setdown", SETDOWNS)
@pytest.mark.parametrize("finish", FINISHES)
def test_thick_rods_to_thin_across_thick(finish: str, setdown: int) -> None:
    """Two 6 mm rods to 3 across 6: over 1.7 and well under 15 times as long (common practice, no source), over the range."""

    def i2t(mm: float) -> float:
        s = setting(finish, setdown, mm)
        return s.weld_s * s.current_A**2

    ratios = [i2t(6) / i2t(mm) for mm in effective_mm(3, 6)]
    print(
        f"{finish} {setdown} %: {ratios[1]:.2f}, from {ratios[2]:.2f} to {ratios[0]:.2f}; thin alone {i2t(6) / i2t(3):.1f}"
    )
    assert 1.7 < ratios[2] < ratios[1] < ratios[0] < 10
    current_A = 0.8 * setting(finish, setdown, 6).current_A
    times = [setting(finish, setdown, mm).time_s(current_A, "flat") for mm in (6, effective_mm(3, 6)[1])]
    assert times[0] / times[1] > ratios[1], "the heat that flows away makes the thick rods longer still"


def test_unlike_rods_are_an_assumption_and_say_so() -> None:
    """No published rule is known: up to sqrt(d1 d2), as crossed cylinders touch like spheres of radius sqrt(R1 R2)."""
    found = rods(3, 6, 2400)
    assert any("Our assumption" in text and "sqrt(d1 d2)" in text for text in found.assumptions)
    assert rods(6, 3, 2400).start_s == found.start_s
    middle_mm = effective_mm(3, 6)[1]
    alike = rods(middle_mm, middle_mm, 2400)
    assert alike.weld is not None
    assert found.weld is not None
    least = setting("cold_drawn", 15, effective_mm(3, 6)[0])
    assert found.start_s == pytest.approx(least.time_s(found.delivered.high, "flat"))
    assert found.weld.low < alike.weld.low < alike.weld.high < found.weld.high
