"""The schematic of each stage, with this machine's values, drawn so that it can be read back.

Places are units of the canvas (17 points), y downwards. Each part has its name and value beside it; a pin has its number
where its symbol does not say which it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import schemdraw.elements as elm

from gen.wiring.canvas import LINE, Align, Beside, Canvas, DrawnPage, Place
from gen.wiring.interface.components import BoardStage
from gen.wiring.netlist import Connection, Kind, Net, Netlist, Part

_KIND = Kind("", "", "")
_LEAD = "lead"  # where a net leaves the board that has one pin on this page
_SYMBOLS: dict[str, Any] = {
    "resistor": elm.ResistorIEC,
    "film capacitor": elm.Capacitor,
    "ceramic capacitor": elm.Capacitor,
    "electrolytic capacitor": elm.Capacitor2,
    "signal diode": elm.Diode,
    "rectifier diode": elm.Diode,
    "Schottky diode": elm.Schottky,
    "Zener diode": elm.Zener,
    "suppressor": elm.Zener,
}


class _StagePage(Canvas):
    """One stage on a page."""

    def __init__(self, stage: BoardStage) -> None:
        self.stage = stage
        self._of = {part.name: part for part in stage.components}
        super().__init__(_netlist(stage), "low")

    def bus(self, net: str, *places: Place) -> None:
        """As on any canvas; places are told apart to a thousandth."""
        super().bus(net, *(_exact(place) for place in places))

    def wire(self, *stops: str | Place) -> None:
        """As on any canvas; places are told apart to a thousandth."""
        super().wire(*(stop if isinstance(stop, str) else _exact(stop) for stop in stops))

    def terminal(
        self, name: str, at: Place, number: Beside, words: str | None = None, *, place: Place | None = None
    ) -> None:
        """As on any canvas; places are told apart to a thousandth."""
        super().terminal(name, _exact(at), number, words, place=place)

    def dot(self, pin: str, at: Place) -> None:
        """A pin without words."""
        self.terminal(pin, at, "right", " ")

    def label(self, at: Place, lines: Sequence[str], align: Align = "left") -> None:
        """Lines of words around a middle."""
        shown = [line for line in lines if line]
        for n, line in enumerate(shown):
            self.text((at[0], at[1] + (n - (len(shown) - 1) / 2) * LINE), line, align=align)

    def part(
        self, name: str, ends: tuple[Place, Place], side: str = "right", pins: tuple[str, str] | None = None
    ) -> None:
        """A part with two pins, upright or level; its name and value to one side."""
        part = self._of[name]
        first, second = pins or (part.pins[0][0], part.pins[1][0])
        (x1, y1), (x2, y2) = ends
        self.add(_SYMBOLS[part.generic]().endpoints((x1, -y1), (x2, -y2)))
        self.dot(f"{name}.{first}", ends[0])
        self.dot(f"{name}.{second}", ends[1])
        lines = (name, part.value_text)
        x, y = (x1 + x2) / 2, (y1 + y2) / 2
        if side == "right":
            self.label((x + 0.6, y), lines)
        elif side == "left":
            self.label((x - 0.6, y), lines, "right")
        elif side == "above":
            self.label((x, y - 0.6 - LINE * len([one for one in lines if one]) / 2), lines, "center")
        else:
            self.label((x, y + 0.6 + LINE * len([one for one in lines if one]) / 2), lines, "center")

    def mosfet(self, name: str, at: Place, words: Place = (0.5, 0.0)) -> None:
        """Gate at the left; an N-MOSFET has its drain above, a P-MOSFET its source."""
        x, y = at
        n_channel = self._of[name].generic == "N-MOSFET"
        top, bottom = ("D", "S") if n_channel else ("S", "D")
        self.inner((x - 1.4, y), (x - 0.75, y))
        self.inner((x - 0.75, y - 0.7), (x - 0.75, y + 0.7))
        for a, b in ((-0.85, -0.4), (-0.2, 0.2), (0.4, 0.85)):
            self.inner((x - 0.5, y + a), (x - 0.5, y + b))
        self.inner((x - 0.5, y - 0.62), (x, y - 0.62), (x, y - 1.5))
        self.inner((x - 0.5, y + 0.62), (x, y + 0.62), (x, y + 1.5))
        self.inner((x - 0.5, y), (x, y), (x, y + (0.62 if n_channel else -0.62)))
        tip, tail = (x - 0.45, x - 0.15) if n_channel else (x - 0.1, x - 0.4)
        self.inner((tail, y - 0.15), (tip, y), (tail, y + 0.15))
        self.dot(f"{name}.G", (x - 1.4, y))
        self.dot(f"{name}.{top}", (x, y - 1.5))
        self.dot(f"{name}.{bottom}", (x, y + 1.5))
        self.label((x + words[0], y + words[1]), (name,))

    def pnp(self, name: str, at: Place) -> None:
        """Base at the left, emitter above."""
        x, y = at
        self.inner((x - 1.4, y), (x - 0.6, y))
        self.inner((x - 0.6, y - 0.75), (x - 0.6, y + 0.75))
        self.inner((x - 0.6, y - 0.3), (x, y - 0.9), (x, y - 1.5))
        self.inner((x - 0.6, y + 0.3), (x, y + 0.9), (x, y + 1.5))
        self.inner((x - 0.15, y - 0.5), (x - 0.45, y - 0.45), (x - 0.35, y - 0.75))
        self.dot(f"{name}.B", (x - 1.4, y))
        self.dot(f"{name}.E", (x, y - 1.5))
        self.dot(f"{name}.C", (x, y + 1.5))
        self.label((x + 0.5, y), (name,))

    def comparator(self, name: str, at: Place, pins: tuple[str, str, str], *, plus_above: bool = False) -> None:
        """One half, its tip at the right. `pins`: the numbers of output, inverting and other input."""
        x, y = at
        out, minus, plus = pins
        up = -0.9 if plus_above else 0.9
        self.inner((x, y - 1.8), (x, y + 1.8), (x + 3.2, y), (x, y - 1.8))
        for pin, down, sign in ((minus, -up, "-"), (plus, up, "+")):
            self.terminal(f"{name}.{pin}", (x, y + down), "upper left", pin)
            self.text((x + 0.3, y + down), sign)
        if self._of[name].net(out):
            self.terminal(f"{name}.{out}", (x + 3.2, y), "upper right", out)
        else:
            self.text((x + 3.5, y), f"{out} open")

    def supply(self, name: str, at: Place) -> None:
        """Pins 8 and 4 of a comparator whose middle of the left side is `at`."""
        x, y = at
        self.terminal(f"{name}.8", (x + 1.6, y - 0.9), "upper left", "8")
        self.terminal(f"{name}.4", (x + 1.6, y + 0.9), "lower left", "4")

    def coupler(self, name: str, at: Place, mains: tuple[str, str], low: tuple[str, str]) -> None:
        """Diode at the left, transistor or phototriac at the right. Pins from above."""
        x, y = at
        generic = self._of[name].generic
        self.rect((x, y - 1.6), (x + 5.0, y + 1.6))
        for pin, down, side in zip((*mains, *low), (-1.1, 1.1, -1.1, 1.1), ("left", "left", "right", "right")):
            self.terminal(f"{name}.{pin}", (x if side == "left" else x + 5.0, y + down), f"upper {side}", pin)  # type: ignore[arg-type]
        self.inner((x, y - 1.1), (x + 1.2, y - 1.1), (x + 1.2, y + 1.1), (x, y + 1.1))
        self._light(x + 1.2, y, down=True)
        if generic == "two-way coupler":
            self.inner((x + 1.2, y - 0.8), (x + 2.0, y - 0.8), (x + 2.0, y + 0.8), (x + 1.2, y + 0.8))
            self._light(x + 2.0, y, down=False)
        if generic == "phototriac coupler":
            self.inner((x + 5.0, y - 1.1), (x + 4.0, y - 1.1), (x + 4.0, y - 0.3))
            self.inner((x + 5.0, y + 1.1), (x + 4.0, y + 1.1), (x + 4.0, y + 0.3))
            self.inner((x + 3.5, y - 0.3), (x + 4.5, y - 0.3))
            self.inner((x + 3.5, y + 0.3), (x + 4.5, y + 0.3))
            self.inner((x + 3.5, y - 0.3), (x + 3.75, y + 0.3), (x + 4.0, y - 0.3))
            self.inner((x + 4.0, y + 0.3), (x + 4.25, y - 0.3), (x + 4.5, y + 0.3))
        else:
            self.inner((x + 3.6, y - 0.7), (x + 3.6, y + 0.7))
            self.inner((x + 3.6, y - 0.3), (x + 4.2, y - 0.8), (x + 4.2, y - 1.1), (x + 5.0, y - 1.1))
            self.inner((x + 3.6, y + 0.3), (x + 4.2, y + 0.8), (x + 4.2, y + 1.1), (x + 5.0, y + 1.1))
            self.inner((x + 3.85, y + 0.75), (x + 4.15, y + 0.77), (x + 4.05, y + 0.45))
        self.inner((x + 2.6, y - 0.1), (x + 3.2, y - 0.1), (x + 3.05, y - 0.25))
        self.text((x + 2.5, y - 2.1), name, align="center")

    def _light(self, x: float, y: float, *, down: bool) -> None:
        """A diode's triangle and bar."""
        tip = 0.3 if down else -0.3
        self.inner((x - 0.35, y - tip), (x + 0.35, y - tip), (x, y + tip), (x - 0.35, y - tip))
        self.inner((x - 0.35, y + tip), (x + 0.35, y + tip))

    def out(self, pin: str, towards: str, length: float = 0.5) -> None:
        """A short conductor to its net's name; where the net has no other pin on this page it ends as a lead."""
        net, (x, y) = self.net_of(pin), self.at(pin)
        self.flag(pin, towards, length)
        lead = f"{_LEAD}.{net}"
        if self.joins(lead) and lead not in self._terminals:
            dx, dy = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}[towards]
            self.dot(lead, (x + dx * length, y + dy * length))


