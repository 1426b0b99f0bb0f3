"""The interface's document: each schematic reads back as its stage, and the pages say what a maker has to know."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import combinations

import html5lib
import pytest

from gen.current_limits import BIAS_SHARE
from gen.machine.welder import Welder
from gen.wiring.interface.contactor_stage import held_ms
from gen.wiring.interface.document import INTERFACE_CAUTION, InterfacePages, interface_pages
from gen.wiring.interface.gate_stage import one_shot
from gen.wiring.interface.machine import DRAWINGS
from gen.wiring.interface.stripboard import PITCH_MM
from tests.support.machines import known_welder
from tests.support.wiring import sheet_reader
from tests.support.wiring.interface_machines import INTERFACE_MACHINES
from tests.support.wiring.upgrade_machines import chosen

SHAPES = [
    "thyristors",
    "triac",
    "relay and pulse detector with sense",
    "everything",
    "pulse transformer",
    "all that is sensed",
]


@dataclass(frozen=True)
class Printed:
    """A machine and its interface's document."""

    welder: Welder
    pages: InterfacePages


@cache
def printed_of(shape: str) -> Printed:
    welder = known_welder(**INTERFACE_MACHINES[shape])
    return Printed(welder, interface_pages(welder, chosen(welder).detector))


@pytest.fixture(scope="module", params=SHAPES)
def printed(request: pytest.FixtureRequest) -> Printed:
    return printed_of(request.param)


def test_each_schematic_reads_back_as_its_stage(printed: Printed) -> None:
    """From lines, dots and names alone: every pin of every part, net by net, and each part's name and value beside it."""
    interface = printed.pages.interface
    assert len(printed.pages.drawings) == len(interface.stages)
    titles = {stage.name: page.title for stage, page in zip(interface.stages, printed.pages.drawings)}
    for name, number in DRAWINGS.items():  # as the wiring sheet says beside its boxes
        assert name not in titles or titles[name].startswith(f"Drawing {number}: ")
    for stage, page in zip(interface.stages, printed.pages.drawings):
        drawing = sheet_reader.read(page.svg)
        drawn = {
            net: {pin for pin in pins if not pin.startswith("lead.")}
            for net, pins in sheet_reader.nets(drawing).items()
        }
        wanted: dict[str, set[str]] = {}
        for part in stage.components:
            for pin, net in part.pins:
                if net:
                    wanted.setdefault(net, set()).add(f"{part.name}.{pin}")
        assert drawn == wanted, stage.name
        assert sheet_reader.undotted(drawing) == []
        words = {word.text for word in drawing.words}
        for part in stage.components:
            assert part.name in words
            assert not part.value_text or part.value_text in words


def test_no_words_lie_on_one_another_or_on_a_wire(printed: Printed) -> None:
    """11 points, inside the page, clear of each other and of every conductor."""
    for page in printed.pages.drawings:
        drawing = sheet_reader.read(page.svg)
        left, top, width, height = drawing.box
        words = [word for word in drawing.words if word.text.strip()]
        for one, other in combinations(words, 2):
            beside = one.right <= other.left or other.right <= one.left
            assert beside or abs(one.middle - other.middle) >= 0.8 * one.size_pt, (page.title, one.text, other.text)
        for word in words:
            assert word.size_pt >= 11
            half_high, half_wide = 0.42 * word.size_pt, 0.85 * (word.right - word.left) / 2
            middle = (word.left + word.right) / 2
            assert left <= middle - half_wide, (page.title, word.text)
            assert middle + half_wide <= left + width, (page.title, word.text)
            assert top <= word.middle - half_high
            assert word.middle + half_high <= top + height
            for (x1, y1), (x2, y2) in drawing.lines:
                across = min(x1, x2) < middle + half_wide and max(x1, x2) > middle - half_wide
                along = min(y1, y2) < word.middle + half_high and max(y1, y2) > word.middle - half_high
                assert not (across and along), (page.title, word.text)


