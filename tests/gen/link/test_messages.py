"""The message table against the JSON Schema made from it, by a validator that is not ours, and the framing.

Source of the validator: PyPI `jsonschema`, JSON Schema 2020-12; of the check: CRC-32 as in zlib.
"""

from __future__ import annotations

import json
import zlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

import gen.link.client
from gen import words
from gen.firmware import STOP_REQUEST, with_crc
from gen.link import Link
from gen.link.client import BoardSchedule, digest_of, wire_rows
from gen.link.framing import Lines, NotALine, decode, encode
from gen.link.messages import METHODS, BeginParams, Row, RowsParams
from gen.words import LONGEST_LINE, ROWS_A_LINE
from tests.support.link.message_schema import json_schema
from tests.support.link.stepped_board import SteppedBoard
from tests.support.machines import firmware, make_welder

SCHEMA = json_schema()


def valid(schema: dict[str, Any], message: dict[str, Any]) -> bool:
    return Draft202012Validator(schema).is_valid(message)


@pytest.fixture
def board(monkeypatch: pytest.MonkeyPatch) -> SteppedBoard:
    made = SteppedBoard(firmware(make_welder(), {"weld": "6 cycles"})[0])
    monkeypatch.setattr(gen.link.client, "time", made)
    made.run(500)
    return made


@pytest.mark.parametrize("side", ["request", "reply"])
@pytest.mark.parametrize("method", METHODS)
def test_each_schema_is_one(method: str, side: str) -> None:
    Draft202012Validator.check_schema(SCHEMA[method][side])


def test_every_line_of_a_session_fits_its_schema(board: SteppedBoard) -> None:
    """What the client sends and what the emitted application answers, all methods, held against the schema."""
    talk: list[tuple[dict[str, Any], dict[str, Any]]] = []
    table = firmware(make_welder(), {"weld": "20 cycles", "upslope": "8 cycles", "current_percent": 90})[1]
    exchange = Link._exchange

    def noted(link: Link, method: str, params: Any, timeout_s: float) -> Any:
        start = len(board.sent)
        reply = exchange(link, method, params, timeout_s)
        if method != "hello":
            talk.append((decode(board.sent[start]), reply.model_dump(exclude_none=True)))
        return reply

    with pytest.MonkeyPatch.context() as patch, Link("board", opened=board) as link:
        patch.setattr(Link, "_exchange", noted)
        link.push(table)
        board.run(500)
        other = BoardSchedule("other", 50, "", tuple(wire_rows(table)))
        link._ask(
            "push_begin",
            BeginParams(name="other", digest=digest_of(other), rows_total=len(other.rows)),
            METHODS["push_begin"].result,
        )
        board.pedal = 1
        board.run(2000)
        board.pedal = 0
        board.run(3000)
        assert [weld.ending for weld in link.welds()[1]] == [words.COMPLETED]
        for call in (
            link.status,
            link.schedules,
            lambda: link.read(table.name),
            lambda: link.select(table.name),
            link.curve,
            link.maintain,
        ):
            call()
            board.run(500)
    # Nothing is removed here, and no lockout lasts that could be cleared: test_unix_board.py clears one on the real program.
    assert {request["method"] for request, _ in talk} == METHODS.keys() - {"hello", "remove", "clear"}
    for request, reply in talk:
        assert valid(SCHEMA[request["method"]]["request"], request), request
        assert valid(SCHEMA[request["method"]]["reply"], reply), reply
        for key in list(request) + list(request.get("params", {})):
            assert not valid(SCHEMA[request["method"]]["request"], without(request, key)) or key == "params", key
        for key, field in METHODS[request["method"]].result.model_fields.items():
            told = field.alias or key
            if told in reply["result"]:  # what an older firmware does not send may be missing, and nothing else
                assert valid(SCHEMA[request["method"]]["reply"], without(reply, told)) != field.is_required(), told


def without(message: dict[str, Any], key: str) -> dict[str, Any]:
    """A copy that lacks `key`, wherever it stands."""
    return {k: without(v, key) if isinstance(v, dict) else v for k, v in message.items() if k != key}


def test_digest_of_rows_is_the_tables() -> None:
    """The digest counted from rows on the line is the one that the compiler gives the table."""
    table = firmware(
        make_welder(), {"pulse": "2 cycles", "current_percent": 70, "cool": "4 cycles"}, {"weld": "20 cycles"}
    )[1]
    assert digest_of(BoardSchedule(table.name, 50, "", tuple(wire_rows(table)))) == table.digest


@given(
    st.lists(
        st.builds(Row, st.integers(0, 7), st.integers(1, 32767), st.integers(-1, 32767), st.integers(0, 100)),
        min_size=1,
        max_size=ROWS_A_LINE,
    )
)
def test_the_longest_lines_fit_the_board(rows: list[Row]) -> None:
    """Eight rows of any figures, at the largest id, are no longer than the board's buffer; and they come back as they were."""
    params = RowsParams(start=1023, rows=rows).model_dump(by_alias=True)
    line = encode({"jsonrpc": "2.0", "id": 999_999_999, "method": "push_rows", "params": params})
    assert len(line) <= LONGEST_LINE
    assert RowsParams.model_validate_json(json.dumps(decode(line)["params"])).rows == rows


@given(st.binary(max_size=100), st.integers(0, 10_000), st.integers(1, 255))
def test_a_changed_byte_is_noticed(junk: bytes, place: int, change: int) -> None:
    """CRC-32 notices each change of one byte; junk is no line."""
    line = encode({"jsonrpc": "2.0", "id": 1, "method": "status"})
    assert line.split(b" ")[-1].strip() == b"%08x" % zlib.crc32(line[:-10])
    place %= len(line) - 1
    broken = line[:place] + bytes([line[place] ^ change]) + line[place + 1 :]
    if broken.rstrip(b"\r\n") != line.rstrip(b"\n"):
        with pytest.raises(NotALine):
            decode(broken)
    with pytest.raises(NotALine):
        decode(junk)


@given(st.lists(st.binary(max_size=20).filter(lambda part: b"\n" not in part), max_size=5), st.integers(1, 7))
def test_lines_are_cut_wherever_the_pieces_end(lines: list[bytes], size: int) -> None:
    whole = b"".join(line + b"\n" for line in lines)
    cutter = Lines()
    assert [line for i in range(0, len(whole), size) for line in cutter.take(whole[i : i + size])] == lines


def test_the_stop_line_has_no_other_form() -> None:
    """The board matches it byte by byte: the client sends what was burnt in."""
    assert (
        f"STOP_LINE = b'{with_crc(STOP_REQUEST)}\\n'"
        in firmware(make_welder(), {"weld": "6 cycles"})[0].files["config.py"]
    )