def _exact(at: Place) -> Place:
    return round(at[0], 3), round(at[1], 3)


def _netlist(stage: BoardStage) -> Netlist:
    """The stage as a netlist to draw; a net with one pin gets a lead."""
    nets: dict[str, list[str]] = {}
    for part in stage.components:
        for pin, net in part.pins:
            if net:
                nets.setdefault(net, []).append(f"{part.name}.{pin}")
    alone = tuple(net for net, pins in nets.items() if len(pins) == 1)
    parts = [
        Part(part.name, part.generic, part.value_text, low=tuple(pin for pin, net in part.pins if net))
        for part in stage.components
    ]
    if alone:
        parts.append(Part(_LEAD, "", "", low=alone))
    ends = {net: [*pins, *((f"{_LEAD}.{net}",) if net in alone else ())] for net, pins in nets.items()}
    joined = tuple(
        Net(net, "low", _KIND, tuple(Connection(pins[0], pin) for pin in pins[1:])) for net, pins in ends.items()
    )
    return Netlist(tuple(parts), joined)


def _gate(c: _StagePage) -> float:
    top, bottom = 1.2, 20.0
    pulsed = c.stage.components[9].net("7") != ""
    c.bus("24E", (1.0, top), (29.0, top))
    c.name("24E", (0.9, top - 0.55))
    c.bus("0V", (1.0, bottom), (29.0, bottom))
    c.name("0V", (0.9, bottom - 0.55))
    # The pin, its pull-down and the first MOSFET.
    row = 14.0
    c.part("R8", ((2.0, row + 1.2), (2.0, row + 3.4)))
    c.part("R31", ((3.4, row), (5.6, row)), "above")
    c.mosfet("Q31", (8.6, row))
    c.bus("GATE", (0.4, row), (2.0, row))
    c.wire((2.0, row), "R31.1")
    c.wire((2.0, row), "R8.1")
    c.name("GATE", (0.4, row - 0.55))
    c.wire("R31.2", "Q31.G")
    c.bus("GQ", (6.4, row), (6.4, row + 1.4))
    c.name("GQ", (6.4, row + 1.85), "center")
    for pin in ("R8.2", "Q31.S"):
        c.wire(pin, (c.at(pin)[0], bottom))
    # GX and its way through C31 to GY.
    line = 10.3
    c.part("R32", ((8.6, 3.4), (8.6, 5.6)), "left")
    c.wire("R32.1", (8.6, top))
    c.wire("R32.2", (8.6, line))
    c.wire((8.6, line), "Q31.D")
    c.part("C31", ((9.8, line), (11.2, line)), "below")
    c.wire((8.6, line), "C31.1")
    c.name("GX", (8.9, line - 0.55))
    c.part("R33", ((12.8, 3.4), (12.8, 5.6)), "left")
    c.wire("R33.1", (12.8, top))
    c.wire("R33.2", (12.8, line))
    c.wire("C31.2", (12.8, line))
    c.part("D31", ((14.4, 9.0), (14.4, 7.4)))
    c.wire("D31.K", (14.4, top))
    c.wire("D31.A", (14.4, line))
    c.bus("GY", (12.8, line), (14.4, line))
    # The threshold and the comparator.
    x, y = 19.8, line - 0.9
    c.comparator("U4", (x, y), ("1", "2", "3"))
    c.supply("U4", (x, y))
    c.wire((14.4, line), "U4.3")
    c.name("GY", (15.0, line - 0.55))
    c.part("R34", ((18.0, 3.0), (18.0, 5.2)), "left")
    c.wire("R34.1", (18.0, top))
    c.wire("R34.2", (18.0, y - 0.9))
    c.wire((18.0, y - 0.9), "U4.2")
    c.part("R35", ((18.0, 12.4), (18.0, 14.6)), "left")
    c.wire((18.0, y - 0.9), "R35.1")
    c.wire("R35.2", (18.0, bottom))
    c.name("GT", (17.7, y - 0.9), "right")
    c.wire("U4.8", (x + 1.6, top))
    c.wire("U4.4", (x + 1.6, 12.6))
    c.name("0V", (x + 1.6, 13.05), "center")
    c.text((x + 0.6, y), "U4", align="left")
    # What the comparator switches.
    c.part("R37", ((23.6, y), (25.6, y)), "below")
    c.wire("U4.1", "R37.1")
    c.name("GC", (22.9, y + 0.55), "center")
    c.pnp("Q33", (28.0, y))
    c.wire("R37.2", "Q33.B")
    c.part("R36", ((26.2, 3.4), (26.2, 5.6)), "left")
    c.wire("R36.1", (26.2, top))
    c.wire("R36.2", (26.2, y))
    c.name("GB", (26.4, y - 0.55))
    c.wire("Q33.E", (28.0, top))
    c.part("R38", ((28.0, 12.2), (28.0, 14.4)), "left")
    c.wire("Q33.C", "R38.1")
    c.name("GO", (27.7, 11.5), "right")
    c.out("R38.2", "down")
    # The return.
    c.mosfet("Q32", (24.6, 17.4))
    c.wire("Q32.S", (24.6, bottom))
    c.out("Q32.G", "left")
    c.out("Q32.D", "up")
    c.part("C32", ((4.6, 3.4), (4.6, 5.0)), "left")
    c.wire("C32.1", (4.6, top))
    c.flag("C32.2", "down")
    # The second half.
    z = 16.9
    c.comparator("U4", (11.8, z), ("7", "6", "5"))
    if pulsed:
        for pin, way in (("7", "right"), ("6", "left"), ("5", "left")):
            c.out(f"U4.{pin}", way, 0.9)
    else:
        c.wire("U4.6", (10.6, z - 0.9), (10.6, bottom))
        c.wire("U4.5", (10.6, z + 0.9))
    c.text((12.4, z), "U4")
    return bottom + 0.4


