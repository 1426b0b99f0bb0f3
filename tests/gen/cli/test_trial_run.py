"""`trial run` as it is typed: on a console of 80 columns, with the emitted firmware under the real MicroPython behind the cable.

No source outside; pyte, which we did not write, draws the screen. What it does not prove: see tests/gen/link/test_unix_board.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from gen.link import Link
from gen.link.flashing import read_bundle
from gen.records import TrialRecord
from gen.trials import recorded
from gen.words import PEDAL
from tests.support.link.link_shop import MISSING, UnixBoard, shop

if sys.platform != "win32":
    from tests.support.cli.console import COLUMNS, Console

BETWEEN = ("--between", "0.1,0.4", "--schedule", "job.toml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A user's folder with a joint, and we stand in it."""
    before = Path.cwd()
    made = tmp_path_factory.mktemp("shop")
    shop(made)
    Path("rungs.toml").write_text("rods_mm = [4, 4]\n")
    yield made
    os.chdir(before)


def trials() -> list[TrialRecord]:
    return recorded(None, "rungs")[0]


def by_hand() -> Console:
    return Console("trial", "run", "rungs.toml", "--no-board", *BETWEEN)


@pytest.mark.usefixtures("folder")
def test_1_large_figures_and_ctrl_c_at_each_question() -> None:
    """The figures of the next weld are blocks within 80 columns; Ctrl-C at each question ends it and notes nothing."""
    asked = {"\r": "What came of it?", "l": "And the joint?", "t": "Setdown"}
    for keys in ("", "\rl", "\rt"):
        with by_hand() as console:
            console.until("cycles, and per cent current")
            blocks = [line for line in console.screen.splitlines() if "\u2588" in line]
            assert len(blocks) == 5
            assert max(map(len, blocks)) < COLUMNS
            console.until("leave")
            for key in keys:
                console.type(key)
                console.until(asked[key])
            time.sleep(0.1)
            console.type("\x03")
            assert console.end() == 130
            assert console.screen.rstrip().endswith("weldbeat: stopped")
    assert trials() == []


@pytest.mark.usefixtures("folder")
def test_2_a_key_an_outcome() -> None:
    """One key and a few digits, then leave by a key; a key that means nothing is told which do."""
    with by_hand() as console:
        console.until("Set it and weld")
        console.type("\r")
        console.until("What came of it?")
        console.type("x")
        console.until("allowed: n, b, t, e, l, s, u, q")
        console.type("b")
        console.until("Setdown, mm [none]:")
        console.type("0,3\r")
        console.until("Trial 1: ")
        console.until("Set it and weld")
        console.type("q")
        assert console.end() == 0
        assert "1 trial noted." in console.screen
    assert [(t.outcome, t.setdown_mm) for t in trials()] == [("broke at joint", 0.3)]


@pytest.mark.skipif(MISSING, reason="micropython_unix is not installed")
def test_3_a_weld_on_a_real_interpreter(folder: Path, tmp_path: Path) -> None:
    """Sent, welded by the pedal, seen; left with its outcome untold, and taken up by the next sitting, joined to that weld."""
    with UnixBoard(tmp_path) as board:
        read_bundle(folder / "firmware").write(board.flash)
        with Console("trial", "run", "rungs.toml", board.port, *BETWEEN) as console:
            console.until("is on the board as its next weld")
            console.until("ready")
            board.inputs(PEDAL)
            console.until("What came of it?")
            board.inputs(0)
            console.type("\x03")
            assert console.end() == 130
        assert len(trials()) == 1
        with Link(board.port) as link:
            assert link.hello.selected == "rungs-try"
        with Console("trial", "run", "rungs.toml", board.port, *BETWEEN) as console:
            console.until("has no outcome yet")
            console.until("leave")
            console.type("t")
            console.until("Setdown")
            console.type("\r")
            console.until("Trial 2: ")
            console.until("is on the board as its next weld")
            console.type("q")
            assert console.end() == 0
    second = trials()[1]
    assert (second.outcome, second.count, second.schedule) == ("tore parent", 1, "rungs-try")
    assert second.board is not None
