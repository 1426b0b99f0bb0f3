"""What `weldbeat trial` keeps, draws and compares: CSV out and in, records of another kind, picture, page, table.

No source outside but where named: machines and joints are invented.
"""

from __future__ import annotations

import json
import math
import re
import sqlite3
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import html5lib
import pytest

from gen.records import Records
from gen.records.tables import VERSION
from tests.support.cli.command_line import Outcome, contents, typed
from tests.support.cli.scrap import COMMANDS, MACHINE, SCHEDULE, add, set_out, watched, weld_of, well


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return set_out(tmp_path, monkeypatch)


# -- CSV --------------------------------------------------------------------------------------------------------------


def test_out_and_in_again_with_nothing_lost(here: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    """The same records beside another welder file, and the same CSV out of those; a second time nothing is added."""
    watched(here)
    add("no-bond", "--last", "--note", 'slipped, "a little"; then = held')
    add("tore-parent", "--setdown", "0.1", "--dressed")
    (here / "job.toml").write_bytes(SCHEDULE.replace("\n", "\r\n").encode())
    add("broke-at-joint", "--twist", "0.30000000000000004")
    well("export", "trials.csv")
    other = tmp_path_factory.mktemp("other")
    (other / "welder.toml").write_text(MACHINE)
    line = ("--welder", str(other / "welder.toml"))
    assert well("import", "trials.csv", *line) == "Added: 3.\n"
    assert well("import", "trials.csv", *line) == "Added: 0. Recorded before: 3.\n"
    with Records(here / "records.sqlite") as ours, Records(other / "records.sqlite") as theirs:
        assert ours.trials() == theirs.trials()
        assert len(ours.trials()) == 3
    well("export", str(other / "again.csv"), *line)
    assert (other / "again.csv").read_bytes() == (here / "trials.csv").read_bytes()


def test_a_notebook_typed_in(here: Path) -> None:
    """Five columns are enough, in any order, with the mark of a spreadsheet before them; read twice they are there once."""
    rows = "outcome,percent,weld_s,tried_at,joint\nno bond,90,0.3,2026-05-01T10:00:00Z,rungs\n"
    rows += "tore parent,90,0.9,2026-05-01T10:05:00Z,rungs\n"
    (here / "book.csv").write_bytes(b"\xef\xbb\xbf" + rows.replace("\n", "\r\n").encode())
    assert well("import", "book.csv") == "Added: 2.\n"
    assert well("import", "book.csv") == "Added: 0. Recorded before: 2.\n"
    assert "Try " in well("next", "rungs.toml", "--schedule", "job.toml")


def test_a_number_taken_by_another_trial(here: Path) -> None:
    """Its line is named, and the good row before it is not added either."""
    add("no-bond")
    well("export", "trials.csv")
    text = (here / "trials.csv").read_text(encoding="utf-8")
    head, row = text.split("\n", 1)
    (here / "more.csv").write_text(
        f"{head}\n{row.replace('rungs,1,', 'rungs,9,')}{row.replace('no bond', 'tore parent')}"
    )
    before = contents(here)
    outcome = typed(["trial", "import", "more.csv"])
    assert outcome.code == 2
    line = 2 + row.count("\n")
    assert outcome.err.startswith(f"weldbeat: more.csv: line {line}, column number: 1 given; rungs has another trial")
    assert contents(here) == before


# -- records of another kind ------------------------------------------------------------------------------------------


def newer(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.executescript(f"PRAGMA user_version = {VERSION + 1}")
    db.close()


def foreign(path: Path) -> None:
    path.unlink()
    with sqlite3.connect(path) as db:
        db.executescript("CREATE TABLE recipes (name)")
    db.close()


def no_database(path: Path) -> None:
    path.write_text("my notes on welding, which are longer than a header of a hundred bytes " * 3)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (newer, "written by a newer Weldbeat"),
        (foreign, "a database of another program"),
        (no_database, "not a records file"),
    ],
)
def test_records_of_another_kind_are_left_alone(here: Path, spoil: Callable[[Path], None], words: str) -> None:
    """Every sub-command says so in one line, and changes nothing."""
    add("no-bond")
    well("export", "trials.csv")
    spoil(here / "records.sqlite")
    before = contents(here)
    rest = {
        "add": ["rungs.toml", "job.toml", "--outcome", "no-bond"],
        "remove": ["rungs.toml", "1"],
        "export": ["other.csv"],
        "import": ["trials.csv"],
        "compare": [],
        "page": ["rungs.toml", "-o", "page.html"],
        "keep": ["rungs.toml", "-o", "kept.toml"],
    }
    for command in COMMANDS:
        outcome = typed(["trial", command, *rest.get(command, ["rungs.toml"])])
        assert (outcome.code, outcome.out) == (2, ""), command
        assert outcome.err.startswith(f"weldbeat: records.sqlite: {words}")
        assert outcome.err.count("\n") == 1
    assert contents(here) == before


def test_looking_makes_no_records(here: Path) -> None:
    before = contents(here)
    assert typed(["trial", "next", "rungs.toml"]).code == 0
    for line in (["show", "rungs.toml"], ["compare"], ["remove", "rungs.toml", "1"]):
        assert typed(["trial", *line]).code == 2
    assert contents(here) == before


# -- what is drawn and compared ---------------------------------------------------------------------------------------

