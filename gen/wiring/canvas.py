"""A page on which a netlist is drawn with schemdraw: parts at places, conductors between terminals, names on conductors.

Places are (x, y) in units of `UNIT_PT` points, y downwards. A conductor is drawn `HEAVY` or `LIGHT`, and nothing else
has these widths; a net's name stands in typewriter letters on its conductors, and conductors of one name are joined; every
terminal is a small circle with its name as title. So the drawing can be read back without the netlist.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal
from xml.etree import ElementTree

import schemdraw
import schemdraw.elements as elm

from gen.wiring.netlist import Netlist, Side

Place = tuple[float, float]
Align = Literal["left", "center", "right"]

UNIT_PT = 17.0
FONT_PT = 8.0
HEAVY, LIGHT = 1.9, 1.2  # widths of conductors: of the welding current and earth, and all others
SYMBOL = 0.9
DASHED = 0.6
LINE = 0.62  # from one line of words to the next
PAGE_WIDTH = 30.4  # what A4 and Letter both have room for
_EDGE = 0.3
NAME_FONT = "monospace"
# As letters also where schemdraw could draw them as shapes, so that they can be read back, searched and copied.
schemdraw.svgconfig.text = "text"

_SVG = "{http://www.w3.org/2000/svg}"
_TERMINAL_PT = 1.7


class Canvas:
    """One side of a netlist on one page."""

    def __init__(self, netlist: Netlist, side: Side) -> None:
        self.netlist, self.side = netlist, side
        self._width = {net.name: HEAVY if net.kind.heavy else LIGHT for net in netlist.on(side)}
        self._drawing = schemdraw.Drawing(canvas="svg", show=False)
        self._drawing.config(
            unit=2, inches_per_unit=UNIT_PT / 72, fontsize=FONT_PT, font="sans-serif", lw=SYMBOL, margin=0.1
        )
        self._terminals: dict[str, Place] = {}
        self._net_of = {terminal: net.name for net in netlist.on(side) for terminal in net.terminals}
        self._lines: list[tuple[str, Place, Place]] = []

    def has(self, part: str) -> bool:
        """Whether this machine has the part."""
        return self.netlist.part(part) is not None

    def name_of(self, part: str) -> str:
        """What is written next to a part: its name, with a star where it is to be fitted."""
        found = self.netlist.part(part)
        return f"{part}*" if found is not None and not found.fitted else part

    def add(self, element: Any) -> Any:
        """Draw any element of schemdraw."""
        return self._drawing.add(element)

    def terminal(self, name: str, at: Place) -> None:
        """Say where a terminal is. Raises ValueError for one that this side has not, or has already."""
        if name not in self._net_of or name in self._terminals:
            raise ValueError(f"{name}: {'drawn twice' if name in self._terminals else 'no terminal of this side'}")
        self._terminals[name] = at

    def text(self, at: Place, words: str, *, align: Align = "left") -> None:
        """Words that are no net's name."""
        self.add(
            elm.Label().at(_up(at)).label(words, "center", ofst=(0, 0), halign=align, valign="center", fontsize=FONT_PT)
        )

    def two(
        self, part: str, symbol: type[Any], start: Place, end: Place, names: Sequence[str] = ("1", "2"), **style: Any
    ) -> Any:
        """A part with two terminals, from `start` to `end`."""
        element = self.add(symbol(**style).endpoints(_up(start), _up(end)))
        for name, at in zip(names, (start, end), strict=True):
            self.terminal(f"{part}.{name}", at)
        return element

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
        names: bool = True,
        lift: float = 0.0,
        **sides: dict[str, float],
    ) -> None:
        """A part as a box: `left`, `right`, `top` and `bottom` give its terminals with their distance from the corner.

        `lift`: by how much its words stand above the middle.
        """
        (x, y), (w, h) = corner, size
        self.rect((x, y), (x + w, y + h))
        lines = (self.name_of(part), *words)
        for n, line in enumerate(lines):
            place = (x + w / 2, y + h / 2 - lift + (n - (len(lines) - 1) / 2) * LINE)
            self.text(place, line, align="center")
        for side, terminals in sides.items():
            for name, along in terminals.items():
                at = {
                    "left": (x, y + along),
                    "right": (x + w, y + along),
                    "top": (x + along, y),
                    "bottom": (x + along, y + h),
                }[side]
                self.terminal(f"{part}.{name}", at)
                if names:
                    self._inside(name, at, side)

    def _inside(self, name: str, at: Place, side: str) -> None:
        x, y = at
        sides: dict[str, tuple[Place, Align]] = {
            "left": ((x + 0.2, y), "left"),
            "right": ((x - 0.2, y), "right"),
            "top": ((x, y + 0.42), "center"),
            "bottom": ((x, y - 0.42), "center"),
        }
        place, align = sides[side]
        self.text(place, name, align=align)

    def wire(self, *stops: str | Place) -> None:
        """A conductor through terminals and places. Its net is that of the terminals, of which it touches at least one."""
        named = [stop for stop in stops if isinstance(stop, str)]
        nets = {self._net_of[name] for name in named}
        if len(nets) != 1:
            raise ValueError(f"a wire through {stops} joins {sorted(nets)}")
        places = [self._terminals[stop] if isinstance(stop, str) else stop for stop in stops]
        for start, end in zip(places[:-1], places[1:], strict=True):
            self._lines.append((nets.copy().pop(), start, end))

    def bus(self, net: str, *places: Place) -> None:
        """A conductor of a net between places, where terminals reach it by wires of their own."""
        self._lines += [(net, start, end) for start, end in zip(places[:-1], places[1:], strict=True)]

    def net_of(self, terminal: str) -> str:
        """The net that a terminal is in."""
        return self._net_of[terminal]

    def at(self, terminal: str) -> Place:
        """Where a terminal was put."""
        return self._terminals[terminal]

    def name(self, net: str, at: Place, align: Align = "left") -> None:
        """A net's name on one of its conductors, just above `at`, or next to it."""
        self.add(
            elm.Label()
            .at(_up(at))
            .label(net, "center", ofst=(0, 0), halign=align, valign="center", fontsize=FONT_PT, font=NAME_FONT)
        )

    def flag(self, terminal: str, towards: str, length: float = 0.5) -> None:
        """A short conductor from a terminal that ends at its net's name."""
        x, y = self._terminals[terminal]
        dx, dy = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}[towards]
        end = (x + dx * length, y + dy * length)
        self.wire(terminal, end)
        gap = 0.15 if dx else 0.32
        aligns: dict[str, Align] = {"left": "right", "right": "left"}
        align = aligns.get(towards, "center")
        self.name(self._net_of[terminal], (end[0] + dx * gap, end[1] + dy * gap), align)

    def dashed(self, *places: Place) -> None:
        """A thin dashed line: what moves together, or belongs together, and conducts nothing."""
        for start, end in zip(places[:-1], places[1:], strict=True):
            self.add(elm.Line(ls="--", lw=DASHED).endpoints(_up(start), _up(end)))

    def svg(self, title: str, ident: str, height: float) -> str:
        """The page as SVG, `height` units high. Raises ValueError where a terminal was not drawn."""
        missing = set(self._net_of) - set(self._terminals)
        if missing:
            raise ValueError(f"not drawn: {', '.join(sorted(missing))}")
        for net, start, end in self._lines:
            self.add(elm.Line(lw=self._width[net]).endpoints(_up(start), _up(end)))
        for x, y in self._junctions():
            self.add(elm.Dot(radius=0.11).at(_up((x, y))))
        root = ElementTree.fromstring(self._drawing.get_imagedata("svg"))
        for words in root.iter(f"{_SVG}text"):
            if words.get("font-family") != NAME_FONT:
                words.set("font-family", "sans-serif")
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
        ElementTree.register_namespace("", _SVG.strip("{}"))
        return ElementTree.tostring(root, encoding="unicode")

    def _junctions(self) -> list[Place]:
        """Where three or more conductors of one net meet."""
        found = []
        for net in {line[0] for line in self._lines}:
            lines = [(a, b) for name, a, b in self._lines if name == net]
            for place in sorted({end for line in lines for end in line}):
                ends = sum(place in line for line in lines)
                if ends + 2 * sum(_within(place, *line) for line in lines) >= 3:
                    found.append(place)
        return sorted(found)


def _up(at: Place) -> Place:
    """schemdraw counts upwards."""
    return (at[0], -at[1])


def _within(at: Place, start: Place, end: Place) -> bool:
    """Whether `at` lies on an upright or level line and is neither of its ends."""
    (x, y), (x1, y1), (x2, y2) = at, start, end
    level = y1 == y2 == y and min(x1, x2) < x < max(x1, x2)
    return level or (x1 == x2 == x and min(y1, y2) < y < max(y1, y2))
