"""The parts chosen and the wiring sheet: what the drawing shows is what the wire list says is what the board's file says."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from importlib.resources import files
from typing import Any

import html5lib
import pytest
import sheet_reader
from conftest import known_welder, make_welder

from gen.boards import Board, Erratum, boards
from gen.cautions import CAUTIONS
from gen.figures import Figure
from gen.user_files import Wrong
from gen.welder import Welder
from gen.wiring.choice import Choice, Load, Yours
from gen.wiring.choosing import choose
from gen.wiring.netlist import Kind, Net, Netlist, Part, chain, star
from gen.wiring.power_parts import conductor_gauge, inrush_figure
from gen.wiring.sheet import Sheet, wiring_sheet
from gen.wiring.upgrade import to_be_fitted, upgrade, wired_roles

A4_MM, LETTER_MM, MARGIN_MM = (210, 297), (215.9, 279.4), 12
XHTML = "{http://www.w3.org/1999/xhtml}"

# Every shape that the netlist can take.
MACHINES: dict[str, dict[str, Any]] = {
    "thyristors": {},
    "triac": {"switch": {"kind": "triac"}},
    "relay": {"switch": {"kind": "random_phase_relay"}},
    "everything": {
        "board": {"name": "pico", "conduction_sense": True},
        "force": {"source": "air", "force_switch": True},
        "mains": {"frequency_Hz": 60, "voltage_V": 480},
        "breaker": {"rating_A": 125},
    },
    "pulse detector": {"detector": {"kind": "pulse"}},
    "relay and pulse detector with sense": {
        "switch": {"kind": "random_phase_relay"},
        "detector": {"kind": "pulse"},
        "board": {"name": "pico", "conduction_sense": True},
    },
    "secondary off earth": {"protection": {"secondary_earthed": False, "residual_current_device": True}},
    "pulse transformer": {"protection": {"gate_drive": "pulse_transformer"}},
    "nothing fitted": {
        "protection": dict.fromkeys(("isolator", "contactor", "stop_cuts_contactor", "secondary_earthed"), False)
    },
}


def load_of(welder: Welder, pace: float = 4) -> Load:
    return Load(welder.machine.in_use.working_primary, inrush_figure(33, 60), 12.0, 3.0, pace)


def chosen(welder: Welder, pace: float = 4) -> Choice:
    return choose(welder, boards()["pico"], load_of(welder, pace))


def sheet_of(welder: Welder, board: Board | None = None) -> Sheet:
    return wiring_sheet(welder, board or boards()["pico"].with_pins(welder.board.pins), chosen(welder))


@pytest.fixture(scope="module", params=list(MACHINES))
def machine(request: pytest.FixtureRequest) -> Welder:
    return known_welder(**MACHINES[request.param])


@pytest.fixture(scope="module")
def sheet(machine: Welder) -> Sheet:
    return sheet_of(machine)


def test_drawing_wire_list_and_netlist_are_one(sheet: Sheet) -> None:
    """The nets read from the lines of both drawings are those of the wire list as printed, and those of the netlist."""
    drawn: dict[str, set[str]] = {}
    for _, svg in sheet.drawings:
        found = sheet_reader.nets(sheet_reader.read(svg))
        assert not found.keys() & drawn.keys()
        drawn |= found
    assert drawn == {net.name: set(net.terminals) for net in sheet.netlist.nets}
    assert drawn == listed(sheet.html)


def listed(html: str) -> dict[str, set[str]]:
    """The nets of the printed tables: marker, from, to of each wire and track, joined from end to end."""
    page = html5lib.parse(html)
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


@pytest.mark.parametrize("number", [0, 1])
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


def test_everything_can_be_read_on_paper(sheet: Sheet) -> None:
    """Words of 8 points or more, inside the drawing; the drawing inside A4 and Letter with the cautions below it; no colour."""
    for _, svg in sheet.drawings:
        drawing = sheet_reader.read(svg)
        left, top, width, height = drawing.box
        assert width <= 72 / 25.4 * (min(A4_MM[0], LETTER_MM[0]) - 2 * MARGIN_MM)
        assert height <= 72 / 25.4 * (min(A4_MM[1], LETTER_MM[1]) - 2 * MARGIN_MM) - 140
        for word in drawing.words:
            assert word.size_pt >= 8
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


def test_every_page_has_every_caution(sheet: Sheet) -> None:
    """Whichever sheet is on the bench: mains, heat, pacemakers, eyes, fumes, the snubber, the law, what this is not."""
    pages = sheet.html.split('<section class="sheet">')[1:]
    assert len(pages) == 7
    for page in pages:
        for caution in CAUTIONS:
            assert caution in page
        assert "no certified design" in page


def test_no_other_file_and_no_network_is_needed(sheet: Sheet) -> None:
    """One file, printed anywhere."""
    bare = sheet.html.replace("http://www.w3.org/", "")
    for outside in ("http:", "https:", "src=", "href=", "@import", "url(", "<script"):
        assert outside not in bare


def test_same_machine_same_bytes(machine: Welder, sheet: Sheet) -> None:
    """So that a sheet can be compared with an earlier one."""
    assert sheet_of(machine) == sheet


@pytest.mark.parametrize("name", sorted(boards()))
@pytest.mark.parametrize("pins", [{}, {"gate": 1}])
def test_pins_are_those_of_the_boards_file(name: str, pins: dict[str, int]) -> None:
    """At each role's terminal stands the pin that the board's TOML, read here anew, gives it; chosen pins too."""
    raw = tomllib.loads((files("boards") / f"{name}.toml").read_text(encoding="utf-8"))
    pins = {role: min(n, len(raw["roles"][role]) - 1) for role, n in pins.items()}
    board = boards()[name].with_pins({role: raw["roles"][role][n] for role, n in pins.items()})
    welder = known_welder(**MACHINES["everything"])
    drawing = sheet_reader.read(sheet_of(welder, board).drawings[1][1])
    roles = wired_roles(welder)
    assert {"stop", "detector", "gate", "contactor", "pedal", "force", "over_temperature", "conduction"} == set(roles)
    for role in roles:
        gpio = raw["roles"][role][pins.get(role, 0)]
        label = f"{raw['gpio_prefix']}{gpio}, pin {raw['header'][str(gpio)]}"
        assert label in sheet_reader.words_at(drawing, drawing.terminals[f"A1.{role}"], 9), role


def test_an_erratum_of_the_chip_is_told() -> None:
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
        assert float(pulls[name].removesuffix(" kohm")) <= 8.2


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


ELECTRICAL = {"S1": [("11", "12"), ("21", "22")], "B1": [("1", "2")]}


@pytest.mark.parametrize("opened", ["S1", "B1"])
def test_stop_and_heat_contacts_break_by_themselves(machine: Welder, sheet: Sheet, opened: str) -> None:
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


def test_detector_is_on_the_transformers_two_conductors(sheet: Sheet) -> None:
    """Before contactor and switch, so that it sees the mains with both open; from the same two conductors."""
    fuses = {"F1": [("1", "2")], "F2": [("1", "2")], "F3": [("1", "2")], "R1": [("1", "2")], "R2": [("1", "2")]}
    assert {"U1.A", "K1.1"} <= reach(sheet.netlist, "Q1.2", fuses)
    assert {"U1.K", "K1.3"} <= reach(sheet.netlist, "Q1.4", fuses)


def test_earth_is_whole_and_the_secondary_is_on_it_once(machine: Welder, sheet: Sheet) -> None:
    """Every metal part on the bar by a wire of its own; one link to the secondary, or none with a residual-current device."""
    earth = next(net for net in sheet.netlist.nets if net.name == "PE")
    assert {"Q0.PE", "EN.PE", "H1.PE", "T1.core", "XB.PE"} <= set(earth.terminals)
    assert all(link.start == "XE.bar" for link in earth.links)
    through = reach(sheet.netlist, "T1.X2", {"XS": [("X2", "PE")]})
    assert ("XE.bar" in through) == (
        machine.protection.secondary_earthed or not machine.protection.residual_current_device
    )


def test_only_the_isolator_leads_to_the_computer(sheet: Sheet) -> None:
    """No way from the board to the computer but through the USB isolator."""
    assert "PC.USB" not in reach(sheet.netlist, "A1.USB", {})
    assert "PC.USB" in reach(sheet.netlist, "A1.USB", {"A4": [("B", "H")]})


def test_what_is_not_there_is_drawn_and_said_to_be_fitted() -> None:
    """The sheet never leaves out a protection because a machine lacks it."""
    bare = make_welder(
        protection={"contactor": False, "isolator": False, "gate_drive": "direct", "stop_cuts_contactor": False}
    )
    assert set(to_be_fitted(bare)) == {
        "isolator, lockable",
        "contactor that drops when the board's pulse train ends",
        "stop contact in the contactor's coil",
        "gate drive that ends by itself within 12 ms",
    }
    sheet = sheet_of(bare)
    words = {word.text for _, svg in sheet.drawings for word in sheet_reader.read(svg).words}
    assert {"K1* contactor (coil: drawing 2)", "Q1* isolator, two poles, can be locked off", "A2*", "A3*"} <= words
    for what in to_be_fitted(bare):
        assert what.replace("'", "&#39;") in sheet.html
    assert to_be_fitted(make_welder()) == ()
    assert "*" not in "".join(
        word.text for _, svg in sheet_of(make_welder()).drawings for word in sheet_reader.read(svg).words
    )


def test_rules_say_what_lines_cannot(sheet: Sheet, machine: Welder) -> None:
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
    assert ("across the zero crossing" in sheet.html) == machine.board.conduction_sense


def test_a_zero_cross_relay_is_not_wired() -> None:
    """It would switch the transformer on at the worst moment."""
    with pytest.raises(Wrong, match="allowed before a transformer"):
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


def test_yours_is_judged_at_the_limit() -> None:
    """What the welder file gives of the switch, one step either side of what suits."""
    part = chosen(known_welder()).part("switch")
    limits = {mine.what: mine.limit for mine in part.yours}
    assert set(limits) == {"rated current", "surge current"}
    for above in (0.999, 1.001):
        values = {
            "rated_current_A": limits["rated current"] * above,
            "surge_current_A": limits["surge current"] * above,
        }
        judged = chosen(known_welder(switch=values)).part("switch").yours
        assert [mine.enough for mine in judged] == [above > 1] * 2
    assert Yours("to air", 1.0, 1.0, "K/W", at_most=True).enough
    assert not Yours("to air", 1.01, 1.0, "K/W", at_most=True).enough


def test_what_is_not_enough_is_gathered() -> None:
    """A switch too small for the inrush, and a heat sink too small for the pace, are told together."""
    small = known_welder(switch={"surge_current_A": 60}, heat_sink={"K_per_W": 30})
    assert [text.split(":")[0] for text in chosen(small).not_enough] == ["switch", "heat sink"]
    assert chosen(known_welder()).not_enough == ()


def test_a_faster_pace_wants_a_better_heat_sink_until_the_plate_holds_it() -> None:
    """The board's duty guard holds the machine to its plate, so past it the sink need not get better."""
    sinks = [chosen(known_welder(), pace).sink.K_per_W for pace in (0.5, 1, 2, 60, 120)]
    assert all(sink is not None for sink in sinks)
    assert sinks[0] > sinks[1] > sinks[2] > sinks[3] == sinks[4]  # type: ignore[operator]


