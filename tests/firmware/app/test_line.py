"""The serial line byte by byte: what is read, what is answered, word for word, and what is passed over.

Codes from -32700 to -32600 are those of the JSON-RPC 2.0 specification, section 5.1; those from -32000 down are our own.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from firmware_templates.app.line import Line, Refused
from tests.support.app.fake_driver import STOP, FakeDriver, with_crc


class Asked:
    """Meets every request, and keeps what was asked. `result` "" leaves the request open."""

    def __init__(self, result: str = "1") -> None:
        self.result = result
        self.requests: list[tuple[str, Any]] = []

    def __call__(self, method: str, params: Any) -> str:
        self.requests.append((method, params))
        if method == "no":
            raise Refused(-32099, "because")
        return self.result


def line_of(received: bytes, result: str = "1") -> tuple[Line, FakeDriver, Asked]:
    driver, asked = FakeDriver(received), Asked(result)
    return Line(driver, STOP, asked), driver, asked  # type: ignore[arg-type]


def request(number: Any, method: str = "do", **more: Any) -> bytes:
    return with_crc(json.dumps({"jsonrpc": "2.0", "id": number, "method": method, **more}))


def told(driver: FakeDriver) -> list[tuple[int, Any]]:
    """Id and result, or code and message, of each answer; the checksum and the end of each line are looked at."""
    found = []
    for sent in driver.sent:
        text = sent.decode()
        assert sent == with_crc(text[:-10])
        content = json.loads(text[:-10])
        assert content["jsonrpc"] == "2.0"
        error = content.get("error")
        found.append((content["id"], (error["code"], error["message"]) if error else content["result"]))
    return found


def polled(received: bytes, *, armed: bool = False, result: str = "1") -> tuple[Line, FakeDriver, Asked]:
    """A line after all of this has been read."""
    line, driver, asked = line_of(received, result)
    while driver.received:
        line.poll(armed)
    return line, driver, asked


@pytest.mark.parametrize("byte", [*range(10), 11, 13])
def test_nothing_but_a_newline_ends_a_line(byte: int) -> None:
    """Other control characters stand within it: one line, one answer."""
    line, driver, _ = line_of(b"x" + bytes([byte]) + b"y\n")
    for _ in range(3):
        line.poll(False)
    assert len(driver.sent) == 1


def test_one_answer_a_step() -> None:
    """However many lines have come: 64 bytes of `x` and newline would give 32, written while nothing else is done."""
    line, driver, _ = line_of(b"x\n" * 200)
    for n in range(1, 201):
        line.poll(False)
        assert len(driver.sent) == n
    assert not driver.received
    # What is told of the lines that came while armed is that step's answer; empty lines are none.
    line, driver, _ = line_of(b"while armed\n")
    line.poll(True)
    driver.received.extend(b"\n\nx\nx\n")
    for n in range(1, 4):
        line.poll(False)
        assert len(driver.sent) == n


def test_at_most_64_bytes_a_step() -> None:
    """So that no step is long; the rest waits."""
    line, driver, _ = line_of(b"x" * 200)
    left = []
    while driver.received:
        line.poll(True)
        left.append(len(driver.received))
    assert left == [136, 72, 8, 0]


@pytest.mark.parametrize("number", [1, 2, 999_999_999])
def test_a_request_is_met(number: int) -> None:
    """With its method and parameters, and `{}` where it has none; at the least and the greatest id; with CR LF too."""
    for sent, params in ((request(number), {}), (request(number, params={"a": 1}), {"a": 1})):
        for received in (sent, sent[:-1] + b"\r\n"):
            _, driver, asked = polled(received)
            assert (told(driver), asked.requests) == ([(number, 1)], [("do", params)])


@pytest.mark.parametrize(
    ("received", "answer"),
    [
        (b"x\n", (0, (-32700, "line damaged or too long"))),
        (request(5)[1:], (0, (-32700, "line damaged or too long"))),
        (request(5)[:-2] + b"\n", (0, (-32700, "line damaged or too long"))),
        (request(5)[:-9] + b"00000000\n", (0, (-32700, "line damaged or too long"))),
        (request(5)[:-9] + b"ffffffff\n", (0, (-32700, "line damaged or too long"))),
        (with_crc("17"), (0, (-32700, "line damaged or too long"))),
        (b" 00000000\n", (0, (-32700, "line damaged or too long"))),
        (request(0), (0, (-32600, "id must be a whole number from 1 to 999999999"))),
        (request(1_000_000_000), (0, (-32600, "id must be a whole number from 1 to 999999999"))),
        (request(None), (0, (-32600, "id must be a whole number from 1 to 999999999"))),
        (request("5"), (0, (-32600, "id must be a whole number from 1 to 999999999"))),
        (request(5, jsonrpc="2"), (5, (-32600, "not a JSON-RPC 2.0 request"))),
        (request(5, 7), (5, (-32600, "not a JSON-RPC 2.0 request"))),  # type: ignore[arg-type]
        (with_crc('{"id": 5, "method": "do"}'), (5, (-32600, "not a JSON-RPC 2.0 request"))),
        (with_crc('{"jsonrpc": "2.0", "id": 5}'), (5, (-32600, "not a JSON-RPC 2.0 request"))),
        (request(5, params=[]), (5, (-32602, "params must be an object"))),
        (request(5, "no"), (5, (-32099, "because"))),
    ],
)
def test_what_is_no_request_gets_its_one_error(received: bytes, answer: tuple[int, Any]) -> None:
    """Word for word; and the next request is met."""
    _, driver, asked = polled(received + request(6))
    assert told(driver) == [answer, (6, 1)]
    assert asked.requests[-1] == ("do", {})


def test_ids_climb() -> None:
    """The same or a lower one is out of order, and so is anything but a greater one after a refusal; hello begins anew."""
    sent = [
        request(5),
        request(5),
        request(4),
        request(6, "no"),
        request(6),
        request(3, "hello"),
        request(3),
        request(4),
    ]
    _, driver, asked = polled(b"".join(sent))
    late = "id must be greater than %d, or begin with hello"
    assert told(driver) == [
        (5, 1),
        (5, (-32001, late % 5)),
        (4, (-32001, late % 5)),
        (6, (-32099, "because")),
        (6, (-32001, late % 6)),
        (3, 1),
        (3, (-32001, late % 3)),
        (4, 1),
    ]
    assert [method for method, _ in asked.requests] == ["do", "no", "hello", "do"]


def test_nothing_is_read_while_a_request_is_open() -> None:
    """What comes meanwhile waits; the answer carries the id, and ends it."""
    for answer in ("reply", "refuse"):
        line, driver, _ = line_of(request(5) + request(6), result="")
        for _ in range(5):
            line.poll(False)
        assert bytes(driver.received).count(b"\n") == 1
        assert driver.sent == []
        if answer == "reply":
            line.reply("[2]")
        else:
            line.refuse(-32004, "full")
        assert told(driver) == [(5, [2] if answer == "reply" else (-32004, "full"))]
        assert line.open == 0
        for _ in range(3):
            line.poll(False)
        assert driver.received == []
        assert line.open == 6


def test_empty_lines_and_the_stop_line_get_no_answer() -> None:
    """While idle the stop line is heeded too, and is no request."""
    _, driver, asked = polled(b"\n\n")
    assert (driver.sent, asked.requests) == ([], [])
    line, driver, asked = line_of(STOP + request(1))
    assert line.poll(False)
    while driver.received:
        assert not line.poll(False)
    assert told(driver) == [(1, 1)]


@pytest.mark.parametrize("armed", [False, True])
@pytest.mark.parametrize("before", [b"", b"x", b"{", STOP[:-1], STOP[:7], b"x\n", STOP[:20] + STOP[:1]])
def test_the_stop_line_is_found_after_anything(before: bytes, armed: bool) -> None:
    """After noise, after its own beginning, after another line; once for each time that it comes; not with a byte wrong."""
    for number in (1, 2):
        line, driver, _ = line_of(before + STOP * number)
        found = []
        while driver.received:
            driver_all, driver.received = driver.received[1:], driver.received[:1]
            found.append(line.poll(armed))
            driver.received = driver_all
        # A stop line that was begun and not ended eats the first byte of the next at most.
        assert found.count(True) == number
        assert found[-1]
    for almost in (STOP[1:], b"}" + STOP[1:], b"|" + STOP[1:], STOP + STOP[1:]):
        line, driver, _ = line_of(almost)
        found = []
        while driver.received:
            found.append(line.poll(armed))
        assert found.count(True) == almost.startswith(STOP)
    for at in range(len(STOP)):
        wrong = STOP[:at] + bytes([STOP[at] ^ 1]) + STOP[at + 1 :]
        line, driver, _ = line_of(wrong)
        assert not line.poll(armed)


@pytest.mark.parametrize(
    ("received", "dropped"),
    [
        (b"x\n", True),
        (b"\n", True),
        (b"x", False),
        (STOP, False),
        (STOP + b"x\n", True),
        (b"x\n" + STOP, True),
        (request(1) * 3, True),
    ],
)
def test_a_line_dropped_while_armed_is_reported_once(received: bytes, dropped: bool) -> None:
    """After the weld, before anything else is read."""
    line, driver, asked = polled(received, armed=True)
    assert (driver.sent, asked.requests) == ([], [])
    for _ in range(3):
        line.poll(False)
    assert told(driver) == [(0, (-32000, "armed: only stop was heeded, send again"))] * dropped


def test_a_line_that_was_begun_while_armed_is_damaged_to_its_end_and_no_further() -> None:
    """Its head was not kept; the line after it is met."""
    line, driver, asked = polled(request(5)[:20], armed=True)
    driver.received = list(request(5)[20:] + request(6))
    while driver.received:
        line.poll(False)
    assert told(driver) == [(0, (-32700, "line damaged or too long")), (6, 1)]
    assert len(asked.requests) == 1
    line, driver, asked = polled(request(5)[:20], armed=False)
    driver.received = list(request(5)[20:40])
    line.poll(True)
    driver.received = list(request(5)[40:] + request(6))
    while driver.received:
        line.poll(False)
    assert told(driver) == [(0, (-32700, "line damaged or too long")), (6, 1)]


def test_480_bytes_with_the_newline_and_no_more() -> None:
    """The longest line that is met, and one byte more; the next line is met again."""
    bare = len(request(5, params={"x": ""}))
    for more, answer in ((480 - bare, 1), (481 - bare, (-32700, "line damaged or too long"))):
        _, driver, _ = polled(request(5, params={"x": "y" * more}) + request(6))
        assert told(driver) == [(5 if answer == 1 else 0, answer), (6, 1)]
    longest = request(5, params={"x": "y" * (480 - bare)})
    _, driver, _ = polled(longest[:-1] + b"x\n" + request(6))
    assert told(driver) == [(0, (-32700, "line damaged or too long")), (6, 1)]


def test_a_whole_line_with_a_byte_from_a_weld_behind_it_is_damaged() -> None:
    """What came while armed was not kept, and nobody knows what it was."""
    line, driver, _ = polled(request(5)[:-1])
    driver.received = [120]
    line.poll(True)
    driver.received = [10]
    line.poll(False)
    assert told(driver) == [(0, (-32700, "line damaged or too long"))]
