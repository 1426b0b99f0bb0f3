"""The correction's sums at their exact figures: on small made-up tables, worked by hand and against fractions.

The figures are our own design's. The tables have few entries, an even and an odd number of them, so that each end is near;
numbers that watch their own size go through the sums.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor
from types import SimpleNamespace
from typing import Any

import pytest

from firmware_templates.app.correction import Correction, _permille, corrected, delay_for, most_heat, share
from firmware_templates.app.plan import Plan
from gen.words import (
    CORRECTED,
    CURVE_KEPT,
    KEPT_NOT_MEASURED,
    KEPT_OUTSIDE,
    KEPT_TOO_SHORT,
    KEPT_UNEVEN,
)
from tests.support.app.whole_numbers import Small

EARLIEST_US, STEP_US = 4_000, 107
FALLING = (16_000, 12_000, 9_989, 3_001)
FIVE = (16_000, 12_345, 9_989, 3_001, 0)
FLAT_FIRST = (10, 10, 6)
FLAT_BETWEEN = (10, 6, 6, 2)
FLAT_LAST = (10, 6, 6)
TABLES = (FALLING, FIVE, FLAT_FIRST, FLAT_BETWEEN, FLAT_LAST)


def board(shares: tuple[int, ...], **others: Any) -> Any:
    """A board with this table of planned shares, and no latest delay within reach."""
    figures = {"EARLIEST_DELAY_US": EARLIEST_US, "VOLT_SECONDS_STEP_US": STEP_US, "LATEST_DELAY_US": 9_000, **others}
    numbers = {name: Small(value) if type(value) is int else value for name, value in figures.items()}
    return SimpleNamespace(PLANNED_SHARES=tuple(Small(value) for value in shares), **numbers)


# -- from a delay to a share, and back -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("delay_us", "came"),
    [
        (3_892, 16_000),  # before the table: its first entry
        (3_999, 16_000),
        (4_000, 16_000),
        (4_001, 15_963),  # 4000 / 107 = 37.38 lower, which is rounded to less
        (4_106, 12_038),  # 4000 * 106 / 107 = 3962.6
        (4_107, 12_000),
        (4_108, 11_982),  # 2011 / 107 = 18.8
        (4_214, 9_989),
        (4_267, 6_528),  # 6988 * 53 / 107 = 3461.3
        (4_320, 3_067),  # 6988 * 106 / 107 = 6922.7
        (4_321, 3_001),
        (4_322, 3_001),  # beyond it: its last
        (4_428, 3_001),
        (9_000, 3_001),
    ],
)
def test_the_planned_share_at_a_delay(delay_us: int, came: int) -> None:
    assert share(Small(delay_us), board(FALLING)) == came


def line(delay_us: Fraction | int, shares: tuple[int, ...]) -> Fraction:
    """The share at a delay, not rounded."""
    place = min(max(Fraction(delay_us - EARLIEST_US) / STEP_US, Fraction(0)), Fraction(len(shares) - 1))
    before = min(floor(place), len(shares) - 2)
    return shares[before] + (place - before) * (shares[before + 1] - shares[before])


@pytest.mark.parametrize("shares", TABLES)
def test_every_share_is_the_line_rounded_up(shares: tuple[int, ...]) -> None:
    config = board(shares)
    for delay_us in range(EARLIEST_US - 120, EARLIEST_US + STEP_US * len(shares) + 10):
        assert share(delay_us, config) == ceil(line(delay_us, shares)), delay_us


@pytest.mark.parametrize(
    ("shares", "of_share", "permille", "came"),
    [
        # 981,757 thousandths wanted, 243 below the first of 1000 to lose: 26 us and 1/1000 of one, up for more current.
        ((982, 981), 973, 1_009, 4_027),
        # 961 below: 102 us and 827 thousandths, down for less and for as much.
        ((982, 981), 981_039, 1, 4_102),
        # 757 below: 80 us and 999 thousandths.
        ((982, 981), 981_243, 1, 4_080),
        ((1_000, 980), 990, 1_000, 4_053),  # half of 107: down
        ((1_000, 980), 900, 1_100, 4_054),  # and up
        ((16, 12), 12, 1_000, 4_107),  # an entry of the table is its delay, for as much, for more and for less
        ((16, 12), 8, 1_500, 4_107),
        ((16, 12), 24, 500, 4_107),
        ((16, 12), 16, 1_000, 4_000),
        ((16, 12), 8, 2_000, 4_000),
        ((16, 12), 16, 1_001, 4_000),  # more than there is: the earliest
        ((16, 12), 17, 1_000, 4_000),
        ((16, 12), 12, 999, 4_107),  # less than there is: the end of the table
        ((16, 12), 0, 1_080, 4_107),
        (FALLING, 9_989, 1_000, 4_214),
        (FALLING, 3_001, 920, 4_321),
        (FIVE, 0, 1_000, 4_428),
        # Of equal entries the earlier; at the end of the table the later, where less is wanted.
        (FLAT_FIRST, 10, 1_080, 4_000),
        (FLAT_FIRST, 10, 1_000, 4_000),
        (FLAT_FIRST, 11, 1_000, 4_000),
        (FLAT_BETWEEN, 6, 1_000, 4_107),
        (FLAT_LAST, 6, 1_000, 4_107),
        (FLAT_LAST, 7, 857, 4_214),
    ],
)
def test_the_delay_for_a_share(shares: tuple[int, ...], of_share: int, permille: int, came: int) -> None:
    assert delay_for(Small(of_share), Small(permille), board(shares)) == came


def inverse(wanted: Fraction, shares: tuple[int, ...]) -> Fraction:
    """The earliest delay whose line is no more than that; the end of the table where none is."""
    for n, (left, right) in enumerate(zip(shares, shares[1:])):
        if left <= wanted:
            return Fraction(EARLIEST_US + n * STEP_US)
        if right <= wanted:
            return EARLIEST_US + STEP_US * (n + (left - wanted) / (left - right))
    return Fraction(EARLIEST_US + STEP_US * (len(shares) - 1))


@pytest.mark.parametrize("shares", TABLES)
@pytest.mark.parametrize("permille", [920, 999, 1_000, 1_001, 1_080])
def test_every_delay_is_the_lines_rounded_towards_the_tables_own(shares: tuple[int, ...], permille: int) -> None:
    """Up for more current, down for less; never beyond the latest."""
    latest_us = EARLIEST_US + STEP_US * (len(shares) - 1) - 10
    for of_share in {*range(12), *range(0, 16_400, 41), *shares, *(max(value - 1, 0) for value in shares)}:
        exact = inverse(Fraction(of_share * permille, 1_000), shares)
        came = ceil(exact) if permille > 1_000 else floor(exact)
        assert delay_for(of_share, permille, board(shares)) == came, of_share
        assert delay_for(of_share, permille, board(shares, LATEST_DELAY_US=latest_us)) == min(came, latest_us)


def test_the_heat_one_step_earlier() -> None:
    config = SimpleNamespace(HEAT_STEPS=((4_000, 90), (4_100, 60), (4_200, 30)))
    delays = (3_999, 4_000, 4_001, 4_099, 4_100, 4_101, 4_199, 4_200, 4_201, 9_000)
    assert [most_heat(delay_us, config) for delay_us in delays] == [100, 90, 90, 90, 60, 60, 60, 30, 30, 30]


# -- the rows ------------------------------------------------------------------------------------------------------------

SQUEEZE, COOL, HOLD = ("squeeze", 9, -1, 0), ("cool", 4, -1, 0), ("hold", 5, -1, 0)


def test_the_rows_for_more_and_for_less() -> None:
    """A table of 100 shares to 0 over 100 us: a share is a microsecond. The first half-cycle of each impulse stays at 50 us."""
    config = SimpleNamespace(
        EARLIEST_DELAY_US=0,
        VOLT_SECONDS_STEP_US=100,
        LATEST_DELAY_US=100,
        FIRST_DELAY_US=50,
        PLANNED_SHARES=(100, 0),
        HEAT_STEPS=((20, 80), (50, 40), (100, 10)),
    )
    weld = (SQUEEZE, ("weld", 6, 50, 44), COOL, ("pulse", 1, 50, 39), ("weld", 3, 20, 70), HOLD)
    assert corrected(weld, 1_000, config) is weld
    # 60 of 50 and 96 of 80 are fired at 40 and at 4 us.
    assert corrected(weld, 1_200, config) == (
        SQUEEZE,
        ("weld", 1, 50, 44),
        ("weld", 5, 40, 80),
        COOL,
        ("pulse", 1, 50, 40),
        ("weld", 3, 4, 100),
        HOLD,
    )
    # 40 and 64: at 60 and 36 us.
    assert corrected(weld, 800, config) == (
        SQUEEZE,
        ("weld", 6, 60, 44),
        COOL,
        ("pulse", 1, 60, 40),
        ("weld", 3, 36, 80),
        HOLD,
    )
    # Fired at the first delay itself, and at none: both are delays like any other.
    assert corrected((("weld", 4, 40, 60),), 833, config) == (("weld", 4, 50, 60),)
    assert corrected((("weld", 2, 50, 1), ("weld", 2, 0, 7)), 900, config) == (
        ("weld", 2, 55, 40),
        ("weld", 2, 10, 100),
    )
    assert corrected((("weld", 2, 0, 7), ("weld", 2, 50, 1)), 900, config) == (
        ("weld", 1, 50, 40),
        ("weld", 1, 10, 100),
        ("weld", 2, 55, 40),
    )


# -- what is taken from a weld -------------------------------------------------------------------------------------------


def updated(
    currents_dA: list[int],
    delays_us: list[int] | int = EARLIEST_US,
    count: int | None = None,
    shares: tuple[int, ...] = (12_288, 12_288),
    **limits: Any,
) -> tuple[int, int]:
    """The outcome of the update by a weld of these currents, and the correction in thousandths.

    By default the planned current is 2 * 12,288 / 2**14 tenths of an ampere a gate, or 24 sixteenths of one tenth.
    """
    usual = {"PLANNED_DA": 2, "LEAST_DA": (1,) * 4, "MOST_DA": (900,) * 4, "CORRECT_PERMILLE": 900}
    config = board(shares, **{**usual, **limits})
    delays = [delays_us] * len(currents_dA) if isinstance(delays_us, int) else delays_us
    plan = Plan((SQUEEZE, *(("weld", 1, delay_us, 50) for delay_us in delays), HOLD), 10_000)
    correction = Correction(config)
    curve = SimpleNamespace(currents=currents_dA, count=len(currents_dA) if count is None else count)
    came = correction.update(plan, curve, 0)  # type: ignore[arg-type]
    asked = correction.permille
    correction.reset()
    assert correction.permille == 1_000
    return came, asked


@pytest.mark.parametrize("entries", [4, 5])
def test_the_band_of_a_delay(entries: int) -> None:
    """The least at the interval's end, the most at its begin: of the first before the table, of the last beyond it."""
    least, most = (50, 40, 30, 20, 10)[:entries], (100, 91, 82, 73, 64)[:entries]
    last = entries - 2
    places = {3_892: 0, 3_999: 0, 4_000: 0, 4_106: 0, 4_107: 1, 4_213: 1, 4_214: 2, 4_320: 2}
    places |= {4_321: last, 4_427: last, 4_428: last, 4_535: last, 9_000: last}
    for delay_us, place in places.items():
        ends = {least[place + 1]: CORRECTED, least[place + 1] - 1: KEPT_OUTSIDE}
        ends |= {most[place]: CORRECTED, most[place] + 1: KEPT_OUTSIDE}
        for current_dA, came in ends.items():
            assert updated([current_dA] * 6, delay_us, LEAST_DA=least, MOST_DA=most)[0] == came, (delay_us, current_dA)


