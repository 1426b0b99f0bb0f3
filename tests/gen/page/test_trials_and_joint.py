"""Joint and trials room: from sizes to a suggestion, from trials to a schedule that is kept, by the commands' records."""

from __future__ import annotations

import io
import json
import os
import re
import zipfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import html5lib
import pytest

from gen.job import find_welder
from gen.joint import read_joint
from gen.records import Records
from sim.joint.outcome import JointEdges
from sim.joint.window import JointWindow, PercentWindow, as_text, key_of, planned, window_of
from sim.report.joint_window import standalone_window, window_lines
from tests.support.cli.command_line import typed
from tests.support.page.open_page import OpenPage, example, fields_of, open_page

PAPER = (("electrodes", "e"), ("chart", "k"), ("label", "l"), ("logbook", "b"))


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    with pytest.MonkeyPatch.context() as patch:
        # A plotting library that is installed beside ours would look for its fonts anew, which takes a minute.
        patch.setenv("MPLCONFIGDIR", str(Path.home() / ".cache" / "matplotlib"))
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        with open_page(example(tmp_path_factory.mktemp("machine"))) as opened:
            yield opened


def test_1_a_wrong_joint_is_not_written(page: OpenPage) -> None:
    for given, words in (
        ({"sizes": "5"}, "two diameters"),
        ({"sizes": "5, 80"}, "two diameters"),
        ({"sizes": "five, 8"}, "rods_mm"),
        ({"sizes": "3, 3", "force_N": "a lot"}, "a number from 1 to 50000"),
        ({"sizes": "3, 3", "name": "../rungs"}, "a to z"),
    ):
        answer = page.post("/joint/new", {"name": "rungs", "kind": "rods_mm"} | given)
        assert answer.status == 422
        assert words in unescape(answer.text)
    assert not (page.folder / "rungs.toml").exists()


