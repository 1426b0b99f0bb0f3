"""What a board that is not there answers: a fixed result to each method."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from gen.firmware import with_crc
from gen.link.framing import decode

HELLO: dict[str, Any] = {
    "program": "weldbeat", "version": "0.1.0", "protocol": 1, "board": "pico", "bundle": "0" * 16, "frequency_Hz": 50,
    "selected": "job", "digest": "1" * 16, "boot": 7,
}  # fmt: skip


def answering(**results: dict[str, Any]) -> Callable[[bytes], bytes]:
    """A device that answers each method with a fixed result."""

    def answer(line: bytes) -> bytes:
        if not line:
            return b""
        request = decode(line)
        return reply(request["id"], results[request["method"]])

    return answer


def reply(number: int, result: dict[str, Any]) -> bytes:
    return with_crc(json.dumps({"jsonrpc": "2.0", "id": number, "result": result})).encode() + b"\n"
