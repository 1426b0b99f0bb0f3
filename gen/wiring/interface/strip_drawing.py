"""Drawings of the stripboards at 1:1, from the component side and from the copper side, in millimetres."""

from __future__ import annotations

from html import escape

from gen.wiring.interface.components import Component, Interface
from gen.wiring.interface.stripboard import PITCH_MM, Fitting, Hole, StripLayout

_LEFT, _RIGHT, _TOP, _BOTTOM = 24.0, 12.0, 9.0, 3.0  # margins for the strips' names, mm
_LETTER = 0.55  # a letter's width over its height
_NAME, _SMALL = 2.3, 1.8  # heights of letters, mm: the largest that fit between strips 2.54 mm apart
_STRIP = 1.9  # mm of copper


def board_svg(layout: StripLayout, interface: Interface, *, copper: bool) -> str:
    """One side of a board. The copper side is the component side seen in a mirror."""
    width = _LEFT + layout.holes * PITCH_MM + _RIGHT
    height = _TOP + layout.strips * PITCH_MM + _BOTTOM
    side = "copper" if copper else "component"
    title = f"{layout.title}, {side} side, 1:1, {layout.strips} strips of {layout.holes} holes"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {height:.2f}" id="board-{layout.name}-{side}" role="img" aria-label="{escape(title)}" '
        'font-family="sans-serif">'
    ]
    pen = _Pen(layout, copper, width)
    out += pen.copper_strips()
    out += pen.scale()
    if copper:
        out += [pen.point(hole) for hole in _soldered(layout)]
    else:
        out += [pen.link(*ends) for ends in layout.links]
        out += [line for fitting in layout.fittings for line in pen.body(fitting, interface.part(fitting.part))]
        out += [pen.pin(hole) for _, hole in layout.leads]
    out += [pen.cut(hole) for hole in layout.cuts]
    return "\n".join([*out, "</svg>"])


def _soldered(layout: StripLayout) -> list[Hole]:
    pins = [hole for fitting in layout.fittings for _, hole in fitting.holes]
    return [*pins, *(hole for ends in layout.links for hole in ends), *(hole for _, hole in layout.leads)]


