"""What the board answers, word for word, and the figures up to which it takes what it is sent.

The words are our own protocol's; the host's side of it is tested in tests/gen/link.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from firmware_templates.app.line import Refused
from firmware_templates.app.requests import NO_CHANGE, NOTHING, RESTART, SETTINGS, STORE
from gen import words
from gen.boards import boards
from gen.firmware import render
from gen.words import CONTACTOR_OPEN, PEDAL, STOP_OPEN
from sim.bench.chip import Flash, FlashFault
from tests.support.app.stored import PHASES, SHORT_ROWS, config_of, made, rows_of
from tests.support.app.talking import TalkingBoard, coded, push, request
from tests.support.machines import compiled, make_welder

BUNDLE, TABLE = made()
CONFIG = config_of(BUNDLE)
PUSHED = replace(TABLE, name="pushed")
BEGIN = {"name": "pushed", "digest": "0" * 16, "rows_total": 5}
FULL = "no room: at most 16 schedules, and 16 KiB together"
NOT_NOW = "not now: allowed when ready, waiting for mains or locked out"


class Talk:
    """A board, and ids that climb."""

    def __init__(self, config: Any = CONFIG, flash: Flash | None = None) -> None:
        self.board = TalkingBoard(config, flash)
        self.id = 0

    def ask(self, method: str, **params: Any) -> Any:
        """The result, or the error as (code, message)."""
        self.id += 1
        answer = self.board.send(request(self.id, method, **params))[-1]
        assert answer["id"] == self.id
        return answer["result"] if "result" in answer else (answer["error"]["code"], answer["error"]["message"])

    def push(self, name: str, table: Any) -> Any:
        told = replace(table, name=name)
        for line in push(name, told.digest, coded(told), self.id + 1):
            self.id += 1
            answer = self.board.send(line)[-1]
        return answer.get("result") or (answer["error"]["code"], answer["error"]["message"])

    def weld(self) -> None:
        self.board.step(15)
        self.board.pins = PEDAL
        self.board.step(100)
        self.board.pins = 0
        self.board.step(100)


@pytest.fixture
def talk() -> Talk:
    return Talk()


def test_hello_tells_what_the_board_is(talk: Talk) -> None:
    """All of it, at the second start too."""
    told = {
        "program": "weldbeat",
        "version": CONFIG.VERSION,
        "protocol": 1,
        "board": "pico",
        "bundle": BUNDLE.board_digest,
        "frequency_Hz": 50,
        "selected": "first",
        "digest": TABLE.digest,
        "boot": 1,
    }
    assert talk.ask("hello") == told
    assert Talk(flash=Flash(talk.board.flash.files)).ask("hello") == {**told, "boot": 2}


def test_status_tells_what_the_board_does(talk: Talk) -> None:
    """Before and after a weld, and in a lockout."""
    idle = {
        "state": "ready",
        "reason": "none",
        "way_out": "",
        "mains_mHz": 50_000,
        "welds": 0,
        "last": "none",
        "fired": 0,
        "planned": TABLE.fired_half_cycles,
        "duty_left_half_cycles": CONFIG.DUTY_LIMIT // 100,
        "duty_wait_s": 0,
        "selected": "first",
        "inputs": CONTACTOR_OPEN,
        "failure": "",
    }
    assert talk.ask("status") == idle
    talk.weld()
    cost = talk.board.supervisor.plan.cost
    assert cost % 100
    left = (CONFIG.DUTY_LIMIT - cost) // 100
    after = {**idle, "welds": 1, "last": "completed", "fired": 44, "duty_left_half_cycles": left}
    assert talk.ask("status") == after
    talk.board.pins = STOP_OPEN
    talk.board.step(3)
    locked_out = {
        **after,
        "state": "locked out",
        "reason": "stop is open",
        "way_out": "close the stop",
        "inputs": STOP_OPEN | CONTACTOR_OPEN,
    }
    assert talk.ask("status") == locked_out
    talk.board.crossing_us = lambda: 0  # type: ignore[method-assign]
    talk.board.step(20)
    assert talk.ask("status") == {**locked_out, "mains_mHz": 0}


def test_status_tells_when_the_duty_lets_the_next_weld_begin() -> None:
    """Seconds as the guard counts them."""
    small = render(compiled(make_welder(transformer={"rating_kVA": 0.86, "rating_duty_percent": 30}), *PHASES),
                   make_welder(transformer={"rating_kVA": 0.86, "rating_duty_percent": 30}), boards()["pico"])  # fmt: skip
    talk = Talk(config_of(small))
    for _ in range(2):
        talk.weld()
    told = talk.ask("status")
    guard, plan = talk.board.supervisor.duty, talk.board.supervisor.plan
    assert told["duty_wait_s"] == guard.seconds_until(plan.cost) > 50
    assert told["reason"] == "duty used up"


def test_welds_are_reported_with_what_they_were(talk: Talk) -> None:
    """Number, ending, planned, fired, duty in half-cycles, age in seconds; no correction."""
    assert talk.ask("welds", since=0) == {"boot": 1, "count": 0, "welds": []}
    talk.weld()
    used = talk.board.supervisor.plan.cost // 100
    talk.board.step(300)
    told = talk.ask("welds", since=0)
    assert told == {
        "boot": 1,
        "count": 1,
        "welds": [[1, 1, 44, 44, used, told["welds"][0][5], 0, words.NOT_CORRECTING]],
    }
    assert 3 <= told["welds"][0][5] <= 5
    assert talk.ask("welds", since=1)["welds"] == []
    for _ in range(4):
        talk.weld()
    used = 5 * talk.board.supervisor.plan.cost
    assert used // 100 != used // 99
    assert talk.ask("welds", since=4)["welds"][0][4] == used // 100
    assert talk.ask("welds", since=999_999_999)["welds"] == []
    for since in (-1, 1_000_000_000, 1.0, "0", True, None):
        assert talk.ask("welds", since=since) == (-32602, "since must be a whole number from 0 to 999999999")


def test_schedules_and_their_rows_are_reported_eight_at_a_time(talk: Talk) -> None:
    """From any row on, the end included; and no further."""
    assert talk.push("pushed", TABLE) == {"name": "pushed", "digest": PUSHED.digest}
    names = [["first", TABLE.digest], ["pushed", PUSHED.digest]]
    assert talk.ask("schedules") == {"selected": "first", "names": names}
    rows = coded(PUSHED)
    assert len(rows) > 9
    for first in range(len(rows) + 1):
        told = talk.ask("read", name="pushed", first=first)
        expected = {"name": "pushed", "digest": PUSHED.digest, "rows_total": len(rows), "rows": rows[first : first + 8]}
        assert told == expected
    wrong = (-32602, f"from must be a whole number from 0 to {len(rows)}")
    assert talk.ask("read", name="pushed", first=len(rows) + 1) == talk.ask("read", name="pushed", first=-1) == wrong
    assert talk.ask("read", name="other", first=0) == (-32003, "no such schedule")


@pytest.mark.parametrize(
    ("method", "params", "told"),
    [
        ("hello", {"x": 1}, "allowed: no parameters"),
        ("status", {"x": 1}, "allowed: no parameters"),
        ("schedules", {"x": 1}, "allowed: no parameters"),
        ("maintain", {"x": 1}, "allowed: no parameters"),
        ("push_commit", {"x": 1}, "allowed: no parameters"),
        ("read", {"name": "first"}, "from is missing"),
        ("read", {"first": 0}, "name is missing"),
        ("read", {"name": "first", "first": 0, "x": 1}, "allowed: name, from"),
        ("push_begin", {"name": "a", "digest": "0" * 16}, "rows_total is missing"),
        ("push_begin", {"name": "a", "rows_total": 5}, "digest is missing"),
        ("push_begin", {**BEGIN, "x": 1}, "allowed: name, digest, rows_total"),
        ("push_rows", {"first": 0}, "rows is missing"),
        ("push_rows", {"rows": []}, "from is missing"),
        ("select", {}, "name is missing"),
        ("remove", {}, "name is missing"),
        ("welds", {}, "since is missing"),
        ("push_begin", {**BEGIN, "name": "A"}, "name must be 1 to 32 of a to z, 0 to 9, - and _"),
        ("push_begin", {**BEGIN, "digest": "0" * 15}, "digest must be 16 hexadecimal digits"),
        ("push_begin", {**BEGIN, "digest": "0" * 17}, "digest must be 16 hexadecimal digits"),
        ("push_begin", {**BEGIN, "digest": 5}, "digest must be 16 hexadecimal digits"),
        ("push_begin", {**BEGIN, "digest": ["0"] * 16}, "digest must be 16 hexadecimal digits"),
        ("push_begin", {**BEGIN, "rows_total": 0}, "rows_total must be a whole number from 1 to 32767"),
        ("push_begin", {**BEGIN, "rows_total": 32_768}, "rows_total must be a whole number from 1 to 32767"),
        ("push_begin", {**BEGIN, "rows_total": 5.0}, "rows_total must be a whole number from 1 to 32767"),
        ("push_rows", {"first": 0, "rows": [[0, 1, 1, 1]]}, "no push has begun"),
        ("push_commit", {}, "no push has begun"),
        ("remove", {"name": "first"}, "name: not the one that is selected"),
    ],
)
def test_parameters_that_are_none(method: str, params: dict[str, Any], told: str, talk: Talk) -> None:
    """One of them wrong, missing or too many; nothing changes, and a push goes through afterwards."""
    kept = talk.board.kept()
    assert talk.ask(method, **params) == (-32602, told)
    assert talk.board.kept() == kept
    assert talk.push("pushed", TABLE) == {"name": "pushed", "digest": PUSHED.digest}


def test_an_unknown_method(talk: Talk) -> None:
    """And the names of Python's own methods are none either."""
    for method in ("weld", "answer", "__init__", ""):
        assert talk.ask(method) == (-32601, "unknown method")


