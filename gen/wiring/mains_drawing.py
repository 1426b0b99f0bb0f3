"""The drawings of the mains side: supply, control feed and earth; contactor, switch and transformer."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any

from gen.wiring.canvas import LINE, Canvas, DrawnPage, Place
from gen.wiring.netlist import Netlist
from gen.wiring.symbols import elm

# schemdraw has no annotations.
_SCR: Any = elm.SCR
_TRIAC: Any = elm.Triac

_COIL: Any = elm.Inductor

SUPPLY, POWER = 1, 2  # numbers of the drawings
_LINE_LETTERS = 72  # letters in a line of text across the page
_MOST_TAPS = 4  # that are named in the drawing


@dataclass(frozen=True)
class Taps:
    """The names of the transformer's taps (empty without a tap switch), and the one in use."""

    names: tuple[str, ...]
    in_use: str


def mains_pages(netlist: Netlist, taps: Taps, coil: int, bond: int) -> tuple[DrawnPage, ...]:
    """The pages of the mains side.

    `coil` and `bond`: the numbers of the drawings with the contactor's coil, and with the bond of 0 V to earth.
    """
    return _supply_page(netlist, bond), _power_page(netlist, taps, coil)


def _pole(c: Canvas, part: str, x: float, rows: tuple[float, float], names: tuple[str, str], *, left: bool) -> None:
    """One pole of a switch, upright, with its terminal numbers to the left or to the right."""
    top, bottom = rows
    c.add(elm.Switch().endpoints((x, -top), (x, -bottom)))
    for name, y, along in ((names[0], top, 0.6), (names[1], bottom, -0.6)):
        number = (x - 0.35 if left else x + 0.65, y + along)
        c.terminal(f"{part}.{name}", (x, y), "left" if left else "right", place=number)


_L, _N, _PE = 2.6, 15.6, 27.6  # the three rails of the supply's drawing
_CL, _CN = 6.6, 12.2  # the two of the control feed


def _supply_page(netlist: Netlist, bond: int) -> DrawnPage:
    c = Canvas(netlist, "mains")
    _supply(c)
    _control(c)
    _detector(c)
    _varistor(c)
    _earth(c, bond)
    return c.page(SUPPLY, "supply, control feed and earth", "supply-and-earth", 30.6)


def _second(c: Canvas) -> str:
    """The name of the second conductor: N, or LB where it is live."""
    return next(name for name in ("N", "LB") if c.joins(f"Q0.{name}"))


def _supply(c: Canvas) -> None:
    part = c.netlist.part("Q0")
    lines = textwrap.wrap(f"Q0 supply, in the building: {part.description if part else ''}", _LINE_LETTERS)
    c.rect((0.3, 0), (29.9, 1.6 + LINE * len(lines)))
    for n, line in enumerate(lines):
        c.text((0.8, 0.7 + n * LINE), line)
    y = 1.6 + LINE * len(lines)
    second = _second(c)
    for name, x in (("L", _L), (second, _N), ("PE", _PE)):
        c.terminal(f"Q0.{name}", (x, y), "above")
    top, bottom = 5.2, 7.4
    _pole(c, "Q1", _L, (top, bottom), ("1", "2"), left=True)
    _pole(c, "Q1", _N, (top, bottom), ("3", "4"), left=False)
    c.dashed((_L - 0.2, 6.3), (_N - 0.3, 6.3))
    for n, words in enumerate((f"{c.name_of('Q1')} isolator: a switch-", "disconnector that can", "be locked off")):
        c.text((_N + 1.4, 5.5 + n * LINE), words)
    c.wire("Q0.L", "Q1.1")
    c.name("L", (_L + 0.25, 3.8))
    c.wire(f"Q0.{second}", "Q1.3")
    c.two("F1", elm.FuseIEC, ((_L, 9.6), (_L, 11.8)), words="left")
    c.wire("Q1.2", "F1.1")
    c.name("L1", (_L + 0.25, 8.4))
    c.name(second, (_N + 0.25, 3.8))


