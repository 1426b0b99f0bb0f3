"""The small parts of the application where they lie: the clock, the lock, the duty guard, the plan and the serial line."""

from __future__ import annotations

import json
from binascii import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_templates.app.clock import MASK, after, elapsed
from firmware_templates.app.duty import SECONDS, DutyGuard
from firmware_templates.app.line import Line, Refused
from firmware_templates.app.lock import NEEDED, MainsLock
from firmware_templates.app.plan import Plan
from gen import words
from tests.support.app.fake_driver import STOP, FakeDriver, with_crc


@given(st.integers(0, MASK), st.integers(0, 1 << 28))
def test_elapsed_across_the_wrap(start: int, span: int) -> None:
    """Any span measured from any time, the wrap included."""
    assert elapsed(after(start, span), start) == span


def lock_after(*lengths_us: int) -> MainsLock:
    lock = MainsLock(10_000, 9_523, 10_639)
    lock.reset(0)
    for n, length in enumerate(lengths_us):
        lock.edge(length, 10 * n)
    return lock


def test_eight_crossings_lock_and_seven_do_not() -> None:
    """The number of the design: eight in a row."""
    assert not lock_after(*[10_000] * (NEEDED - 1)).locked()
    assert lock_after(*[10_000] * NEEDED).locked()


@pytest.mark.parametrize("frequency_Hz", [47, 48.5, 50, 52])
def test_locks_over_the_band_with_uneven_edges(frequency_Hz: float) -> None:
    """Edges that come 300 us late at one crossing and 100 us at the other: the average half-cycle is still right."""
    half = 500_000 / frequency_Hz
    lock = lock_after(*[round(half + (200 if n % 2 else -200)) for n in range(30)])
    assert lock.locked()
    assert lock.half_us == pytest.approx(half, rel=0.001)


@pytest.mark.parametrize("frequency_Hz", [40, 46, 53.5, 60])
def test_does_not_lock_outside_the_band(frequency_Hz: float) -> None:
    """A steady frequency that is not in the band."""
    assert not lock_after(*[round(500_000 / frequency_Hz)] * 40).locked()


def test_one_wrong_edge_unlocks() -> None:
    """A false edge makes two short half-cycles."""
    assert not lock_after(*[10_000] * 20, 3_000, 7_000).locked()


def test_silence_unlocks() -> None:
    """No edge for more than 100 ms."""
    lock = lock_after(*[10_000] * 20)
    lock.check(190 + 100)
    assert lock.locked()
    lock.check(190 + 101)
    assert not lock.locked()


def test_duty_guard_window() -> None:
    """What is charged counts for a minute (and the second under way), no longer."""
    guard = DutyGuard(100)
    guard.begin(0, SECONDS * 1000)
    guard.charge(60)
    assert guard.allows(40)
    assert not guard.allows(41)
    assert guard.seconds_until(41) > 58
    guard.check(60_000)
    assert not guard.allows(41)
    guard.check(61_000)
    assert guard.allows(100)


@given(st.lists(st.tuples(st.integers(0, 5000), st.integers(1, 40)), max_size=80))
def test_duty_guard_never_lets_more_than_the_limit_pass_in_a_minute(asked: list[tuple[int, int]]) -> None:
    """Any sequence of requests: in no 60 s window do the allowed ones come to more than the limit."""
    guard = DutyGuard(100)
    guard.begin(0, SECONDS * 1000)
    now, made = 0, []
    for pause_ms, cost in asked:
        now += pause_ms
        guard.check(now)
        if guard.allows(cost):
            guard.charge(cost)
            made.append((now, cost))
    for start, _ in made:
        assert sum(cost for time, cost in made if start <= time < start + 60_000) <= 100


ROWS = (
    ("squeeze", 20, -1, 0),
    ("pulse", 100, 5000, 25),
    ("cool", 4, -1, 0),
    ("weld", 2, 4000, 100),
    ("hold", 10, -1, 0),
    ("off", 50, -1, 0),
)


def test_plan_scales_the_angle_and_alternates() -> None:
    """At 47 Hz every delay is longer by 50/47, the gate ends at 165 degrees, and polarity alternates from the first."""
    plan, driver = Plan(ROWS, 10_000), FakeDriver()
    plan.begin()
    fills = 0
    while not plan.ready():
        plan.fill(driver, 10_638, 0)  # type: ignore[arg-type]
        fills += 1
    assert fills == 2  # no step prepares more than 64
    assert plan.count == 106
    assert plan.planned == 102
    assert plan.cost == 100 * 25 + 2 * 100
    assert driver.half_cycles[0] == (5319, 9751, 0)
    assert [driver.half_cycles[n][0] for n in (99, 100, 103, 104, 105)] == [5319, -1, -1, 4255, 4255]
    assert [driver.half_cycles[n][2] for n in range(106)] == [n % 2 for n in range(106)]