def test_more_rows_than_the_table_holds_are_refused_when_announced(talk: Talk) -> None:
    """256 on this board."""
    assert talk.ask("push_begin", **{**BEGIN, "rows_total": 256}) == {"ready": True}
    assert talk.ask("push_begin", **{**BEGIN, "rows_total": 257}) == (-32002, "257 rows: at most 256 here")
    assert talk.ask("push_begin", **{**BEGIN, "rows_total": 32_767}) == (-32002, "32767 rows: at most 256 here")
    assert talk.ask("push_begin", **{**BEGIN, "rows_total": 1}) == {"ready": True}


def test_rows_come_in_their_order_and_no_more_than_announced(talk: Talk) -> None:
    """One to eight at a time, each from where the last ended."""
    row = [0, 20, -1, 0]
    talk.ask("push_begin", **{**BEGIN, "rows_total": 12})
    assert talk.ask("push_rows", first=0, rows=[row] * 8) == {"rows": 8}
    for first in (0, 7, 9):
        assert talk.ask("push_rows", first=first, rows=[row]) == (-32602, "from must be a whole number from 8 to 8")
    for rows in ([], [row] * 9, {}, None):
        assert talk.ask("push_rows", first=8, rows=rows) == (-32602, "rows must be 1 to 8 of them")
    assert talk.ask("push_rows", first=8, rows=[row] * 5) == (-32602, "rows: 12 were announced")
    assert talk.ask("push_rows", first=8, rows=[row] * 3) == {"rows": 11}
    assert talk.ask("push_commit") == (-32602, "rows: 11 of 12 have come")
    assert talk.ask("push_commit") == (-32602, "no push has begun")
    talk.ask("push_begin", **{**BEGIN, "rows_total": 1})
    assert talk.ask("push_rows", first=0, rows=[row]) == {"rows": 1}
    assert talk.ask("push_rows", first=1, rows=[row]) == (-32602, "rows: 1 were announced")