def _control(c: Canvas) -> None:
    """The control feed through its own isolator to the 24 V supply and the detector."""
    feed, rows, fuses = 4.4, (8.4, 10.6), (11.6, 13.6)
    for x, rail, names in ((_CL, _L, ("1", "2")), (_CN, _N, ("3", "4"))):
        _pole(c, "Q2", x, rows, names, left=x == _CL)
        c.wire((rail, feed), (x, feed), f"Q2.{names[0]}")
    c.dashed((_CL - 0.2, 9.5), (_CN - 0.3, 9.5))
    for y, words in ((7.9, f"{c.name_of('Q2')} control"), (7.9 + LINE, "isolator,"), (10.1, "lockable")):
        c.text(((_CL + _CN) / 2 + 0.3, y), words, align="center")
    c.two("F2", elm.FuseIEC, ((_CL, fuses[0]), (_CL, fuses[1])))
    if c.is_link("F3"):
        c.link("F3", ((_CN, fuses[0]), (_CN, fuses[1])), ("1", "2"), "link")
    else:
        c.two("F3", elm.FuseIEC, ((_CN, fuses[0]), (_CN, fuses[1])))
    c.wire("Q2.2", "F2.1")
    c.wire("Q2.4", "F3.1")
    c.name("CL1", (_CL + 0.25, 11.0))
    c.name(c.net_of("F3.1"), (_CN + 0.25, 11.0))
    row = 15.2
    c.box("G1", (7.6, row - 1.0), (3.6, 2.0), ("24 V",), left={"L": 1.0}, right={"N": 1.0})
    c.wire("F2.2", (_CL, row), "G1.L")
    c.wire("F3.2", (_CN, row), "G1.N")
    c.name("CL", (_CL - 0.25, 14.4), "right")
    c.name(c.net_of("G1.N"), (_CN + 0.25, 14.4))


def _detector(c: Canvas) -> None:
    c.two("R1", elm.ResistorIEC, ((_CL, 16.8), (_CL, 19.0)), words="left")
    c.two("R2", elm.ResistorIEC, ((_CL, 20.2), (_CL, 22.4)), words="left")
    c.wire((_CL, 15.2), "R1.1")
    c.wire("R1.2", "R2.1")
    c.name("DA", (_CL - 0.25, 19.6), "right")
    row = 24.2
    c.box("U1", (7.6, row - 0.9), (3.6, 1.8), left={"A": 0.9}, right={"K": 0.9})
    c.wire("R2.2", (_CL, row), "U1.A")
    c.name("DB", (_CL - 0.25, 23.4), "right")
    c.wire((_CN, 15.2), (_CN, row), "U1.K")
    if c.has("D1"):
        y = 26.4
        c.two("D1", elm.Diode, ((10.5, y), (8.3, y)), ("A", "K"), words="below")
        c.wire("D1.K", (_CL, y), (_CL, row))
        c.wire("D1.A", (_CN, y), (_CN, row))
    for n, words in enumerate(("detector", "on the two", "wires that", "feed T1")):
        c.text((8.0, 18.4 + n * LINE), words)


def _varistor(c: Canvas) -> None:
    y, end = 28.6, 29.8
    second = c.net_of("Q1.4")
    c.wire("F1.2", (_L, end))
    c.wire("Q1.4", (_N, end))
    c.two("RV1", elm.ResistorIEC, ((8.3, y), (10.5, y)), words="below")
    c.add(elm.Line(lw=0.9).endpoints((8.8, -y - 0.45), (9.1, -y - 0.45)))
    c.add(elm.Line(lw=0.9).endpoints((9.1, -y - 0.45), (9.7, -y + 0.45)))
    c.wire((_L, y), "RV1.1")
    c.wire("RV1.2", (_N, y))
    for x, net, align in ((_L, c.net_of("F1.2"), "left"), (_N, second, "left")):
        c.name(net, (x + 0.25, 27.8), align)  # type: ignore[arg-type]
        c.text((x + 0.4, 29.8), f"to drawing {POWER}")


