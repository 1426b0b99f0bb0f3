"""The drawings of the low-voltage side: contacts; detector and computer; 24 V with gate stage and contactor."""

from __future__ import annotations

from dataclasses import dataclass

from gen.boards import Board
from gen.wiring.canvas import LINE, Beside, Canvas, DrawnPage
from gen.wiring.interface.input_stages import CONTACTS as READ
from gen.wiring.interface.machine import DRAWINGS
from gen.wiring.netlist import Netlist
from gen.wiring.symbols import elm

CONTACTS, SIGNALS, OUTPUTS = 3, 4, 5  # numbers of the drawings
_CONTACT = {
    "stop": ("S1", "21", "22"),
    "pedal": ("S2", "1", "2"),
    "over_temperature": ("B2", "1", "2"),
    "force": ("S3", "1", "2"),
    "mirror": ("K1", "21", "22"),
}
_WORDS = {
    "stop": "stop: closed, open = stop",
    "pedal": "pedal: open, closed = weld",
    "over_temperature": "too hot: closed, open = hot",
    "force": "force: open, closed = there",
    "mirror": "mirror: closed, open = K1 in",
}
_CLOSED = ("stop", "over_temperature", "mirror")  # contacts that are closed at rest
_PIN, _EDGE = 21.0, 30.0  # the timer board, right of its inputs
_FIRST, _PITCH = 3.2, 4.6


def low_pages(netlist: Netlist, board: Board) -> tuple[DrawnPage, ...]:
    """The pages of the low-voltage side, with the board's pin labels."""
    part = netlist.part("A1")
    roles = [] if part is None else [name for name in part.low if name in board.pins]
    return (
        _contacts_page(netlist, board, [role for role in roles if role in _CONTACT]),
        _signals_page(
            netlist, board, [role for role in roles if role in ("detector", "conduction", "primary_current")]
        ),
        _outputs_page(netlist, board),
    )


def _board(c: Canvas, board: Board, left: float, right: float, bottom: float) -> None:
    c.rect((left, 0), (right, bottom))
    c.text(((left + right) / 2, 0.6), "A1 timer board", align="center")
    c.text(((left + right) / 2, 0.6 + LINE), board.title, align="center")


def _pin(c: Canvas, terminal: str, y: float, x: float, words: tuple[str, str]) -> None:
    """A pin of the board: its purpose, and its label as printed on the board."""
    left = x == _PIN
    what, label = words
    side: Beside = "right" if left else "left"
    c.terminal(f"A1.{terminal}", (x, y), f"lower {side}", label)  # type: ignore[arg-type]
    c.text((x + (0.3 if left else -0.3), y - 0.35), what, align="left" if left else "right")


def _contacts_page(netlist: Netlist, board: Board, roles: list[str]) -> DrawnPage:
    c = Canvas(netlist, "low")
    rows = {role: _FIRST + n * _PITCH for n, role in enumerate(roles)}
    bottom = _FIRST + len(roles) * _PITCH - 1.4
    _board(c, board, _PIN, _EDGE, bottom)
    numbers = {contact.role: contact.number for contact in READ}
    for role, y in rows.items():
        _pin(c, role, y, _PIN, (role.replace("_", " "), board.pins[role].label))
        _contact(c, role, y, numbers[role])
    c.text((0.2, bottom + 1.0), "Leads of contacts: twisted and shielded. A1 half a metre or more from the throat.")
    return c.page(CONTACTS, "contacts that the board reads", "contacts", bottom + 1.4)


