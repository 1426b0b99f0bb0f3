"""Reads measures as typed in the shop: `1/4in`, `5 mm`, `8 swg`, `50 kg` of force, `120V`, `2.5 kVA`, `5x8` or `5, 8`.

`Measures` prints lengths and forces, in millimetres and newtons or in inches and pounds.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from gen.ranges import Figure, shown
from gen.units import INCH_MM, NUMBER, POUND_N

STANDARD_GRAVITY = 9.80665  # m/s2, by definition
POUND_KG = 0.45359237

# For each unit at the end of a key, the units that may be typed.
UNITS: Mapping[str, Mapping[str, float]] = {
    "mm": {"mm": 1, "cm": 10, "m": 1000, "in": INCH_MM, "inch": INCH_MM, '"': INCH_MM, "ft": 12 * INCH_MM},
    "N": {"N": 1, "kN": 1000, "kgf": STANDARD_GRAVITY, "kg": STANDARD_GRAVITY, "lbf": POUND_N, "lb": POUND_N},
    "kg": {"kg": 1, "g": 0.001, "lb": POUND_KG},
    "V": {"V": 1, "mV": 0.001, "kV": 1000},
    "A": {"A": 1, "mA": 0.001, "kA": 1000},
    "mA": {"mA": 1, "A": 1000},
    "kVA": {"kVA": 1, "VA": 0.001},
    "Hz": {"Hz": 1},
    "percent": {"%": 1, "percent": 1, "per cent": 1},
    "ohm": {"ohm": 1, "mohm": 0.001},
    "mH": {"mH": 1, "uH": 0.001},
    "us": {"us": 1, "ms": 1000},
    "min": {"min": 1, "s": 1 / 60, "h": 60},
    "s": {"s": 1, "ms": 0.001},
    "C": {"C": 1, "degC": 1},
    "m": {"m": 1, "cm": 0.01, "mm": 0.001, "ft": 0.3048},
    "mm2": {"mm2": 1},
}
# Imperial standard wire gauge of 1883, inches (from memory). AWG: ASTM B258's rule.
SWG_IN = dict(
    enumerate(
        (
            0.324, 0.300, 0.276, 0.252, 0.232, 0.212, 0.192, 0.176, 0.160, 0.144, 0.128, 0.116, 0.104, 0.092, 0.080, 0.072,
            0.064, 0.056, 0.048, 0.040, 0.036, 0.032, 0.028, 0.024, 0.022, 0.020, 0.018, 0.0164, 0.0148, 0.0136, 0.0124,
        )
    )
)  # fmt: skip
AWG_GAUGES = range(41)

_MEASURE = re.compile(
    rf"\s*(?:(?P<whole>[0-9]{{1,6}})[\s-]+)?(?P<part>[0-9]{{1,6}}/[0-9]{{1,6}}|{NUMBER})\s*(?P<unit>.*?)\s*"
)
_DECIMAL_COMMA = re.compile(r"\s*[-+]?[0-9]+,[0-9]+\s*[^0-9,]*")
_LIST = re.compile(r"\s*[,;xX\u00d7]\s*|\s+(?:by|on|and)\s+")


@dataclass(frozen=True)
class Measures:
    """The units in which lengths and forces are printed."""

    units: Mapping[str, tuple[str, float]]
    """By unit of computation: (printed unit, its size in that unit)."""

    def figure(self, figure: Figure) -> Figure:
        """The figure in the printed unit; unchanged if it is neither a length nor a force."""
        unit, each = self.units.get(figure.unit, (figure.unit, 1))
        return figure if each == 1 else Figure(figure.low / each, figure.high / each, unit, figure.source)

    def text(self, figure: Figure) -> str:
        """The figure in words, without its source."""
        return self.figure(figure).text

    def length(self, length_mm: float) -> str:
        """A computed length, in three digits."""
        return self._text(length_mm, "mm")

    def force(self, force_N: float) -> str:
        """A force, in three digits."""
        return self._text(force_N, "N")

    def given(self, lengths_mm: Iterable[float], joined: str = "") -> str:
        """Given lengths with one unit: millimetres unchanged, converted ones in three digits."""
        unit, each = self.units.get("mm", ("mm", 1))
        return f"{joined.join(f'{mm:g}' if each == 1 else shown(mm / each) for mm in lengths_mm)} {unit}"

    def _text(self, value: float, unit: str) -> str:
        name, each = self.units.get(unit, (unit, 1))
        return f"{shown(value / each)} {name}"


METRIC = Measures({})
INCH = Measures({"mm": ("in", INCH_MM), "N": ("lb", POUND_N)})


class NoQuantity(ValueError):
    """Text that is no measure in the unit wanted. Its message adds to what is allowed, or is empty."""


def measure(text: str, unit: str) -> float:
    """A measure in `unit`, one of `UNITS`; a bare number is in that unit. Raises NoQuantity.

    A gauge (`8 swg`, `16 awg`) is a diameter in mm.
    """
    found = _MEASURE.fullmatch(text)
    if found is None or len(text) > 60:
        raise NoQuantity(_why_not(text, unit))
    try:
        value = float(Fraction(found["part"])) if "/" in found["part"] else float(found["part"])
    except ZeroDivisionError:
        raise NoQuantity("a fraction over 0 is no number") from None
    if found["whole"] is not None:
        if "/" not in found["part"]:
            raise NoQuantity(_why_not(text, unit))
        value += int(found["whole"])
    if not found["unit"]:
        return value
    if unit == "mm" and found["unit"].lower() in ("swg", "awg"):
        return _gauge_mm(value, found["unit"].lower())
    factor = _factor(found["unit"], unit)
    if factor is None:
        raise NoQuantity(_why_not(text, unit))
    return value if factor == 1 else float(f"{value * factor:.7g}")


def parts(text: str) -> list[str]:
    """The parts of a list: `5x8`, `5, 8` or `5 on 8`."""
    return [part for part in _LIST.split(text.strip()) if part]


def unit_of(key: str) -> str | None:
    """The unit that a key of a user's file ends with; None where it has none."""
    ending = key.rpartition("_")[2]
    return ending if ending in UNITS else None


def _factor(given: str, unit: str) -> float | None:
    known = UNITS[unit]
    given = given.replace("\u00b5", "u").replace("\u03bc", "u").replace("\u2033", '"')
    if given in known:
        return known[given]
    alike = [name for name in known if name.lower() == given.lower().rstrip(".")]
    return known[alike[0]] if len(alike) == 1 else None


def _gauge_mm(number: float, gauge: str) -> float:
    """Diameter of a wire of this gauge. Raises NoQuantity."""
    gauges = SWG_IN if gauge == "swg" else AWG_GAUGES
    if number not in gauges:
        raise NoQuantity(f"{gauge} goes from 0 to {max(gauges)} here, in whole numbers")
    if gauge == "swg":
        return float(f"{SWG_IN[int(number)] * INCH_MM:.5g}")
    return float(f"{0.005 * 92 ** ((36 - int(number)) / 39) * INCH_MM:.5g}")


def _why_not(text: str, unit: str) -> str:
    """What the writer most likely meant; "" if that is not clear."""
    if _DECIMAL_COMMA.fullmatch(text):
        return f"a decimal comma; write a point: {text.strip().replace(',', '.', 1)}"
    ending = re.search(r"[A-Za-z\"%]+\.?\s*$", text)
    if ending and ending[0].strip().lower() in ("ga", "gauge", "g"):
        return "a gauge has several meanings; write swg, awg, mm or in"
    if ending and re.match(r"\s*[0-9]", text):
        return f"units taken here: {', '.join(UNITS[unit])}"
    return ""
