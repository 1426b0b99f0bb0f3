"""Drawing 2: the low-voltage side, around the timer board."""

from __future__ import annotations

from dataclasses import dataclass

import schemdraw.elements as elm

from gen.boards import Board
from gen.wiring.canvas import LINE, Align, Canvas
from gen.wiring.netlist import Netlist

_LEFT, _RIGHT = 10.9, 17.0  # the timer board's sides
_CONTACTS = {
    "stop": ("S1", "21", "22"),
    "pedal": ("S2", "1", "2"),
    "over_temperature": ("B2", "1", "2"),
    "force": ("S3", "1", "2"),
}
_WORDS = {
    "stop": "stop: closed, open = stop",
    "pedal": "pedal: open, closed = weld",
    "over_temperature": "too hot: closed, open = hot",
    "force": "force: open, closed = there",
}
_PITCH = 4.3


def low_svg(netlist: Netlist, board: Board) -> str:
    """The low-voltage side as SVG, with the board's own pins. Every low-voltage net of the netlist is in it."""
    c = Canvas(netlist, "low")
    part = netlist.part("A1")
    roles = [] if part is None else [name for name in part.low if name in board.pins]
    y = 2.6
    rows = {}
    for role in roles:
        if role not in ("gate", "contactor"):
            rows[role] = y
            y += _PITCH
    bottom = max(y - 1.4, 26.4)
    _board(c, board, rows, bottom)
    for number, (role, at) in enumerate((role, at) for role, at in rows.items() if role in _CONTACTS):
        _contact(c, role, at, number)
    if "detector" in rows:
        _detector(c, rows["detector"])
    if "conduction" in rows:
        _conduction(c, rows["conduction"])
    _chain(c)
    _gate(c)
    _contactor(c)
    _usb(c)
    for n, words in enumerate(("leads of contacts: twisted and shielded;", "A1 half a metre or more from the throat")):
        c.text((0.2, 27.5 + n * LINE), words)
    return c.svg("Drawing 2: low-voltage side", "low-voltage-side", max(bottom, 28.4))


def _board(c: Canvas, board: Board, rows: dict[str, float], bottom: float) -> None:
    c.rect((_LEFT, 0), (_RIGHT, bottom))
    c.text(((_LEFT + _RIGHT) / 2, 0.6), "A1 timer board", align="center")
    c.text(((_LEFT + _RIGHT) / 2, 1.2), board.title, align="center")
    for role, y in rows.items():
        c.terminal(f"A1.{role}", (_LEFT, y))
        _pin(c, board, role, _LEFT + 0.2, y, "left")
    for role, y in (("gate", 13.0), ("contactor", 19.4)):
        c.terminal(f"A1.{role}", (_RIGHT, y))
        _pin(c, board, role, _RIGHT - 0.2, y, "right")
    for name, y in (("5V", 3.6), ("3V3", 7.2), ("GND", 8.8), ("USB", 24.6)):
        c.terminal(f"A1.{name}", (_RIGHT, y))
        c.text((_RIGHT - 0.2, y), {"5V": "5 V in", "3V3": "3.3 V out"}.get(name, name), align="right")
    c.flag("A1.3V3", "right")
    c.flag("A1.GND", "right")


def _pin(c: Canvas, board: Board, role: str, x: float, y: float, align: Align) -> None:
    """What stands at the pin: its role, and its label as the board's file gives it."""
    c.text((x, y - 0.3), role.replace("_", " "), align=align)
    c.text((x, y + 0.35), board.pins[role].label, align=align)


def _contact(c: Canvas, role: str, y: float, number: int) -> None:
    """A contact to 0 V, its lead, and the filter at the board."""
    part, hot, cold = _CONTACTS[role]
    closed = role in ("stop", "over_temperature")  # at rest
    c.add(elm.Switch(nc=closed).endpoints((3.0, -y), (1.2, -y)))
    c.terminal(f"{part}.{hot}", (3.0, y))
    c.terminal(f"{part}.{cold}", (1.2, y))
    c.flag(f"{part}.{cold}", "down")
    c.text((0.2, y - 1.25), f"{c.name_of(part)} {_WORDS[role]}")
    r, cap, up = f"R{10 + number}", f"C{10 + number}", f"R{20 + number}"
    c.two(r, elm.ResistorIEC, (4.7, y), (6.3, y))
    c.text((5.5, y + 0.65), r, align="center")
    c.wire(f"{part}.{hot}", f"{r}.1")
    marker = c.net_of(f"{r}.1")
    c.name(marker, (3.9, y - 0.35), "center")
    c.two(cap, elm.Capacitor, (7.4, y + 0.4), (7.4, y + 1.6))
    c.text((7.9, y + 1.0), cap)
    c.flag(f"{cap}.2", "down", 0.2)
    c.two(up, elm.ResistorIEC, (8.8, y - 1.7), (8.8, y - 0.4))
    c.text((8.4, y - 1.0), up, align="right")
    c.flag(f"{up}.1", "up", 0.1)
    c.wire(f"{r}.2", f"A1.{role}")
    c.wire((7.4, y), f"{cap}.1")
    c.wire(f"{up}.2", (8.8, y))
    c.name(c.net_of(f"A1.{role}"), (10.7, y - 0.35), "right")