def _earth(c: Canvas, bond: int) -> None:
    bar, rows = 9.4, (11.4, 14.2, 17.0)
    bottom = rows[-1] + 2.8
    for part, words, y in zip(("EN", "H1", "T1"), ("enclosure", "heat sink", "core"), rows, strict=True):
        name = "core" if part == "T1" else "PE"
        c.box(part, (19.2, y - 1.0), (5.6, 2.0), (words,), at=(2.0, 1.0), right={name: 1.0})
        c.wire(f"{part}.{name}", (_PE, y))
    c.link("XB", ((20.8, bottom), (24.8, bottom)), (None, "PE"), "link to 0 V")
    c.wire("XB.PE", (_PE, bottom))
    c.text((20.5, bottom), f"drawing {bond}", align="right")
    if c.has("XS"):
        bottom += 2.8
        c.link("XS", ((20.8, bottom), (24.8, bottom)), ("X2", "PE"), "link, at one point only")
        c.flag("XS.X2", "left")
        c.wire("XS.PE", (_PE, bottom))
    c.rect((_PE - 0.45, bar), (_PE + 0.45, bottom + 0.8))
    c.terminal("XE.bar", (_PE, bar), "upper right")
    c.text((_PE - 0.4, bar - 0.55), "XE earth bar", align="right")
    c.wire("Q0.PE", "XE.bar", (_PE, bottom))
    c.name("PE", (_PE + 0.25, 4.2))


_K, _KN = 5.4, 21.8  # the two poles of the contactor in the other drawing
_TOP, _BOTTOM = 4.6, 13.4  # the two buses between which the switch stands


def _power_page(netlist: Netlist, taps: Taps, coil: int) -> DrawnPage:
    c = Canvas(netlist, "mains")
    _contactor(c, coil)
    _switch(c)
    _transformer(c, taps)
    return c.page(POWER, "contactor, switch and transformer", "switch-and-transformer", 28.6)


def _contactor(c: Canvas, coil: int) -> None:
    rows = (1.2, 3.4)
    _pole(c, "K1", _K, rows, ("1", "2"), left=True)
    _pole(c, "K1", _KN, rows, ("3", "4"), left=False)
    for terminal, x in (("K1.1", _K), ("K1.3", _KN)):
        c.wire(terminal, (x, 0.3))
        c.name(c.net_of(terminal), (x + 0.25, 0.5))
        c.text((x + 1.8, 0.5), f"from drawing {SUPPLY}")
    c.dashed((_K - 0.2, 2.3), (_KN - 0.3, 2.3))
    c.text((_K + 1.6, 1.8), f"{c.name_of('K1')} contactor (coil: drawing {coil})")


def _switch(c: Canvas) -> None:
    """The switch between its two buses, with snubber and sense next to it."""
    top, bottom = _TOP, _BOTTOM
    c.wire("K1.2", (_K, top))
    c.name("L3", (_K + 0.25, 4.0))
    _kinds(c, top, bottom)
    x = 12.4
    c.two("R3", elm.ResistorIEC, ((x, 5.4), (x, 7.6)))
    c.two("C1", elm.Capacitor, ((x, 9.8), (x, 12.0)), words="left")
    c.two("R4", elm.ResistorIEC, ((x + 2.2, 9.8), (x + 2.2, 12.0)))
    c.text((x + 0.7, 5.7), "snubber")
    c.wire("R3.2", (x, 8.8), "C1.1")
    c.wire((x, 8.8), (x + 2.2, 8.8), "R4.1")
    c.name("SN", (x - 0.25, 8.5), "right")
    far = x + 2.2
    if c.has("U3"):
        far = 18.4
        c.two("R5", elm.ResistorIEC, ((far, 5.2), (far, 7.0)))
        c.two("R6", elm.ResistorIEC, ((far, 8.0), (far, 9.8)))
        c.box("U3", (far - 1.5, 10.6), (3.0, 2.2), at=(0.8, 1.1), top={"1": 1.5}, bottom={"2": 1.5})
        c.wire("R5.2", "R6.1")
        c.name("SA", (far + 0.25, 7.5))
        c.wire("R6.2", "U3.1")
        c.name("SB", (far + 0.25, 10.2))
        c.wire("R5.1", (far, top))
        c.wire("U3.2", (far, bottom))
    c.wire((x, top), "R3.1")
    c.wire("C1.2", (x, bottom))
    c.wire("R4.2", (x + 2.2, bottom))
    c.bus("L3", (_K, top), (far if c.has("U3") else x, top))
    c.bus("L4", (_K, bottom), (far, bottom))


