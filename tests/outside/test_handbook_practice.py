"""What stands beside the tables: three sheets, the worth of a force, impulses, neighbouring welds, and where nothing helps.

Sources: notes of "Recommended practices for spot welding low-carbon steel" (handbook table, public reproductions); scope of
ISO 14373:2015 (public); BS 1140:1993 (public reproduction); pulsation of 20 cycles on and 5 off at 60 Hz, from memory;
steel's resistivity, from memory; all else facts of the trade, which are common practice, no source.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from gen.boards import boards
from gen.handbook.advice import suggest
from gen.handbook.classes import LOSS_TO_MM, Classes, loss_time_s
from gen.handbook.rods import setting
from gen.handbook.suggestion import Suggestion
from gen.handbook.tables import between, optimum_rows
from gen.joint import FORCE_WITHIN, Joint
from gen.schedule import Pulse, Weld, read_schedule
from gen.timing import compile_schedule
from tests.support.machines import known_welder
from tests.support.outside.suggesting import amperes, named, rods, sheets


def of(current_A: float, frequency_Hz: int = 50, share: float = 0.0, **keys: object) -> Suggestion:
    return suggest(Joint.model_validate(keys), amperes(current_A, share), frequency_Hz)


# -- three sheets ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("pile", [(1.0, 1.0, 1.0), (1.0, 0.6, 1.0), (1.0, 1.6, 1.2), (1.2, 1.6, 1.0), (0.8, 1.0, 0.8)])
def test_three_sheets_go_by_the_thinner_outer_one(pile: tuple[float, float, float]) -> None:
    """Handbook notes: the thinnest outside piece sets the schedule; the range is wider than for two of it, never shorter."""
    outer_mm = min(pile[0], pile[-1])
    two, three = of(7400, sheets_mm=(outer_mm, outer_mm)), of(7400, sheets_mm=pile)
    assert three.weld is not None
    assert two.weld is not None
    assert (three.start_s, three.percent, three.hold) == (two.start_s, two.percent, two.hold)
    assert three.weld.low == two.weld.low
    too_short = any("may be too short" in text for text in three.cautions)
    assert too_short == (sum(pile) / 2 > 1.6)
    assert (three.weld.high == two.weld.high) if too_short else (three.weld.high > two.weld.high)
    assert any("Three sheets" in text and "our assumption" in text for text in three.assumptions)
    assert any("BS 1140" in text for text in three.assumptions) == (sorted(pile)[1] != outer_mm)


def test_three_sheets_want_more_room() -> None:
    """Handbook notes: for three pieces the weld spacing is 30 % more; ISO 14373 ends at 9 mm of three together."""
    mm = 1.016
    two, three = of(7500, sheets_mm=(mm, mm)), of(7500, sheets_mm=(mm, mm, mm))
    spacing = named(three, "spacing, at least", "optimum").middle
    assert spacing == pytest.approx(1.3 * named(two, "spacing, at least", "optimum").middle)
    assert spacing == pytest.approx(1.3 * 19.05)
    assert any("of at most 9 mm" in text for text in of(16000, sheets_mm=(3.1, 3.1, 3.1)).cautions)
    assert not any("of at most 9 mm" in text for text in of(16000, sheets_mm=(3, 3, 3)).cautions)


def test_strength_by_the_thinnest_wherever_it_lies() -> None:
    """A thin sheet in the middle holds no more for the thick ones outside it."""
    thin_inside = of(7400, sheets_mm=(1.0, 0.6, 1.0))
    strength = named(thin_inside, "strength in shear", "optimum").middle
    assert strength == pytest.approx(between(optimum_rows(), 0.6, lambda r: r.strength_N))
    classes, thin = Classes(1.0), Classes(0.6)
    assert classes.pair(7400)[0].letter == "B"
    by_class = named(thin_inside, "strength in shear", "between classes")
    assert (by_class.low, by_class.high) == pytest.approx((thin.at("C").strength_N, thin.at("B").strength_N))
    assert named(thin_inside, "weld size", "3.5 sqrt").low == pytest.approx(3.5 * math.sqrt(0.6))


@pytest.mark.parametrize(
    ("pile", "allowed"),
    [
        ((1.0, 3.0), True),
        ((1.0, 3.1), False),
        ((1.0, 2.0, 1.0), True),
        ((1.0, 2.1, 1.0), False),
        ((0.9, 1.35, 1.35), True),
        ((1.0, 0.5, 1.6), False),
    ],
)
def test_where_the_handbook_rule_ends(pile: tuple[float, ...], allowed: bool) -> None:
    """Handbook notes: ratio of two thicknesses at most 3 to 1, the whole pile at most 4 times the thinnest outside piece."""
    if allowed:
        assert Joint(sheets_mm=pile).sheets_mm == pile
    else:
        with pytest.raises(ValueError, match=r"allowed: at most 3 times|of at most 4 times"):
            Joint(sheets_mm=pile)


def test_unlike_sheets_reach_to_half_the_pile_or_say_not() -> None:
    """Our assumption for the long end of unlike sheets; where nothing is known of half the pile that is a caution."""
    found = of(8500, sheets_mm=(1.0, 1.6))
    assert found.weld is not None
    half_s = Classes(1.3).weld_s(8500)
    assert half_s is not None
    assert found.weld.high == pytest.approx(half_s * 1.25)
    assert "two sheets of 1.3 mm" in found.weld.source
    below_s = Classes(1.3).weld_s(6000)  # below class C of 1.3 mm, so by the loss law, which is worth less
    below = of(6000, sheets_mm=(1.0, 1.6))
    assert below.weld is not None
    assert below_s is not None
    assert below.weld.high == pytest.approx(below_s * 1.30)
    assert "below it and outside the table" in below.weld.source
    short = of(6000, sheets_mm=(1.0, 3.0))
    assert short.known
    assert any("half the pile" in text and "may be too short" in text for text in short.cautions)


# -- what a force is worth ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("how", "within"), [("gauge", 0.05), ("spring", 0.15), ("lever", 0.35), (None, 0.35)])
def test_a_force_is_worth_how_it_was_measured(how: str | None, within: float) -> None:
    """Wider for a spring, widest where it was calculated from a lever or is not known (common practice, no source)."""
    joint = Joint.model_validate({"rods_mm": (5, 5), "force_N": 1000, "force_measured": how})
    assert joint.force == pytest.approx((1000 * (1 - within), 1000 * (1 + within)))
    assert FORCE_WITHIN[how or "lever"] == within
    words = " ".join(suggest(joint, amperes(2400), 50).cautions)
    assert ("calculated from the lever" in words) == (how in ("lever", None))
    assert ("is not known, so taken" in words) == (how is None)


def test_a_vague_force_is_called_vaguely() -> None:
    """The same 1.5 times too much is sure by the gauge and only possible by the lever."""
    table_N = named(sheets(1.016, 7500), "force", "class B").middle
    keys = {"sheets_mm": (1.016, 1.016), "force_N": 1.5 * table_N}
    by_gauge = " ".join(of(7500, **keys, force_measured="gauge").cautions)
    by_lever = " ".join(of(7500, **keys, force_measured="lever").cautions)
    assert "is far from" in by_gauge
    assert "may be far above" in by_lever
    assert any("How it is measured matters" in text for text in sheets(1.016, 7500).practice)


# -- how the current comes ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("frequency_Hz", [50, 60])
@pytest.mark.parametrize(
    ("keys", "current_A", "impulses", "bedded", "sloped"),
    [
        ({"sheets_mm": (3, 3)}, 16000, 2, False, False),
        ({"sheets_mm": (3, 3)}, 10000, 4, False, False),
        ({"sheets_mm": (1, 1)}, 6000, 1, False, False),
        ({"rods_mm": (6, 6)}, 2400, 1, True, True),
        ({"rods_mm": (3, 3)}, 1450, 1, True, False),
        ({"rods_mm": (3, 3)}, 1300, 1, True, True),
        ({"rods_mm": (1.6, 1.6)}, 600, 1, False, False),
        ({"rods_mm": (12, 12)}, 8000, 6, True, False),
        ({"rods_mm": (12, 12)}, 5600, 20, True, False),
    ],
)
def test_thick_work_is_pulsed_and_rods_are_bedded_in(
    tmp_path: Path,
    keys: dict[str, object],
    current_A: float,
    impulses: int,
    bedded: bool,
    sloped: bool,
    frequency_Hz: int,
) -> None:
    """The schedule compiles; impulses together last the time suggested, each at most a third of a second, at 50 and 60 Hz."""
    found = of(current_A, frequency_Hz, **keys)
    shape = found.shape
    assert (shape.impulses, shape.bedding_s > 0, shape.upslope_s > 0) == (impulses, bedded, sloped)
    path = tmp_path / "guess.toml"
    path.write_text(found.schedule_text())
    phases = read_schedule(path).phases
    pulses = [phase for phase in phases if isinstance(phase, Pulse)]
    (weld,) = (phase for phase in phases if isinstance(phase, Weld))
    main = [pulse for pulse in pulses if pulse.current_percent == found.percent]
    cycles = float(weld.weld.value) + sum(pulse.repeat * float(pulse.pulse.value) for pulse in main)
    assert cycles == found.weld_cycles
    assert cycles / frequency_Hz == pytest.approx(found.start_s, abs=0.5001 / frequency_Hz)
    assert sum(pulse.repeat for pulse in main) == impulses - 1
    if 1 < impulses < 20:
        assert float(weld.weld.value) / frequency_Hz <= 20 / 60 + 1.5 / frequency_Hz
        assert any("pulsation" in text and "outside the tables" in text for text in found.practice)
    assert (weld.upslope is not None) == sloped
    assert len(pulses) - len(main) == bedded
    welder = known_welder(mains={"frequency_Hz": frequency_Hz}, limits={"longest_weld": "20 s"})
    assert compile_schedule(read_schedule(path), welder, boards()["pico"], path).fired_half_cycles > 0


def test_pauses_make_the_long_end_longer() -> None:
    """5 cycles off after 20 on: at the worst a quarter of the heat is lost (our assumption)."""
    pulsed, single = of(10500, sheets_mm=(2.4, 2.4)), of(10500, sheets_mm=(2.38, 2.38))
    assert (pulsed.shape.impulses > 1, single.shape.impulses) == (True, 1)
    assert pulsed.weld is not None
    assert single.weld is not None
    assert pulsed.weld.high / single.weld.high == pytest.approx(1.25, rel=0.02)
    assert pulsed.weld.low / single.weld.low == pytest.approx(1, rel=0.02)


@pytest.mark.parametrize(("full_A", "bedded"), [(10_250, True), (10_500, False)])
def test_nothing_to_come_down_from(full_A: float, bedded: bool) -> None:
    """At 40 % there is no softer current to bed in with: the pulse and the slope are left out."""
    table_A = setting("cold_drawn", 15, 6).current_A
    found = rods(6, 6, full_A)
    assert found.percent == math.floor(100 * table_A / full_A) == (41 if bedded else 40)
    assert (found.shape.bedding_s > 0) == bedded
    assert "upslope" not in found.schedule_text() or bedded


@pytest.mark.parametrize(("share", "soft"), [(1.0, 60), (0.7, 42), (0.5, 40)])
def test_how_soft_the_bedding_pulse_is(share: float, soft: int) -> None:
    """Six tenths of the weld's percent, and never below 40 %, where the tap would be changed (common practice, no source)."""
    table_A = setting("cold_drawn", 15, 6).current_A
    assert rods(6, 6, table_A / share * 0.999).shape.soft_percent == soft


