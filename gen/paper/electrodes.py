"""The sheet of the electrodes: each drawn, with its material, tolerances and what the lines do not show."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from gen.cautions import AT_NEW_ELECTRODES
from gen.errors import InputError
from gen.machine.electrodes import SIDES
from gen.machine.tables import Alloy, ElectrodeApart, Electrodes, OneElectrode
from gen.paper.electrode_drawing import SLOPE_DEG, TurnedElectrode, drawing, scale_words, shape_of
from gen.paper.pages import page
from gen.ranges import shown
from gen.user_files import figure

_ALLOYS: dict[Alloy, str] = {
    "Cu-ETP": "Cu-ETP, copper, hard drawn",
    "CuCr1": "CuCr1, chromium copper",
    "CuCr1Zr": "CuCr1Zr, chromium-zirconium copper",
}


@dataclass(frozen=True)
class _Drawn:
    """One electrode on its sheet."""

    title: str
    svg: Markup
    count: int
    alloy: str
    scale: str
    notes: tuple[str, ...]


def electrodes_html(electrodes: Electrodes, where: str | Path, table: str = "electrodes.") -> str:
    """A drawing of each electrode, one where both are the same: sizes, material, tolerances, the groove with its rod.

    Raises InputError, which names `where` and a key of `table`, for one that is shorter than its own nose.
    """
    upper, lower = electrodes.pair
    if upper == lower:
        pairs = [("Electrode, upper and lower", upper, 2, f"{table}length_mm")]
    else:
        pairs = [
            (f"{side.capitalize()} electrode", each, 1, f"{table}{_own(electrodes, side)}length_mm")
            for side, each in zip(SIDES, (upper, lower), strict=True)
        ]
    sheets = []
    for title, electrode, count, key in pairs:
        shape = shape_of(electrode)
        if shape.length_mm <= shape.least_length_mm:
            allowed = f"allowed for a drawing: more than {shape.least_length_mm:.4g}, which {_nose(shape)} takes"
            raise InputError(where, key, figure(shape.length_mm), allowed)
        svg = Markup(drawing(shape, f"{title}, drawn with its sizes in millimetres"))
        scale = scale_words(shape.scale)
        sheets.append(_Drawn(title, svg, count, _ALLOYS[electrode.alloy], scale, _notes(electrode, shape)))
    return page("electrodes", sheets=sheets, cautions=AT_NEW_ELECTRODES)


def _own(electrodes: Electrodes, side: str) -> str:
    """The side's own table, where it holds a length of its own; otherwise nothing."""
    apart: ElectrodeApart | None = getattr(electrodes, side)
    return f"{side}." if apart is not None and apart.length_mm is not None else ""


def _nose(shape: TurnedElectrode) -> str:
    nose = "the groove" if shape.groove_mm is not None else f"the nose of {SLOPE_DEG} degrees"
    return f"{nose} with the crank" if shape.offset_mm else nose


def _notes(electrode: OneElectrode, shape: TurnedElectrode) -> tuple[str, ...]:
    """The data that the lines do not show."""
    found = []
    if shape.groove_mm is not None:
        found.append(
            f"The groove runs right across the face, along its own rod of {shown(2 * shape.groove_mm)} mm: of two crossed rods "
            "the grooves stand crosswise. Cut it rather too wide than too narrow: two edges mark the rod."
        )
    elif electrode.face_diameter_mm is None:
        found.append("The welder file gives no face (face_diameter_mm): half of the bar's diameter is drawn.")
    if shape.offset_mm:
        found.append(
            "The crank is drawn square. It is brazed of two bars, or bent; then dress the face square to the axis."
        )
    found.append("The part in the holder is as long as the holder grips. Solid: the welder file has no key for a bore.")
    found.append("Face square to the axis within 0.1 mm, edges broken, the bar an easy fit in its holder.")
    found.append(
        "Slope, depth of a groove and tolerances: common practice, no source. No beryllium copper: its dust is poisonous."
    )
    return tuple(found)