def _kinds(c: Canvas, top: float, bottom: float) -> None:
    """The symbol of the switch between the two buses, and its gate isolator."""
    part = c.netlist.part("V1")
    kind = "" if part is None else part.title
    x, high, low = _K, top + 2.0, bottom - 2.0
    if kind == "thyristor":
        other = x + 3.4
        for name, at, start, end in (("V2", x, low, high), ("V1", other, high, low)):
            scr = _SCR().endpoints((at, -start), (at, -end))
            c.add(scr.flip() if start > end else scr)  # both gates look to the isolator
            c.terminal(f"{name}.A", (at, start), "lower right" if start < end else "upper right")
            c.terminal(f"{name}.K", (at, end), "lower right" if start > end else "upper right")
            gate = scr.absanchors["gate"]
            c.terminal(f"{name}.G", (gate[0], -gate[1]), "above" if start > end else "below")
            c.text((at + 0.7, (high + low) / 2), name)
        _isolator(c, top, bottom, {"K2": top, "G2": c.at("V2.G")[1], "G1": c.at("V1.G")[1], "K1": bottom})
        c.wire((x, top), "V2.K")
        c.wire((other, top), "V1.A")
        c.wire("V2.A", (x, bottom))
        c.wire("V1.K", (other, bottom))
        c.wire("U2.G2", "V2.G")
        c.wire("U2.G1", "V1.G")
        c.name("G2", (3.85, c.at("V2.G")[1] - 0.5), "center")
        c.name("G1", (3.85, c.at("V1.G")[1] + 0.5), "center")
        c.wire("U2.K2", (x, top))
        c.wire("U2.K1", (x, bottom))
        return
    if kind == "triac":
        triac = c.add(_TRIAC().endpoints((x, -high), (x, -low)).flip())
        c.terminal("V1.2", (x, high), "lower right")
        c.terminal("V1.1", (x, low), "upper right")
        gate = triac.absanchors["gate"]
        c.terminal("V1.G", (gate[0], -gate[1]), "below")
        c.text((x + 0.9, (high + low) / 2), "V1")
        far = {"2": top} if c.joins("U2.2") else {}
        _isolator(c, top, bottom, {**far, "G": -gate[1], "1": bottom})
        c.wire("U2.G", "V1.G")
        c.name("G", (3.85, -gate[1] + 0.5), "center")
        if far:
            c.wire("U2.2", (x, top))
        c.wire("U2.1", (x, bottom))
    else:
        c.box("V1", (x - 1.8, high), (3.6, low - high), ("relay",), top={"1": 1.8}, bottom={"2": 1.8})
    first, last = ("2", "1") if kind == "triac" else ("1", "2")
    c.wire((x, top), f"V1.{first}")
    c.wire(f"V1.{last}", (x, bottom))


def _isolator(c: Canvas, top: float, bottom: float, terminals: dict[str, float]) -> None:
    start = top - 0.8
    c.box(
        "U2",
        (0, start),
        (3.2, bottom - top + 1.6),
        at=(1.2, 3.0),
        right={name: y - start for name, y in terminals.items()},
    )
    for n, words in enumerate(("gate leads:", "each twisted", "with its own", "cathode lead")):
        c.text((0, bottom + 1.4 + n * LINE), words)