def test_rods_are_held_as_long_as_the_table_welds_them() -> None:
    """Half a second, thick rods longer (common practice, no source: the table has none)."""
    for mm, hold_s in ((5, 0.5), (12.7, 1.0)):
        hold = rods(mm, mm, setting("cold_drawn", 15, mm).current_A).hold
        assert hold is not None
        assert hold.middle == pytest.approx(hold_s)
        assert "no source" in hold.source


def test_hold_is_at_least_the_tables() -> None:
    """The optimum table's hold is a least one: in the schedule it is rounded up to whole cycles, never down."""
    for frequency_Hz in (50, 60):
        found = sheets(1.0, 7400, frequency_Hz)
        assert found.hold is not None
        (cycles,) = re.findall(r'hold = "(\d+) cycles"', found.schedule_text())
        assert 0 <= int(cycles) / frequency_Hz - found.hold.low < 1 / frequency_Hz


def test_setdown_is_reported_in_millimetres() -> None:
    """15 % of the thinner rod, by caliper (common practice, no source)."""
    assert any("0.6 mm less" in text for text in rods(4, 6, 2400).practice)


# -- beside and below -----------------------------------------------------------------------------------------------


def test_too_near_the_last_weld_or_the_edge() -> None:
    """The optimum table's least spacing (19.05 mm) and overlap (12.7 mm) for 0.040 in, one step either side."""

    def words(**keys: float) -> str:
        return " ".join(of(7500, sheets_mm=(1.016, 1.016), **keys).cautions)

    assert "part of the current flows through the last weld" in words(pitch_mm=19)
    assert "pitch" not in words(pitch_mm=19.1)
    assert "expulsion at the edge" in words(overlap_mm=12.6)
    assert "edge" not in words(overlap_mm=12.8)


