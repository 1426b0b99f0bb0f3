"""Layouts of the mains stages on their pages: gate isolation, detector, conduction sense."""

from __future__ import annotations

from gen.wiring.interface.stage_page import StagePage


def isolation_layout(c: StagePage) -> float:
    """Lay out the isolation of the gates. Returns the height drawn."""
    names = {part.name for part in c.stage.components}
    return _pulsed(c) if "T2" in names else _phototriacs(c, pair="R63" in names, two="U22" in names)


def _phototriacs(c: StagePage, *, pair: bool, two: bool) -> float:
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


def _pulsed(c: StagePage) -> float:
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
    # The primary, with its demagnetising path.
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


def _coupled(c: StagePage, coupler: str, resistors: tuple[str, str], pins: tuple[str, str], y: float) -> None:
    """Two resistors and the diodes of a coupler, on the mains side."""
    one, other = resistors
    c.part(one, ((3.0, y), (5.2, y)), "below")
    c.out(f"{one}.1", "left", 1.0)
    c.part(other, ((7.4, y), (9.6, y)), "below")
    c.wire(f"{one}.2", f"{other}.1")
    c.name(c.net_of(f"{one}.2"), (6.3, y - 0.55), "center")
    c.coupler(coupler, (14.6, y + 1.1), pins, ("C", "E"))
    c.wire(f"{other}.2", f"{coupler}.{pins[0]}")
    c.name(c.net_of(f"{other}.2"), (10.0, y - 0.55))


def detector_layout(c: StagePage) -> float:
    """Lay out the zero-crossing detector. Returns the height drawn."""
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


def sense_layout(c: StagePage) -> float:
    """Lay out the conduction sense. Returns the height drawn."""
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
