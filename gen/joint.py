"""What is being welded: two sheets or two crossed rods, their metal and surface, and what presses on them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from gen.user_files import FileModel, Written, Wrong, figure, parsed_toml, read_toml, validated, written

SHEETS_MM = (0.254, 3.175)  # ends of the tables: 0.010 and 0.125 in
RODS_MM = (1.5875, 12.7)  # 0.0625 and 0.5 in
SETDOWNS = (15, 30, 50)  # of the table, %
UNLIKE_RATIO = 3.0  # common practice, no source

_SHEETS = f"two thicknesses from {SHEETS_MM[0]:g} to {SHEETS_MM[1]:g} mm, where the tables end"
_RODS = f"two diameters from {RODS_MM[0]:g} to {RODS_MM[1]:g} mm, where the tables end"
_METAL = "low_carbon_steel; of other metals no figures are known here"


def _pair(given: Any) -> Any:
    return tuple(float(x) if isinstance(x, int) else x for x in given) if isinstance(given, list) else given


def _setdown(given: float) -> float:
    if given not in SETDOWNS:
        raise ValueError
    return given


Pair = Annotated[tuple[float, float], BeforeValidator(_pair)]


class Joint(FileModel):
    """`joint.toml`: either sheets or rods. Force: of one electrode on the other. Groove: its radius, across the face.

    Setdown is 15 % where it is left out: it wants the least current, and small machines have little.
    """

    sheets_mm: Pair | None = Field(default=None, description=_SHEETS)
    rods_mm: Pair | None = Field(default=None, description=_RODS)
    material: Literal["low_carbon_steel"] = Field(default="low_carbon_steel", description=_METAL)
    surface: Literal["clean", "scaled", "zinc"] = "clean"
    finish: Literal["cold_drawn", "hot_drawn"] = "cold_drawn"
    setdown_percent: Annotated[float, AfterValidator(_setdown)] = Field(
        default=15, description="15, 30 or 50, the setdowns of the table"
    )
    force_N: float | None = Field(default=None, gt=0, le=50_000)
    face_diameter_mm: float | None = Field(default=None, gt=0, le=100)
    groove_radius_mm: float | None = Field(default=None, gt=0, le=50)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.sheets_mm is None) == (self.rods_mm is None):
            given = Written("both") if self.sheets_mm else None
            raise Wrong("sheets_mm and rods_mm", given, "allowed: one of them")
        for key, sizes, (least, most), allowed in (
            ("sheets_mm", self.sheets_mm, SHEETS_MM, _SHEETS),
            ("rods_mm", self.rods_mm, RODS_MM, _RODS),
        ):
            for size in sizes or ():
                # A table's end in inches is sold by the rounded millimetre: 1.588 for 1.5875.
                if not least * 0.999 <= size <= most * 1.001:
                    raise Wrong(key, figure(size), f"allowed: {allowed}")
        if self.sheets_mm and max(self.sheets_mm) > UNLIKE_RATIO * min(self.sheets_mm):
            allowed = f"allowed: at most {UNLIKE_RATIO:g} times the thinner; of more nothing is known here"
            raise Wrong("sheets_mm", figure(max(self.sheets_mm)), allowed)
        if self.face_diameter_mm is not None and self.groove_radius_mm is not None:
            allowed = "a face is flat or grooved; allowed: face_diameter_mm or groove_radius_mm, one of them"
            raise Wrong("groove_radius_mm", figure(self.groove_radius_mm), allowed)
        if self.sheets_mm:
            for key in ("finish", "setdown_percent", "groove_radius_mm"):
                if key in self.model_fields_set and getattr(self, key) is not None:
                    raise Wrong(key, written(getattr(self, key)), "allowed: only beside rods_mm")
        return self

    @property
    def thin_mm(self) -> float:
        """The thinner sheet or rod."""
        return min(self.sheets_mm or self.rods_mm or ())

    @property
    def thick_mm(self) -> float:
        """The thicker sheet or rod."""
        return max(self.sheets_mm or self.rods_mm or ())

    @property
    def title(self) -> str:
        """The joint in a few words."""
        if self.sheets_mm:
            return f"sheets {self.sheets_mm[0]:g} + {self.sheets_mm[1]:g} mm, low-carbon steel"
        a, b = self.rods_mm or (0.0, 0.0)
        return f"rods {a:g} x {b:g} mm, {self.finish.replace('_', '-')} low-carbon steel, setdown {self.setdown_percent:g} %"


def read_joint(path: Path) -> Joint:
    """The joint file at `path`. Raises InputError."""
    return validated(Joint, read_toml(path), path)


def joint_from(text: str, path: Path) -> Joint:
    """The joint that a file at `path` with this text would be; nothing is read. Raises InputError."""
    return validated(Joint, parsed_toml(text, path), path)