def _contact(c: Canvas, role: str, y: float, number: int) -> None:
    """A contact to 0 V, its lead, and its filter at the board."""
    part, hot, cold = _CONTACT[role]
    c.add(elm.Switch(nc=role in _CLOSED).endpoints((4.0, -y), (1.8, -y)))
    c.terminal(f"{part}.{hot}", (4.0, y), "below")
    c.terminal(f"{part}.{cold}", (1.8, y), "upper left")
    c.flag(f"{part}.{cold}", "down")
    c.text((0.2, y - 1.6), f"{c.name_of(part)} {_WORDS[role]}")
    r, cap, up, clamp = f"R{10 + number}", f"C{10 + number}", f"R{20 + number}", f"D{10 + number}"
    c.two(r, elm.ResistorIEC, ((12.4, y), (14.2, y)), words="below")
    c.wire(f"{part}.{hot}", f"{r}.1")
    c.name(c.net_of(f"{r}.1"), (5.6, y - 0.55), "center")
    c.two(up, elm.ResistorIEC, ((11.6, y - 2.6), (11.6, y - 0.6)))
    c.flag(f"{up}.1", "up", 0.1)
    c.wire(f"{up}.2", (11.6, y))
    c.two(cap, elm.Capacitor, ((15.2, y + 0.5), (15.2, y + 2.1)))
    c.flag(f"{cap}.2", "down", 0.2)
    c.two(clamp, elm.Schottky, ((17.8, y - 0.6), (17.8, y - 2.6)), ("A", "K"))
    c.flag(f"{clamp}.K", "up", 0.1)
    c.wire(f"{r}.2", f"A1.{role}")
    c.wire((15.2, y), f"{cap}.1")
    c.wire(f"{clamp}.A", (17.8, y))
    c.name(c.net_of(f"A1.{role}"), (_PIN - 0.3, y - 0.55), "right")


def _signals_page(netlist: Netlist, board: Board, roles: list[str]) -> DrawnPage:
    c = Canvas(netlist, "low")
    pitch = 6.8
    rows = {role: 4.0 + n * pitch for n, role in enumerate(roles)}
    after = 4.0 + len(roles) * pitch
    _board(c, board, _PIN, _EDGE, after + 1.8)
    for role, y in rows.items():
        _pin(c, role, y, _PIN, (role.replace("_", " "), board.pins[role].label))
    if "primary_current" in rows:
        _current(c, rows["primary_current"])
    if "detector" in rows:
        _detector(c, rows["detector"])
    if "conduction" in rows:
        _conduction(c, rows["conduction"])
    _pin(c, "USB", after, _PIN, ("USB", "USB socket"))
    c.box("A4", (9.0, after - 1.0), (6.4, 2.0), ("isolator",), left={"H": 1.0}, right={"B": 1.0})
    c.box("PC", (0.2, after - 1.0), (5.4, 2.0), ("computer",), at=(2.1, 1.0), right={"USB": 1.0})
    c.wire("A1.USB", "A4.B")
    c.name("USB1", (18.2, after - 0.55), "center")
    c.wire("A4.H", "PC.USB")
    c.name("USB2", (7.3, after - 0.55), "center")
    low = after + 4.0
    c.link("XB", ((10.2, low), (14.2, low)), ("0V", None), "link to earth")
    c.flag("XB.0V", "left")
    c.text((14.6, low), "earth bar, drawing 1; nowhere else")
    return c.page(SIGNALS, "detector, computer and bond", "detector-and-computer", low + 1.4)


def _detector(c: Canvas, y: float) -> None:
    """High in the positive half-cycle with a square detector; high at each crossing with a pulse detector."""
    lifts = c.net_of("U1.E") == "DET"
    c.text((0.2, y - 2.25), "U1 detector (and drawing 1)")
    up, down = (-1.2, 0.0) if lifts else (0.0, 1.2)
    c.box("U1", (0.2, y - 1.7), (4.0, 3.4), at=(1.4, 1.7), right={"C": 1.7 + up, "E": 1.7 + down})
    if lifts:
        c.flag("U1.C", "right")
        c.wire("U1.E", "A1.detector")
        c.two("R7", elm.ResistorIEC, ((12.0, y + 0.6), (12.0, y + 2.6)))
        c.wire((12.0, y), "R7.1")
        c.flag("R7.2", "down", 0.1)
    else:
        c.flag("U1.E", "right")
        c.wire("U1.C", "A1.detector")
        c.two("R7", elm.ResistorIEC, ((15.0, y - 2.6), (15.0, y - 0.6)))
        c.wire("R7.2", (15.0, y))
        c.flag("R7.1", "up", 0.1)
    c.name("DET", (_PIN - 0.3, y - 0.55), "right")


