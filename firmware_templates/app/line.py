"""The serial line: JSON-RPC 2.0, a line a message, each followed by a space and the CRC-32 of its text in hex.

While armed only the constant stop line is heeded, matched byte by byte; JSON and CRC run only when idle.
"""

import json
from binascii import crc32

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from interface import Driver

LONGEST = 256  # bytes of a line
AT_ONCE = 64  # bytes taken in one step

PARSE_ERROR = -32700
INVALID_REQUEST = -32600
UNKNOWN_METHOD = -32601
BUSY = -32000


class Line:
    """Reads and answers lines. `results` maps a method's name to a function that gives its result as JSON text."""

    def __init__(self, driver: "Driver", stop_line: bytes, results: "dict[str, Callable[[], str]]") -> None:
        self.driver = driver
        self.stop_line = stop_line
        self.results = results
        self.matched = 0
        self.buffer = bytearray(LONGEST)
        self.length = 0
        self.damaged = False

    def poll(self, armed: bool) -> bool:
        """Take what has come. True when the stop line was among it."""
        stop = False
        for _ in range(AT_ONCE):
            byte = self.driver.read_byte()
            if byte < 0:
                break
            if byte == self.stop_line[self.matched]:
                self.matched += 1
                if self.matched == len(self.stop_line):
                    self.matched = 0
                    stop = True
            else:
                self.matched = 1 if byte == self.stop_line[0] else 0
            if byte == 10:
                if not armed and not stop and self.length:
                    self._answer_line()
                self.length = 0
                self.damaged = armed
            elif armed or self.length == LONGEST:
                self.damaged = True
            else:
                self.buffer[self.length] = byte
                self.length += 1
        return stop

    def _answer_line(self) -> None:
        request = None if self.damaged else _checked(bytes(self.buffer[: self.length]))
        if request is None:
            self._error(0, PARSE_ERROR, "line damaged or too long")
            return
        number = request.get("id")
        if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number < 1000000000:
            self._error(0, INVALID_REQUEST, "id must be a number")
        elif request.get("jsonrpc") != "2.0" or not isinstance(request.get("method"), str):
            self._error(number, INVALID_REQUEST, "not a JSON-RPC 2.0 request")
        elif request["method"] not in self.results:
            self._error(number, UNKNOWN_METHOD, "unknown method")
        else:
            self._send('{"jsonrpc": "2.0", "id": %d, "result": %s}' % (number, self.results[request["method"]]()))

    def _error(self, number: int, code: int, message: str) -> None:
        self._send('{"jsonrpc": "2.0", "id": %d, "error": {"code": %d, "message": "%s"}}' % (number, code, message))

    def _send(self, text: str) -> None:
        self.driver.write(("%s %08x\n" % (text, crc32(text.encode()) & 0xFFFFFFFF)).encode())


def _checked(line: bytes) -> "dict[str, Any] | None":
    """The request in a line, or None when the line is damaged."""
    try:
        text = line.decode().rstrip("\r")
        if text[-9:-8] != " " or crc32(text[:-9].encode()) & 0xFFFFFFFF != int(text[-8:], 16):
            return None
        request = json.loads(text[:-9])
    except (ValueError, MemoryError, RuntimeError):  # RuntimeError: nested too deep for the stack
        return None
    return request if isinstance(request, dict) else None