def test_no_heat_sink_is_made_up() -> None:
    """Where the case would be too hot on any sink, it is said; no negative resistance is sold."""
    hot = known_welder(switch={"case_to_sink_K_per_W": 5})
    choice = chosen(hot)
    assert choice.sink.K_per_W is None
    assert choice.part("heat sink").fit.startswith("None will do")
    assert "None will do" in sheet_of(hot).html


@pytest.mark.parametrize("voltage_V", [100, 120, 208, 230, 240, 400, 480])
@pytest.mark.parametrize("frequency_Hz", [50, 60])
def test_chosen_values_hold_anywhere(voltage_V: int, frequency_Hz: int) -> None:
    """On every mains: the bounds that the parts are chosen by are kept, and the voltages stand in order."""
    choice = chosen(make_welder(mains={"voltage_V": voltage_V, "frequency_Hz": frequency_Hz}))
    peak_V = voltage_V * 2**0.5
    assert 1.1 * voltage_V <= choice.varistor_V <= 1.25 * voltage_V
    assert peak_V * 1.1 * 2 <= choice.switch.off_state_V
    assert choice.varistor_V * 2.7 <= choice.switch.off_state_V
    assert (voltage_V * 1.1 / 2) ** 2 / choice.detector.each_ohm <= choice.detector.each_rated_W / 2
    assert peak_V * 1.1 / (2 * choice.detector.each_ohm) <= 0.010
    assert choice.detector.pull_ohm <= 8200
    assert peak_V * 1.1 / choice.snubber.ohm <= 10
    assert choice.one_shot_ms.low < choice.one_shot_ms.high == 12
    assert 0 < choice.detector.offset_rise_us.low < choice.detector.offset_rise_us.high < 1000
    assert choice.switch.i2t_A2s * 0.75 >= 5 * choice.load.half_cycle_i2t_A2s / 0.6


