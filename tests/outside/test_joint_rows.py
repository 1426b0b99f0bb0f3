"""The joint model against rows of the handbook tables that nothing was fitted to, and against practice.

Sources: the class A, B and C table (C from memory) and the cross-wire table (from memory but for cold-drawn rods at 15 and 30
% setdown); small-machine times for rods: common practice, no source. All rows: `python -m tests.campaigns.joint_rows`, which
also says where the model fails: sheets below 0.6 mm, and the times of sheets, for a nugget grows slowly at last.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from gen.handbook.tables import class_rows, optimum_rows
from sim.joint.contact import Contacts
from sim.joint.outcome import forge_C
from sim.joint.weld import Span, steady
from sim.joint.work import COARSE, Work, one_weld
from tests.campaigns.joint_rows import Row, computed_row, rows


def _held_out(table: str, inches: str) -> Row:
    row = next(each for each in rows() if each.table == table and each.name.startswith(inches))
    assert not row.fitted
    return row


@pytest.mark.parametrize(
    ("table", "inches"), [("class A", "0.062"), ("class B", "0.050"), ("class B", "0.125"), ("class C", "0.094")]
)
def test_nuggets_held_out(table: str, inches: str) -> None:
    """Within 15 %."""
    row = _held_out(table, inches)
    assert computed_row(row, Contacts()).made_m == pytest.approx(row.wanted_m, rel=0.15)


@pytest.mark.parametrize(
    ("table", "inches"), [("cold_drawn 30 %", "0.25"), ("cold_drawn 30 %", "0.5"), ("hot_drawn 15 %", "0.375")]
)
def test_setdowns_held_out(table: str, inches: str) -> None:
    """Setdown within a quarter of itself, weld time within 30 %."""
    row = _held_out(table, inches)
    found = computed_row(row, Contacts())
    assert found.made_m == pytest.approx(row.wanted_m, rel=0.25)
    assert found.time_s == pytest.approx(row.weld_s, rel=0.30)


def test_the_tables_differ_in_nuggets_by_what_is_a_factor_in_time() -> None:
    """The same time, currents within 7 %: class A's nugget over the optimum table's fused zone, from 0.010 to 0.040 in."""
    best = {row.thickness_in: row for row in optimum_rows()}
    ratios = []
    for row in class_rows("A")[:4]:
        other = best[row.thickness_in]
        assert row.weld_s == other.weld_s
        assert row.current_A == pytest.approx(other.current_A, rel=0.07)
        ratios.append(row.nugget_mm / other.fused_zone_mm)
    assert ratios == pytest.approx([1.15, 1.22, 1.30, 1.27], abs=0.005)


def test_rods_of_all_diameters_want_one_heat() -> None:
    """The table's rows of one setdown have J^2 t within 11 to 14 %; the model's of 30 %, from 1/8 to 1/2 in, too."""
    heats = []
    for inches in ("0.125", "0.25", "0.5"):
        row = _held_out("cold_drawn 30 %", inches)
        density = row.current_A / (math.pi / 4 * row.work.thin_m**2)
        heats.append(density**2 * computed_row(row, Contacts()).time_s)
    assert np.std(heats) / np.mean(heats) < 0.14
    assert np.mean(heats) == pytest.approx(17300e12, rel=0.2)


def test_two_thick_rods_want_far_more_than_thin_across_thick() -> None:
    """On one small machine 3 mm across 6 mm is right near 1.2 s, and two 6 mm rods at 2 s just hold (common practice, no
    source).
    """
    thin = Work("low_carbon_steel", 1000, rods_m=(3e-3, 6e-3), strip=(0.15, 0.15), along=1.5)
    right = one_weld(thin, (Span(2.4, steady(1340)),), fineness=COARSE, until=lambda m: m.setdown_m >= 0.15 * 3e-3)
    assert right.time_s[-1] == pytest.approx(1.2, rel=0.3)
    thick = Work("low_carbon_steel", 1000, rods_m=(6e-3, 6e-3), strip=(0.15, 0.15), along=1.5)
    at_two = one_weld(thick, (Span(2.0, steady(1340)),), fineness=COARSE)
    assert at_two.joint_C == pytest.approx(forge_C("low_carbon_steel"), abs=150)
    assert 0.03 < at_two.setdown_m / 6e-3 < 0.08
