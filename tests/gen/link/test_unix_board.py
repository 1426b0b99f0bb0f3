"""From a blank board to a stopped weld, through real programs: the emitted firmware under MicroPython's Unix port, files put
there by `mpremote`, and the commands a user types, over pseudo-terminals and a real clock.

What it does not prove: USB, the chip's own reset and its flash; the hardware is a test double (board/driver.py).
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gen.link import Link, LinkError
from gen.link.errors import Unplugged
from gen.link.flashing import SETTINGS, read_bundle
from gen.words import CONTACTOR_OPEN, CONTACTOR_SHUT, PEDAL, STOP_OPEN
from sim.run import Run
from tests.support.cli.json_samples import keeps_to_schema
from tests.support.judged_once import simulate_once
from tests.support.link.link_shop import MISSING, OTHER, SCHEDULE, bare, command, replaced, shop, typed, until
from tests.support.link.unix_board import UnixBoard

if not MISSING:
    import pty

pytestmark = pytest.mark.skipif(MISSING, reason="micropython_unix is not installed")


@pytest.fixture(scope="module")
def simulated() -> dict[str, Run]:
    """What was simulated before the same schedule was pushed, or burnt in, the first time."""
    return {}


@pytest.fixture(autouse=True)
def once(monkeypatch: pytest.MonkeyPatch, simulated: dict[str, Run]) -> None:
    simulate_once(monkeypatch, simulated)


def told(*words: str) -> Any:
    """What a command that succeeds tells another program, by its schema."""
    outcome = typed([*words, "--json"])
    assert (outcome.code, outcome.err) == (0, "")
    return keeps_to_schema(" ".join(words), json.loads(outcome.out))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[UnixBoard]:
    """A blank board beside the user's folder; the tests below use it one after another, as a user would."""
    before = Path.cwd()
    shop(tmp_path_factory.mktemp("shop"))
    with UnixBoard(tmp_path_factory.mktemp("board")) as board:
        yield board
    os.chdir(before)


def test_1_flash_a_blank_board(bench: UnixBoard) -> None:
    """Cautions and what will be replaced come before the question; "no" changes nothing; then every file is there."""
    declined = typed(["flash", "firmware", bench.port], answers="n\n")
    assert (declined.code, declined.err) == (2, "weldbeat: stopped\n")
    assert list(bench.flash.iterdir()) == []
    assert told("flash", "firmware", bench.port)["runs"] is None
    assert list(bench.flash.iterdir()) == []
    outcome = typed(["flash", "firmware", bench.port], answers="y\n")
    assert (outcome.code, outcome.err) == (0, "")
    places = [
        outcome.out.index(words) for words in ("emergency stop", "holds no files", "Replace it?", "main.py copied last")
    ]
    assert places == sorted(places)
    files = {p.relative_to(bench.flash).as_posix(): p.read_bytes() for p in bench.flash.rglob("*") if p.is_file()}
    built = read_bundle(Path("firmware"))
    assert {name: text for name, text in files.items() if not name.startswith("settings.")} == {
        name: text.encode() for name, text in built.files.items()
    }
    with Link(bench.port) as link:
        assert (link.hello.bundle, link.hello.selected) == (built.board_digest, "job")
        assert link.hello.boot > 0


def test_2_push_select_and_pull(bench: UnixBoard) -> None:
    """What is pushed is on the board with its digest, survives a power cut, and comes back as it was written."""
    outcome = typed(["push", "other.toml", bench.port])
    assert (outcome.code, outcome.err) == (0, "")
    assert "The next weld is still job" in outcome.out
    digest = json.loads(typed(["table", "other.toml", "--json"]).out)["digest"]
    assert told("push", "other.toml", bench.port)["held"]["digest"] == digest
    assert digest in outcome.out
    shorted = typed(["push", "other.toml", bench.port, "--shorted"]).out
    assert digest in shorted
    assert shorted.index("press them together, with nothing between") < shorted.index("Keep fingers from between")
    starts = bench.starts
    bench.power_cut()
    until(lambda: bench.starts > starts)
    held = told("schedules", bench.port)
    assert held["selected"] == "job"
    assert {"name": "other", "digest": digest} in held["schedules"]
    assert typed(["pull", "other", bench.port, "-o", "again.toml"]).code == 0
    assert Path("again.toml").read_text() == OTHER
    pulled = told("pull", "other", bench.port, "-o", "told.toml")
    assert (pulled["digest"], pulled["written"]) == (digest, "told.toml")
    assert Path("told.toml").read_text() == OTHER


