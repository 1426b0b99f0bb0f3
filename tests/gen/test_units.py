"""Times: exact conversion, and rounding that is never silent and never adds heat."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gen.units import (
    Duration,
    Unit,
    degrees_to_us,
    milliseconds,
    nearest,
    nearest_even,
    parse_duration,
    us_to_degrees,
)

UNITS: tuple[Unit, ...] = ("half-cycles", "cycles", "ms", "s")
frequencies = st.sampled_from((50, 60))
half_cycles = st.fractions(min_value=0, max_value=100_000, max_denominator=10_000)


@pytest.mark.parametrize(
    ("text", "frequency_Hz", "expected"),
    [
        ("10 half-cycles", 50, 10),
        ("1 half-cycle", 60, 1),
        ("5 cycles", 60, 10),
        ("1 cycle", 50, 2),
        ("200 ms", 50, 20),
        ("200 ms", 60, 24),
        ("0.4 s", 50, 40),
        ("0.1 s", 60, 12),
        ("1.5 cycles", 50, 3),
        ("25 ms", 60, 3),
        (" 2s ", 50, 200),
    ],
)
def test_times_in_half_cycles(text: str, frequency_Hz: int, expected: int) -> None:
    """By hand: a half-cycle is 10 ms at 50 Hz and 8 1/3 ms at 60 Hz."""
    assert parse_duration(text).half_cycles(frequency_Hz) == expected


@pytest.mark.parametrize(
    "text",
    ["", "s", "4", "4 S", "4 sec", "4 minutes", "-4 s", "+4 s", "0 s", "0.000 cycles", "4. s", ".4 s", "4,0 s", "1e3 ms", "4 s s",
     "٤ s", "nan s", "inf s", "1234567890 s", "4 half cycles", "4 s\x00"],
)  # fmt: skip
def test_no_other_text_is_a_time(text: str) -> None:
    """Nonsense is refused, and nothing is guessed: neither a comma, nor a power of ten, nor another script's digits."""
    with pytest.raises(ValueError, match=r"^allowed: a number above 0 with a unit"):
        parse_duration(text)


@given(st.integers(0, 999_999_999), st.integers(0, 999_999_999), st.sampled_from(UNITS), frequencies)
def test_conversion_is_exact(whole: int, decimals: int, unit: Unit, frequency_Hz: int) -> None:
    """No binary fraction creeps in: what was written, times the half-cycles of its unit, to the last decimal."""
    text = f"{whole}.{decimals:09} {unit}"
    value = whole + Fraction(decimals, 10**9)
    if value == 0:
        return
    per_unit = {"half-cycles": 1, "cycles": 2, "ms": Fraction(2 * frequency_Hz, 1000), "s": 2 * frequency_Hz}
    assert parse_duration(text).half_cycles(frequency_Hz) == value * per_unit[unit]


@given(st.integers(1, 999_999), st.sampled_from(UNITS))
def test_a_time_reads_back_as_it_is_shown(value: int, unit: Unit) -> None:
    """Messages show a time as the user could type it."""
    time = Duration(Fraction(value, 100), unit)
    assert parse_duration(str(time)) == time


def test_one_is_singular() -> None:
    """As a person would write it."""
    assert [str(parse_duration(text)) for text in ("1 cycles", "1 half-cycles", "1 ms", "2 cycle")] == [
        "1 cycle",
        "1 half-cycle",
        "1 ms",
        "2 cycles",
    ]


@given(half_cycles)
def test_unfired_times_go_to_the_nearest_half_cycle(exact: Fraction) -> None:
    """At most half a half-cycle away, and the difference is told to the last digit."""
    rounded = nearest(exact)
    assert abs(rounded.off_by) <= Fraction(1, 2)
    assert rounded.half_cycles - rounded.off_by == exact


@given(half_cycles)
def test_fired_times_go_to_the_nearest_even_number(exact: Fraction) -> None:
    """Even, at most one half-cycle away, and the difference is told to the last digit."""
    rounded = nearest_even(exact)
    assert rounded.half_cycles % 2 == 0
    assert abs(rounded.off_by) <= 1
    assert rounded.half_cycles - rounded.off_by == exact


@given(st.integers(0, 10_000))
def test_ties(n: int) -> None:
    """Unfired ties go up, since a squeeze or a rest only gains by it; fired ties go down, so that no heat is added."""
    assert nearest(n + Fraction(1, 2)).half_cycles == n + 1
    assert nearest_even(Fraction(2 * n + 1)).half_cycles == 2 * n


@given(half_cycles, half_cycles)
def test_rounding_keeps_the_order(one: Fraction, other: Fraction) -> None:
    """A longer time never becomes a shorter one."""
    low, high = sorted((one, other))
    assert nearest(low).half_cycles <= nearest(high).half_cycles
    assert nearest_even(low).half_cycles <= nearest_even(high).half_cycles


@given(st.floats(0, 180), frequencies)
def test_degrees_and_microseconds(degrees: float, frequency_Hz: int) -> None:
    """There and back; 90 degrees are 5 ms at 50 Hz and 4 1/6 ms at 60 Hz."""
    assert us_to_degrees(degrees_to_us(degrees, frequency_Hz), frequency_Hz) == pytest.approx(degrees, abs=1e-9)
    assert degrees_to_us(90, 50) == pytest.approx(5000)
    assert degrees_to_us(90, 60) == pytest.approx(4166.667, abs=0.001)


def test_milliseconds() -> None:
    """Twenty half-cycles are 200 ms at 50 Hz; twenty-four at 60 Hz."""
    assert (milliseconds(20, 50), milliseconds(24, 60)) == (200, 200)