def _contactor(c: _StagePage) -> float:
    top, rail, row, bottom = 0.9, 4.6, 11.0, 22.0
    c.bus("24E", (1.0, top), (29.0, top))
    c.name("24E", (0.9, top - 0.55))
    c.bus("0V", (1.0, bottom), (29.0, bottom))
    c.name("0V", (2.6, bottom - 0.55))
    # 12Z.
    c.part("R40", ((4.6, 1.6), (4.6, 3.6)))
    c.wire("R40.1", (4.6, top))
    c.wire("R40.2", (4.6, rail))
    c.bus("12Z", (1.6, rail), (19.6, rail))
    c.name("12Z", (10.4, rail - 0.55))
    c.part("Z41", ((1.6, 7.4), (1.6, 5.8)))
    c.wire("Z41.K", (1.6, rail))
    c.out("Z41.A", "down", 0.3)
    c.part("C44", ((4.6, 5.8), (4.6, 7.2)))
    c.wire("C44.1", (4.6, rail))
    c.out("C44.2", "down", 0.3)
    # The pin and the two MOSFETs that answer each other.
    c.bus("PULSE", (0.3, row + 2.6), (1.8, row + 2.6))
    c.name("PULSE", (0.3, row + 2.05))
    c.part("R9", ((1.8, row + 4.0), (1.8, row + 6.2)))
    c.part("R41", ((3.2, row + 2.6), (5.4, row + 2.6)), "above")
    c.wire((1.8, row + 2.6), "R41.1")
    c.wire((1.8, row + 2.6), "R9.1")
    c.wire("R9.2", (1.8, bottom))
    c.mosfet("Q41", (8.2, row + 2.6))
    c.wire("R41.2", "Q41.G")
    c.name("KQ", (6.1, row + 3.15), "center")
    c.wire("Q41.S", (8.2, bottom))
    c.part("R42", ((8.2, 5.8), (8.2, 8.0)))
    c.wire("R42.1", (8.2, rail))
    c.wire("R42.2", (8.2, row))
    c.wire((8.2, row), "Q41.D")
    c.part("C41", ((10.8, row), (12.2, row)), "above")
    c.wire((8.2, row), (9.8, row), "C41.1")
    c.name("KX", (8.5, row - 0.55))
    c.mosfet("Q42", (12.0, row + 8.2))
    c.wire((9.8, row), (9.8, row + 8.2), "Q42.G")
    c.wire("Q42.S", (12.0, bottom))
    c.part("R43", ((12.0, row + 3.0), (12.0, row + 4.8)))
    c.out("R43.1", "up", 0.2)
    c.wire("R43.2", (12.0, row + 5.8))
    c.wire((12.0, row + 5.8), "Q42.D")
    c.part("C42", ((13.6, row + 5.8), (15.0, row + 5.8)), "below")
    c.wire((12.0, row + 5.8), "C42.1")
    c.name("KW", (11.8, row + 5.8), "right")
    # Each capacitor with its two diodes.
    c.part("D41", ((13.8, row + 0.6), (13.8, row + 1.8)))
    c.wire("C41.2", (13.8, row))
    c.wire((13.8, row), "D41.A")
    c.out("D41.K", "down", 0.2)
    c.part("D42", ((17.4, row), (15.6, row)), "below")
    c.wire((13.8, row), "D42.K")
    c.name("KP", (14.0, row - 0.55))
    c.part("D43", ((16.6, row + 6.7), (16.6, row + 8.3)))
    c.wire("C42.2", (16.6, row + 5.8))
    c.wire((16.6, row + 5.8), "D43.A")
    c.out("D43.K", "down", 0.2)
    c.part("D44", ((19.0, row + 5.8), (17.4, row + 5.8)), "above")
    c.wire((16.6, row + 5.8), "D44.K")
    c.name("KR", (16.3, row + 5.25), "right")
    # The store, what lifts it, and the threshold.
    x, y = 19.6, 8.2
    c.wire("D42.A", (x, row))
    c.wire("D44.A", (x, row + 5.8))
    c.bus("KS", (x, row), (x, row + 5.8))
    c.part("R44", ((x, row - 0.8), (x, row - 2.6)), "left")
    c.wire((x, row), "R44.1")
    c.part("C43", ((x, row + 7.4), (x, row + 8.8)))
    c.wire((x, row + 5.8), "C43.1")
    c.wire("C43.2", (x, bottom))
    c.name("KS", (x + 0.3, row + 2.6))
    c.part("R45", ((x, 7.0), (x, 5.2)), "left")
    c.wire("R45.2", (x, rail))
    c.wire("R44.2", "R45.1")
    c.comparator("U5", (23.0, y + 0.4), ("1", "2", "3"), plus_above=True)
    c.bus("KN", (x, y - 0.5), (21.0, y - 0.5))
    c.wire((21.0, y - 0.5), "U5.3")
    c.name("KN", (x + 0.3, y - 1.05))
    c.supply("U5", (23.0, y + 0.4))
    c.out("U5.8", "up", 0.7)
    c.out("U5.4", "down", 1.0)
    c.text((23.6, y + 0.4), "U5")
    c.wire("U5.2", (22.4, y + 1.3), (22.4, row + 2.8))
    c.part("R47", ((22.4, row + 3.8), (22.4, row + 5.8)))
    c.wire((22.4, row + 2.8), "R47.1")
    c.wire("R47.2", (22.4, bottom))
    c.part("R46", ((26.0, row + 0.4), (26.0, row + 2.2)))
    c.out("R46.1", "up", 0.2)
    c.wire("R46.2", (26.0, row + 2.8), (22.4, row + 2.8))
    c.name("KT", (22.7, row + 2.25))
    # The coil.
    c.mosfet("Q43", (28.2, 3.4), (0.2, -1.2))
    c.wire("Q43.S", (28.2, top))
    c.out("Q43.D", "down", 0.2)
    c.part("R48", ((26.5, 8.0), (26.5, 6.2)))
    c.wire("U5.1", (26.5, y + 0.4), "R48.1")
    c.name("KC", (26.8, y + 0.4))
    c.wire("R48.2", (26.5, 3.4))
    c.wire((26.5, 3.4), "Q43.G")
    c.part("R49", ((24.4, 1.3), (24.4, 2.9)), "left")
    c.wire("R49.1", (24.4, top))
    c.wire("R49.2", (24.4, 3.4), (26.5, 3.4))
    c.name("KG", (26.2, 3.95), "right")
    c.part("C45", ((14.4, 1.4), (14.4, 2.8)))
    c.wire("C45.1", (14.4, top))
    c.out("C45.2", "down", 0.2)
    c.comparator("U5", (24.2, row + 7.6), ("7", "6", "5"))
    c.wire("U5.6", (23.4, row + 6.7), (23.4, bottom))
    c.wire("U5.5", (23.4, row + 8.5))
    c.text((24.8, row + 7.6), "U5")
    return bottom + 0.4