def _conduction(c: Canvas, y: float) -> None:
    c.text((0.2, y - 2.25), "U3 conduction sense (and drawing 2)")
    c.box("U3", (0.2, y - 1.7), (4.0, 3.4), at=(1.4, 1.7), right={"C": 1.7, "E": 2.9})
    c.flag("U3.E", "right")
    c.wire("U3.C", "A1.conduction")
    c.two("C15", elm.Capacitor, ((8.4, y + 0.5), (8.4, y + 2.1)))
    c.wire((8.4, y), "C15.1")
    c.flag("C15.2", "down", 0.2)
    c.two("R15", elm.ResistorIEC, ((17.0, y - 2.6), (17.0, y - 0.6)))
    c.wire("R15.2", (17.0, y))
    c.flag("R15.1", "up", 0.1)
    c.two("R16", elm.ResistorIEC, ((13.0, y + 1.4), (15.2, y + 1.4)), words="above")
    c.wire("R16.1", (11.8, y + 1.4), (11.8, y))
    c.two("C16", elm.Capacitor, ((17.0, y + 1.9), (17.0, y + 3.5)))
    c.wire("R16.2", (17.0, y + 1.4), "C16.1")
    c.flag("C16.2", "down", 0.2)
    c.name("TS", (17.3, y + 0.95))
    c.name("COND", (_PIN - 0.3, y - 0.55), "right")


def _current(c: Canvas, y: float) -> None:
    c.text((0.2, y - 2.65), "T3 around the lead L4 (drawing 2)")
    c.box("T3", (0.2, y - 2.0), (6.4, 4.0), ("current", "transformer"), at=(2.6, 2.0), right={"1": 0.8, "2": 3.2})
    at = (2.5, 2.0)
    c.box(
        "A5", (11.4, y - 2.0), (6.8, 4.0), ("current", "stage"), at=at, left={"CT": 0.8, "MID": 3.2}, right={"OUT": 2.0}
    )
    c.wire("T3.1", "A5.CT")
    c.name("CT", (9.0, y - 1.75), "center")
    c.wire("T3.2", "A5.MID")
    c.name("MID", (9.0, y + 0.65), "center")
    for pin, at, side in (("3V3", (15.5, y - 2.0), "lower right"), ("0V", (15.5, y + 2.0), "upper right")):
        c.terminal(f"A5.{pin}", at, side, pin)  # type: ignore[arg-type]
    c.flag("A5.3V3", "up", 0.3)
    c.flag("A5.0V", "down", 0.3)
    c.wire("A5.OUT", "A1.primary_current")
    c.name("AMPS", (_PIN - 0.3, y - 0.55), "right")


_OUT = 7.4  # the timer board, left of its outputs


def _outputs_page(netlist: Netlist, board: Board) -> DrawnPage:
    c = Canvas(netlist, "low")
    gate_y, contactor_y = 14.6, 25.6
    _board(c, board, 0.2, _OUT, contactor_y + 3.8)
    for role, y in (("gate", gate_y), ("contactor", contactor_y)):
        _pin(c, role, y, _OUT, (role, board.pins[role].label))
    pins = board.supply_pins
    for name, what, label, y in (
        ("5V", "5 V in", pins.in_5V, 4.0),
        ("3V3", "3.3 V out", pins.out_3V3, 7.0),
        ("GND", "0 V", pins.ground, 10.0),
    ):
        _pin(c, name, y, _OUT, (what, label))
    c.flag("A1.3V3", "right")
    c.flag("A1.GND", "right")
    _chain(c)
    _gate(c, gate_y)
    _contactor(c, contactor_y)
    return c.page(OUTPUTS, "24 V, gate and contactor", "gate-and-contactor", contactor_y + 5.6)


def _chain(c: Canvas) -> None:
    """The 24 V line through the stop and the over-temperature contact. The board's 5 V branches off before them."""
    c.box("G1", (21.6, 0), (7.4, 2.4), ("24 V supply",), at=(3.7, 0.9), bottom={"+": 1.4, "0V": 6.0})
    c.flag("G1.0V", "down")
    x = 23.0
    for part, names, y, words in (
        ("S1", ("11", "12"), 5.0, ("stop, breaks", "24 V by itself")),
        ("B1", ("1", "2"), 8.8, ("too hot,", "breaks it too")),
    ):
        c.add(elm.Switch(nc=True).endpoints((x, -y), (x, -y - 2.2)))
        c.terminal(f"{part}.{names[0]}", (x, y), "lower left")
        c.terminal(f"{part}.{names[1]}", (x, y + 2.2), "upper left")
        for n, line in enumerate((f"{c.name_of(part)} {words[0]}", words[1])):
            c.text((x + 1.0, y + 0.75 + n * LINE), line)
    c.wire("G1.+", "S1.11")
    c.wire("S1.12", "B1.1")
    c.name("24S", (x + 0.25, 8.0))
    c.name("24V", (x + 0.25, 3.2))
    c.flag("B1.2", "down", 0.4)
    c.box("G2", (13.8, 3.0), (4.8, 2.8), at=(2.4, 0.6), right={"IN": 1.0}, left={"5V": 1.0}, bottom={"0V": 2.4})
    c.wire("G2.IN", (x, 4.0))
    c.flag("G2.0V", "down", 0.2)
    c.two("D3", elm.Schottky, ((12.2, 4.0), (10.0, 4.0)), ("A", "K"), words="below")
    c.wire("D3.A", "G2.5V")
    c.name("5V", (13.0, 3.45), "center")
    c.wire("D3.K", "A1.5V")
    c.name("5B", (8.5, 3.5), "center")


