"""The parts chosen and the wiring sheet: what the drawing shows is what the wire list says is what the board's file says."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

import html5lib
import pytest

from gen import cautions
from gen.boards import Board, Erratum, boards
from gen.cautions import CAUTIONS
from gen.machine.field import keep_away
from gen.machine.welder import Welder
from gen.user_files import Wrong
from gen.wiring.netlist import Kind, Net, Netlist, Part, chain, star
from gen.wiring.sheet import Sheet
from gen.wiring.upgrade import to_be_fitted, wired_roles
from tests.support.machines import known_welder, make_welder
from tests.support.wiring import sheet_reader
from tests.support.wiring.upgrade_machines import MACHINES, drawn_anew, sheet_of

A4_MM, LETTER_MM, MARGIN_MM = (210, 297), (215.9, 279.4), 12
XHTML = "{http://www.w3.org/1999/xhtml}"


@pytest.fixture(scope="module", params=list(MACHINES))
def welder(request: pytest.FixtureRequest) -> Welder:
    return known_welder(**MACHINES[request.param])


@pytest.fixture(scope="module")
def sheet(welder: Welder) -> Sheet:
    return sheet_of(welder)


def test_drawing_wire_list_and_netlist_are_one(sheet: Sheet) -> None:
    """The nets read from the lines of all drawings are those of the wire list as printed, and those of the netlist.

    A net may go on in another drawing, under its name; a terminal is in one.
    """
    drawn: dict[str, set[str]] = {}
    for _, svg in sheet.drawings:
        for name, terminals in sheet_reader.nets(sheet_reader.read(svg)).items():
            there = drawn.setdefault(name, set())
            assert not there & terminals
            there |= terminals
    assert drawn == {net.name: set(net.terminals) for net in sheet.netlist.nets}
    assert drawn == listed(sheet.html)


@lru_cache(maxsize=200)
def parsed(html: str) -> Any:
    return html5lib.parse(html)


@lru_cache(maxsize=200)
def listed(html: str) -> dict[str, set[str]]:
    """The nets of the printed tables: marker, from, to of each wire and track, joined from end to end."""
    page = parsed(html)
    found: dict[str, list[set[str]]] = {}
    for row in page.iter(f"{XHTML}tr"):
        cells = ["".join(cell.itertext()) for cell in row if cell.get("class") in ("wire", "mark")]
        if "wire" not in [cell.get("class") for cell in row]:
            continue
        for start in range(0, len(cells), 4):
            _, marker, one, other = cells[start : start + 4]
            joined = found.setdefault(marker, [])
            touching = [group for group in joined if group & {one, other}]
            found[marker] = [g for g in joined if g not in touching] + [{one, other}.union(*touching)]
    assert all(len(groups) == 1 for groups in found.values())
    return {marker: groups[0] for marker, groups in found.items()}


def test_junctions_have_dots_and_crossings_have_none(sheet: Sheet) -> None:
    """A person tells a join from a crossing by its dot."""
    for _, svg in sheet.drawings:
        assert sheet_reader.undotted(sheet_reader.read(svg)) == []


@pytest.mark.parametrize("number", range(5))
def test_a_line_left_out_is_noticed(number: int) -> None:
    """The reader is no rubber stamp: whichever conductor is taken from the drawing, it reads other nets or objects."""
    sheet = sheet_of(known_welder(**MACHINES["everything"]))
    drawing = sheet_reader.read(sheet.drawings[number][1])
    whole = sheet_reader.nets(drawing)
    for gone in range(len(drawing.lines)):
        assert read_or_objection(without(drawing, gone)) != whole


def without(drawing: sheet_reader.Drawing, gone: int) -> sheet_reader.Drawing:
    return replace(drawing, lines=tuple(line for n, line in enumerate(drawing.lines) if n != gone))


def read_or_objection(drawing: sheet_reader.Drawing) -> dict[str, set[str]] | str:
    try:
        return sheet_reader.nets(drawing)
    except AssertionError as objection:
        return str(objection)


def test_every_terminal_of_the_wire_list_has_its_number_in_the_drawing(welder: Welder, sheet: Sheet) -> None:
    """Beside each small circle stands what the wire list calls it after the point; at the timer board its pin as printed there.

    A word counts only where no other terminal is nearer to it: that is how a person reads it.
    """
    board = boards()[welder.board.name]
    assert numbered(sheet, board) == {terminal for terminals in listed(sheet.html).values() for terminal in terminals}


# Of each set of machines with the same low-voltage side, one: only there do a board's pins stand.
@pytest.mark.parametrize(
    "name", ["thyristors", "relay", "everything", "pulse detector", "relay and pulse detector with sense"]
)
def test_so_it_has_with_a_board_of_another_family(name: str) -> None:
    board = boards()["pyboard"]
    sheet = sheet_of(known_welder(**MACHINES[name]), board)
    assert numbered(sheet, board) == {terminal for terminals in listed(sheet.html).values() for terminal in terminals}


def numbered(sheet: Sheet, board: Board) -> set[str]:
    """The terminals whose label stands nearest to them."""
    found: set[str] = set()
    for _, svg in sheet.drawings:
        drawing = sheet_reader.read(svg)
        for word in drawing.words:
            owner, gap = sheet_reader.nearest_terminal(drawing, word)
            if gap < 14 and word.text == label_at(owner, board):
                found.add(owner)
    return found


def label_at(terminal: str, board: Board) -> str:
    """What is printed at a terminal: by the board's file for the timer board, otherwise what follows the point."""
    part, _, name = terminal.partition(".")
    supply = board.supply_pins
    own = {"5V": supply.in_5V, "3V3": supply.out_3V3, "GND": supply.ground, "USB": "USB socket"}
    own |= {role: pin.label for role, pin in board.pins.items()}
    return own[name] if part == "A1" else name