def _detector(c: Canvas, y: float) -> None:
    """High in the positive half-cycle with a square detector; high at each crossing with a pulse detector."""
    lifts = c.net_of("U1.E") == "DET"
    c.text((0.2, y - 1.75), "U1 detector")
    high, low = (-0.8, 0.0) if lifts else (0.0, 0.9)
    c.box("U1", (1.2, y - 1.3), (3.2, 2.6), right={"C": 1.3 + high, "E": 1.3 + low})
    if lifts:
        c.flag("U1.C", "right")
        c.wire("U1.E", "A1.detector")
        c.two("R7", elm.ResistorIEC, (7.4, y + 0.4), (7.4, y + 1.7))
        c.wire((7.4, y), "R7.1")
        c.flag("R7.2", "down", 0.1)
    else:
        c.flag("U1.E", "right")
        c.wire("U1.C", "A1.detector")
        c.two("R7", elm.ResistorIEC, (8.8, y - 1.7), (8.8, y - 0.4))
        c.wire("R7.2", (8.8, y))
        c.flag("R7.1", "up", 0.1)
    c.text((7.9, y + 1.0) if lifts else (7.6, y - 1.0), "R7")
    c.name("DET", (10.7, y - 0.35), "right")


def _conduction(c: Canvas, y: float) -> None:
    c.text((0.2, y - 1.75), "U3 conduction sense")
    c.box("U3", (1.2, y - 1.3), (3.2, 2.6), right={"C": 1.3, "E": 2.2})
    c.flag("U3.E", "right")
    c.wire("U3.C", "A1.conduction")
    c.two("C14", elm.Capacitor, (7.4, y + 0.4), (7.4, y + 1.6))
    c.text((7.9, y + 1.0), "C14")
    c.wire((7.4, y), "C14.1")
    c.flag("C14.2", "down", 0.2)
    c.two("R14", elm.ResistorIEC, (8.8, y - 1.7), (8.8, y - 0.4))
    c.text((8.4, y - 1.0), "R14", align="right")
    c.wire("R14.2", (8.8, y))
    c.flag("R14.1", "up", 0.1)
    c.name("COND", (10.7, y - 0.35), "right")


def _chain(c: Canvas) -> None:
    """24 V through the stop and the over-temperature contact; the board's own 5 V before them."""
    c.box("G1", (24.0, 0), (5.0, 2.2), ("24 V supply",), lift=0.35, bottom={"+": 1.0, "0V": 3.6})
    c.flag("G1.0V", "down")
    x = 25.0
    for part, first, second, y in (("S1", "11", "12", 4.6), ("B1", "1", "2", 7.6)):
        c.add(elm.Switch(nc=True).endpoints((x, -y), (x, -y - 2.0)))
        c.terminal(f"{part}.{first}", (x, y))
        c.terminal(f"{part}.{second}", (x, y + 2.0))
        c.text((x + 0.5, y + 0.6), {"S1": f"{c.name_of('S1')} stop, breaks", "B1": f"{c.name_of('B1')} too hot,"}[part])
        c.text((x + 0.5, y + 1.3), {"S1": "24 V itself", "B1": "breaks it too"}[part])
    c.wire("G1.+", "S1.11")
    c.wire("S1.12", "B1.1")
    c.name("24S", (x + 0.2, 7.0))
    c.name("24V", (x + 0.2, 2.9))
    c.flag("B1.2", "down", 0.4)
    c.box("G2", (20.2, 2.4), (3.4, 2.6), lift=0.8, right={"IN": 1.2}, left={"5V": 1.2}, bottom={"0V": 1.7})
    c.wire("G2.IN", (x, 3.6))
    c.flag("G2.0V", "down", 0.2)
    c.two("D3", elm.Schottky, (19.4, 3.6), (17.9, 3.6), ("A", "K"))
    c.text((18.6, 2.9), "D3", align="center")
    c.wire("D3.A", "G2.5V")
    c.name("5V", (19.8, 3.1), "center")
    c.wire("D3.K", "A1.5V")
    c.name("5B", (17.5, 3.1), "center")


