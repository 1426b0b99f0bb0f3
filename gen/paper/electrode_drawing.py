"""One electrode as a shop drawing in SVG: along its axis at full size where that fits, and its groove enlarged, the rod in it.

User units are millimetres of paper. Scales are those of ISO 5455 and line widths those of ISO 128, both from memory. The slope of
a nose, the depth of a groove and the tolerances have no key in the welder file: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

from gen.machine.tables import OneElectrode
from gen.ranges import shown

SCALES = (1, 2, 5, 10, 20)
ENLARGED = (50, 20, 10, 5, 2, 1, 0.5)
SLOPE_DEG = 45  # angle of the nose to the axis
DEPTH = 0.75  # depth of a groove over its radius; a rod half sunk in it would stick
_WIDTH = 176.0  # width of the drawing, within the margins of A4 and of Letter
_FONT, _CHAR = 4.0, 2.4  # letters of 11 points, and their mean width
_LONG, _LONG_BESIDE_OFFSET, _HIGH, _DETAIL = 100.0, 72.0, 60.0, 50.0  # room for the views
_LEFT, _GRIP, _ABOVE, _BELOW = 32.0, 12.0, 13.0, 15.0
_ARROW = 2.6
_THICK, _THIN = 0.5, 0.25

Place = tuple[float, float]


@dataclass(frozen=True)
class TurnedElectrode:
    """The turned shape of one electrode, mm; the diameter of its face or the radius of its groove is None."""

    diameter_mm: float
    length_mm: float
    offset_mm: float
    face_mm: float | None
    groove_mm: float | None

    @property
    def nose_mm(self) -> float:
        """Length of the nose's slope, or depth of the groove."""
        if self.groove_mm is not None:
            return float(f"{DEPTH * self.groove_mm:.2g}")
        return (self.diameter_mm - (self.face_mm or 0.0)) / 2 / math.tan(math.radians(SLOPE_DEG))

    @property
    def mouth_mm(self) -> float:
        """Width of the groove at the face; 0 for a flat face."""
        radius = self.groove_mm or 0.0
        return 2 * math.sqrt(radius**2 - (radius - self.nose_mm) ** 2) if radius else 0.0

    @property
    def least_length_mm(self) -> float:
        """The length that nose and crank take: with less there is nothing to hold it by."""
        return self.nose_mm + (self.diameter_mm if self.offset_mm else 0.0)

    @property
    def scale(self) -> int:
        """Millimetres of the electrode to one of paper."""
        long = _LONG_BESIDE_OFFSET if self.offset_mm else _LONG
        high_mm = self.diameter_mm + self.offset_mm
        return next((n for n in SCALES if self.length_mm <= n * long and high_mm <= n * _HIGH), SCALES[-1])

    @property
    def shown_mm(self) -> float:
        """Width of the bar in the enlarged view of the groove."""
        return min(self.diameter_mm, 4 * (self.groove_mm or 0.0))

    @property
    def enlarged(self) -> float:
        """Millimetres of paper for one of the groove."""
        return next(n for n in ENLARGED if self.shown_mm * n <= _DETAIL)


def shape_of(electrode: OneElectrode) -> TurnedElectrode:
    """An electrode's shape. If the file leaves out the face, it is the one that all computations use."""
    grooved = electrode.groove_radius_mm is not None
    return TurnedElectrode(
        electrode.diameter_mm,
        electrode.length_mm,
        electrode.offset_mm,
        None if grooved else electrode.face_mm,
        electrode.groove_radius_mm,
    )


def tolerance(value_mm: float, share: float, most_mm: float) -> str:
    """A tolerance as a share of the size, in one digit, and at most so many millimetres."""
    return f"{float(f'{min(share * value_mm, most_mm):.1g}'):g}"


def scale_words(scale: float) -> str:
    """A scale as it stands on a drawing."""
    return f"1:{scale:g}" if scale >= 1 else f"{1 / scale:g}:1"