def _isolation(c: _StagePage) -> float:
    names = {part.name for part in c.stage.components}
    return _pulsed(c) if "T2" in names else _phototriacs(c, pair="R63" in names, two="U22" in names)


def _phototriacs(c: _StagePage, *, pair: bool, two: bool) -> float:
    c.coupler("U21", (6.0, 4.0), ("A", "K"), ("T1", "T2"))
    c.out("U21.A", "left", 1.6)
    line, last = 2.9, "U21"
    if two:
        c.coupler("U22", (6.0, 9.6), ("A", "K"), ("T1", "T2"))
        c.wire("U21.K", (4.4, 5.1), (4.4, 8.5), "U22.A")
        c.name("FIREM", (4.2, 6.8), "right")
        c.wire("U21.T2", (12.4, 5.1), (12.4, 8.5), "U22.T1")
        c.part("R64", ((13.6, 3.6), (13.6, 5.6)))
        c.wire("R64.1", (13.6, line))
        c.wire("R64.2", (13.6, 6.8), (12.4, 6.8))
        c.part("R65", ((13.6, 7.8), (13.6, 9.8)))
        c.wire("R65.1", (13.6, 6.8))
        c.wire("R65.2", (13.6, 10.7))
        c.name("GM", (12.1, 6.8), "right")
        last = "U22"
    c.out(f"{last}.K", "left", 1.6)
    below = 10.7 if two else 9.0
    c.part("R61", ((19.2, line), (17.0, line)), "above")
    c.wire("U21.T1", "R61.2")
    c.name("GS", (15.4, line - 0.55))
    if not two:
        c.wire("U21.T2", (12.0, 5.1), (12.0, below))
    if pair:
        for gate, r, d, y, net, other in (
            ("G1", "R62", "D61", line, "L4", 7.2),
            ("G2", "R63", "D62", below, "L3", below + 4.3),
        ):
            c.part(r, ((20.6, y + 1.0), (20.6, y + 3.2)), "left")
            c.part(d, ((24.4, y + 2.9), (24.4, y + 1.3)))
            c.wire(f"{r}.1", (20.6, y))
            c.wire(f"{r}.2", (20.6, other))
            c.wire(f"{d}.K", (24.4, y))
            c.wire(f"{d}.A", (24.4, other))
            c.bus(net, (20.6, other), (28.0, other))
            c.name(net, (26.6, other - 0.55))
            c.bus(gate, (20.6, y), (28.0, y))
            c.name(gate, (26.6, y - 0.55))
        c.wire("R61.1", (20.6, line))
        start = (13.6, below) if two else (12.0, below)
        c.bus("G2", start, (20.6, below))
        if two:
            c.wire("U22.T2", (13.6, below))
        return below + 4.9
    c.out("R61.1", "right", 1.4)
    start = (13.6, below) if two else (12.0, below)
    c.bus("G", start, (26.0, below))
    if two:
        c.wire("U22.T2", (13.6, below))
    c.name("G", (24.6, below - 0.55))
    c.part("R62", ((20.6, below + 1.0), (20.6, below + 3.2)))
    c.wire("R62.1", (20.6, below))
    c.out("R62.2", "down", 0.4)
    return below + 5.0