@dataclass(frozen=True)
class _Stage:
    """A driver stage: its part, the words in its box, the board's pin, their net, and the pull-down resistor."""

    part: str
    words: tuple[str, str]
    pin: str
    net: str
    resistor: str


def _stage(c: Canvas, y: float, stage: _Stage) -> None:
    """A stage between a pin that is pulled down and what it drives, from the supply that stop and heat break."""
    c.two(stage.resistor, elm.ResistorIEC, (18.2, y + 0.5), (18.2, y + 1.9))
    c.text((17.8, y + 1.2), stage.resistor, align="right")
    c.wire((18.2, y), f"{stage.resistor}.1")
    c.flag(f"{stage.resistor}.2", "down", 0.2)
    c.box(
        stage.part,
        (20.0, y - 2.2),
        (5.2, 3.6),
        stage.words,
        lift=0.75,
        left={"IN": 2.2},
        top={"SUP": 1.1},
        bottom={"0V": 2.6},
        right={"OUT": 2.2},
    )
    c.wire(f"A1.{stage.pin}", f"{stage.part}.IN")
    c.name(stage.net, (19.85, y - 0.35), "right")
    c.flag(f"{stage.part}.SUP", "up", 0.4)
    c.flag(f"{stage.part}.0V", "down", 0.2)


def _gate(c: Canvas) -> None:
    y = 13.0
    _stage(c, y, _Stage("A2", ("ends by itself", "within 12 ms"), "gate", "GATE", "R8"))
    if c.has("U2"):
        c.box("U2", (26.7, y - 1.6), (3.1, 3.2), ("gate", "isolator"), left={"A": 1.6, "K": 2.6})
        c.wire("A2.OUT", "U2.A")
        c.flag("U2.K", "left", 0.3)
    else:
        c.box("V1", (26.7, y - 1.6), (3.1, 3.2), ("relay",), left={"+": 1.6, "-": 2.6})
        c.wire("A2.OUT", "V1.+")
        c.flag("V1.-", "left", 0.3)
    c.name("FIRE", (25.95, y - 0.35), "center")


def _contactor(c: Canvas) -> None:
    y = 19.4
    _stage(c, y, _Stage("A3", ("on only while", "pulses come"), "contactor", "PULSE", "R9"))
    c.two("K1", elm.RBox, (26.8, y - 2.4), (26.8, y - 0.2), ("A1", "A2"))
    c.two("D2", elm.Diode, (28.6, y - 0.2), (28.6, y - 2.4), ("A", "K"))
    c.text((27.2, y - 1.9), c.name_of("K1"))
    c.text((29.0, y - 1.9), "D2")
    c.wire("A3.OUT", (26.8, y), "K1.A2")
    c.wire("D2.A", (28.6, y), (26.8, y))
    c.wire("D2.K", (28.6, y - 2.8), (26.8, y - 2.8))
    c.wire((26.8, y - 2.8), "K1.A1")
    c.bus("24E", (26.8, y - 2.8), (26.8, y - 3.1))
    c.name("24E", (26.8, y - 3.45), "center")
    c.name("COIL", (26.0, y + 0.4), "center")
    c.text((20.0, y + 2.75), "a dead board drops K1")


def _usb(c: Canvas) -> None:
    y = 24.6
    c.box("A4", (20.0, y - 0.9), (5.2, 1.8), ("USB isolator",), names=False, left={"B": 0.9}, right={"H": 0.9})
    c.box("PC", (26.6, y - 0.9), (3.2, 1.8), ("computer",), names=False, left={"USB": 0.9})
    c.wire("A1.USB", "A4.B")
    c.name("USB1", (18.5, y - 0.35), "center")
    c.wire("A4.H", "PC.USB")
    c.name("USB2", (25.9, y - 0.35), "center")
    c.box(
        "XB", (20.0, 26.3), (9.8, 2.2), ("bond of 0 V to", "protective earth, drawing 1"), names=False, left={"0V": 1.1}
    )
    c.flag("XB.0V", "left", 0.4)
