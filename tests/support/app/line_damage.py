"""Damaged lines for the serial link, by seed: what a bad cable, a wrong program or an unkind hand may send."""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gen.firmware import FirmwareBundle
from sim.replay.playback import Interpreter
from tests.support.app.talking import checked, push, request

STORM = Path(__file__).with_name("storm_driver.py")

JUNK: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, -(2**31), 2**63, 1e400, 1.5, "", "x", "first\u0000", "\u20ac" * 9, [], {}, [[]], [0] * 40,
    {"name": {"name": {}}}, "settings.a", "../main.py", [[0, 20, -1, 0]], [[4, 1, 5000, 50]] * 8,
)  # fmt: skip
METHODS = (
    "hello", "status", "schedules", "read", "push_begin", "push_rows", "push_commit", "select", "remove", "welds", "weld", "",
    "stop", "__init__", "append",
)  # fmt: skip
KEYS = ("name", "digest", "rows_total", "from", "rows", "since", "jsonrpc", "id", "")
NOISE_BYTES = 64 * 1024


def damaged(chance: random.Random, good: list[bytes]) -> bytes:
    """One damaged line. `good`: whole lines to be damaged; none of them is ever sent whole."""
    line = chance.choice(good)
    kind = chance.randrange(12)
    at = chance.randrange(len(line) - 1)
    if kind == 0:
        return line[:at] + b"\n"
    if kind == 1:
        return line[at + 1 :]
    if kind in (2, 3):
        spoiled = bytearray(line)
        for _ in range(chance.choice((1, 1, 1, 2, 8))):
            spoiled[chance.randrange(len(line))] ^= 1 << chance.randrange(8)
        return line[:at] + b"\n" if spoiled == line else bytes(spoiled)
    if kind == 4:
        return line[:-1] + chance.choice(good)
    if kind == 5:
        return line[:at] + chance.choice(good)[at:]
    if kind == 6:
        return bytes(chance.randrange(256) for _ in range(chance.randrange(1, 200))) + b"\n"
    if kind == 7:
        return line[:at] + chance.choice((b"\xff", b"\xc3\x28", b"\xed\xa0\x80", b"\xf8\x88", b"\0")) + line[at:]
    if kind == 8:
        depth = chance.randrange(1, 460)
        opening = chance.choice(("[", '{"a":', '{"params":'))
        return checked((opening * depth)[:460] + chance.choice(("", "]" * 5)))
    if kind == 9:
        return line[:at] + line[at + chance.randrange(1, 9) :]
    return checked(_unmeet(chance))


def _unmeet(chance: random.Random) -> str:
    """Text that a whole checksum comes with, and that asks for nothing the board can do."""
    content: Any = {
        "jsonrpc": "2.0",
        "id": chance.choice((0, -1, 1 << 40, None, "1", 1.5, True)),
        "method": chance.choice(METHODS),
    }
    if chance.random() < 0.6:
        # A good id; then the parameters must be wrong.
        content["id"] = chance.randrange(1, 10**9)
        params = {key: chance.choice(JUNK) for key in chance.sample(KEYS, chance.randrange(5))}
        content["params"] = (
            {**params, "unknown": chance.choice(JUNK)} if chance.random() < 0.8 else chance.choice((17, "x", []))
        )
    if chance.random() < 0.1:
        content = chance.choice(JUNK)
    text = json.dumps(content, ensure_ascii=chance.random() < 0.5)
    return text[:440]


def good_lines(name: str, digest: str, rows: list[list[int]]) -> list[bytes]:
    """A whole session: what damage is done to."""
    lines = [request(1, "hello"), request(2, "status"), request(3, "welds", since=0), *push(name, digest, rows, 4)]
    return [*lines, request(90, "select", name=name), request(91, "remove", name="first"), request(92, "maintain")]


def stream(seed: int, number: int, good: list[bytes]) -> Iterator[bytes]:
    """`number` damaged lines, and once in ten thousand 64 KiB of noise without an end."""
    chance = random.Random(seed)
    for n in range(number):
        if n % 10_000 == 50:
            yield bytes(chance.randrange(256) for _ in range(NOISE_BYTES)) + b"\n"
        line = damaged(chance, good)
        # A cut or a flip can leave a good line in its rest; that one is none of the damaged.
        yield line if not any(whole in line + b"\n" for whole in good) else b"x" + line.replace(b"\n", b"") + b"\n"


def storm(interpreter: Interpreter, bundle: FirmwareBundle, lines: list[bytes]) -> dict[str, Any]:
    """Send `lines` to the bundle's application under a real MicroPython; returns the report of storm_driver.py."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bundle.write(folder / "bundle")
        (folder / "lines.bin").write_bytes(b"".join(lines))
        (folder / STORM.name).write_text(STORM.read_text(encoding="utf-8"), encoding="utf-8")
        warm = str(sum(len(line) for line in lines[: len(lines) // 10]))
        heap = interpreter.heap if interpreter.collects else "200M"
        collects = "yes" if interpreter.collects else "no"
        output = interpreter.run(folder, ["-X", f"heapsize={heap}", STORM.name, "bundle", "lines.bin", warm, collects])
    try:
        told: dict[str, Any] = json.loads(output.splitlines()[-1])
    except (IndexError, ValueError):
        raise AssertionError(f"{interpreter.name}: {output}") from None
    return told