def test_how_much_goes_round_a_mesh() -> None:
    """Four sides of 100 mm of 5 mm rod by hand: 1.4e-7 x 0.4 / 1.963e-5 = 2.85 mohm, so 0.1 V sends 35 A."""
    told = " ".join(of(2400, rods_mm=(5, 5), pitch_mm=100).practice)
    assert "2.85 mohm" in told
    assert "35.1 A round it, 1.46 %" in told
    assert "Order of a rack" in told
    assert "mohm" not in " ".join(of(2400, rods_mm=(5, 5)).practice)


def test_grooved_against_flat() -> None:
    """A groove of the rod's radius is praised; a narrower one marks twice, a wider one as a flat face does."""

    def cautions(**keys: float) -> str:
        return " ".join(of(2400, rods_mm=(5, 5), **keys).cautions)

    assert "lets it roll" in cautions()
    assert cautions(groove_radius_mm=2.5) == ""
    assert "too narrow" in cautions(groove_radius_mm=2.3)
    assert "touches it almost along a line" in cautions(groove_radius_mm=3.2)
    unlike = " ".join(of(2400, rods_mm=(4, 6), groove_radius_mm=3).cautions)
    assert "rod of 4 mm" in unlike
    assert "rod of 6 mm" not in unlike
    for keys, words in (({}, "along a line"), ({"groove_radius_mm": 2.5}, "over an arc")):
        assert any(words in text for text in of(2400, rods_mm=(5, 5), **keys).practice)


