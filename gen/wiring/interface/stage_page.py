"""A page for the schematic of one stage of the interface board: the symbols of its parts and their pins.

Places are in units of the canvas (17 points), y downwards. Each part is labelled with its name and value. A pin is numbered
where its symbol does not identify it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from gen.wiring.canvas import LINE, Align, Beside, Canvas, Place
from gen.wiring.interface.components import BoardStage
from gen.wiring.netlist import Connection, Kind, Net, Netlist, Part
from gen.wiring.symbols import elm

_KIND = Kind("", "", "")
_LEAD = "lead"  # the end of a net that has one pin on this page and leaves the board
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


class StagePage(Canvas):
    """One stage on a page."""

    def __init__(self, stage: BoardStage) -> None:
        self.stage = stage
        self._of = {part.name: part for part in stage.components}
        super().__init__(_netlist(stage), "low")

    def bus(self, net: str, *places: Place) -> None:
        """As `Canvas.bus`, with places rounded to a thousandth."""
        super().bus(net, *(_exact(place) for place in places))

    def wire(self, *stops: str | Place) -> None:
        """As `Canvas.wire`, with places rounded to a thousandth."""
        super().wire(*(stop if isinstance(stop, str) else _exact(stop) for stop in stops))

    def terminal(
        self, name: str, at: Place, number: Beside, words: str | None = None, *, place: Place | None = None
    ) -> None:
        """As `Canvas.terminal`, with the place rounded to a thousandth."""
        super().terminal(name, _exact(at), number, words, place=place)

    def dot(self, pin: str, at: Place) -> None:
        """A pin without a number."""
        self.terminal(pin, at, "right", " ")

    def label(self, at: Place, lines: Sequence[str], align: Align = "left") -> None:
        """Lines of text, centred on a height."""
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
        """A MOSFET, gate at the left. An N-MOSFET has its drain above, a P-MOSFET its source."""
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
        """A PNP transistor, base at the left, emitter above."""
        x, y = at
        self._bipolar(name, at, ("E", "C"))
        self.inner((x - 0.15, y - 0.5), (x - 0.45, y - 0.45), (x - 0.35, y - 0.75))

    def npn(self, name: str, at: Place) -> None:
        """An NPN transistor, base at the left, collector above."""
        x, y = at
        self._bipolar(name, at, ("C", "E"))
        self.inner((x - 0.4, y + 0.8), (x - 0.1, y + 0.8), (x - 0.2, y + 0.5))

    def _bipolar(self, name: str, at: Place, ends: tuple[str, str]) -> None:
        """A transistor without its arrow. `ends`: the pins above and below."""
        x, y = at
        self.inner((x - 1.4, y), (x - 0.6, y))
        self.inner((x - 0.6, y - 0.75), (x - 0.6, y + 0.75))
        self.inner((x - 0.6, y - 0.3), (x, y - 0.9), (x, y - 1.5))
        self.inner((x - 0.6, y + 0.3), (x, y + 0.9), (x, y + 1.5))
        self.dot(f"{name}.B", (x - 1.4, y))
        self.dot(f"{name}.{ends[0]}", (x, y - 1.5))
        self.dot(f"{name}.{ends[1]}", (x, y + 1.5))
        self.label((x + 0.5, y), (name,))

    def comparator(self, name: str, at: Place, pins: tuple[str, str, str], *, plus_above: bool = False) -> None:
        """One half of a comparator, output at the right. `pins`: output, inverting and non-inverting input."""
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
        """Supply pins 8 and 4 of a comparator. `at`: the middle of its left side."""
        x, y = at
        self.terminal(f"{name}.8", (x + 1.6, y - 0.9), "upper left", "8")
        self.terminal(f"{name}.4", (x + 1.6, y + 0.9), "lower left", "4")

    def coupler(self, name: str, at: Place, mains: tuple[str, str], low: tuple[str, str]) -> None:
        """A coupler, diode at the left, transistor or phototriac at the right. Pins are listed from above."""
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
        """A short conductor to its net's name. It ends as a lead where the net has no other pin on this page."""
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