@pytest.mark.parametrize(
    ("currents", "came"),
    [
        ([1, 1, 1, 1, 1, 1], 1_000),  # 96 planned, 96 drawn
        ([900, 0, 1, 1, 1, 1], 1_000),  # the first two do not count
        ([1, 1, 2, 2, 2, 2], 600),  # 96 over 160
        ([1, 1, 2, 2, 2, 2, 1], 652),  # 120 over 184: 652.2
        ([1, 1, 9, 9, 9, 9], 158),  # 96 over 608: 157.9
    ],
)
def test_the_thousandths_of_a_weld(currents: list[int], came: int) -> None:
    """A current counts from its middle, 8 sixteenths above what the ammeter rounded down."""
    assert updated(currents) == (CORRECTED, came)


def test_each_gate_is_planned_by_its_own_delay() -> None:
    """11.9 and 13.9 sixteenths, of which whole ones count: 22 planned over 48 drawn one way, 26 the other, 48 over 96."""
    delays = [9_000, 9_000, 4_000, 9_000, 4_000, 9_000]
    assert updated([1] * 6, delays, PLANNED_DA=16, shares=(11 * 64 + 58, 13 * 64 + 58)) == (CORRECTED, 500)


@pytest.mark.parametrize(
    ("asked", "bound", "came"),
    [
        (919, 80, 920),
        (920, 80, 920),
        (921, 80, 921),
        (1_079, 80, 1_079),
        (1_080, 80, 1_080),
        (1_081, 80, 1_080),
        (919, 81, 919),
        (1_081, 81, 1_081),
    ],
)
def test_the_thousandths_stay_in_the_bound(asked: int, bound: int, came: int) -> None:
    """Drawn: 1000 sixteenths of 0.1 A a gate, so that what is planned is what is asked."""
    assert updated([62] * 6, PLANNED_DA=16, CORRECT_PERMILLE=bound, shares=(64 * asked,) * 2) == (CORRECTED, came)


