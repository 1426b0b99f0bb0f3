"""Layouts of the low-voltage stages on their pages: gate pulse, contactor, contacts, supply, current."""

from __future__ import annotations

from gen.wiring.interface.input_stages import contacts_of, input_filter
from gen.wiring.interface.stage_page import StagePage


def gate_layout(c: StagePage) -> float:
    """Lay out the one-shot on the gate. Returns the height drawn."""
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
    # The transistor that the comparator switches.
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


def contactor_layout(c: StagePage) -> float:
    """Lay out the charge pump that holds the contactor. Returns the height drawn."""
    top, rail, row, bottom = 0.9, 4.6, 11.0, 22.0
    c.bus("24E", (1.0, top), (29.0, top))
    c.name("24E", (0.9, top - 0.55))
    c.bus("0V", (1.0, bottom), (29.0, bottom))
    c.name("0V", (2.6, bottom - 0.55))
    _second_switch(c, bottom + 6.6)
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
    # The pin and the two MOSFETs, which switch in opposite phase.
    c.bus("PULSE", (0.3, row + 2.6), (1.8, row + 2.6))
    c.name("PULSE", (0.3, row + 2.05))
    c.part("R9", ((1.8, row + 4.0), (1.8, row + 6.2)))
    c.part("R41", ((3.2, row + 2.6), (5.4, row + 2.6)), "above")
    c.wire((1.8, row + 2.6), "R41.1")
    c.wire((1.8, row + 2.6), "R9.1")
    c.wire("R9.2", (1.8, bottom))
    c.mosfet("Q41", (8.2, row + 2.6), (0.25, 1.25))
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
    # The storage capacitor, its charging resistors, and the threshold.
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
    c.flag("Q43.D", "down", 0.2)
    c.part("R48", ((26.5, 7.5), (26.5, 5.7)))
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
    return bottom + 12.4


def _second_switch(c: StagePage, y: float) -> None:
    """Lay out the switch next to the coil, and the transistor that holds it. `y`: height of the switch's gate."""
    c.npn("Q45", (6.4, y + 1.5))
    c.flag("Q45.B", "left", 0.3)
    c.part("R81", ((6.4, y + 3.8), (6.4, y + 5.0)), "right")
    c.wire("Q45.E", "R81.1")
    c.name("KE", (6.1, y + 3.4), "right")
    c.flag("R81.2", "down", 0.1)
    c.part("R83", ((14.2, y), (12.0, y)), "below")
    c.wire("R83.2", "Q45.C")
    c.name("KD", (8.0, y - 0.55))
    c.mosfet("Q44", (20.6, y))
    c.wire("R83.1", "Q44.G")
    c.name("KH", (17.2, y + 0.55))
    c.part("R82", ((16.8, y - 3.2), (16.8, y - 1.0)), "left")
    c.wire("R82.2", (16.8, y))
    c.bus("KM", (16.8, y - 4.2), (25.0, y - 4.2))
    c.name("KM", (18.0, y - 4.75))
    c.wire("R82.1", (16.8, y - 4.2))
    c.wire("Q44.S", (20.6, y - 4.2))
    c.out("Q44.D", "down", 0.3)
    c.part("R84", ((25.0, y - 3.2), (25.0, y - 1.0)))
    c.wire("R84.1", (25.0, y - 4.2))
    c.flag("R84.2", "down", 0.3)


def inputs_layout(c: StagePage) -> float:
    """Lay out the contacts, one below the other. Returns the height drawn."""
    contacts = contacts_of(c.stage)
    for n, contact in enumerate(contacts):
        y = 4.0 + 5.6 * n
        parts = input_filter(contact)
        pull_up, series, capacitor, clamp = (part.name for part in parts.parts)
        c.bus(contact.lead, (1.0, y), (5.0, y))
        c.name(contact.lead, (1.0, y - 0.55))
        c.part(pull_up, ((5.0, y - 2.8), (5.0, y - 0.8)), "left")
        c.out(f"{pull_up}.1", "up", 0.1)
        c.wire(f"{pull_up}.2", (5.0, y))
        c.part(series, ((9.4, y), (11.6, y)), "above")
        c.wire(f"{series}.1", (5.0, y))
        c.part(capacitor, ((14.0, y + 0.5), (14.0, y + 1.9)))
        c.wire(f"{capacitor}.1", (14.0, y))
        c.out(f"{capacitor}.2", "down", 0.1)
        c.part(clamp, ((18.4, y - 0.8), (18.4, y - 2.4)))
        c.wire(f"{clamp}.A", (18.4, y))
        c.out(f"{clamp}.K", "up", 0.1)
        c.wire(f"{series}.2", (26.0, y))
        c.name(contact.marker, (25.8, y - 0.55), "right")
    return 4.0 + 5.6 * (len(contacts) - 1) + 3.2


def supply_layout(c: StagePage) -> float:
    """Lay out the 5 V supply of the board. Returns the height drawn."""
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


def current_layout(c: StagePage) -> float:
    """Lay out the input of the current transformer. Returns the height drawn."""
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