def _pulsed(c: _StagePage) -> float:
    pair = "R63" in {part.name for part in c.stage.components}
    top, line = 0.9, 5.6
    c.bus("24E", (1.0, top), (8.6, top))
    c.name("24E", (0.9, top - 0.55))
    c.part("R51", ((2.6, 1.6), (2.6, 3.6)))
    c.wire("R51.1", (2.6, top))
    c.wire("R51.2", (2.6, line))
    c.part("R52", ((2.6, 7.0), (2.6, 9.2)))
    c.wire("R52.1", (2.6, line))
    c.out("R52.2", "down", 0.3)
    c.part("R53", ((6.8, line), (4.6, line)), "above")
    c.wire("R53.2", (2.6, line))
    c.name("HT", (2.4, line), "right")
    c.part("R55", ((8.4, 1.8), (8.4, 4.0)))
    c.wire("R55.1", (8.4, top))
    c.wire("R55.2", (8.4, line))
    c.wire("R53.1", (8.4, line))
    c.name("HO", (8.7, line - 0.55))
    c.part("R54", ((10.2, line), (12.4, line)), "below")
    c.wire("R54.1", (8.4, line))
    c.part("C51", ((13.4, 6.4), (13.4, 7.8)))
    c.wire("R54.2", (13.4, line), "C51.1")
    c.name("HC", (13.6, line), "left")
    c.out("C51.2", "down", 0.3)
    c.part("R56", ((8.4, 8.4), (8.4, 10.6)))
    c.wire("R56.1", (8.4, line))
    c.part("R57", ((8.4, 13.2), (8.4, 15.4)))
    c.wire("R56.2", (8.4, 12.0))
    c.wire("R57.1", (8.4, 12.0))
    c.out("R57.2", "down", 0.3)
    c.mosfet("Q34", (14.2, 12.0))
    c.wire((8.4, 12.0), "Q34.G")
    c.name("HG", (8.7, 11.45))
    c.out("Q34.S", "down", 0.4)
    # The primary, with the way on which its field dies away.
    c.rect((19.4, 1.6), (22.0, 13.2))
    c.text((20.7, 7.0), "T2", align="center")
    c.text((20.7, 7.8), "1:1:1", align="center")
    for pin, at, side in (("P1", (19.4, 2.6), "upper left"), ("P2", (19.4, 9.6), "lower left")):
        c.terminal(f"T2.{pin}", at, side, pin)  # type: ignore[arg-type]
    c.part("Z51", ((17.0, 3.6), (17.0, 5.2)), "left")
    c.part("D51", ((17.0, 8.4), (17.0, 6.8)))
    c.wire("Z51.K", "D51.K")
    c.name("HZ", (17.3, 6.0))
    c.wire("Z51.A", (17.0, 2.6))
    c.wire("D51.A", (17.0, 9.6))
    c.bus("FIRE", (14.4, 2.6), (17.0, 2.6))
    c.wire((17.0, 2.6), "T2.P1")
    c.name("FIRE", (14.4, 2.05))
    c.wire("Q34.D", (14.2, 9.6), (17.0, 9.6), "T2.P2")
    c.name("FIRE0", (14.5, 9.05))
    ends = (("HA", "D61", "R62", "S1", "S2", 2.6, "L4"), ("HB", "D62", "R63", "S3", "S4", 8.4, "L3"))
    for net, d, r, one, other, y, end in ends[: 2 if pair else 1]:
        c.terminal(f"T2.{one}", (22.0, y), "upper right", one)
        c.terminal(f"T2.{other}", (22.0, y + 4.0), "upper right", other)
        c.part(d, ((24.0, y), (25.6, y)), "above")
        c.wire(f"T2.{one}", f"{d}.A")
        c.name(net, (23.1, y + 0.55), "center")
        c.part(r, ((27.0, y + 0.9), (27.0, y + 3.1)), "left")
        c.wire(f"{d}.K", (27.0, y), f"{r}.1")
        gate = c.net_of(f"{r}.1")
        c.name(gate, (27.3, y - 0.1))
        c.wire(f"T2.{other}", (27.0, y + 4.0), f"{r}.2")
        c.name(end, (27.3, y + 4.0))
    return 16.6


