"""The papers of the shop as they are typed, printed and looked at: pages, sizes of letters, and nothing that overlaps.

Outside: Chromium lays out and prints, pdfplumber reads the pages. No source for what must stand on a label: common practice.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gen import cautions
from gen.machine.tables import Electrodes
from gen.paper import electrodes_html
from gen.records import Records, WeldRecord
from tests.support.cli.command_line import replaced, typed
from tests.support.cli.scrap import add, set_out
from tests.support.drawn_electrodes import CASES
from tests.support.machines import known_welder
from tests.support.printed import Press, Printed, press
from tests.support.report import report_runs
from tests.support.report.measured import measured_pages
from tests.support.report.report_trees import Shape, text_of
from tests.support.wiring.upgrade_machines import MACHINES, sheet_of

WIDTHS = (1280, 800, 400)
EVERYTHING = "wiring with everything"
DRAWN = ("grooves", "crank", "greatest", "least")
PAPERS = ("label", "chart", "logbook", *DRAWN, "commissioning", "wiring", EVERYTHING)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A shop with trials, one joint kept, welds of two days, and every paper that it may print."""
    patch = pytest.MonkeyPatch()
    before = Path.cwd()
    folder = set_out(tmp_path_factory.mktemp("shop"), patch)
    patch.setenv("TZ", "Pacific/Auckland")
    time.tzset()
    for outcome in ("broke-at-joint", "tore-parent"):
        add(outcome, "--setdown", "0.4")
    assert typed(["trial", "keep", "rungs.toml", "-o", "kept.toml"]).code == 0
    with Records.beside(folder / "welder.toml") as records:
        records.add_welds(
            [
                WeldRecord("bench", 1, n, f"2026-01-31T{hour}:30:00Z", "completed", 60, 60, 10, "rungs", "0" * 16)
                for n, hour in ((1, "10"), (2, "12"))
            ]
        )
    for paper, line in {
        "label": ["paper", "label"],
        "chart": ["paper", "chart"],
        "logbook": ["paper", "logbook", "--from", "2026-02-01", "--to", "2026-02-01"],
        "wiring": ["wiring"],
    }.items():
        outcome = typed([*line, "-o", f"{paper}.html"])
        assert (outcome.code, outcome.err) == (0, ""), outcome
    assert typed(["commission", "--sheet", "commissioning.html"]).code == 0
    yield folder
    patch.undo()
    time.tzset()
    os.chdir(before)


@pytest.fixture(scope="module")
def the_press() -> Iterator[Press]:
    with press() as found:
        yield found


def on_paper(the_press: Press, shop: Path, name: str, folder: Path) -> list[Printed]:
    return the_press.printed((shop / f"{name}.html").read_text(encoding="utf-8"), folder)


def test_the_chart_is_read_from_the_machine(the_press: Press, shop: Path, tmp_path: Path) -> None:
    """One page; its figures are of 24 points, the rest of 11 or more; its cautions are those of the electrodes."""
    (page,) = on_paper(the_press, shop, "chart", tmp_path)
    assert min(page.sizes) >= 11
    assert page.sizes[24.0] >= 5
    assert "rungs" in page.text
    assert "cycles" in page.text
    assert "90 %" in page.text
    assert told(page.text) == cautions.AT_THE_ELECTRODES


def told(text: str) -> tuple[str, ...]:
    """The cautions that a page of paper carries."""
    return tuple(caution for caution in cautions.CAUTIONS if caution in text)


def test_the_label_names_the_machine_and_what_it_lacks(the_press: Press, shop: Path, tmp_path: Path) -> None:
    text = (shop / "welder.toml").read_text()
    without = replaced(replaced(text, "\ncontactor = true", ""), "\nmirror_contact = true", "")
    (shop / "welder.toml").write_text(without)
    assert typed(["paper", "label", "-o", "label.html"]).code == 0
    (page,) = on_paper(the_press, shop, "label", tmp_path)
    (shop / "welder.toml").write_text(text)
    assert min(page.sizes) >= 11
    for words in (
        "230 V, 50 Hz",
        "2.5 kVA at 50 % duty",
        "Isolate and lock off",
        "Fitted: isolator",
        "Not fitted: contactor",
    ):
        assert words in page.text, words
    assert told(page.text) == cautions.ON_THE_LABEL


