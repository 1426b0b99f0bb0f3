"""Boards that are faulty or mean harm: each answers in its own way, and with nothing of the application."""

from __future__ import annotations

import hashlib
import json
import random
from collections.abc import Callable
from typing import Any

from gen.firmware import with_crc
from gen.link.framing import NotALine, decode
from tests.support.link.answers import HELLO, reply

MOST = 2**30 - 1
STATUS: dict[str, Any] = {
    "state": "ready", "reason": "none", "way_out": "", "mains_mHz": 50_000, "welds": MOST, "last": "none", "fired": 0,
    "planned": 0, "duty_left_half_cycles": 100, "duty_wait_s": 0, "selected": "job", "inputs": 0, "failure": "",
}  # fmt: skip
SCHEDULES: dict[str, Any] = {"selected": "job", "names": [["job", "1" * 16]]}
ROW = [4, 20, 5000, 50]
Method = Callable[[dict[str, Any]], Any]


def digest(name: str, rows: list[list[int]]) -> str:
    """What the digest of these rows must be, counted anew: SHA-256 over one line a row."""
    phases = ("squeeze", "pulse", "cool", "upslope", "weld", "downslope", "hold", "off")
    lines = ["weldbeat 1", name, "50", *(f"{phases[p]},{n},{us},{heat}" for p, n, us, heat in rows)]
    return hashlib.sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest()[:16]


def board(**methods: Method | dict[str, Any]) -> Callable[[bytes], bytes]:
    """A board whose answer to a method is fixed, or made from its parameters; what it does not know stays unanswered."""
    known: dict[str, Any] = {"hello": HELLO, "status": STATUS, "schedules": SCHEDULES, **methods}

    def answer(line: bytes) -> bytes:
        try:
            request = decode(line)
        except NotALine:
            return b""
        made = known.get(request["method"])
        if callable(made):
            made = made(request.get("params", {}))
        if isinstance(made, bytes):
            return made
        return b"" if made is None else reply(request["id"], made)

    return answer


def holding(rows: list[list[int]], name: str = "job") -> Callable[[bytes], bytes]:
    """A board that holds a schedule of these rows, digest and all."""
    total, told = len(rows), digest(name, rows)
    return board(
        schedules={"selected": name, "names": [[name, told]]},
        read=lambda asked: {
            "name": name, "digest": told, "rows_total": total, "rows": rows[asked["from"] : asked["from"] + 8]
        },
    )  # fmt: skip


def welds(numbers: Callable[[int], list[int]], count: int = MOST, boot: int = 7) -> Method:
    """An answer to `welds` with these numbers, made from the one asked after."""
    return lambda asked: {
        "boot": boot, "count": count, "welds": [[n, 1, 20, 20, 30, 5] for n in numbers(asked["since"])]
    }  # fmt: skip


def refusing(code: int, message: str) -> Callable[[bytes], bytes]:
    """A board that refuses each request in its own words."""

    def answer(line: bytes) -> bytes:
        try:
            number = decode(line)["id"]
        except NotALine:
            return b""
        error = {"jsonrpc": "2.0", "id": number, "error": {"code": code, "message": message}}
        return with_crc(json.dumps(error)).encode() + b"\n"

    return answer


def micropython(printed: bytes) -> Callable[[bytes], bytes]:
    """A raw prompt of MicroPython (docs.micropython.org, "MicroPython raw REPL") that prints this, whatever it is to run."""
    waiting = bytearray()

    def answer(came: bytes) -> bytes:
        waiting.extend(came)
        told = b""
        while waiting:
            if waiting.startswith(b"\x05A\x01"):
                del waiting[:3]
                told += b"R\x00"  # no raw paste
            elif waiting[0] in b"\r\n\x01\x02\x03":
                told += b"\r\nraw REPL; CTRL-B to exit\r\n>" if waiting[0] == 1 else b""
                del waiting[:1]
            elif b"\x04" not in waiting:
                break
            else:
                program = waiting[: waiting.index(b"\x04")]
                del waiting[: len(program) + 1]
                told += b"OK" + printed + b"\x04\x04>" if program else b"OK\r\nMPY: soft reboot\r\n"
        return told

    return answer


# What a faulty board puts in place of what it should say.
_NONSENSE: tuple[Any, ...] = (
    None, True, -1, 0, 1, 2**30 - 1, 2**31, 2**63, 10**300, 1.5, float("nan"), float("inf"), "", "x", "\x1b[2J", "\ud800",
    "\u202e",
    "x" * 200, "../../x", [], [[]], [[1]], {}, {"a": {}}, ["job", "1" * 16], "ready", "none", "1" * 16, "job", 50, 60, 7,
)  # fmt: skip
_GOOD: dict[str, Method | dict[str, Any]] = {
    "hello": HELLO,
    "status": STATUS | {"welds": 3},
    "schedules": SCHEDULES,
    "read": {"name": "job", "digest": digest("job", [ROW]), "rows_total": 1, "rows": [ROW]},
    "push_begin": {"ready": True},
    "push_rows": lambda asked: {"rows": asked["from"] + len(asked["rows"])},
    "push_commit": {"name": "job", "digest": "1" * 16},
    "select": {"selected": "job", "digest": "1" * 16},
    "remove": {"names": [["job", "1" * 16]]},
    "welds": welds(lambda since: list(range(since + 1, 4)), count=3),
    "curve": {"boot": 7, "weld": 3, "total": 2, "entries": [[5000, 4000, 10_000], [5000, 4100, 10_000]]},
    "maintain": {"restarting": True},
}


def faulty(chance: random.Random, spared: frozenset[str] = frozenset()) -> Callable[[bytes], bytes]:
    """A board that mostly answers as it should, and otherwise with nonsense: values, keys, lines and bytes. `spared`: methods."""
    wrongness = chance.choice((0.1, 0.4, 0.9))

    def answer(line: bytes) -> bytes:
        try:
            request = decode(line)
        except NotALine:
            return b""
        method = request["method"]
        made = _GOOD[method]
        result = made(request.get("params", {})) if callable(made) else made
        if method in spared or chance.random() > wrongness:
            return reply(request["id"], result)
        return _wrong(chance, request["id"], result)

    return answer


def _wrong(chance: random.Random, number: int, result: dict[str, Any]) -> bytes:
    kind = chance.randrange(12)
    if kind < 5:
        return reply(number, {**result, chance.choice(list(result)): chance.choice(_NONSENSE)})
    if kind == 5:
        return reply(number, {key: value for key, value in result.items() if chance.random() < 0.5})
    if kind == 6:
        key = chance.choice(list(result))
        inner = result[key]
        times = chance.choice((2, 20, 300))
        return reply(number, {**result, key: inner * times if isinstance(inner, list) else [inner] * times})
    if kind == 7:
        error = {"code": chance.choice(_NONSENSE), "message": chance.choice(_NONSENSE)}
        return with_crc(json.dumps({"jsonrpc": "2.0", "id": number, "error": error})).encode() + b"\n"
    if kind == 8:
        return reply(chance.choice((0, number + 1, number - 1, 999_999_999)), result)
    good = reply(number, result)
    if kind == 9:
        at = chance.randrange(len(good))
        return good[:at] + chance.randbytes(chance.randrange(5)) + good[at + 1 :]
    if kind == 10:
        return chance.choice((b"", b"\n" * 50, good[: len(good) // 2], good * 20, b"[" * 3000 + b"\n", b"x" * 6000))
    return (
        with_crc(chance.choice(("[]", "null", "5", '"x"', "{}", "[" * 800, '{"id": 1}', "1" * 3000))).encode() + b"\n"
    )