@pytest.fixture(scope="module")
def every_part() -> frozenset[str]:
    """The names of the parts that some machine has."""
    return frozenset(
        part.name for tables in MACHINES.values() for part in sheet_of(known_welder(**tables)).netlist.parts
    )


def test_no_part_is_named_that_is_not_drawn(sheet: Sheet, every_part: frozenset[str]) -> None:
    """Whatever the sheet says of a part that some machine has: this one has it, and it is in a drawing under its name."""
    drawn = {word.text.split()[0] for _, svg in sheet.drawings for word in sheet_reader.read(svg).words}
    mine = {part.name for part in sheet.netlist.parts}
    assert {name if name in drawn else f"{name}*" for name in mine} <= drawn
    text = " ".join(parsed(sheet.html).itertext())
    named = {name for name in every_part if re.search(rf"(?<![\w.-]){name}(?![\w-])", text)}
    assert named == mine


def test_no_word_lies_across_a_wire(sheet: Sheet) -> None:
    """Nor across another word. Letters are taken half as wide as high, those of a typewriter six tenths (no source)."""
    for _, svg in sheet.drawings:
        drawing = sheet_reader.read(svg)
        assert sheet_reader.struck_through(drawing) == []
        assert sheet_reader.overlapping(drawing) == []


def test_everything_can_be_read_on_paper(sheet: Sheet) -> None:
    """Words of 11 points or more, inside the drawing; the drawing inside A4 and Letter with the cautions below it; no colour."""
    for _, svg in sheet.drawings:
        drawing = sheet_reader.read(svg)
        left, top, width, height = drawing.box
        assert width <= 72 / 25.4 * (min(A4_MM[0], LETTER_MM[0]) - 2 * MARGIN_MM)
        assert height <= 72 / 25.4 * (min(A4_MM[1], LETTER_MM[1]) - 2 * MARGIN_MM) - 140
        for word in drawing.words:
            assert word.size_pt >= 11
            # the box is on the wide side: a sans-serif letter is half as wide as high
            middle, half = (word.left + word.right) / 2, (word.right - word.left) / 2 * 0.85
            assert left <= middle - half, word.text
            assert middle + half <= left + width, word.text
            assert top + 4 <= word.middle <= top + height - 4, word.text
        for x, y in (*drawing.terminals.values(), *(end for line in drawing.lines for end in line)):
            assert left < x < left + width
            assert top < y < top + height
        assert set(_strokes(svg)) <= {"black", "none", "white", "bg"}


def _strokes(svg: str) -> list[str]:
    return [part.split(":")[1] for part in svg.replace('"', ";").split(";") if part.startswith(("stroke:", "fill:"))]


def test_the_first_page_has_every_caution_and_each_page_its_own(sheet: Sheet) -> None:
    """All once: mains, heat, pacemakers, eyes, fumes, the snubber, the law, what this is not. Then what the page is about."""
    pages = sheet.html.split('<section class="sheet">')[1:]
    assert len(pages) == 13
    for caution in CAUTIONS:
        assert caution in pages[0]
    assert "no certified design" in pages[0]
    wired, ruled, bought = cautions.AT_THE_WIRES, cautions.AT_THE_RULES, cautions.AT_THE_PARTS
    wanted = [wired] * 5 + [ruled] + [wired] * 3 + [bought] * 3
    assert [tuple(caution for caution in CAUTIONS if caution in page) for page in pages[1:]] == wanted


