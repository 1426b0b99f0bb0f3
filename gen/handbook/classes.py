"""The class table at one thickness: between its classes, a little below class C, and where no weld time is enough."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from gen.handbook.tables import ClassRow, between, class_rows, from_memory
from gen.roots import root
from gen.units import INCH_MM

LOSS_TO_MM = 1.575  # 0.062 in: in thicker sheets classes A and C do not follow the loss law
BELOW_C = 0.85  # least current with a suggestion, over class C's
# The error of a time: the worst error of class B predicted from classes A and C, by each of the two rules.
WITHIN_CLASSES = 0.25
WITHIN_LOSS = 0.30


def loss_law(first: tuple[float, float], second: tuple[float, float]) -> tuple[float, float] | None:
    """(tau s, Ic A) of t = -tau ln(1 - (Ic/I)^2) through two (time s, current A), the first the greater current.

    A first-order loss of heat: at Ic the weld temperature is reached after infinite time. None where no law fits.
    """
    (t1, i1), (t2, i2) = first, second

    def miss(x: float) -> float:
        return math.log1p(-x / i2**2) / math.log1p(-x / i1**2) - t2 / t1

    least, most = 1e-6 * i2**2, (1 - 1e-12) * i2**2
    if miss(least) >= 0 or miss(most) <= 0:
        return None
    x = root(miss, least, most)
    return -t1 / math.log1p(-x / i1**2), math.sqrt(x)


def loss_time_s(tau_s: float, least_A: float, current_A: float) -> float:
    """Time of the loss law; infinite at `least_A` and below."""
    return math.inf if current_A <= least_A else -tau_s * math.log1p(-((least_A / current_A) ** 2))


@dataclass(frozen=True)
class Classes:
    """The class table at one thickness."""

    thickness_mm: float

    def at(self, letter: str) -> ClassRow:
        """A class at this thickness. Its `printed` names the thickness, not a row."""
        rows, mm = class_rows(letter), self.thickness_mm
        return ClassRow(
            thickness_in=mm / INCH_MM,
            letter=letter,
            weld_cycles_60Hz=between(rows, mm, lambda r: r.weld_cycles_60Hz),
            force_lb=between(rows, mm, lambda r: r.force_lb),
            current_A=between(rows, mm, lambda r: r.current_A),
            nugget_in=between(rows, mm, lambda r: r.nugget_in),
            shear_lb=between(rows, mm, lambda r: r.shear_lb),
            from_memory=from_memory(rows, mm),
        )

    @cached_property
    def rows(self) -> tuple[ClassRow, ClassRow, ClassRow]:
        """A, B and C, by falling current."""
        return self.at("A"), self.at("B"), self.at("C")

    @cached_property
    def law(self) -> tuple[float, float] | None:
        """The loss law through classes A and C. None where none fits, and above 0.062 in, where it does not hold."""
        a, _, c = self.rows
        if self.thickness_mm > LOSS_TO_MM:
            return None
        return loss_law((a.weld_s, a.current_A), (c.weld_s, c.current_A))

    def pair(self, current_A: float) -> tuple[ClassRow, ClassRow]:
        """The classes on either side of a current: A twice above class A, C twice below class C."""
        a, b, c = self.rows
        if current_A >= a.current_A:
            return a, a
        if current_A < c.current_A:
            return c, c
        return (a, b) if current_A >= b.current_A else (b, c)

    def along(self, current_A: float, first: tuple[float, float], second: tuple[float, float]) -> float:
        """The value at a current, interpolated between the logarithms of two (current, value)."""
        (i1, v1), (i2, v2) = first, second
        if i1 == i2:
            return v1
        share = math.log(current_A / i1) / math.log(i2 / i1)
        return float(v1 ** (1 - share) * v2**share)

    def weld_s(self, current_A: float) -> float | None:
        """Weld time: between classes by interpolation, above A by equal I^2 t, below C by the loss law; None: not known."""
        a, _, c = self.rows
        if current_A >= a.current_A:
            return a.weld_s * (a.current_A / current_A) ** 2
        if current_A >= c.current_A:
            one, two = self.pair(current_A)
            return self.along(current_A, (one.current_A, one.weld_s), (two.current_A, two.weld_s))
        if self.law is None or current_A < BELOW_C * c.current_A:
            return None
        time_s = loss_time_s(*self.law, current_A)
        return time_s if time_s < math.inf else None

    def force_N(self, current_A: float) -> float:
        """Electrode force for a current; outside the classes that of the nearest."""
        one, two = self.pair(current_A)
        return self.along(current_A, (one.current_A, one.force_N), (two.current_A, two.force_N))
