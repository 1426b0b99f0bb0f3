"""Times in the trade's units: half-cycles, cycles, milliseconds, degrees. They are exact, and every rounding is reported.

Also typed numbers, and the inch and the pound of the printed tables.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

INCH_MM = 25.4
POUND_N = 4.448222  # of force
PACES = (0.1, 120.0)  # welds a minute, least and most
PACE = 4.0  # where none is given

# A number of TOML 1.0.0 without underscores; a sign, or the digits on one side of the point, may be missing.
NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_MOST_LETTERS = 40

Unit = Literal["half-cycles", "cycles", "ms", "s"]

# Nine digits are enough for every time, and few enough that no arithmetic overflows.
_TIME = re.compile(r"\s*([0-9]{1,9}(?:\.[0-9]{1,9})?)\s*(half-cycles?|cycles?|ms|s)\s*")
_UNITS: dict[str, Unit] = {"half-cycle": "half-cycles", "cycle": "cycles"}

TIME_FORMS = 'a number above 0 with a unit, such as "10 half-cycles", "5 cycles", "200 ms" or "0.4 s"'
TIME_ALLOWED = f"allowed: {TIME_FORMS}"


def typed_number(text: str) -> float:
    """A typed number. Raises ValueError for forms that only Python accepts: 1_0, spaces, another script's digits."""
    if len(text) > _MOST_LETTERS or re.fullmatch(NUMBER, text) is None:
        raise ValueError("no number")
    return float(text)


def typed_whole(text: str) -> int:
    """A typed whole number, without a point or an exponent. Raises ValueError."""
    typed_number(text)
    return int(text)


@dataclass(frozen=True)
class Duration:
    """A time as written by the user: `value` in `unit`, exact."""

    value: Fraction
    unit: Unit

    @property
    def counted(self) -> bool:
        """Whether it is given in half-cycles or cycles, and must fit the mains exactly."""
        return self.unit in ("half-cycles", "cycles")

    def half_cycles(self, frequency_Hz: int) -> Fraction:
        """This time in mains half-cycles at `frequency_Hz`, not rounded."""
        per_unit = {
            "half-cycles": Fraction(1),
            "cycles": Fraction(2),
            "ms": Fraction(2 * frequency_Hz, 1000),
            "s": Fraction(2 * frequency_Hz),
        }
        return self.value * per_unit[self.unit]

    def __str__(self) -> str:
        unit = self.unit.rstrip("s") if self.counted and self.value == 1 else self.unit
        return f"{float(self.value):.15g} {unit}"


@dataclass(frozen=True)
class Rounded:
    """A time rounded to whole half-cycles. `off_by`: the half-cycles added, negative if removed."""

    half_cycles: int
    off_by: Fraction


def parse_duration(text: str) -> Duration:
    """Read a time such as "0.4 s". Raises ValueError, with what is allowed, for any other text and for zero."""
    found = _TIME.fullmatch(text)
    if found is None or Fraction(found[1]) == 0:
        raise ValueError(TIME_ALLOWED)
    unit = found[2]
    return Duration(Fraction(found[1]), _UNITS.get(unit.rstrip("s"), unit))  # type: ignore[arg-type]


def nearest(half_cycles: Fraction) -> Rounded:
    """The nearest whole number of half-cycles; ties go up, because a longer unfired time is harmless."""
    whole = int(half_cycles + Fraction(1, 2))
    return Rounded(whole, whole - half_cycles)


def nearest_even(half_cycles: Fraction) -> Rounded:
    """The nearest even number of half-cycles; ties go down, so that heat is never added."""
    pairs = half_cycles / 2
    low = int(pairs)
    whole = 2 * (low + 1 if pairs - low > Fraction(1, 2) else low)
    return Rounded(whole, whole - half_cycles)


def milliseconds(half_cycles: int, frequency_Hz: int) -> float:
    """Length of `half_cycles` at `frequency_Hz`, in ms."""
    return half_cycles * 500 / frequency_Hz


def degrees_to_us(degrees: float, frequency_Hz: float) -> float:
    """An angle of the mains voltage as a time from its zero crossing, in microseconds."""
    return degrees / 360 / frequency_Hz * 1e6


def us_to_degrees(us: float, frequency_Hz: float) -> float:
    """The inverse of `degrees_to_us`."""
    return us * 360 * frequency_Hz / 1e6
