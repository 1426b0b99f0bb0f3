"""What a faulty or hostile board answers ends in one line, soon and in little memory. The devices are pseudo-terminals.

Common practice, no source: a program that reads from outside bounds what it takes.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gen.boards import boards
from gen.firmware import with_crc
from gen.link import Link, LinkError
from gen.link.errors import OtherFirmware, Silent
from gen.link.flashing import _inspect, _mpremote
from gen.records import Records
from tests.support.cli.command_line import WELDER, typed
from tests.support.link.answers import HELLO, reply
from tests.support.link.hostile_boards import (
    MOST,
    ROW,
    SCHEDULES,
    STATUS,
    board,
    digest,
    holding,
    micropython,
    refusing,
    welds,
)
from tests.support.link.hostile_sessions import session
from tests.support.link.pty_device import PtyDevice

LONG = "x" * 121
Answer = Callable[[bytes], bytes]


def rows(total: int, given: list[list[int]], **other: Any) -> Answer:
    """A board that gives the same rows whatever it is asked for."""
    return board(read={"name": "job", "digest": "1" * 16, "rows_total": total, "rows": given, **other})


def turn(first: dict[str, Any], then: dict[str, Any]) -> Answer:
    """A board that reads one thing at first and another from the second line on."""
    return board(read=lambda asked: first if asked["from"] == 0 else then)


EIGHT = {"name": "job", "digest": "1" * 16, "rows_total": 16, "rows": [ROW] * 8}
READS: dict[str, Answer] = {
    "rows without end": rows(MOST, [ROW] * 8),
    "one row more than any board holds": rows(1025, [ROW] * 8),
    "no row": rows(8, []),
    "half a line of rows": rows(1024, [ROW]),
    "more rows than it has": rows(4, [ROW] * 8),
    "a line of too many rows": rows(1024, [ROW] * 9),
    "rows of another schedule": rows(8, [ROW] * 8, name="other"),
    "another digest": turn(EIGHT, EIGHT | {"digest": "2" * 16}),
    "another number of rows": turn(EIGHT, EIGHT | {"rows_total": 24}),
    "half-cycles of a week": rows(1, [[4, 2**26, 5000, 50]]),
    "a number in quotes": rows(1, [["4", 20, 5000, 50]]),
    "a number with a fraction": rows(1, [[4, 20.0, 5000, 50]]),
    "true for a number": rows(1, [[True, 20, 5000, 50]]),
    "a number of 400 digits": rows(1, [[4, 20, 10**400, 50]]),
    "no number": rows(1, [[4, 20, float("nan"), 50]]),
}  # fmt: skip


@pytest.mark.parametrize("what", READS)
def test_rows_that_do_not_come_to_an_end(what: str) -> None:
    with PtyDevice(READS[what]) as device, Link(device.port) as link:
        with pytest.raises(OtherFirmware, match=r"answers with (rows of job that do not follow each other|a \S+ that)"):
            link.read("job")
        assert len(device.lines) < 10


WELDS: dict[str, tuple[Answer, int]] = {
    "always the same number": (board(welds=welds(lambda since: [1])), 5),
    "the number asked after": (board(welds=welds(lambda since: [since])), 4),
    "numbers that fall": (board(welds=welds(lambda since: [since + 2, since + 1])), 4),
    "one more each time": (board(welds=welds(lambda since: [since + 1])), 80),
    "six more each time": (board(welds=welds(lambda since: [since + n for n in range(1, 7)])), 16),
    "beyond the count": (board(welds=welds(lambda since: [9], count=3)), 4),
    "seven at once": (board(welds=welds(lambda since: [1, 2, 3, 4, 5, 6, 7])), 4),
}


@pytest.mark.parametrize("what", WELDS)
def test_welds_that_do_not_come_to_an_end(what: str) -> None:
    answer, most = WELDS[what]
    with PtyDevice(answer) as device, Link(device.port) as link:
        with pytest.raises(OtherFirmware, match=r"answers with (welds that do not follow each other|a welds that)"):
            link.welds()
        assert len(device.lines) < most


def test_a_board_that_starts_anew_between_two_answers() -> None:
    """Numbers of two starts are not put together; the next look finds the others."""
    boots = iter((7, 8))
    answer = board(welds=lambda asked: welds(lambda since: [since + 1], count=9, boot=next(boots))(asked))
    with PtyDevice(answer) as device, Link(device.port) as link:
        boot, found = link.welds()
    assert (boot, [weld.number for weld in found]) == (7, [1])


TEXTS: dict[str, Answer] = {
    **{f"a hello with a long {key}": board(hello=HELLO | {key: LONG}) for key in ("version", "board")},
    **{f"a hello with an escape in {key}": board(hello=HELLO | {key: "\x1b[2J"}) for key in ("version", "board")},
    "a surrogate": board(hello=HELLO | {"board": "\ud800"}),
    "a schedule of no name": board(hello=HELLO | {"selected": "No Name"}),
    "a firmware of no digest": board(hello=HELLO | {"bundle": "../../x"}),
    "a protocol that is true": board(hello=HELLO | {"protocol": True}),
    "starts of 400 digits": board(hello=HELLO | {"boot": 10**400}),
    "a refusal that is long": refusing(-32000, LONG),
    "a refusal with an escape": refusing(-32000, "\x1b]0;x\x07"),
    "a refusal of a code beyond all": refusing(2**40, "no"),
}  # fmt: skip


@pytest.mark.parametrize("what", TEXTS)
def test_texts_that_no_board_of_ours_has(what: str) -> None:
    with PtyDevice(TEXTS[what]) as device, pytest.raises(OtherFirmware), Link(device.port, patience_s=0.2):
        pass


@pytest.mark.parametrize(
    "answer",
    [
        board(status=STATUS | {"way_out": LONG}),
        board(status=STATUS | {"failure": "\x1b[2J"}),
        board(status=STATUS | {"selected": "\ud800"}),
        board(status=STATUS | {"mains_mHz": -1}),
        board(schedules=SCHEDULES | {"names": [["job", "1" * 16]] * 17}),
        board(schedules=SCHEDULES | {"names": [["job"]]}),
        board(schedules=SCHEDULES | {"names": [["../job", "1" * 16]]}),
    ],
)
def test_a_state_that_is_none(answer: Answer) -> None:
    with PtyDevice(answer) as device, Link(device.port) as link, pytest.raises(OtherFirmware, match="answers with a"):
        assert link.schedules().names == link.status().selected


CHATTER: dict[str, tuple[bytes, str]] = {
    "a line without end": (b"x" * 4000, "answers, but not as Weldbeat does"),
    "empty lines": (b"\n" * 4000, "no answer"),
    "short lines": (b"x\n" * 2000, "answers, but not as Weldbeat does"),
    "lines that are too long": (b"x" * 5000 + b"\n", "answers, but not as Weldbeat does"),
    "replies to nothing": (reply(999_999_999, {}) * 60, "answer"),
    "errors of no line": (refusing(-32700, "damaged")(with_crc('{"id": 0}').encode()) * 60, "answer"),
}  # fmt: skip


@pytest.mark.parametrize("what", CHATTER)
def test_a_flood_ends_with_the_patience(what: str) -> None:
    """Neither the time nor the memory grows with what comes."""
    chatter, words = CHATTER[what]
    with PtyDevice(lambda line: b"", chatter) as device:
        tracemalloc.start()
        began = time.monotonic()
        with pytest.raises(LinkError, match=words), Link(device.port, patience_s=0.3):
            pass
        taken_s, (_, peak) = time.monotonic() - began, tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert taken_s < 2
    assert peak < 500_000


def test_a_flood_between_two_answers_is_passed_over() -> None:
    with PtyDevice(board(), b"x" * 6000 + b"\n") as device, Link(device.port) as link:
        assert link.status().state == "ready"


@pytest.mark.parametrize("seed", range(15))
def test_a_session_with_a_faulty_board(seed: int, tmp_path: Path) -> None:
    """The whole is `python -m tests.campaigns.hostile_boards`."""
    ends, complaints = session(seed, tmp_path)
    assert complaints == []
    assert ends.total() in (1, 11)


INSPECTED: dict[str, bytes] = {
    "no list": b"5",
    "a list that is short": b'["micropython", [1, 29, 0]]',
    "a version that is a number": b'["micropython", 5, "x", []]',
    "a version of words": b'["micropython", ["1", "29"], "x", []]',
    "a version of no part": b'["micropython", [], "x", []]',
    "a machine that is a number": b'["micropython", [1, 29, 0], 5, []]',
    "a machine of a novel": b'["micropython", [1, 29, 0], "%s", []]' % (b"x" * 201),
    "files that are numbers": b'["micropython", [1, 29, 0], "x", [1]]',
    "files that are none": b'["micropython", [1, 29, 0], "x", null]',
    "too many files": b'["micropython", [1, 29, 0], "x", [%s]]' % b",".join([b'"x"'] * 10_001),
    "a number of 5000 digits": b"1" * 5000,
    "brackets": b"[" * 5000,
    "nothing": b"",
}


@pytest.mark.parametrize("what", INSPECTED)
def test_a_micropython_that_tells_nonsense(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gen.link.flashing._mpremote", lambda *_: INSPECTED[what].decode())
    with pytest.raises(Silent, match="no MicroPython answers; "):
        _inspect("/dev/ttyACM0", boards()["pico"])


def test_a_micropython_that_tells_sense_and_one_that_does_not() -> None:
    """Through the real mpremote."""
    with PtyDevice(
        micropython(b'["micropython", [1, 29, 0], "Raspberry Pi Pico with RP2040", ["x.py"]]'), raw=True
    ) as device:
        found = _inspect(device.port, boards()["pico"])
    assert (found.micropython, found.files) == ((1, 29, 0), ("x.py",))
    with PtyDevice(micropython(b'["micropython", [1, "29", 0], 5, [7]]'), raw=True) as device, pytest.raises(Silent):
        _inspect(device.port, boards()["pico"])


def test_a_micropython_that_prints_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gen.link.flashing._MOST_PRINTED", 20_000)
    with (
        PtyDevice(micropython(b"x" * 30_000), raw=True) as device,
        pytest.raises(LinkError, match="prints without end"),
    ):
        _mpremote(device.port, ["exec", "1"], 15)


SLOPE = [[3, 2**15 - 1, 5000 - n, 50] for n in range(1023)]
ENDLESS_STATE = board(status=STATUS | {"state": LONG}, welds=welds(lambda since: []))
COMMANDS: dict[str, tuple[list[str], Answer]] = {
    "watch": (["watch", "PORT", "--for", "2"], board(welds=welds(lambda since: [since + 1]))),
    "watch an endless state": (["watch", "PORT", "--for", "2"], ENDLESS_STATE),
    "pull": (["pull", "job", "PORT"], rows(MOST, [ROW] * 8)),
    "pull a schedule of days": (["pull", "job", "PORT"], holding([*SLOPE, ROW])),
    "schedules": (["schedules", "PORT"], board(schedules=SCHEDULES | {"names": [["job", "1" * 16]] * 17})),
}


@pytest.mark.parametrize("what", COMMANDS)
def test_a_command_ends_in_one_line(what: str, here: Path) -> None:
    """No traceback, exit code 2, and nothing written but records that are whole."""
    line, answer = COMMANDS[what]
    (here / "welder.toml").write_text(WELDER)
    with PtyDevice(answer) as device:
        outcome = typed([device.port if word == "PORT" else word for word in line])
    assert outcome.code == 2
    assert outcome.err.startswith("weldbeat: ")
    assert outcome.err.count("\n") == 1
    assert "allowed: " in outcome.err
    assert {path.name for path in here.iterdir()} <= {"welder.toml", "records.sqlite"}
    with Records.beside(here / "welder.toml") as records:
        assert records.welds() == []


def test_digest_of_hostile_rows_is_taken() -> None:
    """Else the rows above would be refused for another reason than theirs."""
    given = [[0, 40, -1, 0], ROW]
    with PtyDevice(holding(given)) as device, Link(device.port) as link:
        assert link.read("job").digest == digest("job", given)