def drawing(shape: TurnedElectrode, label: str) -> str:
    """The drawing as one SVG, in millimetres."""
    view, high = _lengthwise(shape)
    if shape.groove_mm is not None:
        detail, high = _across_groove(shape, high + 8)
        view += detail
    ruler = _ruler(high + 10)
    high += 16
    size = f'width="{_WIDTH:g}mm" height="{high:.2f}mm" viewBox="0 0 {_WIDTH:g} {high:.2f}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" aria-label="{escape(label)}"'
    text = f'font-family="Liberation Sans, Arial, Helvetica, sans-serif" font-size="{_FONT:g}"'
    return f'{head} fill="none" stroke="black" stroke-width="{_THIN:g}" {text}>{view}{ruler}</svg>'


def _lengthwise(shape: TurnedElectrode) -> tuple[str, float]:
    """The view along the axis, the holder on the left, and how far down it reaches."""
    n = shape.scale
    left, right = _LEFT + _GRIP, _LEFT + _GRIP + shape.length_mm / n
    half, reach = shape.diameter_mm / 2 / n, shape.offset_mm / n
    top = _ABOVE
    axis, face_axis = top + half, top + half + reach
    low = face_axis + half
    found = [
        _outline(shape, (left, right), (axis, face_axis)),
        _gripped(left, axis - half, axis + half),
        _centre((left - _GRIP - 4, axis), (left + 4 if reach else right + 5, axis)),
        _thin((left, top - 3), (left, low + _BELOW - 4), dash="6 1.5 1 1.5"),
        _words((left - 1.5, top - 3), "in the holder", "end"),
        _thin((right, face_axis + _half_face(shape) / n), (right, low + _BELOW - 4)),
        _level(left, right, low + _BELOW - 5, f"{shown(shape.length_mm)} ±{tolerance(shape.length_mm, 0.02, 0.5)}"),
    ]
    if reach:
        found += _cranked(shape, (left, right), (axis, face_axis))
    x = left - _GRIP - 8
    found += [_thin((left - _GRIP, y), (x - 2, y)) for y in (axis - half, axis + half)]
    found.append(_upright(axis - half, axis + half, x, f"⌀{shown(shape.diameter_mm)}", "end"))
    if shape.face_mm is not None:
        found += _face(shape, right, face_axis, top)
    return "".join(found), low + _BELOW


def _half_face(shape: TurnedElectrode) -> float:
    return (shape.face_mm if shape.face_mm is not None else shape.diameter_mm) / 2


def _outline(shape: TurnedElectrode, ends: Place, axes: Place) -> str:
    """The outline from the holder to the face and back. A crank is drawn square, as the loop's impedance is computed."""
    n = shape.scale
    (left, right), (axis, face_axis) = ends, axes
    half, thick, face = shape.diameter_mm / 2 / n, shape.diameter_mm / n, _half_face(shape) / n
    upper = [(left, axis - half)]
    if shape.offset_mm:
        upper += [(left + thick, axis - half), (left + thick, face_axis - half)]
    lower = [(left, face_axis + half)]
    if shape.groove_mm is None:
        slope = right - shape.nose_mm / n
        upper += [(slope, face_axis - half), (right, face_axis - face)]
        lower += [(slope, face_axis + half), (right, face_axis + face)]
        end = ""
    else:
        mouth = shape.mouth_mm / 2 / n
        upper += [(right, face_axis - half), (right, face_axis - mouth)]
        lower += [(right, face_axis + half), (right, face_axis + mouth)]
        end = f"A{shape.groove_mm / n:.3f} {shape.groove_mm / n:.3f} 0 0 0 {right:.3f} {face_axis + mouth:.3f}"
    back = "L".join(f"{x:.3f} {y:.3f}" for x, y in reversed(lower))
    d = "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in upper) + end + f"L{back}Z"
    return f'<path class="outline" stroke-width="{_THICK:g}" d="{d}"/>'


def _gripped(left: float, top: float, bottom: float) -> str:
    """The part in the holder, broken off: how long it is the holder says."""
    x, step = left - _GRIP, (bottom - top) / 4
    broken = [(x, top), (x + 1.2, top + step), (x - 1.2, top + 3 * step), (x, bottom)]
    edges = "".join(_line((x, y), (left, y), _THICK) for y in (top, bottom))
    return edges + _path(broken, _THIN)