def _coupled(c: _StagePage, coupler: str, resistors: tuple[str, str], pins: tuple[str, str], y: float) -> None:
    """Two resistors and the diodes of a coupler, on the mains."""
    one, other = resistors
    c.part(one, ((3.0, y), (5.2, y)), "below")
    c.out(f"{one}.1", "left", 1.0)
    c.part(other, ((7.4, y), (9.6, y)), "below")
    c.wire(f"{one}.2", f"{other}.1")
    c.name(c.net_of(f"{one}.2"), (6.3, y - 0.55), "center")
    c.coupler(coupler, (14.6, y + 1.1), pins, ("C", "E"))
    c.wire(f"{other}.2", f"{coupler}.{pins[0]}")
    c.name(c.net_of(f"{other}.2"), (10.0, y - 0.55))


def _detector(c: _StagePage) -> float:
    y = 4.6
    square = "D1" in {part.name for part in c.stage.components}
    _coupled(c, "U1", ("R1", "R2"), ("A", "K") if square else ("1", "2"), y)
    if square:
        c.part("D1", ((11.8, y + 3.4), (11.8, y + 1.8)), "left")
        c.wire("D1.K", (11.8, y))
        c.wire("U1.K", (12.8, y + 2.2), (12.8, y + 4.2), (11.8, y + 4.2), "D1.A")
        neutral = c.net_of("U1.K")
        c.bus(neutral, (2.0, y + 4.2), (11.8, y + 4.2))
        c.name(neutral, (1.8, y + 4.2), "right")
        c.out("U1.C", "right")
        c.wire("U1.E", (27.0, y + 2.2))
        c.part("R7", ((23.0, y + 3.2), (23.0, y + 5.4)))
        c.wire("R7.1", (23.0, y + 2.2))
        c.out("R7.2", "down", 0.3)
        c.name("DET", (25.4, y + 1.65))
        return y + 6.8
    c.out("U1.2", "left", 1.4)
    c.out("U1.E", "right")
    c.wire("U1.C", (27.0, y))
    c.part("R7", ((23.0, y - 3.2), (23.0, y - 1.0)))
    c.wire("R7.2", (23.0, y))
    c.out("R7.1", "up", 0.2)
    c.name("DET", (25.4, y - 0.55))
    return y + 4.4