@dataclass(frozen=True)
class _Stage:
    """A driver stage: its part, the text in its box, the board's pin, their net, and the pull-down resistor."""

    part: str
    words: tuple[str, str]
    pin: str
    net: str
    resistor: str


def _stage(c: Canvas, y: float, stage: _Stage) -> None:
    """A stage behind a pulled-down pin, fed by the supply that stop and over-temperature contact break."""
    c.two(stage.resistor, elm.ResistorIEC, ((9.4, y + 0.7), (9.4, y + 2.7)))
    c.wire((9.4, y), f"{stage.resistor}.1")
    c.flag(f"{stage.resistor}.2", "down", 0.2)
    c.box(
        stage.part,
        (12.2, y - 3.6),
        (7.4, 5.8),
        stage.words,
        at=(3.7, 1.9),
        left={"IN": 3.6},
        top={"SUP": 1.4},
        bottom={"0V": 3.7},
        right={"OUT": 3.6, **({"RET": 5.2} if c.joins(f"{stage.part}.RET") else {})},
    )
    c.wire(f"A1.{stage.pin}", f"{stage.part}.IN")
    c.name(stage.net, (12.0, y - 0.55), "right")
    c.flag(f"{stage.part}.SUP", "up", 0.4)
    c.flag(f"{stage.part}.0V", "down", 0.2)


def _gate(c: Canvas, y: float) -> None:
    _stage(c, y, _Stage("A2", ("ends within 12 ms", f"parts: drawing {DRAWINGS['gate']}"), "gate", "GATE", "R8"))
    if c.has("U2"):
        c.box(
            "U2",
            (23.8, y - 1.2),
            (6.0, 3.6),
            ("isolator,", f"drawing {DRAWINGS['isolation']}"),
            at=(3.4, 1.8),
            left={"A": 1.2, "K": 2.8},
        )
        c.wire("A2.OUT", "U2.A")
        c.wire("A2.RET", "U2.K")
    else:
        c.box("V1", (23.8, y - 1.2), (6.0, 3.6), ("relay",), at=(3.4, 1.8), left={"+": 1.2, "-": 2.8})
        c.wire("A2.OUT", "V1.+")
        c.wire("A2.RET", "V1.-")
    c.name("FIRE", (21.7, y - 0.55), "center")
    c.name("FIRE0", (21.7, y + 1.05), "center")


def _contactor(c: Canvas, y: float) -> None:
    _stage(
        c, y, _Stage("A3", ("held by pulses", f"parts: drawing {DRAWINGS['contactor']}"), "contactor", "PULSE", "R9")
    )
    top = y - 4.2
    c.two("K1", elm.RBox, ((24.2, top + 0.8), (24.2, y - 0.6)), ("A1", "A2"))
    c.two("D2", elm.DiodeTVS, ((28.2, top + 0.8), (28.2, y - 0.6)))
    c.wire("A3.OUT", (21.6, y), (21.6, top), (24.2, top), "K1.A1")
    c.wire("D2.1", (28.2, top), (24.2, top))
    c.wire("K1.A2", (24.2, y))
    c.wire("D2.2", (28.2, y), (24.2, y))
    c.bus("0V", (24.2, y), (24.2, y + 0.4))
    c.name("0V", (24.2, y + 0.85), "center")
    c.name("COIL", (21.9, y - 2.0))
    c.text((20.6, y + 1.9), "K1 contactor (its poles:")
    c.text((20.6, y + 1.9 + LINE), "drawing 2), D2 its clamp")
    c.text((0.2, y + 5.0), "A dead board, or a pin that stands still, drops K1.")
