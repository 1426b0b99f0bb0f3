"""The handbook tables of this folder as frozen rows, as printed and in SI. The first lines of each file name its source."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

from gen.units import INCH_MM, POUND_N

CYCLE_60_S = 1 / 60
CYCLE_50_S = 1 / 50

_MEMORY = "from_memory"


@dataclass(frozen=True, kw_only=True)
class _PrintedRow:
    """The columns of every table in inches, pounds and 60 Hz cycles."""

    weld_cycles_60Hz: float
    force_lb: float
    current_A: float
    from_memory: bool

    @property
    def weld_s(self) -> float:
        return self.weld_cycles_60Hz * CYCLE_60_S

    @property
    def force_N(self) -> float:
        return self.force_lb * POUND_N


@dataclass(frozen=True, kw_only=True)
class _ThicknessRow(_PrintedRow):
    """A row for two equal sheets of one thickness."""

    thickness_in: float

    @property
    def size_mm(self) -> float:
        return self.thickness_in * INCH_MM

    @property
    def printed(self) -> str:
        return f"{self.thickness_in:.3f} in"


@dataclass(frozen=True, kw_only=True)
class ClassRow(_ThicknessRow):
    """One set-up for two equal low-carbon sheets: class A (best), B (medium) or C (fair)."""

    letter: str
    nugget_in: float
    shear_lb: float

    @property
    def nugget_mm(self) -> float:
        return self.nugget_in * INCH_MM

    @property
    def strength_N(self) -> float:
        return self.shear_lb * POUND_N


@dataclass(frozen=True, kw_only=True)
class _SheetRow(_ThicknessRow):
    """The columns of both tables with one set-up for two equal sheets."""

    face_diameter_in: float
    min_shear_lb: float
    fused_zone_in: float
    min_spacing_in: float
    min_overlap_in: float

    @property
    def face_diameter_mm(self) -> float:
        return self.face_diameter_in * INCH_MM

    @property
    def strength_N(self) -> float:
        return self.min_shear_lb * POUND_N

    @property
    def fused_zone_mm(self) -> float:
        return self.fused_zone_in * INCH_MM

    @property
    def spacing_mm(self) -> float:
        return self.min_spacing_in * INCH_MM

    @property
    def overlap_mm(self) -> float:
        return self.min_overlap_in * INCH_MM


@dataclass(frozen=True, kw_only=True)
class OptimumRow(_SheetRow):
    """The optimum set-up for two equal sheets of SAE 1010."""

    hold_cycles_min_60Hz: float

    @property
    def hold_s(self) -> float:
        return self.hold_cycles_min_60Hz * CYCLE_60_S


@dataclass(frozen=True, kw_only=True)
class StainlessRow(_SheetRow):
    """The set-up for two equal sheets of austenitic stainless steel."""


@dataclass(frozen=True)
class IsoRange:
    """Force (N), time (s) and current (A) of one ISO 14373 condition, each least and most."""

    force_N: tuple[float, float]
    weld_s: tuple[float, float]
    current_A: tuple[float, float]


@dataclass(frozen=True)
class IsoRow:
    """ISO 14373: sheets over one thickness and up to another, in the two conditions of its table.

    Bare: medium force and long time, then high force and short time. Zinc: hot-dip, then electrolytic.
    """

    over_mm: float
    to_mm: float
    tip_diameter_mm: float
    first: IsoRange
    second: IsoRange
    from_memory: bool

    @property
    def printed(self) -> str:
        return f"over {self.over_mm:g} to {self.to_mm:g} mm"


@dataclass(frozen=True, kw_only=True)
class RodRow(_PrintedRow):
    """One cross-wire weld between two equal low-carbon rods."""

    finish: str
    diameter_in: float
    setdown_pct: float
    strength_lb: float

    @property
    def size_mm(self) -> float:
        return self.diameter_in * INCH_MM

    @property
    def printed(self) -> str:
        return f"{self.diameter_in:g} in"

    @property
    def strength_N(self) -> float:
        return self.strength_lb * POUND_N


def _read(name: str) -> list[dict[str, str]]:
    text = files("gen.handbook").joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def _typed(row: dict[str, str]) -> dict[str, Any]:
    """A row with its numbers as floats. The first columns may be words."""
    words = ("finish", "class")
    typed: dict[str, Any] = {
        key: value if key in words else float(value) for key, value in row.items() if key != _MEMORY
    }
    return typed | {_MEMORY: row[_MEMORY] == "yes"}


@cache
def class_rows(letter: str) -> tuple[ClassRow, ...]:
    """Class A, B or C, by rising thickness."""
    rows = (_typed(row) for row in _read("spot_low_carbon_classes"))
    return tuple(ClassRow(letter=row.pop("class"), **row) for row in rows if row["class"] == letter)


@cache
def optimum_rows() -> tuple[OptimumRow, ...]:
    """The optimum table, by rising thickness."""
    return tuple(OptimumRow(**_typed(row)) for row in _read("spot_low_carbon_optimum"))


@cache
def stainless_rows() -> tuple[StainlessRow, ...]:
    """The stainless table, by rising thickness."""
    return tuple(StainlessRow(**_typed(row)) for row in _read("spot_stainless"))


@cache
def iso_rows(name: str = "iso14373_spot_low_carbon") -> tuple[IsoRow, ...]:
    """An ISO 14373 table, by rising thickness."""
    found = []
    for row in _read(name):
        from_memory = row.pop(_MEMORY) == "yes"
        over, to, tip, *rest = (float(value) for value in row.values())
        found.append(IsoRow(over, to, tip, _iso_range(rest[:6]), _iso_range(rest[6:]), from_memory))
    return tuple(found)


def _iso_range(v: list[float]) -> IsoRange:
    return IsoRange((v[0] * 1e3, v[1] * 1e3), (v[2] * CYCLE_50_S, v[3] * CYCLE_50_S), (v[4] * 1e3, v[5] * 1e3))


@cache
def rod_rows(finish: str, setdown_pct: float) -> tuple[RodRow, ...]:
    """Cross-wire welds of one finish and setdown, by rising diameter."""
    rows = (RodRow(**_typed(row)) for row in _read("cross_wire_low_carbon"))
    return tuple(row for row in rows if (row.finish, row.setdown_pct) == (finish, setdown_pct))


SizedRow = TypeVar("SizedRow", ClassRow, OptimumRow, StainlessRow, RodRow)


def around(rows: Sequence[SizedRow], size_mm: float) -> tuple[SizedRow, SizedRow]:
    """The rows on either side of `size_mm`; the same row twice where one fits within 0.5 %. Raises ValueError outside."""
    for row in rows:
        if abs(row.size_mm / size_mm - 1) <= 0.005:
            return row, row
    for low, high in zip(rows, rows[1:]):
        if low.size_mm < size_mm < high.size_mm:
            return low, high
    raise ValueError(f"{size_mm:g} mm is outside the table")


def between(rows: Sequence[SizedRow], size_mm: float, value: Callable[[SizedRow], float]) -> float:
    """`value` at `size_mm`, interpolated between the logarithms of size and value. Raises ValueError outside the table."""
    low, high = around(rows, size_mm)
    if low is high:
        return value(low)
    share = math.log(size_mm / low.size_mm) / math.log(high.size_mm / low.size_mm)
    return float(value(low) ** (1 - share) * value(high) ** share)


def cited(rows: Sequence[SizedRow], size_mm: float) -> str:
    """The rows that `between` reads, and whether they are from memory."""
    low, high = around(rows, size_mm)
    where = f"row {low.printed}" if low is high else f"between rows {low.printed} and {high.printed}"
    return where + (", FROM MEMORY, a few per cent" if from_memory(rows, size_mm) else "")


def from_memory(rows: Sequence[SizedRow], size_mm: float) -> bool:
    """Whether one of the rows that `between` reads is from memory."""
    return any(row.from_memory for row in around(rows, size_mm))


def iso_row(thickness_mm: float, name: str = "iso14373_spot_low_carbon") -> IsoRow | None:
    """The row of a sheet in an ISO 14373 table; None outside the table."""
    return next((row for row in iso_rows(name) if row.over_mm < thickness_mm <= row.to_mm), None)
