"""A line a message: JSON text, a space, the CRC-32 of the text as eight hexadecimal digits, a newline."""

from __future__ import annotations

import json
from binascii import crc32
from typing import Any

from gen.words import LONGEST_LINE

_LONGEST_TAKEN = 4096  # bytes without a newline from the board; more are no line of this link


class NotALine(ValueError):
    """The bytes are no line of this link, or damaged."""


def encode(message: dict[str, Any]) -> bytes:
    """The line for `message`. Raises ValueError if it is longer than the board's buffer."""
    text = json.dumps(message)
    line = f"{text} {crc32(text.encode()):08x}\n".encode()
    if len(line) > LONGEST_LINE:
        raise ValueError(f"a line of {len(line)} bytes; the board takes {LONGEST_LINE}")
    return line


def decode(line: bytes) -> dict[str, Any]:
    """The message in a line, with or without its newline. Raises NotALine."""
    text, _, check = line.rstrip(b"\r\n").rpartition(b" ")
    if len(check) != 8 or f"{crc32(text):08x}".encode() != check:
        raise NotALine("the CRC does not match")
    try:
        message = json.loads(text)
    except (ValueError, RecursionError):
        raise NotALine("not JSON") from None
    if not isinstance(message, dict):
        raise NotALine("not an object")
    return message


class Lines:
    """Splits the port's bytes into lines. Of a line that is too long only the beginning is returned, once."""

    def __init__(self) -> None:
        self._rest = b""
        self._cut = False  # whether the beginning of a line that is too long was returned

    def take(self, data: bytes) -> list[bytes]:
        """The lines that are complete with `data`, without their newlines."""
        *lines, rest = (self._rest + data).split(b"\n")
        if lines and self._cut:
            del lines[0]
            self._cut = False
        if len(rest) > _LONGEST_TAKEN:
            if not self._cut:
                lines.append(rest)
            rest, self._cut = b"", True
        self._rest = rest
        return [line[:_LONGEST_TAKEN] for line in lines]