def test_the_first_page_says_how_far_off_the_field_falls() -> None:
    """The distances of this machine's loop, with the words that they certify nothing and never clear an implant."""
    known = known_welder()
    far = keep_away(known)
    assert far is not None
    first = sheet_of(known).html.split('<section class="sheet">')[1].replace("&#39;", "'")
    for sentence in far.sentences:
        assert sentence in first
    assert "How far off" not in sheet_of(make_welder()).html  # no secondary current is known


def test_wires_are_of_the_owners_country_and_ticked(sheet: Sheet) -> None:
    """One colour and one cross-section each, a box to tick, and the board's mains tracks in a table of their own."""
    american = sheet_of(
        known_welder(mains={"frequency_Hz": 60}, breaker={"standard": "UL 489", "characteristic": None})
    )
    for html, has, has_not in ((sheet.html, "mm2", "AWG"), (american.html, "AWG", " mm2")):
        tables = html[html.index("Wires of the mains side") : html.index("Conductors of the mains side")]
        assert has in tables
        assert has_not not in tables
        assert tables.count('class="box"') == tables.count('<tr class="wire">')
        assert "Tracks of the interface board, mains" in html


def test_no_other_file_and_no_network_is_needed(sheet: Sheet) -> None:
    """One file, printed anywhere."""
    bare = sheet.html.replace("http://www.w3.org/", "")
    for outside in ("http:", "https:", "src=", "href=", "@import", "url(", "<script"):
        assert outside not in bare


def test_same_machine_same_bytes(welder: Welder, sheet: Sheet) -> None:
    """So that a sheet can be compared with an earlier one."""
    assert drawn_anew(welder, boards()["pico"].with_pins(welder.board.pins)) == sheet


@pytest.mark.parametrize("name", sorted(boards()))
@pytest.mark.parametrize("pins", [{}, {"gate": 1}])
def test_pins_are_those_of_the_boards_file(name: str, pins: dict[str, int]) -> None:
    """At each role's terminal stands the pin that the board's TOML, read here anew, gives it; chosen pins too."""
    raw = tomllib.loads((files("boards") / f"{name}.toml").read_text(encoding="utf-8"))
    pins = {role: min(n, len(raw["roles"][role]) - 1) for role, n in pins.items()}
    board = boards()[name].with_pins({role: raw["roles"][role][n] for role, n in pins.items()})
    welder = known_welder(**MACHINES["everything"])
    drawings = [sheet_reader.read(svg) for _, svg in sheet_of(welder, board).drawings[2:]]
    roles = wired_roles(welder)
    assert {
        "stop",
        "detector",
        "gate",
        "contactor",
        "pedal",
        "force",
        "over_temperature",
        "conduction",
        "primary_current",
        "mirror",
    } == set(roles)
    for role in roles:
        gpio = raw["roles"][role][pins.get(role, 0)]
        label = f"{raw['gpio_prefix']}{gpio}, pin {raw['header'][str(gpio)]}"
        (drawing,) = (one for one in drawings if f"A1.{role}" in one.terminals)
        assert label in sheet_reader.words_at(drawing, drawing.terminals[f"A1.{role}"], 12), role


def test_an_erratum_of_the_chip_is_reported() -> None:
    """Where the board's file names one, the sheet carries it and its remedy, and the pulls drawn keep to it."""
    said = Erratum(name="E9", what="a pin may hang", roles=("detector", "gate"), remedy="8.2 kohm or less to ground")
    elsewhere = Erratum(name="FAT", what="files may be lost", roles=(), remedy="another format")
    board = boards()["pico"].model_copy(update={"errata": (said, elsewhere)})
    html = sheet_of(known_welder(), board).html
    assert "E9: a pin may hang. Pins of detector, gate: 8.2 kohm or less to ground. Drawn for it: R7, R8." in html
    assert "files may be lost" not in html  # nothing that is wired
    pulse = sheet_of(known_welder(detector={"kind": "pulse"}), board).html
    assert "Drawn for it: U1 (it drives the pin low itself), R8." in pulse
    assert "This chip" not in sheet_of(known_welder()).html
    pulls = {part.name: part.description for part in sheet_of(known_welder()).netlist.parts}
    for name in ("R7", "R8", "R9"):  # RP2350's erratum E9: at most 8.2 kilo-ohm
        assert float(pulls[name].split()[0]) <= 8.2