def _transformer(c: Canvas, taps: Taps) -> None:
    left, right, top, bottom = 9.4, 20.2, 17.4, 22.6
    c.rect((7.0, top), (22.6, bottom))
    for n, words in enumerate(("T1 welding", "transformer")):
        c.text((23.0, 19.4 + n * LINE), words)
    for names, y, along in ((("1", "2"), top, "lower"), (("X1", "X2"), bottom, "upper")):
        c.terminal(f"T1.{names[0]}", (left, y), f"{along} left")  # type: ignore[arg-type]
        c.terminal(f"T1.{names[1]}", (right, y), f"{along} right")  # type: ignore[arg-type]
    _windings(c, (left, right), (top, bottom), taps)
    c.wire((_K, _BOTTOM), (_K, 15.8), (left, 15.8), "T1.1")
    c.name("L4", (7.4, 15.25), "center")
    c.wire("K1.4", (_KN, 15.8), (right, 15.8), "T1.2")
    c.name(c.net_of("T1.2"), (_KN - 0.25, 4.2), "right")
    for part, x, name in (("E1", left, "X1"), ("E2", right, "X2")):
        c.box(part, (x - 2.2, 25.4), (4.4, 2.8), ("electrode",), at=(2.2, 1.7), top={"1": 2.2})
        c.wire(f"T1.{name}", f"{part}.1")
        c.name(name, (x - 0.25, 24.6), "right")
    if c.has("XS"):
        c.bus("X2", (right, 23.6), (right + 2.0, 23.6))
        c.name("X2", (right + 2.25, 23.6))
        c.text((right + 3.3, 23.6), f"to XS, drawing {SUPPLY}")


def _windings(c: Canvas, sides: Place, rows: Place, taps: Taps) -> None:
    """The transformer's windings, and its tap switch, if any, on the tap in use."""
    (left, right), (top, bottom) = sides, rows
    primary, secondary = top + 3.1, bottom - 0.7
    begin, end = left + 1.4, right - 1.4
    for first, y, turns in ((begin, primary, 8), (begin + 3, secondary, 2)):
        for n in range(turns):
            coil = _COIL().endpoints((first + n, -y), (first + n + 1, -y))
            c.add(coil.flip() if y == secondary else coil)
    c.inner((begin, secondary), (begin + 3, secondary))
    c.inner((begin + 5, secondary), (end, secondary))
    for shift in (-0.08, 0.08):
        c.inner((begin, (primary + secondary) / 2 + shift), (end, (primary + secondary) / 2 + shift))
    c.inner((right, top), (right, primary), (end, primary))
    c.inner((left, bottom), (left, secondary), (begin, secondary))
    c.inner((right, bottom), (right, secondary), (end, secondary))
    if len(taps.names) < 2:
        c.inner((left, top), (left, primary), (begin, primary))
        return
    _tap_switch(c, left, top, taps)


def _tap_switch(c: Canvas, left: float, top: float, taps: Taps) -> None:
    names = list(taps.names[:_MOST_TAPS])
    if taps.in_use not in names:
        names[-1] = taps.in_use
    bar, contact = top + 1.2, top + 2.1
    for n, name in enumerate(names):
        x = left + 1.4 + 2.2 * n
        c.add(elm.Dot(open=True, radius=0.1).at((x, -contact)))
        c.inner((x, contact + 0.1), (x, top + 3.1))
        c.text((x + 0.25, contact), _short(name))
        if name == taps.in_use:
            c.inner((left, top), (left, bar), (x, bar), (x, contact - 0.1))
    count = f", on one of {len(taps.names)}" if len(taps.names) > len(names) else ""
    c.text((left + 1.0, top + 0.6), f"tap switch{count}")


def _short(name: str) -> str:
    """A tap's name, cut to the room in the drawing. The welder file has the full name."""
    return name if len(name) <= 4 else f"{name[:3]}."