def _sense(c: _StagePage) -> float:
    y = 4.6
    _coupled(c, "U3", ("R5", "R6"), ("1", "2"), y)
    c.out("U3.2", "left", 1.4)
    c.out("U3.E", "right")
    c.wire("U3.C", (29.2, y))
    c.part("R15", ((21.4, y - 3.2), (21.4, y - 1.0)))
    c.wire("R15.2", (21.4, y))
    c.out("R15.1", "up", 0.2)
    c.part("C15", ((23.0, y + 1.0), (23.0, y + 2.4)))
    c.wire("C15.1", (23.0, y))
    c.out("C15.2", "down", 0.3)
    c.name("COND", (29.4, y - 0.55), "right")
    c.part("R16", ((26.0, y + 4.8), (23.8, y + 4.8)), "below", ("1", "2"))
    c.wire("R16.1", (27.2, y + 4.8), (27.2, y))
    c.part("C16", ((21.4, y + 5.8), (21.4, y + 7.2)), "left")
    c.wire("R16.2", (21.4, y + 4.8), "C16.1")
    c.name("TS", (21.0, y + 4.8), "right")
    c.out("C16.2", "down", 0.3)
    return y + 8.6


def _inputs(c: _StagePage) -> float:
    names = [part.name for part in c.stage.components]
    numbers = [name[2:] for name in names if name.startswith("R2")]
    for n, number in enumerate(numbers):
        y = 4.0 + 5.6 * n
        lead, pin = c.net_of(f"R1{number}.1"), c.net_of(f"R1{number}.2")
        c.bus(lead, (1.0, y), (5.0, y))
        c.name(lead, (1.0, y - 0.55))
        c.part(f"R2{number}", ((5.0, y - 2.8), (5.0, y - 0.8)), "left")
        c.out(f"R2{number}.1", "up", 0.1)
        c.wire(f"R2{number}.2", (5.0, y))
        c.part(f"R1{number}", ((9.4, y), (11.6, y)), "above")
        c.wire(f"R1{number}.1", (5.0, y))
        c.part(f"C1{number}", ((14.0, y + 0.5), (14.0, y + 1.9)))
        c.wire(f"C1{number}.1", (14.0, y))
        c.out(f"C1{number}.2", "down", 0.1)
        c.part(f"D1{number}", ((18.4, y - 0.8), (18.4, y - 2.4)))
        c.wire(f"D1{number}.A", (18.4, y))
        c.out(f"D1{number}.K", "up", 0.1)
        c.wire(f"R1{number}.2", (26.0, y))
        c.name(pin, (25.8, y - 0.55), "right")
    return 4.0 + 5.6 * (len(numbers) - 1) + 3.2