@pytest.mark.parametrize(
    ("odd", "came"), [(1_100, CORRECTED), (1_101, KEPT_UNEVEN), (900, CORRECTED), (899, KEPT_UNEVEN)]
)
def test_the_two_directions_may_be_a_tenth_apart(odd: int, came: int) -> None:
    """Even gates are planned for 1000 of 1000 drawn, odd ones for so many."""
    delays = [4_000, 9_000] * 3
    assert updated([62] * 6, delays, PLANNED_DA=16, shares=(64 * 1_000, 64 * odd))[0] == came


def test_how_many_gates_are_counted() -> None:
    """Four after the first two; a gate whose least is 0 is none of them, one whose least is 1 is."""
    assert updated([1] * 5) == (KEPT_TOO_SHORT, 1_000)
    assert updated([2] * 6) == (CORRECTED, 600)
    late = 4_107
    dark = {"LEAST_DA": (1, 1, 0, 0)}
    assert updated([2] * 7, [4_000] * 3 + [late] + [4_000] * 3, **dark) == (CORRECTED, 600)
    assert updated([2] * 6, [4_000] * 3 + [late] + [4_000] * 2, **dark) == (KEPT_TOO_SHORT, 1_000)
    assert updated([2, 2, 2, -1, 2, 2, 2], [4_000] * 3 + [late] + [4_000] * 3, **dark) == (CORRECTED, 600)