@pytest.mark.parametrize(
    ("row", "taken"),
    [
        ([0, 0, -1, 0], True),
        ([7, 32_767, 32_767, 255], True),
        ([-1, 20, -1, 0], False),
        ([8, 20, -1, 0], False),
        ([9, 20, -1, 0], False),
        ([0, -1, -1, 0], False),
        ([0, 32_768, -1, 0], False),
        ([0, 20, -2, 0], False),
        ([0, 20, 32_768, 0], False),
        ([0, 20, -1, -1], False),
        ([0, 20, -1, 256], False),
        ([0.0, 20, -1, 0], False),
        ([0, 20.0, -1, 0], False),
        ([0, 20, -1.0, 0], False),
        ([0, 20, -1, 0.0], False),
        ([False, 20, -1, 0], False),
        ([0, 20, -1], False),
        ([0, 20, -1, 0, 0], False),
        ("0000", False),
        (None, False),
    ],
)
def test_what_a_row_may_hold(row: Any, taken: bool, talk: Talk) -> None:
    """What fits into storage: anything else would be stored as something else."""
    talk.ask("push_begin", **BEGIN)
    told = "rows: each must be [phase 0 to 7, half-cycles, delay_us or -1, heat]"
    assert talk.ask("push_rows", first=0, rows=[row]) == ({"rows": 1} if taken else (-32602, told))


