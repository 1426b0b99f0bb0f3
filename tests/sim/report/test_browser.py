"""The report in a real browser: nothing overlaps, nothing is cut off, and the gate marks lie where the recording says.

Chromium lays the pages out, each in a frame of a given width; tests/support/report/measure.js reads the boxes.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from sim.report.data import ReportData
from tests.support.report import joint_pages
from tests.support.report import report_runs as runs
from tests.support.report.measured import measured_pages
from tests.support.report.report_trees import text_of

WIDTHS = (1280, 800, 400)
LEAST_TEXT_PX = 10  # height of the box of any text
OVERLAP = (
    "<p style='position:absolute;top:20px;left:10px'>first words</p>"
    "<p style='position:absolute;top:24px;left:40px'>second words</p>"
)
OVERLAP_SVG = "<svg width=200 height=60><text x=10 y=30>third words</text><text x=30 y=34>fourth words</text></svg>"
CUT = "<div style='width:60px;overflow:hidden;white-space:nowrap'>words that do not fit</div>"
CUT_BELOW = "<div style='height:10px;overflow:hidden'>a line<br>hidden below</div>"
CUT_SVG = "<svg width=100 height=40><text x=60 y=20>beyond the picture</text></svg>"
CUT_CELL = "<p style='width:40px'>incompressible</p>"
TOO_WIDE = "<div style='width:3000px;height:9px'></div>"
OVERLAP_BAR = (
    "<svg width=200 height=60><text x=10 y=30>fifth words</text><rect x=20 y=10 width=40 height=30></rect></svg>"
)
SOUND = "<p>plain words</p><svg width=200 height=60><text x=10 y=30>one</text><text x=60 y=30>two</text></svg>"


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Every page at every width, measured in one start of the browser. Keys: name and width."""
    folder: Path = tmp_path_factory.mktemp("pages")
    planted = (OVERLAP, OVERLAP_SVG, CUT, CUT_BELOW, CUT_SVG, CUT_CELL, TOO_WIDE, OVERLAP_BAR, SOUND)
    pages = {f"planted-{n}": f"<!DOCTYPE html><html><body>{body}</body></html>" for n, body in enumerate(planted)}
    pages |= {shape.__name__: text_of(shape) for shape in runs.EVERY_SHAPE}
    pages |= {name: joint_pages.once_made(name) for name in joint_pages.NAMES}
    pages["joint-course"] = joint_pages.course()
    return measured_pages(pages, folder, WIDTHS)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("shape", [shape.__name__ for shape in runs.EVERY_SHAPE])
def test_no_text_overlaps_or_is_cut_off(measured: dict[str, dict[str, Any]], shape: str, width: int) -> None:
    page = measured[f"{shape} {width}"]
    assert page["width"] == width
    assert page["pieces"] > 100
    assert page["overlaps"] == []
    assert page["cut"] == []
    assert page["scrolls"] == 0
    assert page["smallest"] >= LEAST_TEXT_PX


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("shape", [*joint_pages.NAMES, "joint-course"])
def test_pages_of_joints_neither(measured: dict[str, dict[str, Any]], shape: str, width: int) -> None:
    """The same of a joint's page, of which no text is small either."""
    page = measured[f"{shape} {width}"]
    assert page["pieces"] > 30
    assert (page["width"], page["scrolls"], page["overlaps"], page["cut"]) == (width, 0, [], [])
    assert page["smallest"] >= LEAST_TEXT_PX


@pytest.mark.parametrize("width", WIDTHS)
def test_the_measure_sees_what_is_wrong(measured: dict[str, dict[str, Any]], width: int) -> None:
    page = [measured[f"planted-{n} {width}"] for n in range(9)]
    assert page[0]["overlaps"] == [["first words", "second words"]]
    assert page[1]["overlaps"] == [["third words", "fourth words"]]
    assert page[2]["cut"] == ["words that do not fit"]
    assert "hidden below" in page[3]["cut"]
    assert page[4]["cut"] == ["beyond the picture"]
    assert page[5]["cut"] == ["incompressible"]
    assert page[6]["scrolls"] > 0
    assert sorted(page[7]["overlaps"][0]) == ["a bar", "fifth words"]
    assert (page[8]["overlaps"], page[8]["cut"], page[8]["scrolls"], page[8]["pieces"]) == ([], [], 0, 3)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("fired", [1, 3, -1], ids=["first half-cycle", "third half-cycle", "last half-cycle"])
def test_gate_marks_lie_at_the_recorded_times(measured: dict[str, dict[str, Any]], fired: int, width: int) -> None:
    data: ReportData = runs.rods()
    weld = data.recording.welds[0]
    gates = [gate for gate in data.recording.gates if weld.asked_s <= gate[0] < weld.ended_s]
    on_s, off_s = gates[fired - 1 if fired > 0 else fired]
    half_cycle = next(
        half.index for half in data.recording.half_cycles if half.start_s <= on_s < half.start_s + half.length_s
    )
    first, last = measured[f"rods {width}"]["pictures"]
    picture = last if fired < 0 else first
    marks = [mark for mark in picture["gates"] if mark[0] == half_cycle]
    assert len(marks) == 1
    (early_s, early_px), (late_s, late_px) = picture["ticks"][0], picture["ticks"][-1]
    assert late_px - early_px > width / 4
    for time_s, px in ((on_s, marks[0][1]), (off_s, marks[0][2])):
        assert px == pytest.approx(early_px + (time_s - early_s) * (late_px - early_px) / (late_s - early_s), abs=1)