def test_3_pull_without_the_text(bench: UnixBoard) -> None:
    """On another computer the rows make a file that compiles to the same digest; on another machine there is none."""
    os.mkdir("elsewhere")
    Path("elsewhere/welder.toml").write_text(Path("welder.toml").read_text())
    outcome = typed(["pull", "job", bench.port, "--welder", "elsewhere/welder.toml", "-o", "elsewhere/job.toml"])
    assert (outcome.code, outcome.err) == (0, "")
    tables = [json.loads(typed(["table", path, "--json"]).out)["digest"] for path in ("job.toml", "elsewhere/job.toml")]
    assert tables[0] == tables[1]
    assert Path("elsewhere/job.toml").read_text() != SCHEDULE
    Path("elsewhere/welder.toml").write_text(
        replaced(Path("welder.toml").read_text(), "load_angle_max_deg = 65", "load_angle_max_deg = 75")
    )
    none = typed(["pull", "job", bench.port, "--welder", "elsewhere/welder.toml", "-o", "elsewhere/none.toml"])
    assert none.code == 2
    assert re.fullmatch(
        r"weldbeat: job: row \d+ on the board \(.*\); comes from no schedule .*; allowed: --welder .*\n", none.err
    )
    assert not Path("elsewhere/none.toml").exists()


def test_4_the_board_has_the_last_word_on_limits(bench: UnixBoard) -> None:
    """A welder file made looser after the build does not loosen the board."""
    loose = replaced(Path("welder.toml").read_text(), 'longest_weld = "3 s"', 'longest_weld = "9 s"')
    Path("loose.toml").write_text(loose)
    Path("long.toml").write_text(replaced(replaced(SCHEDULE, '"20 cycles"', '"170 cycles"'), '"1 s"', '"50 s"'))
    outcome = typed(["push", "long.toml", bench.port, "--welder", "loose.toml", "--welds-per-minute", "0.1"])
    assert outcome.code == 2, outcome.out
    assert re.fullmatch(
        r"weldbeat: \S+: the board refuses: .*; its limits are those of the welder file .*\n", outcome.err
    )
    assert "long" not in typed(["schedules", bench.port]).out


def test_4_contacts_as_a_commissioning_watches_them(bench: UnixBoard) -> None:
    """The status of a board at rest tells its contacts as they are, each by its own bit."""
    with Link(bench.port) as link:
        until(lambda: link.status().inputs == CONTACTOR_OPEN)
        for bits in (STOP_OPEN, STOP_OPEN | PEDAL):
            bench.inputs(bits)
            until(lambda bits=bits: link.status().inputs == bits | CONTACTOR_OPEN)
            assert link.status().reason == "stop is open"
        bench.inputs(0)
        until(lambda: (link.status().inputs, link.status().state) == (CONTACTOR_OPEN, "ready"))


def test_5_watch_a_weld_and_stop_the_next(bench: UnixBoard) -> None:
    """Live, in a terminal: a weld completes, key s ends the next, and both are kept with their schedule."""
    Path("slow.toml").write_text(replaced(SCHEDULE, '"20 cycles"', '"90 cycles"'))
    assert typed(["push", "slow.toml", bench.port, "--select", "--welds-per-minute", "1"]).code == 0
    ours, theirs = pty.openpty()
    watch = command("watch", bench.port, "--for", "30", "--json", stdin=theirs)
    assert watch.stdout
    lines: list[dict[str, object]] = []

    def seen(kind: str, **content: object) -> dict[str, object]:
        for line in watch.stdout:  # type: ignore[union-attr]
            lines.append(keeps_to_schema("watch", json.loads(line)))
            if lines[-1]["type"] == kind and content.items() <= lines[-1].items():
                return lines[-1]
        return pytest.fail(f"no {kind} with {content} among {lines}")

    seen("status", state="ready")
    bench.inputs(PEDAL)
    assert seen("weld")["ending"] == "completed"
    bench.inputs(0)
    time.sleep(0.2)  # the pedal must be seen open
    bench.inputs(PEDAL)
    time.sleep(1.2)  # into the weld, which ends after 2.4 s
    os.write(ours, b"s")
    assert seen("stop")["note"] == "not an emergency stop"
    stopped = seen("weld")
    bench.inputs(0)
    assert (stopped["ending"], stopped["schedule"]) == ("stopped", "slow")
    assert 0 < int(str(stopped["fired"])) < int(str(stopped["planned"]))
    watch.kill()
    watch.communicate()
    os.close(ours)
    os.close(theirs)
    with sqlite3.connect("records.sqlite") as records:
        kept = records.execute("SELECT ending, fired, planned FROM welds ORDER BY count").fetchall()
    assert kept == [("completed", 188, 188), ("stopped", stopped["fired"], 188)]


def test_6_unplugged_in_the_middle_of_a_push(bench: UnixBoard, tmp_path: Path) -> None:
    """One line, nothing half stored; whoever plugs it in again finds what was there."""
    with UnixBoard(tmp_path) as board:
        read_bundle(Path("firmware")).write(board.flash)
        with Link(board.port) as link:
            before = link.schedules()
        least = board.to_board + 700
        board.unplug_when = lambda: board.to_board > least
        outcome = typed(["push", "other.toml", board.port])
        assert (outcome.code, outcome.out) == (2, "")
        assert outcome.err == f"weldbeat: {board.port}: went away; {Unplugged.again}\n"
        board.plug_in()
        with Link(board.port) as link:
            assert link.schedules() == before