def test_a_triac_gets_a_gentler_snubber() -> None:
    """Its rise at turn-off is held to half of what its data sheet allows, where parts can."""
    gentle = chosen(make_welder(switch={"kind": "triac", "commutating_dv_dt_V_per_us": 10}))
    ordinary = chosen(make_welder())
    assert gentle.snubber.ohm < ordinary.snubber.ohm
    steepest = next(step for step in gentle.part("snubber").steps if step.what == "steepest rise")
    assert float(steepest.result.split()[0]) <= 5
    assert not any("No snubber" in note for note in (*gentle.part("snubber").notes, *ordinary.part("snubber").notes))
    hopeless = chosen(make_welder(switch={"kind": "triac", "commutating_dv_dt_V_per_us": 0.5}))
    assert any("fit the pair of thyristors" in note for note in hopeless.part("snubber").notes)


def test_every_step_names_its_source_and_no_brand() -> None:
    """No formula without a source; nothing but general descriptions."""
    for part in chosen(known_welder(**MACHINES["everything"])).parts:
        assert part.fit
        for step in part.steps:
            assert step.source
            assert step.result


def test_conductors_never_below_their_own_codes_table() -> None:
    """24 A fits 2.5 mm2 of the one table and not 12 AWG of the other: each is looked up in its own."""
    assert conductor_gauge(15) == "1.5 mm2 / 14 AWG"
    assert conductor_gauge(24) == "2.5 mm2 / 10 AWG"
    assert conductor_gauge(24.1) == "4 mm2 / 10 AWG"
    assert conductor_gauge(900) == "local code"