def test_one_gate_is_enough_to_keep_the_correction() -> None:
    """0 is a current, outside the band; -1 is none, nor is what stands behind the count."""
    assert updated([2] * 16 + [0]) == (KEPT_OUTSIDE, 1_000)
    assert updated([2] * 6 + [-1]) == (KEPT_NOT_MEASURED, 1_000)
    assert updated([2] * 7, count=7) == (CORRECTED, 600)
    assert updated([2] * 7, count=6) == (KEPT_NOT_MEASURED, 1_000)
    # Also where the count ends at a gate that is not counted: an earlier weld's currents may stand there.
    assert updated([2] * 7, count=1) == (KEPT_NOT_MEASURED, 1_000)
    assert updated([2] * 7, count=0) == (KEPT_NOT_MEASURED, 1_000)
    # Outside, and in two directions: told is the latter.
    assert updated([2] * 3 + [0] + [2] + [0]) == (KEPT_UNEVEN, 1_000)


def test_as_many_gates_as_the_curve_keeps() -> None:
    """Of a longer weld the rest is not asked for; the last that is kept is."""
    sound = [2] * CURVE_KEPT
    assert updated([*sound, -1, -1]) == (CORRECTED, 600)
    assert updated([*sound[:-1], -1, -1]) == (KEPT_NOT_MEASURED, 1_000)


@pytest.mark.parametrize(
    ("planned", "drawn", "came"),
    [
        (1, 1, 1_000),
        (0, 1, 0),
        (3, 0, 3_000),  # nothing drawn counts as one
        (0, 0, 0),
        (1, 16, 63),  # 62.5: up
        (3, 16, 188),  # 187.5
        (1, 3, 333),
        (2, 3, 667),
        (1 << 19, 3, 174_762_667),  # the bound itself is not halved
        ((1 << 19) + 1, 3, 262_144_000),  # 262,144 over 1
        (1 << 20, 3, 524_288_000),  # 524,288 over 1
        ((1 << 20) + 2, 6, 262_144_000),  # twice halved
        (787, 1 << 19, 2),  # 1.5011
        (787, (1 << 19) + 1, 1),  # 393 over 262,144: 1.4992
        (1 << 27, 1 << 27, 1_000),
    ],
)
def test_thousandths_are_rounded_and_their_sums_stay_small(planned: int, drawn: int, came: int) -> None:
    """A thousand times 2**19 is below 2**30: sums above that are halved together until both are not."""
    assert _permille(Small(planned), Small(drawn)) == came