def test_plan_times() -> None:
    """Squeeze before the current, hold and off after it, at the measured half-cycle."""
    plan = Plan(ROWS, 10_000)
    assert plan.unfired_ms("squeeze", 10_638) == 212
    assert plan.unfired_ms("hold", 10_000) == 100
    assert plan.unfired_ms("off", 10_000) == 500


def answered(method: str, params: dict[str, object]) -> str:
    if method != "status":
        raise Refused(words.UNKNOWN_METHOD, "unknown method")
    return '{"state": "ready"}'


def line_for(received: bytes) -> tuple[Line, FakeDriver]:
    driver = FakeDriver(received)
    return Line(driver, STOP, answered), driver  # type: ignore[arg-type]


def answers(received: bytes, armed: bool = False) -> list[dict[str, object]]:
    line, driver = line_for(received)
    for _ in range(1 + len(received) // 32):
        line.poll(armed)
    for sent in driver.sent:
        text = sent.decode().rstrip("\n")
        assert int(text[-8:], 16) == crc32(text[:-9].encode())
    return [json.loads(sent.decode()[:-10]) for sent in driver.sent]


def test_line_answers_a_request() -> None:
    """JSON-RPC 2.0: the same id, a result."""
    assert answers(with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"}')) == [
        {"jsonrpc": "2.0", "id": 7, "result": {"state": "ready"}}
    ]


@pytest.mark.parametrize(
    ("received", "code"),
    [
        (b"hello\n", -32700),
        (with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"}').replace(b"7", b"8"), -32700),
        (b"\xff\xfe\x00 00000000\n", -32700),
        (b"x" * (words.LONGEST_LINE + 50) + b"\n", -32700),
        (with_crc("[" * 100), -32700),
        (with_crc('[{"jsonrpc": "2.0", "id": 1, "method": "status"}]'), -32700),  # no batches
        (with_crc('{"jsonrpc": "2.0", "method": "status"}'), -32600),  # no notifications
        (with_crc('{"jsonrpc": "1.0", "id": 1, "method": "status"}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": 1, "method": 5}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": 0, "method": "status"}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": 1000000000, "method": "status"}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": 1.0, "method": "status"}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": true, "method": "status"}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": "1", "method": "status"}'), -32600),
        (with_crc('{"jsonrpc": "2.0", "id": 1, "method": "status", "params": []}'), -32602),
        (with_crc('{"jsonrpc": "2.0", "id": 1, "method": "weld"}'), -32601),
    ],
)
def test_line_refuses(received: bytes, code: int) -> None:
    """Damaged, oversized and unknown lines get one error and nothing else. Codes: JSON-RPC 2.0 specification, section 5.1."""
    got = answers(received)
    assert [a["error"]["code"] for a in got] == [code]  # type: ignore[index]


def test_stop_line_is_heeded_while_armed_and_nothing_else_is() -> None:
    """Byte by byte, after noise, and split over steps; no answer is sent while armed."""
    request = with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"}')
    line, driver = line_for(request + b"{{" + STOP)
    assert not line.poll(True)
    assert line.poll(True)
    assert driver.sent == []


def test_a_line_is_at_most_480_bytes() -> None:
    """With its newline; one byte more is too long, whatever its checksum says."""
    bare = len(with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"}'))
    for extra, answer in ((words.LONGEST_LINE - bare, "result"), (words.LONGEST_LINE - bare + 1, "error")):
        assert answer in answers(with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"' + " " * extra + "}"))[0]


def test_a_replayed_line_is_out_of_order() -> None:
    """Ids climb; the same line again, or an older one, is not met a second time. hello begins anew."""
    lines = [with_crc(f'{{"jsonrpc": "2.0", "id": {n}, "method": "{m}"}}') for n, m in
             ((5, "status"), (5, "status"), (4, "status"), (6, "x"), (6, "status"), (2, "hello"), (3, "status"))]  # fmt: skip
    got = answers(b"".join(lines))
    codes = [answer["error"]["code"] if "error" in answer else 0 for answer in got]  # type: ignore[index]
    assert codes == [0, -32001, -32001, -32601, -32001, -32601, 0]


def test_lines_that_came_while_armed_are_reported_once_afterwards() -> None:
    """None is parsed or answered while armed; then one error says that they were dropped. The stop line is not among them."""
    request = with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"}')
    line, driver = line_for(request * 2)
    for _ in range(4):
        assert not line.poll(True)
    assert driver.sent == []
    line.poll(False)
    line.poll(False)
    assert [b'"id": 0, "error": {"code": -32000' in sent for sent in driver.sent] == [True]
    line, driver = line_for(STOP)
    assert line.poll(True)
    line.poll(False)
    assert driver.sent == []


def test_a_line_begun_while_armed_is_not_answered_by_its_rest() -> None:
    """The tail of a line whose head was dropped is damaged, not a request."""
    request = with_crc('{"jsonrpc": "2.0", "id": 7, "method": "status"}')
    line, driver = line_for(request[:20])
    line.poll(True)
    driver.received = list(request[20:])
    line.poll(False)
    assert b'"code": -32700' in driver.sent[0]