def test_a_commit_is_held_against_limits_and_digest(talk: Talk) -> None:
    """Each with its code; nothing is left of the push."""
    rows = coded(PUSHED)
    for digest, changed, answer in (
        ("0" * 16, rows, (-32602, "digest: these rows do not come to it")),
        ("f" * 16, rows, (-32602, "digest: these rows do not come to it")),
        (PUSHED.digest, [*rows[:-1], [7, 6001, -1, 0]], (-32002, "off of 6001 half-cycles: 1 to 6000 here")),
    ):
        lines = push("pushed", digest, changed, talk.id + 1)
        talk.id += len(lines)
        error = [talk.board.send(line)[-1] for line in lines][-1]["error"]
        assert (error["code"], error["message"]) == answer
        assert talk.ask("push_commit") == (-32602, "no push has begun")
    assert talk.ask("schedules")["names"] == [["first", TABLE.digest]]


def test_a_push_begun_again_starts_from_nothing(talk: Talk) -> None:
    """Rows of the one before are gone."""
    talk.ask("push_begin", **BEGIN)
    talk.ask("push_rows", first=0, rows=[[0, 20, -1, 0]])
    assert talk.push("pushed", TABLE) == {"name": "pushed", "digest": PUSHED.digest}


def test_sixteen_schedules_fill_the_board(talk: Talk) -> None:
    """The seventeenth is refused when it is announced; one that is there may be replaced; after a removal there is room."""
    short = compiled(make_welder(), {"weld": "3 cycles"})
    for n in range(15):
        assert talk.push(f"s{n}", short)["name"] == f"s{n}"
    assert talk.ask("push_begin", **{**BEGIN, "name": "more"}) == (-32004, FULL)
    assert talk.push("s3", TABLE)["name"] == "s3"
    assert talk.push("first", short)["name"] == "first"
    names = talk.ask("remove", name="s4")["names"]
    assert [name for name, _ in names] == [*(f"s{n}" for n in range(15) if n not in (3, 4)), "s3", "first"]
    assert talk.push("more", short)["name"] == "more"
    store = talk.board.supervisor.store
    assert store.rows("more") == rows_of(short)
    assert store.rows("s3") == rows_of(TABLE)


def test_more_than_16_KiB_is_refused_at_the_commit(talk: Talk) -> None:
    """Where the rows are too many together."""
    store = talk.board.supervisor.store
    long = SHORT_ROWS[:1] + SHORT_ROWS[1:2] * 253 + SHORT_ROWS[2:]
    n = 0
    while store.put(f"long-{n}", long):
        n += 1
    short = compiled(make_welder(), *[{"weld": "2 cycles"}, {"cool": "2 cycles"}] * 40, {"weld": "2 cycles"})
    results = [talk.push(f"s{n}", short) for n in range(3)]
    assert (-32004, FULL) in results


