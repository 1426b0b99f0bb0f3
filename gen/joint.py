"""The joint: two or three sheets or two crossed rods, their metal, surface, force and electrodes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, model_validator

from gen.errors import InputError
from gen.quantities import METRIC, Measures
from gen.units import INCH_MM, POUND_N
from gen.user_files import FileModel, Written, Wrong, figure, name_of, parsed_toml, read_toml, validated, written

SHEETS_MM = (0.254, 3.175)  # ends of the tables: 0.010 and 0.125 in
RODS_MM = (1.5875, 12.7)  # 0.0625 and 0.5 in
FLATS_MM = (0.5, 12.7)  # thickness of a flat bar under a rod, as far as the model can follow
SETDOWNS = (15, 30, 50)  # setdowns of the table, %
# Notes of "Recommended practices for spot welding low-carbon steel" (handbook table, public reproductions); ISO 14373:2015
# has the same ratio in its scope.
UNLIKE_RATIO = 3.0
PILE_RATIO = 4.0  # the whole pile to its thinnest outer sheet

_SHEETS = f"two or three thicknesses from {SHEETS_MM[0]:g} to {SHEETS_MM[1]:g} mm, where the tables end"
_RODS = f"two diameters from {RODS_MM[0]:g} to {RODS_MM[1]:g} mm, where the tables end"
_FLATS = f"for the thickness of a flat bar or sheet, {FLATS_MM[0]:g} to {FLATS_MM[1]:g} mm"
_METALS = {
    "low_carbon_steel": "low-carbon steel",
    "stainless_steel": "austenitic stainless steel",
    "brass": "brass",
    "nickel": "nickel",
}
_METAL = (
    "low_carbon_steel, stainless_steel (austenitic), brass or nickel, for every part; of other metals, and of unlike ones, "
    "nothing is known here"
)
JointMetal = Literal["low_carbon_steel", "stainless_steel", "brass", "nickel"]
ForceMeasured = Literal["gauge", "spring", "lever"]
ForceHeld = Literal["air", "spring", "hand"]
ForceSource = Literal["hand", "foot_lever", "air"]
# How far the force may be off, of itself: typical (common practice, no source).
FORCE_WITHIN: dict[str, float] = {"gauge": 0.05, "spring": 0.15, "lever": 0.35}


def _sizes(given: Any) -> Any:
    return tuple(float(x) if isinstance(x, int) else x for x in given) if isinstance(given, list) else given


_Groove = Annotated[float, Field(ge=0.1, le=50)]


def _setdown(given: float) -> float:
    if given not in SETDOWNS:
        raise ValueError
    return given


def _two_or_three(given: tuple[float, ...] | None) -> tuple[float, ...] | None:
    if given is not None and len(given) not in (2, 3):
        raise ValueError
    return given


# A file in inches: each key with the metric one that it stands for.
INCH_KEYS = {
    "sheets_in": ("sheets_mm", INCH_MM),
    "rods_in": ("rods_mm", INCH_MM),
    "force_lb": ("force_N", POUND_N),
    "face_diameter_in": ("face_diameter_mm", INCH_MM),
    "groove_radius_in": ("groove_radius_mm", INCH_MM),
    "dome_radius_in": ("dome_radius_mm", INCH_MM),
    "flat_width_in": ("flat_width_mm", INCH_MM),
    "pitch_in": ("pitch_mm", INCH_MM),
    "overlap_in": ("overlap_mm", INCH_MM),
}


class Joint(FileModel):
    """`joint.toml`: either sheets, in the order in which they lie, or rods. Force: of one electrode on the other.

    Groove: its radius, across the face, of both or of each along its rod. Dome: its radius, of both faces; the face's diameter
    is then where the dome ends. Flat width: of a flat bar or sheet across which a rod lies, whose thickness is then the second
    of `rods_mm`. Pitch: from the middle of this weld to that of the nearest made before it.
    Setdown is 15 % where it is left out: it wants the least current, and small machines have little.
    `force_measured`: a gauge between the electrodes, a spring (its compression, or a spring balance on the lever), or
    calculated from the lever's arms and the hand's push.
    """

    sheets_mm: Annotated[tuple[float, ...] | None, BeforeValidator(_sizes), AfterValidator(_two_or_three)] = Field(
        default=None, description=_SHEETS
    )
    rods_mm: Annotated[tuple[float, float] | None, BeforeValidator(_sizes)] = Field(default=None, description=_RODS)
    material: JointMetal = Field(default="low_carbon_steel", description=_METAL)
    surface: Literal["clean", "scaled", "zinc"] = "clean"
    finish: Literal["cold_drawn", "hot_drawn"] = "cold_drawn"
    setdown_percent: Annotated[float, AfterValidator(_setdown)] = Field(
        default=15, description="15, 30 or 50, the setdowns of the table"
    )
    force_N: float | None = Field(default=None, ge=1, le=50_000)
    force_measured: ForceMeasured | None = None
    face_diameter_mm: float | None = Field(default=None, ge=0.1, le=100)
    groove_radius_mm: Annotated[_Groove | tuple[_Groove | None, _Groove | None] | None, BeforeValidator(_sizes)] = (
        Field(
            default=None,
            description="a number from 0.1 to 50, or two in a list, one for each rod in the order of the rods",
        )
    )
    dome_radius_mm: float | None = Field(default=None, ge=1, le=1000)
    flat_width_mm: float | None = Field(default=None, ge=2, le=200)
    pitch_mm: float | None = Field(default=None, ge=0.1, le=5000)
    overlap_mm: float | None = Field(default=None, ge=0.1, le=1000)

    @model_validator(mode="after")
    def _consistent(self, info: ValidationInfo) -> Self:
        if (self.sheets_mm is None) == (self.rods_mm is None):
            given = Written("both") if self.sheets_mm else None
            rods, flat = name_of("rods_mm", info), name_of("flat_width_mm", info)
            both = (
                f"a rod on a sheet is {rods} with its diameter and the sheet's thickness, and {flat}; " if given else ""
            )
            raise Wrong(
                f"{name_of('sheets_mm', info)} and {name_of('rods_mm', info)}", given, f"{both}allowed: one of them"
            )
        rods_mm: tuple[float, ...] = self.rods_mm or ()
        round_mm, flat_mm = (rods_mm[:1], rods_mm[1:]) if self.flat_width_mm is not None else (rods_mm, ())
        checked: tuple[tuple[str, tuple[float, ...], tuple[float, float], str], ...] = (
            ("sheets_mm", self.sheets_mm or (), SHEETS_MM, _SHEETS),
            ("rods_mm", round_mm, RODS_MM, _RODS),
            ("rods_mm", flat_mm, FLATS_MM, _FLATS),
        )
        for key, sizes, (least, most), allowed in checked:
            for size in sizes:
                # A table's end in inches is sold by the rounded millimetre: 1.588 for 1.5875.
                if not least * 0.999 <= size <= most * 1.001:
                    raise Wrong(name_of(key, info), figure(size), f"allowed: {allowed}")
        if self.sheets_mm:
            self._pile_consistent(self.sheets_mm, name_of("sheets_mm", info))
        if self.face_diameter_mm is not None and self.groove_radius_mm is not None:
            face, groove = name_of("face_diameter_mm", info), name_of("groove_radius_mm", info)
            allowed = f"a face is flat or grooved; allowed: {face} or {groove}, one of them"
            raise Wrong(groove, _given(self.groove_radius_mm), allowed)
        if self.dome_radius_mm is not None and 2 * self.dome_radius_mm < (self.face_diameter_mm or 0):
            allowed = f"less than half of its face; allowed: {(self.face_diameter_mm or 0) / 2:g} or more"
            raise Wrong(name_of("dome_radius_mm", info), figure(self.dome_radius_mm), allowed)
        if self.force_measured is not None and self.force_N is None:
            allowed = f"allowed: only with {name_of('force_N', info)}"
            raise Wrong(name_of("force_measured", info), written(self.force_measured), allowed)
        if self.material != "low_carbon_steel" and self.surface == "zinc":
            raise Wrong(
                name_of("surface", info), written(self.surface), f"allowed with {self.material}: clean or scaled"
            )
        if self.flat_width_mm is not None and self.grooves_mm[1] is not None:
            allowed = (
                "the electrode on a flat bar has no groove; allowed: [radius along the rod] left out, or a flat face"
            )
            raise Wrong(name_of("groove_radius_mm", info), _given(self.groove_radius_mm), allowed)
        foreign: tuple[str, ...] = ("overlap_mm", "dome_radius_mm")
        if self.sheets_mm:
            foreign = ("finish", "setdown_percent", "groove_radius_mm", "flat_width_mm")
        for key in foreign:
            value = getattr(self, key)
            if key in self.model_fields_set and value is not None:
                beside = "rods_mm" if self.sheets_mm else "sheets_mm"
                raise Wrong(name_of(key, info), _given(value), f"allowed: only with {name_of(beside, info)}")
        return self

    def _pile_consistent(self, sheets_mm: tuple[float, ...], name: str) -> None:
        """Raise Wrong for sheets more unlike than the notes of the handbook's table allow."""
        if max(sheets_mm) > UNLIKE_RATIO * min(sheets_mm) * 1.001:
            allowed = f"allowed: at most {UNLIKE_RATIO:g} times the thinnest; of more nothing is known here"
            raise Wrong(name, figure(max(sheets_mm)), allowed)
        outer_mm = min(sheets_mm[0], sheets_mm[-1])
        if sum(sheets_mm) > PILE_RATIO * outer_mm * 1.001:
            given = Written(f"{' + '.join(f'{mm:g}' for mm in sheets_mm)} = {sum(sheets_mm):.4g}")
            allowed = f"allowed: a pile of at most {PILE_RATIO:g} times its thinner outer sheet; of more nothing is known here"
            raise Wrong(name, given, allowed)

    @property
    def thin_mm(self) -> float:
        """The thinnest sheet or thinner rod."""
        return min(self.sheets_mm or self.rods_mm or ())

    @property
    def thick_mm(self) -> float:
        """The thickest sheet or thicker rod."""
        return max(self.sheets_mm or self.rods_mm or ())

    @property
    def outer_mm(self) -> float:
        """The thinner of the two sheets that the electrodes touch, which sets the schedule."""
        sheets_mm = self.sheets_mm or (0.0,)
        return min(sheets_mm[0], sheets_mm[-1])

    @property
    def grooves_mm(self) -> tuple[float | None, float | None]:
        """The radius of the groove along each rod, in the order of `rods_mm`; None: flat, or not given."""
        radius = self.groove_radius_mm
        return radius if isinstance(radius, tuple) else (radius, radius)

    @property
    def force(self) -> tuple[float, float] | None:
        """Least and greatest force in N, by the uncertainty of its measuring; None where it is not given."""
        if self.force_N is None:
            return None
        within = FORCE_WITHIN[self.force_measured or "lever"]
        return self.force_N * (1 - within), self.force_N * (1 + within)

    def force_held(self, source: ForceSource) -> ForceHeld:
        """What keeps the force alike from weld to weld, on a machine whose force comes from `source`.

        A spring that is read holds a hand or a foot to its force at every weld. A gauge does not: it is out again before the
        weld.
        """
        if source == "air":
            return "air"
        return "spring" if self.force_measured == "spring" else "hand"

    @property
    def title(self) -> str:
        """The joint in a few words, in millimetres."""
        return self.text_in(METRIC)

    def text_in(self, measures: Measures) -> str:
        """The joint in a few words, with its sizes in these measures."""
        if self.sheets_mm:
            metal = f"{'zinc-coated ' if self.surface == 'zinc' else ''}{_METALS[self.material]}"
            return f"sheets {measures.given(self.sheets_mm, ' + ')}, {metal}"
        rods_mm: tuple[float, ...] = self.rods_mm or ()
        if self.flat_width_mm is not None:
            bar = measures.given((self.flat_width_mm, rods_mm[-1]), " x ")
            return f"rod {measures.given(rods_mm[:1])} on flat {bar}, {_METALS[self.material]}"
        rods = measures.given(rods_mm, " x ")
        finish = f"{self.finish.replace('_', '-')} " if self.material == "low_carbon_steel" else ""
        return f"rods {rods}, {finish}{_METALS[self.material]}, setdown {self.setdown_percent:g} %"

    @property
    def metal(self) -> str:
        """The metal in words."""
        return _METALS[self.material]


