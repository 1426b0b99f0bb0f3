"""A device of our own making at the other end of a pseudo-terminal: it answers each line as a function says."""

from __future__ import annotations

import os
import pty
import select
import threading
import tty
from collections.abc import Callable
from types import TracebackType
from typing import Self

from gen.link.framing import Lines

Answer = Callable[[bytes], bytes | None]


class PtyDevice:
    """`port` names the port. `answer` is given each line without its newline, and returns bytes to send; None unplugs it.

    `raw`: it is given what came as it came, instead of lines. `chatter` is sent over and over, as fast as it is taken,
    whether anything is asked or not. What is not taken is dropped.
    """

    def __init__(self, answer: Answer, chatter: bytes = b"", raw: bool = False) -> None:
        self._answer = answer
        self._chatter = chatter
        self._raw = raw
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.port = os.ttyname(self._theirs)
        self.lines: list[bytes] = []
        self._plugged = True
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()
        os.close(self._theirs)

    def unplug(self) -> None:
        """Take the port away."""
        self._plugged = False
        self._thread.join(5)

    def _run(self) -> None:
        lines = Lines()
        while self._plugged:
            if self._chatter:
                self._send(self._chatter)
            if not select.select([self._ours], [], [], 0.0 if self._chatter else 0.01)[0]:
                continue
            came = os.read(self._ours, 4096)
            for line in [came] if self._raw else lines.take(came):
                self.lines.append(line)
                answer = self._answer(line)
                if answer is None:
                    self._plugged = False
                    break
                self._send(answer, 1.0)
        os.close(self._ours)

    def _send(self, data: bytes, wait_s: float = 0.01) -> None:
        while data and self._plugged and select.select([], [self._ours], [], wait_s)[1]:
            data = data[os.write(self._ours, data) :]
