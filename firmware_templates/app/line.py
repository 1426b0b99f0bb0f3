"""The serial line: JSON-RPC 2.0, one message a line, followed by a space and the CRC-32 of its text in hex.

While armed only the constant stop line is obeyed. It is matched byte by byte. JSON and CRC are used only when idle.
"""

import json
from binascii import crc32

from . import words

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from interface import Driver

AT_ONCE = 64  # bytes taken in one step


class Refused(Exception):
    """A request is refused, and changes nothing."""

    def __init__(self, code: int, message: str) -> None:
        self.code = code
        self.message = message


class Line:
    """Reads and answers lines.

    `answer(method, params)` returns the result as JSON text, or "" where `reply` or `refuse` follows. It raises Refused.
    """

    def __init__(self, driver: "Driver", stop_line: bytes, answer: "Callable[[str, dict[str, Any]], str]") -> None:
        self.driver = driver
        self.stop_line = stop_line
        self.answer = answer
        self.matched = 0
        self.buffer = bytearray(words.LONGEST_LINE)
        self.length = 0
        self.damaged = False
        self.dropped = False  # a line arrived while armed
        self.last = 0  # id of the last request accepted
        self.open = 0  # id of the request whose reply is pending

    def poll(self, armed: bool) -> bool:
        """Read the bytes that have arrived, up to the first line that is answered. True when the stop line was among them."""
        stop = False
        answered = self.dropped and not armed
        if answered:
            self.dropped = False
            self._error(0, words.BUSY, "armed: only stop was heeded, send again")
        for _ in range(AT_ONCE):
            if self.open or answered:
                break
            byte = self.driver.read_byte()
            if byte < 0:
                break
            heeded = False
            if byte == self.stop_line[self.matched]:
                self.matched += 1
                if self.matched == len(self.stop_line):
                    self.matched = 0
                    heeded = stop = True
            else:
                self.matched = 1 if byte == self.stop_line[0] else 0
            if byte == 10:
                if armed:
                    self.dropped = self.dropped or not heeded
                elif self.length and not heeded:
                    self._answer_line()
                    answered = True
                self.length = 0
                self.damaged = False
            elif armed or self.length == words.LONGEST_LINE - 1:
                self.damaged = True
            else:
                self.buffer[self.length] = byte
                self.length += 1
        return stop

    def _answer_line(self) -> None:
        request = None if self.damaged else _checked(bytes(self.buffer[: self.length]))
        if request is None:
            self._error(0, words.DAMAGED, "line damaged or too long")
            return
        number = request.get("id")
        if type(number) is not int or not 1 <= number <= words.LARGEST_ID:
            self._error(0, words.NOT_A_REQUEST, "id must be a whole number from 1 to %d" % words.LARGEST_ID)
            return
        method, params = request.get("method"), request.get("params", {})
        if request.get("jsonrpc") != "2.0" or type(method) is not str:
            self._error(number, words.NOT_A_REQUEST, "not a JSON-RPC 2.0 request")
        elif method != "hello" and number <= self.last:
            self._error(number, words.OUT_OF_ORDER, "id must be greater than %d, or begin with hello" % self.last)
        else:
            self.last = number
            try:
                if type(params) is not dict:
                    raise Refused(words.WRONG_PARAMETERS, "params must be an object")
                result = self.answer(method, params)
            except Refused as refused:
                self._error(number, refused.code, refused.message)
                return
            self.open = number
            if result:
                self.reply(result)

    def reply(self, result: str) -> None:
        """Answer the open request with a result, JSON text."""
        self._send('{"jsonrpc": "2.0", "id": %d, "result": %s}' % (self.open, result))
        self.open = 0

    def refuse(self, code: int, message: str) -> None:
        """Answer the open request with an error."""
        self._error(self.open, code, message)
        self.open = 0

    def _error(self, number: int, code: int, message: str) -> None:
        self._send('{"jsonrpc": "2.0", "id": %d, "error": {"code": %d, "message": "%s"}}' % (number, code, message))

    def _send(self, text: str) -> None:
        self.driver.write(("%s %08x\n" % (text, crc32(text.encode()) & 0xFFFFFFFF)).encode())


def _checked(line: bytes) -> "dict[str, Any] | None":
    """The request in a line. None when the line is damaged."""
    try:
        text = line.decode().rstrip("\r")
        if text[-9:] != " %08x" % (crc32(text[:-9].encode()) & 0xFFFFFFFF):
            return None
        request = json.loads(text[:-9])
    except (ValueError, MemoryError, RuntimeError):  # RuntimeError: nested too deep for the stack
        return None
    return request if type(request) is dict else None