def _given(value: Any) -> Written:
    """A value as written in a joint file."""
    if isinstance(value, tuple):
        return Written(f"[{', '.join(_given(each) for each in value)}]")
    return figure(value) if isinstance(value, float) else written(value)


def read_joint(path: Path) -> Joint:
    """The joint file at `path`, in millimetres and newtons or in inches and pounds. Raises InputError."""
    return _joint(read_toml(path), path)


def joint_from(text: str, path: Path) -> Joint:
    """The joint of a file's text. `path` is for messages; nothing is read. Raises InputError."""
    return _joint(parsed_toml(text, path), path)


def _joint(content: dict[str, Any], path: Path) -> Joint:
    metric = dict(content)
    for key, (stands_for, factor) in INCH_KEYS.items():
        if key not in content:
            continue
        if stands_for in content:
            raise InputError(path, key, written(content[key]), f"{stands_for} is given too; allowed: one of them")
        del metric[key]
        metric[stands_for] = _times(content[key], factor)
    try:
        return validated(Joint, metric, path)
    except InputError as error:
        raise _as_typed(error, path, content) from None


def _times(given: Any, factor: float) -> Any:
    """A number, or a list of numbers, times `factor`; any other value unchanged, for the model to refuse."""
    if isinstance(given, list):
        return [_times(item, factor) for item in given]
    return given * factor if isinstance(given, (int, float)) and not isinstance(given, bool) else given


def _as_typed(error: InputError, path: Path, content: dict[str, Any]) -> InputError:
    """A message about a metric key, reworded for the inch key in the file."""
    for key, (stands_for, factor) in INCH_KEYS.items():
        if key in content and error.key.split(".")[0] == stands_for:
            unit = "25.4 mm to the inch" if factor == INCH_MM else "4.448 N to the pound"
            return InputError(path, key, written(content[key]), f"{error.allowed} ({unit})")
    if error.key in content and error.key not in Joint.model_fields:
        inch = ", ".join(INCH_KEYS)
        return InputError(path, error.key, error.given, f"{error.allowed}; in inches and pounds: {inch}")
    return error