def test_the_logbook_keeps_local_days(the_press: Press, shop: Path, tmp_path: Path) -> None:
    """A weld of 10:30 UTC is of the day's end in Auckland, one of 12:30 UTC of the next day, 13 hours ahead in summer."""
    (page,) = on_paper(the_press, shop, "logbook", tmp_path)
    assert min(page.sizes) >= 11
    assert "2026-02-01 01:30:00 rungs completed 60 of 60 bench" in page.text
    assert "2026-01-31" not in page.text
    assert "1 weld, 1 to the end; 0 trials" in page.text
    wrong = typed(["paper", "logbook", "--from", "2026-02-02", "--to", "2026-02-01", "-o", "x.html"])
    assert (wrong.code, wrong.err.count("\n")) == (2, 1)
    assert typed(["paper", "logbook", "--from", "soon", "-o", "x.html"]).code == 2
    assert not (shop / "x.html").exists()


def test_without_a_joint_kept_there_is_no_chart(shop: Path, tmp_path: Path) -> None:
    """One line, and nothing written."""
    (tmp_path / "welder.toml").write_text((shop / "welder.toml").read_text())
    none = typed(["paper", "chart", "-o", str(tmp_path / "chart.html"), "--welder", str(tmp_path / "welder.toml")])
    assert (none.code, none.err.count("\n")) == (2, 1)
    assert not (tmp_path / "chart.html").exists()


@pytest.mark.parametrize("shape", [report_runs.rods, report_runs.everything, report_runs.too_hot])
def test_a_report_is_four_pages_and_the_first_stands_alone(the_press: Press, shape: Shape, tmp_path: Path) -> None:
    """What to set is of 14 points or more; the body of 11; amperes, time, electrodes, force, verdict are on the first page."""
    pages = the_press.printed(text_of(shape), tmp_path)
    assert 2 <= len(pages) <= 4
    first = pages[0]
    for words in ("Set it so", "75 %", "Current flows for", "Force at the electrodes", "Set up by", "Welds a minute"):
        assert words in first.text, words
    assert first.text.count("Passed") + first.text.count("Refused") == 1
    assert sum(count for size, count in first.sizes.items() if size >= 14) > 60
    assert sum(count for page in pages for size, count in page.sizes.items() if size < 10.4) == 0
    assert any("Before you wire" in page.text for page in pages[1:])


def test_a_commissioning_sheet_is_read_at_the_machine(the_press: Press, shop: Path, tmp_path: Path) -> None:
    """All of it is of 11 points or more; grey is only where a limit comes from, never what to do or to fill in."""
    pages = on_paper(the_press, shop, "commissioning", tmp_path)
    assert min(min(page.sizes) for page in pages) >= 11
    grey = "".join(page.grey for page in pages)
    assert "common practice" in grey
    for words in ("If not", "Press", "Measure", "Isolate", "reading", "initials", "Read"):
        assert any(words in page.text for page in pages), words
        assert words not in grey, words


def test_a_wiring_sheet_is_read_at_the_bench(the_press: Press, shop: Path, tmp_path: Path) -> None:
    """Nothing grey, and all of 11 points or more, drawings too; each sheet is one page of paper."""
    pages = on_paper(the_press, shop, "wiring", tmp_path)
    assert len(pages) == (shop / "wiring.html").read_text(encoding="utf-8").count('<section class="sheet">')
    assert {page.grey for page in pages} == {""}
    assert len([page for page in pages if page.text.startswith("Drawing ")]) == 5
    assert min(size for page in pages for size in page.sizes) >= 11
    everything = sheet_of(known_welder(**MACHINES["everything"])).html
    assert the_press.page_count(everything, tmp_path) == everything.count('<section class="sheet">')


@pytest.fixture(scope="module")
def measured(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    pages = {
        name: (shop / f"{name}.html").read_text(encoding="utf-8") for name in PAPERS if name not in (EVERYTHING, *DRAWN)
    }
    pages |= {name: electrodes_html(Electrodes(**CASES[name]), "welder.toml") for name in DRAWN}
    pages[EVERYTHING] = sheet_of(known_welder(**MACHINES["everything"])).html
    return measured_pages(pages, tmp_path_factory.mktemp("pages"), WIDTHS)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAPERS)
def test_nothing_overlaps_or_is_cut_off(measured: dict[str, dict[str, Any]], name: str, width: int) -> None:
    page = measured[f"{name} {width}"]
    assert page["width"] == width
    assert page["overlaps"] == []
    assert page["cut"] == []
