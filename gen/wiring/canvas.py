"""A page of a circuit diagram, drawn with schemdraw: parts at places, conductors between terminals, net names.

Places are (x, y) in units of `UNIT_PT` points, y downwards. The drawings can be read back without the netlist, because:

* A conductor has the line width `HEAVY` or `LIGHT`, and no other line has these widths.
* A net's name is printed in typewriter letters on its conductors. Conductors of one name are joined, on all pages.
* Every terminal is a small circle with its number next to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal
from xml.etree import ElementTree

from gen.wiring.netlist import Netlist, Side
from gen.wiring.symbols import elm, schemdraw

Place = tuple[float, float]
Align = Literal["left", "center", "right"]
Beside = Literal["left", "right", "above", "below", "upper left", "upper right", "lower left", "lower right"]

UNIT_PT = 17.0
FONT_PT = 11.0
HEAVY, LIGHT = 1.9, 1.2  # line widths of conductors: welding current and earth; all others
SYMBOL = 0.9
DASHED = 0.6
LINE = 0.8  # from one line of text to the next
PAGE_WIDTH = 30.4  # fits A4 and Letter
_EDGE = 0.3
_NAMED: dict[Beside, tuple[float, float, Align]] = {  # from the middle of a part to its name
    "right": (0.6, 0.0, "left"),
    "left": (-0.6, 0.0, "right"),
    "above": (0.0, -0.9, "center"),
    "below": (0.0, 0.9, "center"),
}
_ANCHORS: dict[Align, str] = {"left": "start", "center": "middle", "right": "end"}
_ACROSS, _BODY, _ALONG = 0.3, 0.5, 0.6  # from a terminal to its number: to the side, past a body, above or below
_BESIDE: dict[Beside, tuple[float, float, Align]] = {
    "left": (-_ACROSS, 0.0, "right"),
    "right": (_ACROSS, 0.0, "left"),
    "above": (0.0, -_ALONG, "center"),
    "below": (0.0, _ALONG, "center"),
    "upper left": (-_ACROSS, -_ALONG, "right"),
    "upper right": (_ACROSS, -_ALONG, "left"),
    "lower left": (-_ACROSS, _ALONG, "right"),
    "lower right": (_ACROSS, _ALONG, "left"),
}
NAME_FONT = "monospace"

_SVG = "{http://www.w3.org/2000/svg}"
_TERMINAL_PT = 1.7


@dataclass(frozen=True)
class DrawnPage:
    """One drawing: its title, its file name without the suffix, the SVG, and the terminals drawn in it."""

    title: str
    name: str
    svg: str
    terminals: frozenset[str]


class Canvas:
    """A page with parts of one side of a netlist."""

    def __init__(self, netlist: Netlist, side: Side) -> None:
        self.netlist, self.side = netlist, side
        self._width = {net.name: HEAVY if net.kind.heavy else LIGHT for net in netlist.on(side)}
        self._drawing = schemdraw.Drawing(canvas="svg", show=False)
        self._drawing.config(unit=2, inches_per_unit=UNIT_PT / 72, lw=SYMBOL, margin=0.1)
        self._terminals: dict[str, Place] = {}
        self._net_of = {terminal: net.name for net in netlist.on(side) for terminal in net.terminals}
        self._lines: list[tuple[str, Place, Place]] = []
        self._words: list[tuple[Place, str, Align, str]] = []

    def has(self, part: str) -> bool:
        """Whether this machine has the part."""
        return self.netlist.part(part) is not None

    def joins(self, terminal: str) -> bool:
        """Whether this side has the terminal."""
        return terminal in self._net_of

    def is_link(self, part: str) -> bool:
        """Whether the part is a bar between two screws, not a device."""
        found = self.netlist.part(part)
        return found is not None and found.link

    def name_of(self, part: str) -> str:
        """The label of a part: its name, with a star where it is to be fitted."""
        found = self.netlist.part(part)
        return f"{part}*" if found is not None and not found.fitted else part

    def add(self, element: Any) -> Any:
        """Draw any element of schemdraw."""
        return self._drawing.add(element)

    def terminal(
        self, name: str, at: Place, number: Beside, words: str | None = None, *, place: Place | None = None
    ) -> None:
        """Place a terminal, with its number (or `words`) on the named side of it, or at an exact place.

        Raises ValueError for a terminal that this side lacks, or that is on this page already.
        """
        if name not in self._net_of or name in self._terminals:
            raise ValueError(f"{name}: {'drawn twice' if name in self._terminals else 'no terminal of this side'}")
        self._terminals[name] = at
        across, along, align = _BESIDE[number]
        beside = place or (at[0] + across, at[1] + along)
        self.text(beside, words or name.partition(".")[2], align=align)

    def text(self, at: Place, words: str, *, align: Align = "left") -> None:
        """Text that is not a net's name."""
        self._words.append((at, words, align, "sans-serif"))

    def two(
        self,
        part: str,
        symbol: type[Any],
        ends: tuple[Place, Place],
        names: tuple[str, str] = ("1", "2"),
        *,
        words: Beside = "right",
        **style: Any,
    ) -> Any:
        """A part with two terminals, upright or level. `words`: the side of its name; the numbers are on the other side."""
        start, end = ends
        element = self.add(symbol(**style).endpoints(_up(start), _up(end)))
        level = start[1] == end[1]
        middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        across, along, align = _NAMED[words]
        self.text((middle[0] + across, middle[1] + along), self.name_of(part), align=align)
        beside: dict[str, Beside] = {"right": "left", "left": "right", "above": "below", "below": "above"}
        for name, at, other in ((names[0], start, end), (names[1], end, start)):
            number, place = beside[words], None
            if not level:  # towards the body, off the conductor that leaves the other way
                down = min(_ALONG, (abs(other[1] - at[1]) - 0.95) / 2) * (1 if other[1] > at[1] else -1)
                place = (at[0] + (_BODY if number == "right" else -_BODY), at[1] + down)
            self.terminal(f"{part}.{name}", at, number, place=place)
        return element

    def inner(self, *places: Place) -> None:
        """Lines inside a part. They are not wires."""
        for start, end in zip(places[:-1], places[1:], strict=True):
            self.add(elm.Line(lw=SYMBOL).endpoints(_up(start), _up(end)))

    def link(self, part: str, ends: tuple[Place, Place], names: tuple[str | None, str | None], words: str) -> None:
        """A bar between two screws. It is a part that can be removed. An end without a name is on another side."""
        (x, y), (last, bottom) = ends
        level = y == bottom
        for shift in (-0.14, 0.14):
            across, along = (0.0, shift) if level else (shift, 0.0)
            self.inner((x + across, y + along), (last + across, bottom + along))
        across, along, align = _NAMED["below" if level else "right"]
        self.text(((x + last) / 2 + across, (y + bottom) / 2 + along), f"{self.name_of(part)} {words}", align=align)
        for name, at in zip(names, ends, strict=True):
            if name is None:
                self.add(elm.Dot(open=True, radius=0.1).at(_up(at)))
            else:
                self.terminal(f"{part}.{name}", at, "above" if level else "left")

    def rect(self, corner: Place, opposite: Place) -> None:
        """A frame."""
        self.add(elm.Rect(_up(corner), _up(opposite)).at((0, 0)).theta(0))

    def box(
        self,
        part: str,
        corner: Place,
        size: Place,
        words: Sequence[str] = (),
        *,
        at: Place | None = None,
        **sides: dict[str, float],
    ) -> None:
        """A part as a box: `left`, `right`, `top` and `bottom` hold its terminals with their distance from the corner.

        `at`: the middle of its text, from the corner. The default is the middle of the box.
        """
        (x, y), (w, h) = corner, size
        self.rect((x, y), (x + w, y + h))
        across, down = at or (w / 2, h / 2)
        lines = (self.name_of(part), *words)
        for n, line in enumerate(lines):
            self.text((x + across, y + down + (n - (len(lines) - 1) / 2) * LINE), line, align="center")
        inside: dict[str, Beside] = {"left": "right", "right": "left", "top": "below", "bottom": "above"}
        for side, terminals in sides.items():
            for name, along in terminals.items():
                edge = {
                    "left": (x, y + along),
                    "right": (x + w, y + along),
                    "top": (x + along, y),
                    "bottom": (x + along, y + h),
                }[side]
                self.terminal(f"{part}.{name}", edge, inside[side])

    def wire(self, *stops: str | Place) -> None:
        """A conductor through terminals and places. It touches at least one terminal, and has that terminal's net."""
        named = [stop for stop in stops if isinstance(stop, str)]
        nets = {self._net_of[name] for name in named}
        if len(nets) != 1:
            raise ValueError(f"a wire through {stops} joins {sorted(nets)}")
        places = [self._terminals[stop] if isinstance(stop, str) else stop for stop in stops]
        for start, end in zip(places[:-1], places[1:], strict=True):
            self._lines.append((nets.copy().pop(), start, end))

    def bus(self, net: str, *places: Place) -> None:
        """A conductor of a net between places. Terminals are wired to it separately."""
        self._lines += [(net, start, end) for start, end in zip(places[:-1], places[1:], strict=True)]

    def net_of(self, terminal: str) -> str:
        """The net that a terminal is in."""
        return self._net_of[terminal]

    def at(self, terminal: str) -> Place:
        """The place of a terminal."""
        return self._terminals[terminal]

    def name(self, net: str, at: Place, align: Align = "left") -> None:
        """A net's name on one of its conductors, just above `at`, or next to it."""
        self._words.append((at, net, align, NAME_FONT))

    def flag(self, terminal: str, towards: str, length: float = 0.5) -> None:
        """A short conductor from a terminal to its net's name."""
        x, y = self._terminals[terminal]
        dx, dy = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}[towards]
        end = (x + dx * length, y + dy * length)
        self.wire(terminal, end)
        gap = 0.2 if dx else 0.45
        aligns: dict[str, Align] = {"left": "right", "right": "left"}
        align = aligns.get(towards, "center")
        self.name(self._net_of[terminal], (end[0] + dx * gap, end[1] + dy * gap), align)

    def dashed(self, *places: Place) -> None:
        """A thin dashed line around or between parts that move or belong together. It is not a conductor."""
        for start, end in zip(places[:-1], places[1:], strict=True):
            self.add(elm.Line(ls="--", lw=DASHED).endpoints(_up(start), _up(end)))

    def page(self, number: int, title: str, name: str, height: float) -> DrawnPage:
        """The page as drawing `number`, `height` units high."""
        title = f"Drawing {number}: {title}"
        return DrawnPage(title, name, self._svg(title, name, height), frozenset(self._terminals))

    def _svg(self, title: str, ident: str, height: float) -> str:
        for net, start, end in self._lines:
            self.add(elm.Line(lw=self._width[net]).endpoints(_up(start), _up(end)))
        for x, y in self._junctions():
            self.add(elm.Dot(radius=0.11).at(_up((x, y))))
        root = ElementTree.fromstring(self._drawing.get_imagedata("svg"))
        sides = [v * UNIT_PT for v in (-_EDGE, -_EDGE, PAGE_WIDTH, height + 2 * _EDGE)]
        root.set("viewBox", " ".join(f"{v:g}" for v in sides))
        root.set("width", f"{sides[2]:g}pt")
        root.set("height", f"{sides[3]:g}pt")
        root.set("id", ident)
        root.set("role", "img")
        root.set("aria-label", title)
        for name, (x, y) in sorted(self._terminals.items()):
            spot = {"cx": f"{x * UNIT_PT:.2f}", "cy": f"{y * UNIT_PT:.2f}", "r": f"{_TERMINAL_PT}", "class": "terminal"}
            circle = ElementTree.SubElement(
                root, f"{_SVG}circle", spot | {"style": "fill:white;stroke:black;stroke-width:0.7"}
            )
            ElementTree.SubElement(circle, f"{_SVG}title").text = name
        for at, words, align, font in self._words:
            style = {"font-family": font, "font-size": f"{FONT_PT:g}", "text-anchor": _ANCHORS[align]}
            place = {"x": f"{at[0] * UNIT_PT:.2f}", "y": f"{at[1] * UNIT_PT:.2f}", "dominant-baseline": "central"}
            ElementTree.SubElement(root, f"{_SVG}text", place | style).text = words
        ElementTree.register_namespace("", _SVG.strip("{}"))
        return ElementTree.tostring(root, encoding="unicode")

    def _junctions(self) -> list[Place]:
        """The places at which three or more conductors of one net meet."""
        found = []
        for net in {line[0] for line in self._lines}:
            lines = [(a, b) for name, a, b in self._lines if name == net]
            for place in sorted({end for line in lines for end in line}):
                ends = sum(place in line for line in lines)
                if ends + 2 * sum(_within(place, *line) for line in lines) >= 3:
                    found.append(place)
        return sorted(found)


def _up(at: Place) -> Place:
    """The place in schemdraw's coordinates, y upwards."""
    return (at[0], -at[1])


def _within(at: Place, start: Place, end: Place) -> bool:
    """Whether `at` lies on an upright or level line and is neither of its ends."""
    (x, y), (x1, y1), (x2, y2) = at, start, end
    level = y1 == y2 == y and min(x1, x2) < x < max(x1, x2)
    return level or (x1 == x2 == x and min(y1, y2) < y < max(y1, y2))