def reach(netlist: Netlist, start: str, closed: dict[str, list[tuple[str, str]]]) -> set[str]:
    """Every terminal that a current from `start` can get to through nets and the given ways through parts."""
    seen, ahead = set(), [start]
    while ahead:
        terminal = ahead.pop()
        if terminal in seen:
            continue
        seen.add(terminal)
        ahead += next(net.terminals for net in netlist.nets if terminal in net.terminals)
        part, _, name = terminal.partition(".")
        ahead += [f"{part}.{other}" for pair in closed.get(part, []) if name in pair for other in pair]
    return seen


# Closed contacts, and a contactor stage that passes all it gets.
ELECTRICAL = {"S1": [("11", "12"), ("21", "22")], "B1": [("1", "2")], "A3": [("SUP", "OUT")]}


@pytest.mark.parametrize("opened", ["S1", "B1"])
def test_stop_and_heat_contacts_break_by_themselves(welder: Welder, sheet: Sheet, opened: str) -> None:
    """With either open, 24 V reaches neither the gate stage nor the coil; the board stays fed, and tells why."""
    fed = {"A2.SUP", "A3.SUP", "K1.A1"}
    assert fed <= reach(sheet.netlist, "G1.+", ELECTRICAL)
    broken = {part: ways for part, ways in ELECTRICAL.items() if part != opened}
    left = reach(sheet.netlist, "G1.+", broken)
    assert not fed & left
    assert "G2.IN" in left


def test_mains_and_low_voltage_meet_nowhere(sheet: Sheet) -> None:
    """No net is on both sides; parts on both are those with an isolation, the contactor, and the one bond of 0 V to earth."""
    for net in sheet.netlist.nets:
        for terminal in net.terminals:
            part = sheet.netlist.part(terminal.partition(".")[0])
            assert part is not None
            assert terminal in part.terminals(net.side)
    both = {part.name for part in sheet.netlist.parts if part.mains and part.low}
    assert both <= {"U1", "U2", "U3", "V1", "G1", "K1", "XB"}
    assert "XB" in both


def second(sheet: Sheet) -> str:
    """The supply's second conductor."""
    part = sheet.netlist.part("Q0")
    assert part is not None
    return f"Q0.{part.mains[1]}"


def test_the_second_conductor_is_a_neutral_or_live() -> None:
    """N with a link where the supply's voltage is that to earth, LB with a fuse and another colour where both are live.

    Supplies from memory: 230 V phase to neutral, 240 V split phase, 400 V between phases, 110 V of a building site.
    """
    for voltage_V, frequency_Hz, to_earth_V, live in (
        (230, 50, None, False),
        (120, 60, None, False),
        (240, 60, None, True),
        (400, 50, None, True),
        (110, 50, None, True),
        (230, 50, 133, True),
        (240, 60, 240, False),
    ):
        mains = {"voltage_V": voltage_V, "frequency_Hz": frequency_Hz, "voltage_to_earth_V": to_earth_V}
        sheet = sheet_of(
            make_welder(mains=mains, breaker={"standard": "UL 489" if frequency_Hz == 60 else "other", "rating_A": 30})
        )
        assert second(sheet) == ("Q0.LB" if live else "Q0.N"), mains
        third = sheet.netlist.part("F3")
        assert third is not None
        assert third.link != live
        colours = {(w.kind.colour_iec, w.kind.colour_nec) for w in sheet.netlist.wires if w.start == second(sheet)}
        assert colours == {("grey", "red") if live else ("blue", "white")}
        assert ("second live conductor" in sheet.html) == live


def test_detector_is_on_the_transformers_two_conductors(sheet: Sheet) -> None:
    """Before contactor and switch, so that it sees the mains with both open; from the same two conductors."""
    ways = FED | {part: [("1", "2"), ("3", "4")] for part in ("Q1", "Q2")}
    assert {"U1.A", "K1.1"} <= reach(sheet.netlist, "Q0.L", ways)
    assert {"U1.K", "K1.3"} <= reach(sheet.netlist, second(sheet), ways)


FED = {part: [("1", "2")] for part in ("F1", "F2", "F3", "R1", "R2")}


@pytest.mark.parametrize(
    ("closed", "live", "dead"),
    [
        ("Q2", {"U1.A", "U1.K", "G1.L", "G1.N"}, {"K1.1", "K1.3", "RV1.1"}),
        ("Q1", {"K1.1", "K1.3", "RV1.1"}, {"U1.A", "U1.K", "G1.L", "G1.N"}),
    ],
)
def test_control_feed_and_power_circuit_lock_off_apart(
    sheet: Sheet, closed: str, live: set[str], dead: set[str]
) -> None:
    """By Q2 alone detector and 24 V are fed and the power circuit is dead; by Q1 alone the other way round.

    A control circuit that its supply's isolator does not break needs one of its own (IEC 60204-1, 5.3.5, from memory).
    """
    ways = FED | {closed: [("1", "2"), ("3", "4")]}
    reached = reach(sheet.netlist, "Q0.L", ways) | reach(sheet.netlist, second(sheet), ways)
    assert live <= reached
    assert not dead & reached