def test_selecting_and_removing_are_reported(talk: Talk) -> None:
    """With the digest, and with the names that are left."""
    talk.push("pushed", TABLE)
    assert talk.ask("select", name="other") == talk.ask("remove", name="other") == (-32003, "no such schedule")
    assert talk.ask("select", name="pushed") == {"selected": "pushed", "digest": PUSHED.digest}
    assert talk.ask("remove", name="pushed") == (-32602, "name: not the one that is selected")
    assert talk.ask("remove", name="first") == {"names": [["pushed", PUSHED.digest]]}


def test_two_copies_are_written_of_each_change(talk: Talk) -> None:
    """The answer comes after the second; where the first fails there is no second, and nothing is changed."""
    for fault, writes in ((None, 2), (FlashFault(0, "failed"), 1), (FlashFault(1, "failed"), 2)):
        flash = Flash(talk.board.flash.files, (fault,) if fault else ())
        talk.board.flash = flash
        answer = talk.ask("select", name="first")
        assert flash.writes == writes
        failed = fault is not None and fault.write == 0
        assert (answer == (-32004, "storage failing: nothing was changed")) == failed
        talk.board.step(20)
        assert talk.board.state == "ready"


@pytest.mark.parametrize("place", ["ready", "waiting for mains", "locked out"])
def test_what_an_idle_board_takes(place: str, talk: Talk) -> None:
    """A push, a selection, a removal and the request for maintenance: ready, waiting for the mains or locked out."""
    if place == "locked out":
        talk.board.pins = STOP_OPEN
    elif place == "waiting for mains":
        talk.board.crossing_us = lambda: 0  # type: ignore[method-assign]
    talk.board.step(20)
    assert talk.board.state == place
    assert talk.push("pushed", TABLE)["name"] == "pushed"
    assert talk.ask("select", name="pushed")["selected"] == "pushed"
    assert [name for name, _ in talk.ask("remove", name="first")["names"]] == ["pushed"]
    assert talk.board.supervisor.maintain == 0
    assert talk.ask("maintain") == {"restarting": True}
    assert talk.board.supervisor.maintain == 1


def test_what_a_board_that_is_not_idle_refuses(talk: Talk) -> None:
    """Asked of the supervisor itself, since while armed the line does not come so far."""
    timer = talk.board.supervisor
    changing: list[tuple[str, dict[str, Any]]] = [
        ("push_begin", BEGIN),
        ("push_rows", {"from": 0, "rows": [[0, 20, -1, 0]]}),
        ("push_commit", {}),
        ("select", {"name": "first"}),
        ("remove", {"name": "first"}),
    ]
    timer.state = words.SQUEEZE
    for method, params in [*changing, ("maintain", {})]:
        with pytest.raises(Refused) as refused:
            timer._answer(method, params)
        told = NOT_NOW if method == "maintain" else NOT_NOW + ", with whole settings"
        assert (refused.value.code, refused.value.message) == (-32000, told)
    for method, params in (("hello", {}), ("status", {}), ("schedules", {}), ("read", {"name": "first", "from": 0})):
        assert timer._answer(method, params)
    assert (timer.state, timer.maintain) == (words.SQUEEZE, 0)
    damaged = Talk(flash=Flash({"settings.a": b"?", "settings.b": b"?"}))
    assert damaged.board.supervisor.reason == words.SETTINGS_DAMAGED
    assert damaged.ask("push_begin", **BEGIN) == (-32000, NOT_NOW + ", with whole settings")
    assert damaged.ask("status")["reason"] == "settings damaged"
    assert damaged.ask("maintain") == {"restarting": True}


def test_a_request_does_nothing_of_what_it_wants(talk: Talk) -> None:
    """It answers with that: the timer stays as it is, and nothing is written before the supervisor begins to store."""
    timer = talk.board.supervisor
    before, kept = (timer.state, timer.maintain), dict(talk.board.flash.files)
    assert timer.requests.answer("maintain", {}, SETTINGS) == ('{"restarting": true}', RESTART)
    assert timer.requests.answer("select", {"name": "first"}, SETTINGS) == ("", STORE)
    assert timer.requests.answer("schedules", {}, NO_CHANGE)[1] == NOTHING
    assert ((timer.state, timer.maintain), dict(talk.board.flash.files)) == (before, kept)