def test_every_part_is_listed_and_drawn_and_placed(printed: Printed) -> None:
    """No part is named that is not drawn: the list is that of the schematic, and each stands on one board or beside it."""
    html = html5lib.parse(printed.pages.html, namespaceHTMLElements=False)
    rows = [row for row in html.iter("tr") if row.get("class") == "component"]
    listed = ["".join(row[0].itertext()) for row in rows]
    assert listed == [part.name for part in printed.pages.interface.components]
    placed = [name for board in printed.pages.boards for name, _ in board.places]
    beside = {part.name for part in printed.pages.interface.components if part.generic == "pulse transformer"}
    assert sorted(placed) == sorted(set(listed) - beside)


def test_the_pages_say_who_wires_and_what_the_board_is_not(printed: Printed) -> None:
    """On each page that somebody builds from; and the figures are those that are proven."""
    pages = printed.pages.html.split('<section class="sheet">')[1:]
    for page in pages:
        assert INTERFACE_CAUTION in page
    for words in ("licensed electrician", "Isolate", "replaces neither the emergency stop nor the isolator"):
        assert words in INTERFACE_CAUTION
    assert one_shot(printed.welder).length_ms.text in pages[0]
    assert held_ms().text in pages[0]
    assert "8.16 mm stay between mains and low" in pages[0]
    for outside in ("http:", "https:", "src=", "href=", "@import", "url(", "<script"):
        assert outside not in printed.pages.html.replace("http://www.w3.org/", "")


def test_boards_are_drawn_at_one_to_one(printed: Printed) -> None:
    """A millimetre of the drawing is one on paper; neighbouring holes are 2.54 mm apart; the ruler's line is 50 mm long."""
    for board in printed.pages.boards:
        for svg in (board.component_svg, board.copper_svg):
            size = re.search(r'width="([0-9.]+)mm" height="([0-9.]+)mm" viewBox="0 0 ([0-9.]+) ([0-9.]+)"', svg)
            assert size is not None
            assert size[1] == size[3]
            assert size[2] == size[4]
            assert "h50M" in svg
            holes = sorted({float(x) for x in re.findall(r'<circle cx="([0-9.]+)"', svg)})
            assert min(b - a for a, b in zip(holes, holes[1:])) == pytest.approx(PITCH_MM, abs=0.02)
        assert (
            board.component_svg.count('class="cut"') == len(board.layout.cuts) == board.copper_svg.count('class="cut"')
        )
        assert board.component_svg.count('class="link"') == len(board.layout.links)
        assert board.component_svg.count('class="part"') == len(board.layout.fittings)
        assert board.component_svg.count('class="lead"') == len(board.layout.leads)


def test_meter_points_are_what_divider_and_zener_give(printed: Printed) -> None:
    """Against the textbook's divider: GT is 10 / 15.6 of 24 V and 10 %, KT 10 / 22 of 12 V and 5 %, each within a step."""
    points = {(point.net, point.state): point.volts for point in printed.pages.points}
    gt, kt = points["GT", "24 V on, pin low"], points["KT", "24 V on, pin low"]
    assert gt.low == pytest.approx(21.6 * 10 / 15.6, rel=0.015)
    assert gt.high == pytest.approx(26.4 * 10 / 15.6, rel=0.015)
    assert kt.low == pytest.approx(11.4 * 10 / 22, rel=0.02)
    assert kt.high == pytest.approx(12.6 * 10 / 22, rel=0.025)
    for net in ("COIL", "GO"):
        for state in ("24 V on, pin low", "PULSE on 3V3, a second later", "GATE on 3V3, a second later"):
            if (net, state) in points:
                assert points[net, state].high <= 0.05  # a level that stands still drives nothing


def test_the_converter_rests_where_the_firmware_expects_it() -> None:
    """The bias keeps inside the share of the range that the firmware's limits allow, every tolerance at an end."""
    points = {point.net: point.volts for point in printed_of("all that is sensed").pages.points}
    for net in ("MID", "AMPS"):
        assert abs(points[net].low / 3.2 - 0.5) <= BIAS_SHARE
        assert abs(points[net].high / 3.4 - 0.5) <= BIAS_SHARE