def _cranked(shape: TurnedElectrode, ends: Place, axes: Place) -> list[str]:
    """The axis of the face, and how far it is from that of the holder."""
    (left, right), (axis, face_axis) = ends, axes
    x = right + (36 if shape.face_mm is not None else 14)
    words = f"{shown(shape.offset_mm)} ±{tolerance(shape.offset_mm, 0.05, 0.5)}"
    thick = shape.diameter_mm / shape.scale
    return [
        _centre((left + thick / 2, face_axis), (right + 7, face_axis)),
        _thin((x - 5, face_axis), (x + 2, face_axis)),
        _thin((left + thick, axis), (x + 2, axis)),
        _upright(axis, face_axis, x, words, "start"),
    ]


def _face(shape: TurnedElectrode, right: float, face_axis: float, top: float) -> list[str]:
    """The diameter of a flat face, and the slope of the nose where there is one."""
    n, face_mm = shape.scale, shape.face_mm or 0.0
    x, face, half = right + 9, face_mm / 2 / n, shape.diameter_mm / 2 / n
    found = [_thin((right, y), (x + 2, y)) for y in (face_axis - face, face_axis + face)]
    words = f"⌀{shown(face_mm)} ±{tolerance(face_mm, 0.03, 0.5)}"
    found.append(_upright(face_axis - face, face_axis + face, x, words, "start"))
    if shape.nose_mm > 0:
        middle = (right - shape.nose_mm / n / 2, face_axis - (face + half) / 2)
        bend = (max(middle[0] + 2, right + 3), top - 6)
        found += [_thin(middle, bend), _words((bend[0] + 1, bend[1]), f"{SLOPE_DEG}° to the axis")]
    return found


def _across_groove(shape: TurnedElectrode, top: float) -> tuple[str, float]:
    """The groove across its length with its own rod in it, the electrode's copper hatched, and how far down it reaches."""
    k, radius_mm = shape.enlarged, shape.groove_mm or 0.0
    radius, half, depth = radius_mm * k, shape.shown_mm / 2 * k, shape.nose_mm * k
    mouth = shape.mouth_mm / 2 * k
    top += 10
    axis, back = top + half, _LEFT + _GRIP
    rim = back + depth + max(8.0, 0.5 * depth)
    centre = (rim + radius - depth, axis)
    whole = shape.shown_mm >= shape.diameter_mm
    arc = f"A{radius:.3f} {radius:.3f} 0 0 0 {rim:.3f} {axis + mouth:.3f}"
    begin, end = f"{rim:.3f} {axis - half:.3f}L{rim:.3f} {axis - mouth:.3f}", f"L{rim:.3f} {axis + half:.3f}"
    area = f"M{back:.3f} {axis - half:.3f}L{begin}{arc}{end}L{back:.3f} {axis + half:.3f}Z"
    lift = radius * math.sqrt(0.5)
    touch = (centre[0] - lift, axis - lift)
    if touch[0] > rim:
        touch = (centre[0] - depth, axis)
    beside = (centre[0] + lift, axis - lift)
    low = axis + half
    found = [
        _words((back - _GRIP, top - 6), f"Across the groove, its rod in it, {scale_words(1 / k)}"),
        '<defs><pattern id="copper" width="2.4" height="2.4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path d="M0 0V2.4" stroke="black" stroke-width="{_THIN:g}"/></pattern></defs>',
        f'<path stroke="none" fill="url(#copper)" d="{area}"/>',
        f'<path class="groove" stroke-width="{_THICK:g}" d="M{begin}{arc}{end}"/>',
        *(_line((back, y), (rim, y), _THICK) for y in (axis - half, axis + half) if whole),
        f'<circle class="rod" cx="{centre[0]:.3f}" cy="{axis:.3f}" r="{radius:.3f}" fill="white" stroke-width="{_THICK:g}"/>',
        _centre((centre[0] - radius - 3, axis), (centre[0] + radius + 4, axis)),
        _pointer(touch, (back - 6, axis - lift), f"R {shown(radius_mm)} +{tolerance(radius_mm, 0.04, 0.5)}", "end"),
        _pointer(beside, (centre[0] + radius + 8, axis - lift), f"rod ⌀{shown(2 * radius_mm)}", "start"),
        _thin((rim - depth, axis), (rim - depth, low + _BELOW - 4)),
        _thin((rim, axis + half), (rim, low + _BELOW - 4)),
        _level(
            rim - depth, rim, low + _BELOW - 5, f"{shown(shape.nose_mm)} ±{tolerance(shape.nose_mm, 0.1, 0.5)} deep"
        ),
    ]
    return "".join(found), low + _BELOW


