"""Drawing 1: the mains side, from the supply down to the electrodes."""

from __future__ import annotations

from typing import Any

import schemdraw.elements as elm

from gen.wiring.canvas import LINE, Align, Canvas
from gen.wiring.netlist import Netlist

# Without annotations in schemdraw.
_SCR: Any = elm.SCR
_TRIAC: Any = elm.Triac

_L, _N, _PE = 4.0, 17.0, 27.0  # the three rails


def mains_svg(netlist: Netlist) -> str:
    """The mains side as SVG. Every mains net of the netlist is in it."""
    c = Canvas(netlist, "mains")
    _supply(c)
    _control(c)
    _contactor(c)
    _switch(c)
    _transformer(c)
    _earth(c)
    return c.svg("Drawing 1: mains side", "mains-side", 31.8)


def _supply(c: Canvas) -> None:
    part = c.netlist.part("Q0")
    supply = part.description if part else ""
    c.rect((2.5, 0), (29.5, 2.0))
    c.text((3.0, 0.6), f"{c.name_of('Q0')} supply, in the building: {supply}")
    for name, x in (("L", _L), ("N", _N), ("PE", _PE)):
        c.terminal(f"Q0.{name}", (x, 2.0))
    for name, x in (("L", _L), ("N", _N), ("PE", _PE)):
        c.text((x, 1.5), {"N": "N or second L"}.get(name, name), align="center")
    c.two("Q1", elm.Switch, (_L, 3.0), (_L, 5.0), ("1", "2"))
    x = _N
    c.add(elm.Switch().endpoints((x, -3.0), (x, -5.0)))
    c.terminal("Q1.3", (x, 3.0))
    c.terminal("Q1.4", (x, 5.0))
    c.dashed((_L - 0.2, 4.0), (x - 0.3, 4.0))
    c.text((_N + 0.9, 4.0), f"{c.name_of('Q1')} isolator, two poles, can be locked off")
    for place, name in (
        ((_L - 0.35, 3.0), "1"),
        ((_L - 0.35, 5.0), "2"),
        ((x + 0.35, 3.0), "3"),
        ((x + 0.35, 5.0), "4"),
    ):
        c.text(place, name, align="center")
    c.wire("Q0.L", "Q1.1")
    c.name("L", (_L + 0.2, 2.5))
    c.wire("Q0.N", "Q1.3")
    c.name("N", (_N + 0.2, 2.3))


def _control(c: Canvas) -> None:
    """The small wires by an isolator of their own: 24 V supply and detector, on the two conductors that feed the transformer."""
    c.two("F1", elm.FuseIEC, (_L, 7.0), (_L, 9.0))
    c.text((_L - 0.5, 8.0), "F1", align="right")
    c.wire("Q1.2", "F1.1")
    c.name("L1", (_L + 0.2, 5.5))
    left, right, row = 7.4, 13.4, 10.2
    feed, first, last = 2.6, 4.3, 5.3
    poles: tuple[tuple[float, float, tuple[str, str], str, str, float, Align], ...] = (
        (left, _L, ("1", "2"), "F2", "CL1", 0.2, "left"),
        (right, _N, ("3", "4"), "F3", "CN1", -0.2, "right"),
    )
    for x, rail, terminals, fuse, net, shift, align in poles:
        c.add(elm.Switch().endpoints((x, -first), (x, -last)))
        for terminal, y in zip(terminals, (first, last), strict=True):
            c.terminal(f"Q2.{terminal}", (x, y))
            c.text((x + (-0.35 if x == left else 0.35), y), terminal, align="center")
        c.wire((rail, feed), (x, feed), f"Q2.{terminals[0]}")
        c.two(fuse, elm.FuseIEC, (x, 6.2), (x, 7.2))
        c.wire(f"Q2.{terminals[1]}", f"{fuse}.1")
        c.text((x - 2.2 * shift, 6.7), fuse, align="right" if x == left else "left")
        c.name(net, (x + shift, 5.95), align)
    c.dashed((left - 0.2, 4.8), (right - 0.3, 4.8))
    c.text(((left + right) / 2, 4.4), f"{c.name_of('Q2')} control isolator,", align="center")
    c.text(((left + right) / 2, 5.2), "can be locked off", align="center")
    c.box("G1", (8.7, 7.3), (3.6, 1.5), ("24 V",), left={"L": 0.5}, right={"N": 0.5})
    c.wire("F2.2", (left, 7.8), "G1.L")
    c.wire("F3.2", (right, 7.8), "G1.N")
    c.name("CL", (left + 0.15, 7.5))
    c.name("CN", (right - 0.15, 7.5), "right")
    c.two("R1", elm.ResistorIEC, (7.8, row), (9.2, row))
    c.two("R2", elm.ResistorIEC, (9.6, row), (11.0, row))
    c.text((8.5, row + 0.65), "R1", align="center")
    c.text((10.3, row + 0.65), "R2", align="center")
    c.wire((left, 7.8), (left, row), "R1.1")
    c.wire("R1.2", "R2.1")
    c.name("DA", (9.4, row - 0.45), "center")
    c.box("U1", (11.7, row - 0.6), (2.6, 1.2), (), left={"A": 0.6}, right={"K": 0.6})
    c.wire("R2.2", "U1.A")
    c.name("DB", (11.2, row - 0.45), "center")
    c.wire("U1.K", (14.8, row), (14.8, 9.1), (right, 9.1), (right, 7.8))
    if c.has("D1"):
        c.two("D1", elm.Diode, (13.6, 11.9), (12.2, 11.9), ("A", "K"))
        c.wire("D1.K", (11.35, 11.9), (11.35, row))
        c.wire("D1.A", (14.8, 11.9), (14.8, row))
        c.text((12.9, 11.3), "D1", align="center")
    c.text((5.0, 12.4), "detector, on the two")
    c.text((5.0, 13.02), "conductors that feed T1")
    c.wire("Q1.4", (_N, 14.1))
    c.name("N1", (_N + 0.2, 5.5))
    c.wire("F1.2", (_L, 14.1))
    c.name("L2", (_L + 0.2, 9.7))
    c.two("RV1", elm.ResistorIEC, (9.4, 14.1), (11.4, 14.1))
    c.add(elm.Line(lw=0.9).endpoints((9.7, -14.6), (10.1, -14.6)))
    c.add(elm.Line(lw=0.9).endpoints((10.1, -14.6), (10.7, -13.6)))
    c.text((10.9, 14.8), "RV1 varistor")
    c.wire((_L, 14.1), "RV1.1")
    c.wire("RV1.2", (_N, 14.1))