def test_2_a_joint_gets_the_commands_suggestion(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    made = page.post("/joint/new", {"name": "rungs", "kind": "rods_mm", "sizes": "3, 3"})
    assert made.headers["hx-redirect"] == "/joint/rungs"
    told = unescape(page.get("/joint/rungs").text)
    monkeypatch.chdir(page.folder)
    wanted = json.loads(typed(["suggest", "--joint", "rungs.toml", "--json"]).out)
    for words in (*wanted["assumptions"], *wanted["cautions"], wanted["weld_s"]["source"]):
        assert words in told
    assert page.post("/joint/rungs/schedule", {"as": "first"}).headers["hx-redirect"] == "/schedule/first"
    assert (page.folder / "first.toml").read_text() == wanted["schedule"]
    assert "is there already" in page.post("/joint/rungs/schedule", {"as": "first"}).text


def test_2_the_model_draws_the_joint_as_joint_show_does(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    """And what it refuses is refused in the same words. No style stands in an element: the page's policy forbids that."""
    monkeypatch.chdir(page.folder)
    (page.folder / "thin.toml").write_text("sheets_mm = [0.5, 0.5]\nforce_N = 500\n")
    drawn = page.get("/joint/thin/course?by=boot-scraper").text
    assert typed(["joint", "show", "thin.toml", "boot-scraper.toml", "-o", "shown.html"]).code == 0
    written = (page.folder / "shown.html").read_text()
    (page.folder / "shown.html").unlink()
    figures = re.findall(r"<figure>.*?</figure>", drawn, re.DOTALL)
    assert len(figures) == 2
    assert all(figure in written for figure in figures)
    assert not re.search(r"\sstyle=", drawn)
    (page.folder / "thin.toml").write_text('sheets_mm = [0.5, 0.5]\nsurface = "zinc"\n')
    refused = page.get("/joint/thin/course")
    assert refused.status == 422
    assert "the model has no zinc" in unescape(refused.text)
    (page.folder / "thin.toml").unlink()


def test_2_the_window_is_that_of_the_command_and_comes_from_where_it_was_kept(page: OpenPage) -> None:
    """A smaller one is kept under the name of the whole, so that it is seen to be read and not computed."""
    path = page.folder / "thin.toml"
    path.write_text("sheets_mm = [0.5, 0.5]\nforce_N = 500\n")
    joint, welder = read_joint(path), find_welder(page.folder / "welder.toml")
    window, key = window_of(planned(joint, welder, (100,), 1)[1]), key_of(planned(joint, welder)[1])
    kept = Path(os.environ["XDG_CACHE_HOME"], "weldbeat", "joints", f"{key}.json")
    kept.parent.mkdir(parents=True, exist_ok=True)
    kept.write_text(as_text(window, key))
    told = unescape(page.get("/joint/thin/window").text)
    for name, words in window_lines(window):
        assert f"<dt>{name}</dt><dd>{words}</dd>" in told
    drawn = page.get("/joint/thin/window.svg")
    assert drawn.headers["content-type"].startswith("image/svg+xml")
    assert "unsafe-inline" not in drawn.headers["content-security-policy"]
    assert drawn.text == standalone_window(window, f"thin: {joint.title}")
    path.unlink()


def test_3_a_joint_without_a_table_begins_from_the_window_as_the_command_has_it(
    page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From one that is kept, so that nothing is computed here."""
    monkeypatch.chdir(page.folder)
    path = page.folder / "steel.toml"
    path.write_text('rods_mm = [3, 3]\nforce_N = 700\nmaterial = "stainless_steel"\n')
    key = key_of(planned(read_joint(path), find_welder(page.folder / "welder.toml"))[1])
    edges = (JointEdges(0.15, 0.21, 0.5), JointEdges(0.2, 0.3, 0.6))
    kept = Path(os.environ["XDG_CACHE_HOME"], "weldbeat", "joints", f"{key}.json")
    kept.parent.mkdir(parents=True, exist_ok=True)
    kept.write_text(as_text(JointWindow((PercentWindow(100, edges[0], edges),), (0.25,), 0), key))
    told = unescape(page.get("/trials/steel/next").text)
    outcome = typed(["trial", "next", "steel.toml", "--schedule", "boot-scraper.toml", "--json"])
    assert outcome.out, outcome.err
    wanted = json.loads(outcome.out)
    assert wanted["computed"]["low_s"] == 0.21
    assert f"({wanted['setting']['time_s']:.3g} s) at {wanted['setting']['percent']:g} %" in told
    assert "the estimate begins from computed times: good from 0.21" in " ".join(told.split())
    path.unlink()


def test_3_outcomes_are_noted_and_the_next_weld_follows(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(page.folder)
    first = page.get("/trials/rungs/next").text
    wanted = json.loads(typed(["trial", "next", "rungs.toml", "--json"]).out)["setting"]
    assert f"({wanted['time_s']:.3g} s) at {wanted['percent']:g} %" in first
    for outcome in ("no bond", "broke at joint", "tore parent"):
        told = fields_of(page.get("/trials/rungs/next").text)
        answer = page.post("/trials/rungs/add", told | {"outcome": outcome, "expulsion": "none", "setdown": "0,6"})
        assert f"is noted: {outcome}" in answer.text
    with Records.beside(page.folder / "welder.toml") as records:
        trials = records.trials("rungs")
    assert [trial.setdown_mm for trial in trials] == [0.6] * 3
    assert trials[0].weld_s == pytest.approx(wanted["time_s"])
    assert not list(page.folder.glob("*-try.toml"))


def test_3_where_the_weld_is_expected_and_at_what_pace_is_said_as_to_the_command(
    page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(page.folder)
    told = unescape(page.get("/trials/rungs/next?between=0.2,0.4&pace=2").text)
    wanted = json.loads(typed(["trial", "next", "rungs.toml", "--between", "0.2,0.4", "--pace", "2", "--json"]).out)
    if wanted["setting"]:
        assert f"({wanted['setting']['time_s']:.3g} s) at {wanted['setting']['percent']:g} %" in told
    for query, words in (
        ("between=2,1", '2,1" given; allowed: two times in s from 0.01 to 60, the smaller first'),
        ("pace=1000", "1000 given; allowed: a number from 0.1 to 120"),
        ("percent=0", "0 given; allowed: a number from 1 to 100"),
    ):
        answer = page.get(f"/trials/rungs/next?{query}")
        assert answer.status == 422
        assert words in unescape(answer.text)


def test_4_what_will_not_do_is_not_noted(page: OpenPage) -> None:
    told = fields_of(page.get("/trials/rungs/next").text)
    for given, words in (
        ({"outcome": "perfect"}, "allowed: no bond, broke at joint, tore parent"),
        ({"outcome": "tore parent", "setdown": "-1"}, "a number from 0 to 100"),
        ({"outcome": "tore parent", "setdown": "50"}, "less than 6"),
        ({"outcome": "tore parent", "stamp": "0"}, "load this page anew"),
        ({"outcome": "tore parent", "try": "../x"}, "load this page anew"),
        ({"outcome": "tore parent", "last": "yes"}, "--last"),
    ):
        answer = page.post("/trials/rungs/add", told | {"expulsion": "none"} | given)
        assert answer.status == 422
        assert words in unescape(answer.text)
    assert page.post("/trials/rungs/send", told).status == 422  # no board
    with Records.beside(page.folder / "welder.toml") as records:
        assert len(records.trials("rungs")) == 3


def test_5_a_trial_is_taken_out_again(page: OpenPage) -> None:
    assert "Trial 1 is removed" in page.post("/trials/rungs/remove", {"number": "1"}).text
    assert page.post("/trials/rungs/remove", {"number": "99"}).status == 422
    assert page.post("/trials/rungs/remove", {"number": "x"}).status == 422


def test_6_what_holds_is_kept(page: OpenPage) -> None:
    answer = unescape(page.post("/trials/rungs/keep", {"as": "rungs-kept"}).text)
    assert "Written: rungs-kept.toml." in answer
    assert "hance of a good weld" in answer
    with Records.beside(page.folder / "welder.toml") as records:
        kept = records.kept("rungs")[-1]
    assert (page.folder / "rungs-kept.toml").read_text() == kept.text
    assert "Kept before" in page.get("/trials/rungs/next").text
    assert page.post("/trials/rungs/keep", {"as": "rungs-kept"}).status == 422


def test_7_every_sheet_is_what_its_command_writes(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(page.folder)
    for words in (
        ["wiring", "-o", "w.html"],
        ["commission", "--sheet", "c.html"],
        ["trial", "page", "rungs.toml", "-o", "j.html"],
        ["paper", "electrodes", "-o", "e.html"],
        ["paper", "chart", "-o", "k.html"],
        ["paper", "label", "-o", "l.html"],
        ["paper", "logbook", "-o", "b.html"],
    ):
        assert typed(words).code == 0
    for path, name in (("wiring", "w"), ("commissioning", "c"), ("joint/rungs", "j"), *PAPER):
        answer = page.get(f"/sheets/{path}")
        assert answer.text == (page.folder / f"{name}.html").read_text()
        policy = answer.headers["content-security-policy"]
        assert "unsafe-inline" not in policy
        assert "script" not in policy  # so that default-src 'none' holds for it
    for name in "wcjeklb":
        (page.folder / f"{name}.html").unlink()
    for query in ("from=2026-13-01", "from=2026-02-02&to=2026-02-01", "to=x"):
        assert page.get(f"/sheets/logbook?{query}").status == 422
    assert "no commissioning in it" in page.get("/sheets/commissioned").text


def test_8_a_zip_of_the_lot(page: OpenPage) -> None:
    for other in ("first", "rungs-kept"):
        (page.folder / f"{other}.toml").unlink()
    answer = page.raw("/sheets/all.zip")
    with zipfile.ZipFile(io.BytesIO(answer)) as archive:
        names = set(archive.namelist())
        assert archive.testzip() is None
        assert archive.read("rungs.toml").decode() == (page.folder / "rungs.toml").read_text()
        assert b"simulated" in archive.read("report-boot-scraper.html")
        for name in names:
            if name.endswith(".html"):
                html5lib.HTMLParser(strict=True).parse(archive.read(name).decode())
    assert names >= {"welder.toml", "wiring.html", "commissioning.html", "joint-rungs.html"}
    assert names >= {"electrodes.html", "wall-chart.html", "label.html", "logbook.html"}
    assert "commissioned.html.txt" in names