def _ruler(y: float) -> str:
    """A line of 50 mm, to lay a rule on."""
    marks = "".join(_line((_LEFT + 10 * n, y - (2 if n % 5 else 3)), (_LEFT + 10 * n, y), _THIN) for n in range(6))
    line = f'<line class="ruler" x1="{_LEFT:g}" y1="{y:.2f}" x2="{_LEFT + 50:g}" y2="{y:.2f}"/>'
    return f"{marks}{line}{_words((_LEFT + 54, y), '50 mm on paper, printed at 100 %')}"


def _level(x1: float, x2: float, y: float, words: str) -> str:
    """A size from left to right, its words above its line, or beside it where they have no room."""
    roomy = x2 - x1 >= 3 * _ARROW
    between = x2 - x1 >= len(words) * _CHAR + 2
    line = _size((x1, y), (x2, y))
    if roomy:
        arrows = _arrow((x1, y), (-1, 0)) + _arrow((x2, y), (1, 0))
    else:
        arrows = _arrow((x1, y), (1, 0)) + _arrow((x2, y), (-1, 0))
        arrows += _thin((x1 - 5, y), (x1, y)) + _thin((x2, y), (x2 + 5, y))
    if between:
        return line + arrows + _words(((x1 + x2) / 2, y - 1.2), words, "middle", "size")
    return line + arrows + _words((x2 + (6.5 if not roomy else 2), y + 1.4), words, "start", "size")


def _upright(y1: float, y2: float, x: float, words: str, anchor: str) -> str:
    """A size from top to bottom, its words beside its line."""
    line = _size((x, y1), (x, y2))
    if y2 - y1 >= 3 * _ARROW:
        arrows = _arrow((x, y1), (0, -1)) + _arrow((x, y2), (0, 1))
    else:
        arrows = _arrow((x, y1), (0, 1)) + _arrow((x, y2), (0, -1))
        arrows += _thin((x, y1 - 5), (x, y1)) + _thin((x, y2), (x, y2 + 5))
    across = x + (1.6 if anchor == "start" else -1.6)
    return line + arrows + _words((across, (y1 + y2) / 2 + 1.4), words, anchor, "size")


def _pointer(at: Place, words_at: Place, words: str, anchor: str) -> str:
    """A line from words to what they name."""
    (x, y), (to_x, to_y) = at, words_at
    shift = -1.5 if anchor == "end" else 1.5
    return _thin((to_x, to_y), (x, y)) + _words((to_x + shift, to_y + 1.4), words, anchor, "size")


def _size(start: Place, end: Place) -> str:
    return _line(start, end, _THIN, 'class="dimension" ')


def _arrow(tip: Place, way: Place) -> str:
    """A filled point that shows in the direction `way`."""
    (x, y), (dx, dy) = tip, way
    back_x, back_y = x - dx * _ARROW, y - dy * _ARROW
    sides = [(back_x - dy * 0.5, back_y - dx * 0.5), (back_x + dy * 0.5, back_y + dx * 0.5)]
    points = " ".join(f"{a:.3f},{b:.3f}" for a, b in [tip, *sides])
    return f'<polygon fill="black" stroke="none" points="{points}"/>'


def _words(at: Place, words: str, anchor: str = "start", class_: str = "") -> str:
    name = f'class="{class_}" ' if class_ else ""
    return (
        f'<text {name}x="{at[0]:.3f}" y="{at[1]:.3f}" text-anchor="{anchor}" fill="black" stroke="none">'
        f"{escape(words)}</text>"
    )


def _centre(start: Place, end: Place) -> str:
    return _thin(start, end, dash="5 1 1 1")


def _thin(start: Place, end: Place, dash: str = "") -> str:
    return _line(start, end, _THIN, f'stroke-dasharray="{dash}" ' if dash else "")


def _line(start: Place, end: Place, width: float, more: str = "") -> str:
    (x1, y1), (x2, y2) = start, end
    return f'<line {more}stroke-width="{width:g}" x1="{x1:.3f}" y1="{y1:.3f}" x2="{x2:.3f}" y2="{y2:.3f}"/>'


def _path(points: list[Place], width: float) -> str:
    d = "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in points)
    return f'<path stroke-width="{width:g}" d="{d}"/>'