def _contactor(c: Canvas) -> None:
    top, bottom = 15.1, 17.1
    for x, first, second in ((_L, "1", "2"), (_N, "3", "4")):
        c.add(elm.Switch().endpoints((x, -top), (x, -bottom)))
        c.terminal(f"K1.{first}", (x, top))
        c.terminal(f"K1.{second}", (x, bottom))
        shift = -0.35 if x == _L else 0.35
        c.text((x + shift, top), first, align="center")
        c.text((x + shift, bottom), second, align="center")
    c.wire((_L, 14.1), "K1.1")
    c.wire((_N, 14.1), "K1.3")
    c.dashed((_L - 0.2, 16.1), (_N - 0.3, 16.1))
    c.text((5.4, 15.7), f"{c.name_of('K1')} contactor (coil: drawing 2)")


def _switch(c: Canvas) -> None:
    """The switch between its two buses, with snubber and sense next to it."""
    top, bottom = 18.5, 24.3
    c.wire("K1.2", (_L, top))
    c.name("L3", (_L + 0.2, 17.9))
    _kinds(c, top, bottom)
    x = 9.2
    c.two("R3", elm.ResistorIEC, (x, 19.1), (x, 20.9))
    c.two("C1", elm.Capacitor, (x, 21.8), (x, 23.6))
    c.two("R4", elm.ResistorIEC, (x + 1.6, 21.8), (x + 1.6, 23.6))
    c.text((x + 0.45, 20.0), "R3  snubber")
    c.text((x - 0.5, 22.7), "C1", align="right")
    c.text((x + 2.0, 22.7), "R4")
    c.wire("R3.2", (x, 21.35), "C1.1")
    c.wire("R4.1", (x + 1.6, 21.35), (x, 21.35))
    c.name("SN", (x + 0.3, 21.0))
    far = x + 1.6
    if c.has("U3"):
        far = 13.9
        c.two("R5", elm.ResistorIEC, (far, 18.9), (far, 20.1))
        c.two("R6", elm.ResistorIEC, (far, 20.6), (far, 21.8))
        c.text((far - 0.4, 19.5), "R5", align="right")
        c.text((far - 0.4, 21.2), "R6", align="right")
        c.box("U3", (far - 1.3, 22.1), (2.6, 1.9), top={"1": 1.3}, bottom={"2": 1.3})
        c.wire("R5.2", "R6.1")
        c.name("SA", (far + 0.2, 20.35))
        c.wire("R6.2", "U3.1")
        c.name("SB", (far + 0.2, 21.95))
        c.wire("R5.1", (far, top))
        c.wire("U3.2", (far, bottom))
    c.wire((x, top), "R3.1")
    c.wire("C1.2", (x, bottom))
    c.wire("R4.2", (x + 1.6, bottom))
    c.bus("L3", (_L, top), (far if c.has("U3") else x, top))
    c.bus("L4", (_L, bottom), (far, bottom))