@pytest.mark.parametrize("mm", [0.5, 0.8, 1.0, 1.3, 1.57, 2.0])
def test_below_what_current_no_time_will_do(mm: float) -> None:
    """Sheets: where the loss law fits it is a figure, and the law indeed never gets there; above 0.062 in it is not known."""
    found = sheets(mm, Classes(mm).at("C").current_A * 1.01)
    figures = [figure for name, figure in found.figures if name == "no time is enough below"]
    law = Classes(mm).law
    assert (law is not None) == (mm <= LOSS_TO_MM) == (len(figures) == 1)
    if law is None:
        assert "is not known either" in sheets(mm, 3000).why_not
        return
    assert figures[0].low <= law[1] <= figures[0].high
    assert "rough" in figures[0].source
    assert loss_time_s(*law, law[1] * 0.999) == math.inf
    assert loss_time_s(*law, law[1] * 1.001) < math.inf
    assert "no time is enough" in sheets(mm, figures[0].low * 0.9).why_not


def test_below_what_current_no_time_will_do_for_rods() -> None:
    """Rods: by a conduction fit, and called that; over the effective diameters of unlike ones."""
    found = rods(3, 6, 2400)
    never = named(found, "no time is enough below", "a conduction fit")
    middle = setting("cold_drawn", 15, math.sqrt(18))
    assert never.low < middle.least_A("flat") < middle.least_A("groove") <= never.high * (1 + 1e-9)
    assert "no time is enough" in rods(3, 6, never.low * 0.99).why_not
    assert not rods(3, 6, never.low * 0.99).known


def test_other_tables_stand_beside() -> None:
    """Each other table's time at this very current, with its own force and nothing of ours; the optimum only near its point."""
    found = sheets(1.0, 7400)
    assert [(f.low, f.high) for f in found.other_times] == [(0.18, 0.24), (0.14, 0.2)]
    assert all("with its force" in f.source for f in found.other_times)
    assert "1400 to 1500 N" in found.other_times[0].source
    optimum_A = between(optimum_rows(), 1.0, lambda r: r.current_A)
    near = [f.source for f in sheets(1.0, optimum_A).other_times]
    assert any(source.startswith("optimum table") for source in near)
    for share, told in ((0.91, True), (0.89, False)):
        sources = [f.source for f in sheets(1.0, share * optimum_A).other_times]
        assert any(source.startswith("optimum table") for source in sources) == told
    assert "of class B" in found.against
