"""A figure with a range and a source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

_KILO = 1000.0


@dataclass(frozen=True)
class Figure:
    """From `low` to `high`, both included, in `unit`. `source`: given, typical, or how it was computed."""

    low: float
    high: float
    unit: str
    source: str

    @property
    def middle(self) -> float:
        """For calculations with one number; judge by the ends."""
        return (self.low + self.high) / 2

    @property
    def handy(self) -> Figure:
        """The figure, with thousands of amperes in kA."""
        if self.unit != "A" or max(abs(self.low), abs(self.high)) < _KILO:
            return self
        return replace(self, low=self.low / _KILO, high=self.high / _KILO, unit="kA")

    @property
    def text(self) -> str:
        """The range in three digits: `22.1 to 25.4 A`, `1.64 to 2.14 kA`."""
        handy = self.handy
        return f"{handy.span} {handy.unit}".rstrip()

    @property
    def span(self) -> str:
        """The range in three digits, without its unit."""
        low, high = shown(self.low), shown(self.high)
        return low if low == high else f"{low} to {high}"


def shown(value: float) -> str:
    """A number in three digits, without powers of ten."""
    return f"{float(f'{value:.3g}'):.12g}"


def spanning(values: Iterable[float], unit: str, source: str) -> Figure:
    """The figure that spans all `values`."""
    found = list(values)
    return Figure(min(found), max(found), unit, source)