def _kinds(c: Canvas, top: float, bottom: float) -> None:
    """The switch itself between the two buses, and its gate isolator."""
    part = c.netlist.part("V1")
    kind = "" if part is None else part.title
    x, high, low = _L, top + 1.4, bottom - 1.4
    if kind == "thyristor":
        other = x + 2.4
        for name, at, start, end in (("V2", x, low, high), ("V1", other, high, low)):
            scr = _SCR().endpoints((at, -start), (at, -end))
            c.add(scr.flip() if start > end else scr)  # both gates look to the isolator
            c.terminal(f"{name}.A", (at, start))
            c.terminal(f"{name}.K", (at, end))
            gate = scr.absanchors["gate"]
            c.terminal(f"{name}.G", (gate[0], -gate[1]))
        c.text((x + 0.4, 20.8), "V2")
        c.text((other + 0.4, 20.8), "V1")
        _isolator(c, top, bottom, {"K2": top, "G2": c.at("V2.G")[1], "G1": c.at("V1.G")[1], "K1": bottom})
        c.wire((x, top), "V2.K")
        c.wire((other, top), "V1.A")
        c.wire("V2.A", (x, bottom))
        c.wire("V1.K", (other, bottom))
        c.wire("U2.G2", "V2.G")
        c.wire("U2.G1", "V1.G")
        c.name("G2", (2.75, c.at("V2.G")[1] - 0.35))
        c.name("G1", (2.75, c.at("V1.G")[1] + 0.35))
        c.wire("U2.K2", (x, top))
        c.wire("U2.K1", (x, bottom))
        return
    if kind == "triac":
        triac = c.add(_TRIAC().endpoints((x, -high), (x, -low)).flip())
        c.terminal("V1.2", (x, high))
        c.terminal("V1.1", (x, low))
        gate = triac.absanchors["gate"]
        c.terminal("V1.G", (gate[0], -gate[1]))
        c.text((x + 0.6, 21.4), "V1")
        _isolator(c, top, bottom, {"2": top, "G": -gate[1], "1": bottom})
        c.wire("U2.G", "V1.G")
        c.name("G", (2.75, -gate[1] + 0.35))
        c.wire("U2.2", (x, top))
        c.wire("U2.1", (x, bottom))
    else:
        c.box("V1", (x - 1.6, high), (3.2, low - high), ("relay",), top={"1": 1.6}, bottom={"2": 1.6})
    first, last = ("2", "1") if kind == "triac" else ("1", "2")
    c.wire((x, top), f"V1.{first}")
    c.wire(f"V1.{last}", (x, bottom))


def _isolator(c: Canvas, top: float, bottom: float, terminals: dict[str, float]) -> None:
    start = top - 0.6
    c.box("U2", (0, start), (2.4, bottom - top + 1.2), right={name: y - start for name, y in terminals.items()})
    for n, words in enumerate(("gate leads:", "each twisted", "with its own", "cathode lead")):
        c.text((0, bottom + 1.2 + n * LINE), words)


def _transformer(c: Canvas) -> None:
    left, right = 8.5, 13.5
    c.box(
        "T1",
        (7, 26.4),
        (8, 2.2),
        ("welding transformer",),
        top={"1": left - 7, "2": right - 7},
        bottom={"X1": left - 7, "X2": right - 7},
        right={"core": 1.1},
    )
    c.wire((_L, 24.3), (_L, 25.4), (left, 25.4), "T1.1")
    c.name("L4", (_L + 0.3, 25.05))
    c.wire("K1.4", (_N, 25.4), (right, 25.4), "T1.2")
    c.name("N2", (_N - 0.2, 17.9), "right")
    for part, x, name in (("E1", left, "X1"), ("E2", right, "X2")):
        c.box(part, (x - 1.5, 30.3), (3.0, 1.5), ("electrode",), names=False, top={"1": 1.5})
        c.wire(f"T1.{name}", f"{part}.1")
        c.name(name, (x - 0.2, 29.2), "right")


def _earth(c: Canvas) -> None:
    bar = 17.4
    c.rect((_PE - 0.45, bar), (_PE + 0.45, 30.2))
    c.terminal("XE.bar", (_PE, bar))
    c.text((_PE - 0.3, bar - 0.5), "XE earth bar", align="right")
    c.wire("Q0.PE", "XE.bar")
    c.name("PE", (_PE + 0.2, 2.5))
    for part, words, y in (("EN", "enclosure", 18.9), ("H1", "heat sink", 21.1), ("XB", "bond to 0 V", 23.3)):
        c.box(part, (20.0, y - 0.9), (4.4, 1.8), (words,), names=False, right={"PE": 0.9})
        c.wire(f"{part}.PE", (_PE, y))
    c.wire("T1.core", (_PE, 27.5))
    bottom = 27.5
    if c.has("XS"):
        bottom = 29.5
        c.box("XS", (18.0, 28.6), (5.4, 1.8), ("one point only",), names=False, left={"X2": 0.9}, right={"PE": 0.9})
        c.wire((13.5, bottom), "XS.X2")
        c.wire("XS.PE", (_PE, bottom))
    c.wire("XE.bar", (_PE, bottom))