class _Pen:
    """Places of holes on paper, and the symbols drawn there."""

    def __init__(self, layout: StripLayout, mirrored: bool, width: float) -> None:
        self._layout, self._mirrored, self._width = layout, mirrored, width

    def _x(self, hole: float) -> float:
        x = _LEFT + (hole + 0.5) * PITCH_MM
        return self._width - x if self._mirrored else x

    def _y(self, strip: float) -> float:
        return _TOP + (strip + 0.5) * PITCH_MM

    def copper_strips(self) -> list[str]:
        """Each strip with its net's name; where it is peeled off, a dotted line."""
        found = []
        for strip in range(self._layout.strips):
            spans = self._spans(strip)
            for first, last, net in spans:
                x1, x2 = sorted((self._x(first - 0.45), self._x(last + 0.45)))
                y = self._y(strip)
                if net:
                    found.append(
                        f'<rect class="strip" x="{x1:.2f}" y="{y - _STRIP / 2:.2f}" width="{x2 - x1:.2f}" height="{_STRIP}" '
                        f'fill="{"#ddd" if self._mirrored else "#eee"}" stroke="#999" stroke-width="0.1"/>'
                    )
                    found += [
                        f'<circle cx="{self._x(hole):.2f}" cy="{y:.2f}" r="0.5" fill="white" stroke="#999" stroke-width="0.1"/>'
                        for hole in range(first, last + 1)
                    ]
                else:
                    found.append(
                        f'<line x1="{x1:.2f}" y1="{y:.2f}" x2="{x2:.2f}" y2="{y:.2f}" stroke="#999" stroke-width="0.15" '
                        'stroke-dasharray="0.3 1"/>'
                    )
            found += self._names(strip)
        return found

    def _spans(self, strip: int) -> list[tuple[int, int, str]]:
        layout = self._layout
        if layout.band is None:
            return [(0, layout.holes - 1, layout.nets[strip])]
        first, last = layout.band
        return [
            (0, first - 1, layout.nets[strip]),
            (first, last, ""),
            (last + 1, layout.holes - 1, layout.right_nets[strip]),
        ]

    def _names(self, strip: int) -> list[str]:
        """Number and net at the left end; the net beyond the band at the right end."""
        number = f"{strip + 1}"
        ends = [(-0.9, f"{self._layout.nets[strip] or 'peeled'}  {number}", "end")]
        if self._layout.band is not None:
            ends.append((self._layout.holes - 0.1, self._layout.right_nets[strip] or "peeled", "start"))
        turned = {"end": "start", "start": "end"} if self._mirrored else {"end": "end", "start": "start"}
        return [self._word(self._x(hole), self._y(strip), words, turned[anchor], _NAME) for hole, words, anchor in ends]

    def _word(self, x: float, y: float, words: str, anchor: str, size: float, turn: bool = False) -> str:
        turned = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if turn else ""
        return (
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}" dominant-baseline="central"'
            f"{turned}>{escape(words)}</text>"
        )

    def scale(self) -> list[str]:
        """Numbers of the holes, and a line of 50 mm to hold a ruler against."""
        y = _TOP - 1.2
        numbers = [
            self._word(self._x(hole), y, str(hole + 1), "middle", _SMALL)
            for hole in range(self._layout.holes)
            if hole == 0 or hole % 5 == 4
        ]
        x = 2.0
        ruler = f'<path d="M{x} 2.2v1.6M{x} 3h50M{x + 50} 2.2v1.6" fill="none" stroke="black" stroke-width="0.2"/>'
        return [*numbers, ruler, self._word(x + 52, 3.0, "50 mm", "start", _NAME)]

    def body(self, fitting: Fitting, part: Component) -> list[str]:
        """A part: its outline, its leads, its name."""
        holes = [hole for _, (hole, _) in fitting.holes]
        strips = [strip for _, (_, strip) in fitting.holes]
        upright = len(set(holes)) == 1
        first = holes[0] - (fitting.width - 1) // 2 if upright else min(holes)
        last = first + fitting.width - 1 if upright else max(holes)
        wide = 0.32 if fitting.width == 1 else 0.45
        x1, x2 = self._x(first - wide), self._x(last + wide)
        top, bottom = self._y(min(strips)), self._y(max(strips))
        inset = -1.0 if not upright or bottom - top < 2 * PITCH_MM else 1.0
        x = self._x(holes[0])
        lead = f'<line x1="{x:.2f}" y1="{top:.2f}" x2="{x:.2f}" y2="{bottom:.2f}" stroke="black" stroke-width="0.25"/>'
        found = [lead] if upright else []
        found.append(
            f'<rect class="part" x="{x1:.2f}" y="{top + inset:.2f}" width="{x2 - x1:.2f}" '
            f'height="{bottom - top - 2 * inset:.2f}" fill="white" stroke="black" stroke-width="0.2"/>'
        )
        for pin, (hole, strip) in fitting.holes:
            found.append(self.point((hole, strip)))
            if pin in ("K", "+") or (part.generic == "dual comparator" and pin == "1"):
                found.append(self._mark(hole, strip, strips))
        aside = 0.0 if upright or "coupler" in part.generic else 0.7 * PITCH_MM * (-1 if self._mirrored else 1)
        found.append(self._word((x1 + x2) / 2 + aside, (top + bottom) / 2, fitting.part, "middle", _SMALL, upright))
        return found

    def _mark(self, hole: int, strip: int, strips: list[int]) -> str:
        """The mark of polarity: cathode, plus, or pin 1."""
        y = self._y(strip) + (0.75 if strip == min(strips) else -0.75)
        x = self._x(hole)
        return (
            f'<line x1="{x - 0.8:.2f}" y1="{y:.2f}" x2="{x + 0.8:.2f}" y2="{y:.2f}" stroke="black" stroke-width="0.5"/>'
        )

    def point(self, hole: Hole) -> str:
        """A soldered hole."""
        return f'<circle class="pin" cx="{self._x(hole[0]):.2f}" cy="{self._y(hole[1]):.2f}" r="0.5" fill="black"/>'

    def pin(self, hole: Hole) -> str:
        """A solder pin for a lead."""
        x, y = self._x(hole[0]), self._y(hole[1])
        return f'<rect class="lead" x="{x - 0.8:.2f}" y="{y - 0.8:.2f}" width="1.6" height="1.6" fill="black"/>'

    def link(self, one: Hole, other: Hole) -> str:
        """A wire on the component side."""
        ends = " ".join(f"{self._x(hole):.2f},{self._y(strip):.2f}" for hole, strip in (one, other))
        return f'<polyline class="link" points="{ends}" fill="none" stroke="black" stroke-width="0.8" stroke-linecap="round"/>'

    def cut(self, hole: Hole) -> str:
        """A cut of a strip at a hole."""
        x, y = self._x(hole[0]), self._y(hole[1])
        return f'<path class="cut" d="M{x - 1:.2f} {y - 1:.2f}l2 2m0 -2l-2 2" stroke="black" stroke-width="0.4" fill="none"/>'


def places(layout: StripLayout) -> tuple[tuple[str, str], ...]:
    """Each part with the hole and strip of its pins, as text: `R33`, `7/3 to 7/6`."""
    found = []
    for fitting in layout.fittings:
        ends = [f"{hole + 1}/{strip + 1}" for _, (hole, strip) in fitting.holes]
        if [pin for pin, _ in fitting.holes] == ["1", "2"]:
            found.append((fitting.part, " to ".join(ends)))
        else:
            found.append((fitting.part, ", ".join(f"{pin} {end}" for (pin, _), end in zip(fitting.holes, ends))))
    return tuple(found)
