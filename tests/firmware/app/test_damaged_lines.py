"""Two thousand damaged lines: no crash, no hang, nothing changed. tests/campaigns/damaged_lines.py has two hundred thousand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.replay.playback import INTERPRETERS, Interpreter
from tests.support.app.line_damage import good_lines, storm, stream
from tests.support.app.stored import config_of, made
from tests.support.app.talking import TalkingBoard, coded, request

NUMBER = 2000
BUNDLE, TABLE = made()
PUSHED = replace(TABLE, name="pushed")
GOOD = good_lines("pushed", PUSHED.digest, coded(PUSHED))


def test_nothing_changes() -> None:
    """Each damaged line is passed over or gets an error, and the board answers the next good one."""
    board = TalkingBoard(config_of(BUNDLE))
    kept = board.kept()
    for n, line in enumerate(stream(1, NUMBER, GOOD)):
        for answer in board.send(line):
            assert "error" in answer, line
        assert board.kept() == kept, line
        assert board.state == "ready"
        if n % 100 == 0:
            answers = board.send(b"\n" + request(n + 1, "hello"))
            assert answers[-1]["result"]["selected"] == "first"


@pytest.mark.parametrize("interpreter", INTERPRETERS, ids=lambda interpreter: interpreter.name)
def test_nothing_changes_under_micropython(interpreter: Interpreter) -> None:
    """The emitted application under the real interpreter: its memory is back where it was, and it answers as ever."""
    if not interpreter.available():
        pytest.skip(f"{interpreter.needs} is not installed")
    told = storm(interpreter, BUNDLE, list(stream(2, NUMBER, GOOD)))
    assert (told["results"], told["unchanged"], told["state"]) == (1, True, "ready")
    assert told["errors"] > NUMBER / 2
    assert '"selected": "first"' in told["last"]
    if interpreter.collects:
        assert told["after"] <= told["before"]


def test_the_storm_would_notice_a_change() -> None:
    """One whole session among the damaged lines, and the same trial reports results and what was written."""
    told = storm(INTERPRETERS[0], BUNDLE, [*stream(3, 20, GOOD), b"\n", *GOOD[:-1]])
    assert told["results"] > 5
    assert not told["unchanged"]