def test_no_fuse_fits_a_switch_too_small() -> None:
    """The window between the inrush and the switch closes: the sheet says so instead of naming a fuse that ages or fails."""
    assert "No fuse fits" in chosen(known_welder(switch={"i2t_A2s": 60})).part("fuse").notes[0]
    assert "No fuse fits" not in chosen(known_welder(switch={"i2t_A2s": 5000})).part("fuse").notes[0]


def test_figures_without_order_are_put_in_order() -> None:
    """A planned start that is already the worst gives a point, not a range turned round."""
    assert inrush_figure(60, 60) == replace(Figure(60, 60, "A", ""), source=inrush_figure(60, 60).source)
    assert (inrush_figure(70, 60).low, inrush_figure(70, 60).high) == (60, 60)


def test_upgrade_uses_the_roles_that_the_firmware_uses() -> None:
    """Roles that the firmware is built without are left open on the sheet."""
    welder = known_welder()
    terminals = {t for net in upgrade(welder, boards()["pico"], chosen(welder)).nets for t in net.terminals}
    assert "A1.force" not in terminals
    assert "A1.conduction" not in terminals
    assert "A1.primary_current" not in terminals


def test_the_one_shot_lets_every_half_cycle_through() -> None:
    """The pin's fall resets it: where the mains is 60 Hz it would otherwise still run when the next gate comes."""
    choice = chosen(make_welder(mains={"frequency_Hz": 60}))
    assert sum((choice.one_shot_ms.low, choice.one_shot_ms.high)) / 2 > 1000 / 120
    assert (
        "is reset by its fall"
        in next(step for step in choice.part("gate drive").steps if step.what == "one-shot").working
    )
    stage = sheet_of(make_welder()).netlist.part("A2")
    assert stage is not None
    assert "is reset by its fall" in stage.description


def test_an_offset_outside_the_band_is_told() -> None:
    """A square detector's fall comes early: the same lateness for both edges is no detector of this kind."""
    notes = " ".join(
        chosen(make_welder(detector={"offset_rise_us": 100, "offset_fall_us": 300})).part("detector").notes
    )
    assert "detector.offset_fall_us = 300 us, outside the band" in notes
    assert "detector.offset_rise_us" not in notes