SVG = "{http://www.w3.org/2000/svg}"
TRIED = """\
joint,tried_at,weld_s,percent,outcome,expulsion
rungs,2026-05-01T10:00:00Z,0.4,100,no bond,
rungs,2026-05-01T10:05:00Z,0.8,100,broke at joint,early
rungs,2026-05-01T10:10:00Z,1.6,100,tore parent,
rungs,2026-05-01T10:15:00Z,1.6,100,tore parent,late
rungs,2026-05-01T10:20:00Z,1.2,85,tore parent,
"""


@pytest.fixture
def tried(here: Path) -> Path:
    (here / "book.csv").write_text(TRIED)
    well("import", "book.csv")
    return here


def test_the_picture_lies_on_a_logarithmic_axis(tried: Path) -> None:
    """Marks stand at their times between the ticks, a doubling everywhere equally wide; a row for each percent."""
    well("show", "rungs.toml", "-o", "rungs.svg")
    root = ET.parse(tried / "rungs.svg").getroot()
    words = {text.text: text for text in root.iter(f"{SVG}text")}
    assert words["100 %"].get("class") == words["85 %"].get("class") == "strong"
    assert float(words["100 %"].get("y", 0)) < float(words["85 %"].get("y", 0))
    ticks = {
        float(text.text or 0): float(text.get("x", 0))
        for text in root.iter(f"{SVG}text")
        if text.get("text-anchor") == "middle"
    }
    (t1, x1), (t2, x2) = min(ticks.items()), max(ticks.items())
    assert t2 > 2 * t1
    squares = [path.get("d", "") for path in root.iter(f"{SVG}path") if path.get("class") == "full"]
    centres = []
    for d in squares:
        xs = [float(x) for x in re.findall(r"[ML](-?[\d.]+) ", d)]
        centres.append((min(xs) + max(xs)) / 2)
    per_log = (x2 - x1) / math.log(t2 / t1)
    for time_s in (1.6, 1.2):
        expected = x1 + per_log * math.log(time_s / t1)
        assert any(abs(centre - expected) < 0.1 for centre in centres), time_s


def test_the_page_is_whole_and_stands_alone(tried: Path) -> None:
    """HTML without an error (html5lib), no script, nothing fetched; suggestion and source, trials, kept schedule, cautions."""
    well("page", "rungs.toml", "-o", "before.html")
    assert "Nothing is kept" in (tried / "before.html").read_text(encoding="utf-8")
    well("keep", "rungs.toml", "--schedule", "job.toml", "-o", "kept.toml")
    well("page", "rungs.toml", "-o", "rungs.html")
    text = (tried / "rungs.html").read_text(encoding="utf-8")
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(text)
    plain = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", text, flags=re.S))
    assert not re.search(r"<script|<link|src=|href=|url\((?!#)|@import", text)
    time_s, percent = weld_of(tried / "kept.toml")
    for needed in (
        f"Kept: weld {time_s * 50:g} cycles",
        "cross-wire table",
        "95 %",
        "broke at joint",
        "pacemakers",
        "isolate",
    ):
        assert needed.lower() in plain.lower(), needed
    assert plain.count("tore parent ") >= 3
    assert f"at {percent:g} %" in plain


def test_joints_are_compared_by_heat(tried: Path) -> None:
    """I^2 t, which heats an unchanging resistance (Joule's law): percent squared times time, relative to the joint named."""
    (tried / "frame.toml").write_text("rods_mm = [5, 5]\n")
    well("add", "frame.toml", "job.toml", "--outcome", "tore-parent")
    for joint in ("rungs", "frame"):
        kept = well(
            "keep", f"{joint}.toml", "--schedule", "job.toml", "-o", f"{joint}-kept.toml", "--json", "--pace", "1"
        )
        assert json.loads(kept)["text"] == (tried / f"{joint}-kept.toml").read_text(encoding="utf-8")
    rows = {row["joint"]: row for row in json.loads(well("compare", "frame.toml", "--json"))}
    heats = {}
    for joint in ("rungs", "frame"):
        time_s, percent = weld_of(tried / f"{joint}-kept.toml")
        heats[joint] = percent**2 * time_s
        assert (rows[joint]["kept_s"], rows[joint]["kept_percent"]) == (time_s, percent)
    assert rows["frame"]["i2t_relative"] == 1
    assert rows["rungs"]["i2t_relative"] == pytest.approx(heats["rungs"] / heats["frame"])
    assert (rows["rungs"]["trials"], rows["frame"]["trials"]) == (5, 1)
    assert "rods 5 x 5 mm" in well("compare")


# -- help -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_help_is_one_screen(name: str) -> None:
    """As of every command: 30 lines of 80, a sentence for every option."""
    outcome: Outcome = typed(["trial", *([name] if name else []), "--help"])
    assert outcome.code == 0
    assert len(outcome.out.splitlines()) <= 32
    assert max(map(len, outcome.out.splitlines())) <= 80
    entries = re.findall(r"^  -.*(?:\n {6,}.*)*", outcome.out, re.M)
    assert entries
    for entry in entries:
        assert re.search(r"\S {2,}\S|\n {6,}\S", entry[2:]), f"no explanation: {entry}"


def test_sub_commands_are_listed_in_working_order() -> None:
    text = typed(["trial", "--help"]).out
    places = [text.index(f"\n  {name} ") for name in COMMANDS]
    assert places == sorted(places)