def test_7_flash_a_running_board(bench: UnixBoard) -> None:
    """It is asked to make way, restarts once without application, and its schedules outlive the new firmware."""
    assert typed(["build", "other.toml", "-o", "firmware"]).code == 0
    starts = bench.starts
    outcome = typed(["flash", "firmware", bench.port, "--yes"])
    assert (outcome.code, outcome.err) == (0, "")
    assert "Its schedules stay (job, other, slow)" in bare(outcome.out)
    assert bench.starts == starts + 2
    held = json.loads(typed(["schedules", bench.port, "--json"]).out)
    assert held["selected"] == "other"
    assert {schedule["name"] for schedule in held["schedules"]} == {"job", "other", "slow"}


def test_8_a_damaged_file_is_named_and_a_flash_that_is_cut_short_leaves_the_board_off(bench: UnixBoard) -> None:
    """A figure of the limits has changed in flash: nothing runs, every command reports the file, and the way out is to flash.

    No main.py until the end of that; the message says so, and the same command then finishes.
    """
    config = bench.flash / "config.py"
    config.write_text(replaced(config.read_text(), "DUTY_LIMIT = ", "DUTY_LIMIT = 9"))
    starts = bench.starts
    bench.power_cut()
    until(lambda: bench.starts > starts)
    asked = typed(["schedules", bench.port])
    assert asked.code == 2
    assert re.fullmatch(
        r"weldbeat: \S+: its firmware is damaged: config.py; allowed: isolate; flash the firmware again; .*\n",
        asked.err,
    )
    bench.unplug_when = lambda: not (bench.flash / "main.py").exists()
    outcome = typed(["flash", "firmware", bench.port, "--yes"])
    assert outcome.code == 2
    assert re.fullmatch(
        r"weldbeat: \S+: flashing was not finished: .*; the board is off until this is done; repeat the same command\n",
        outcome.err,
    )
    assert not (bench.flash / "main.py").exists()
    bench.plug_in()
    starts = bench.starts
    bench.power_cut()  # the cable feeds it
    until(lambda: bench.starts > starts)
    with pytest.raises(LinkError, match="runs MicroPython without Weldbeat"), Link(bench.port):
        pass
    assert typed(["flash", "firmware", bench.port, "--yes"]).code == 0
    assert json.loads(typed(["schedules", bench.port, "--json"]).out)["selected"] == "other"


def test_9_damaged_settings_go_with_the_next_flash(bench: UnixBoard) -> None:
    """The board locks itself out; to flash it is the way out that it names, and the burnt-in schedule is there again."""
    for name in SETTINGS:
        (bench.flash / name).write_bytes(b"weldbeat 1 7 9 00000000\n" + bytes(9))
    starts = bench.starts
    bench.power_cut()
    until(lambda: bench.starts > starts)
    with Link(bench.port) as link:
        assert link.status().reason == "settings damaged"
        assert "flash" in link.status().way_out
    pushed = typed(["push", "job.toml", bench.port])
    assert (pushed.code, pushed.err.count("\n")) == (2, 1)
    outcome = typed(["flash", "firmware", bench.port, "--yes"])
    assert (outcome.code, outcome.err) == (0, "")
    assert "its settings, which are damaged" in outcome.out
    assert typed(["schedules", bench.port]).out.splitlines()[0].startswith("* other ")
    assert typed(["push", "job.toml", bench.port]).code == 0
    flashed = told("flash", "firmware", bench.port, "--yes", "--forget-schedules")
    assert flashed["runs"]["bundle"] == read_bundle(Path("firmware")).board_digest
    assert [held["name"] for held in json.loads(typed(["schedules", bench.port, "--json"]).out)["schedules"]] == [
        "other"
    ]


def test_a_lockout_that_outlasts_the_power_is_cleared_by_a_command(bench: UnixBoard) -> None:
    """The contactor's mirror contact says closed: locked out, after a power cut too, until somebody has checked and says so."""
    nothing = typed(["clear", bench.port])
    assert (nothing.code, nothing.err) == (1, "")
    assert "No lockout that outlasts the power stands" in nothing.out
    bench.inputs(CONTACTOR_OPEN)  # it takes the bit away: the test double's contact then says closed
    with Link(bench.port) as link:
        until(lambda: link.status().reason == "contactor stayed closed")
    bench.inputs(0)
    until(lambda: all((bench.flash / name).read_bytes()[-1] == CONTACTOR_SHUT for name in SETTINGS))
    starts = bench.starts
    bench.power_cut()
    until(lambda: bench.starts > starts)
    with Link(bench.port) as link:
        until(lambda: link.status().state == "locked out")
        assert link.status().reason == "contactor stayed closed"
    told_not = typed(["clear", bench.port], answers="n\n")
    assert told_not.code == 2
    assert "What to do first: isolate; replace the contactor" in " ".join(told_not.out.split())
    unasked = typed(["clear", bench.port, "--json"])
    assert unasked.code == 1
    assert not keeps_to_schema("clear", json.loads(unasked.out))["cleared"]
    assert told("clear", bench.port, "--yes")["cleared"]
    with Link(bench.port) as link:
        until(lambda: link.status().reason != "contactor stayed closed")