def test_earth_is_whole_and_the_secondary_is_on_it_once(welder: Welder, sheet: Sheet) -> None:
    """Every metal part on the bar by a wire of its own; one link to the secondary, or none with a residual-current device."""
    earth = next(net for net in sheet.netlist.nets if net.name == "PE")
    assert {"Q0.PE", "EN.PE", "H1.PE", "T1.core", "XB.PE"} <= set(earth.terminals)
    assert all(link.start == "XE.bar" for link in earth.links)
    through = reach(sheet.netlist, "T1.X2", {"XS": [("X2", "PE")]})
    assert ("XE.bar" in through) == (
        welder.protection.secondary_earthed or not welder.protection.residual_current_device
    )


def test_only_the_isolator_leads_to_the_computer(sheet: Sheet) -> None:
    """No way from the board to the computer but through the USB isolator."""
    assert "PC.USB" not in reach(sheet.netlist, "A1.USB", {})
    assert "PC.USB" in reach(sheet.netlist, "A1.USB", {"A4": [("B", "H")]})


def test_what_is_not_there_is_drawn_and_said_to_be_fitted() -> None:
    """The sheet never leaves out a protection because a machine lacks it."""
    bare = make_welder(
        protection={
            "contactor": False,
            "isolator": False,
            "gate_drive": "direct",
            "stop_cuts_contactor": False,
            "stop_cuts_gate_supply": False,
        }
    )
    assert set(to_be_fitted(bare)) == {
        "isolator, lockable",
        "contactor that drops when the board's pulse train ends",
        "stop contact in the gate supply",
        "stop contact in the contactor's coil",
        "gate drive that ends by itself within 12 ms",
    }
    sheet = sheet_of(bare)
    words = {word.text for _, svg in sheet.drawings for word in sheet_reader.read(svg).words}
    assert {"K1* contactor (coil: drawing 5)", "Q1* isolator: a switch-", "A2*", "A3*"} <= words
    for what in to_be_fitted(bare):
        assert what.replace("'", "&#39;") in sheet.html
    assert to_be_fitted(make_welder()) == ()
    assert "*" not in "".join(
        word.text for _, svg in sheet_of(make_welder()).drawings for word in sheet_reader.read(svg).words
    )


def test_rules_say_what_lines_cannot(sheet: Sheet, welder: Welder) -> None:
    """The facts that a drawing does not carry stand beside it."""
    for words in (
        "before every gate",
        "an open or broken lead stops",
        "within 12 ms of the pin",
        "passes edges only",
        "USB isolator (A4) only",
        "twisted",
        "half a metre or more from the throat",
        "count as live",
    ):
        assert words in sheet.html, words
    assert ("A program that hangs gives no further gate" in sheet.html) == (welder.force.source != "air")
    assert ("except around each zero crossing" in sheet.html) == welder.board.conduction_sense


def test_a_zero_cross_relay_is_not_wired() -> None:
    """It would switch the transformer on at the worst moment."""
    with pytest.raises(Wrong, match="allowed: before a transformer"):
        sheet_of(make_welder(switch={"kind": "zero_cross_relay"}))


def test_a_netlist_holds_together() -> None:
    """A terminal in no net, in two, or of no part, and a ring in a net, are refused as they are made."""
    kind = Kind("", "", "")
    parts = (Part("A", "", "", mains=("1", "2")), Part("B", "", "", mains=("1",)))
    good = Net("X", "mains", kind, star("A.1", "A.2", "B.1"))
    assert [wire.number for wire in Netlist(parts, (good,)).wires] == [1, 2]
    for links in (chain("A.1", "B.1"), star("A.1", "A.2", "B.1", "C.1")):
        with pytest.raises(ValueError, match="not in exactly one net"):
            Netlist(parts, (Net("X", "mains", kind, links),))
    twice = (good, Net("Y", "mains", kind, chain("A.1", "D.1")))
    with pytest.raises(ValueError, match=r"not in exactly one net: A\.1"):
        Netlist((*parts, Part("D", "", "", mains=("1",))), twice)
    with pytest.raises(ValueError, match="joins nothing new"):
        Net("X", "mains", kind, (*chain("A.1", "A.2", "B.1"), *chain("B.1", "A.1")))