def _supply(c: _StagePage) -> float:
    y = 2.0
    c.bus("24V", (1.0, y), (4.0, y))
    c.name("24V", (1.0, y - 0.55))
    c.part("D4", ((4.0, y + 2.6), (4.0, y + 1.0)))
    c.wire("D4.K", (4.0, y))
    c.out("D4.A", "down", 0.3)
    c.part("C21", ((8.4, y + 1.0), (8.4, y + 2.4)))
    c.wire("C21.+", (8.4, y))
    c.out("C21.-", "down", 0.3)
    c.rect((13.0, y - 0.9), (18.4, y + 1.5))
    c.text((15.7, y + 0.4), "G2", align="center")
    for pin, at, side in (
        ("IN", (13.0, y), "upper left"),
        ("5V", (18.4, y), "upper right"),
        ("0V", (15.7, y + 1.5), "lower left"),
    ):
        c.terminal(f"G2.{pin}", at, side, pin)  # type: ignore[arg-type]
    c.bus("24V", (4.0, y), (8.4, y))
    c.wire((8.4, y), "G2.IN")
    c.out("G2.0V", "down", 0.9)
    c.part("C22", ((21.4, y + 1.0), (21.4, y + 2.4)))
    c.wire("C22.+", (21.4, y))
    c.wire("G2.5V", (21.4, y))
    c.out("C22.-", "down", 0.3)
    c.part("D3", ((25.2, y), (26.8, y)), "above")
    c.wire("D3.A", (21.4, y))
    c.name("5V", (22.2, y - 0.55))
    c.out("D3.K", "right", 0.7)
    return y + 4.2


def _current(c: _StagePage) -> float:
    y = 4.6
    c.bus("CT", (1.0, y), (5.0, y))
    c.name("CT", (1.0, y - 0.55))
    c.part("R71", ((5.0, y + 1.2), (5.0, y + 3.4)), "left")
    c.wire("R71.1", (5.0, y))
    c.wire("R71.2", (5.0, y + 5.0))
    c.bus("MID", (1.0, y + 5.0), (5.0, y + 5.0))
    c.name("MID", (1.0, y + 4.45))
    c.part("R72", ((8.4, y + 1.6), (8.4, y + 3.8)))
    c.out("R72.1", "up", 0.1)
    c.wire("R72.2", (8.4, y + 5.0), (5.0, y + 5.0))
    c.part("R73", ((8.4, y + 6.2), (8.4, y + 8.4)))
    c.wire("R73.1", (8.4, y + 5.0))
    c.out("R73.2", "down", 0.3)
    c.part("C71", ((13.0, y + 6.4), (13.0, y + 7.8)))
    c.wire("C71.+", (13.0, y + 5.0), (8.4, y + 5.0))
    c.out("C71.-", "down", 0.3)
    c.part("R74", ((11.6, y), (13.8, y)), "above")
    c.wire("R74.1", (5.0, y))
    c.part("C72", ((17.0, y + 1.2), (17.0, y + 2.6)))
    c.wire("C72.1", (17.0, y))
    c.out("C72.2", "down", 0.3)
    c.part("D71", ((21.0, y - 0.9), (21.0, y - 2.5)))
    c.wire("D71.A", (21.0, y))
    c.out("D71.K", "up", 0.2)
    c.part("D72", ((23.0, y + 2.7), (23.0, y + 1.1)))
    c.wire("D72.K", (23.0, y))
    c.out("D72.A", "down", 0.3)
    c.wire("R74.2", (28.0, y))
    c.name("AMPS", (27.8, y - 0.55), "right")
    return y + 9.8


_DRAWN: dict[str, Callable[[_StagePage], float]] = {
    "supply": _supply,
    "gate": _gate,
    "isolation": _isolation,
    "contactor": _contactor,
    "detector": _detector,
    "sense": _sense,
    "inputs": _inputs,
    "current": _current,
}


def stage_pages(stages: Sequence[BoardStage], first: int) -> tuple[DrawnPage, ...]:
    """A page for each stage, numbered from `first`. Raises ValueError where a pin is not on its page."""
    pages = []
    for number, stage in enumerate(stages, first):
        c = _StagePage(stage)
        page = c.page(number, stage.title, f"interface-{stage.name}", _DRAWN[stage.name](c))
        wanted = {f"{part.name}.{pin}" for part in stage.components for pin, net in part.pins if net}
        if missing := wanted - page.terminals:
            raise ValueError(f"not drawn: {', '.join(sorted(missing))}")
        pages.append(page)
    return tuple(pages)
