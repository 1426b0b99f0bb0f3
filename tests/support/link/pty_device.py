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
    """`port` names the port. `answer` is given each line without its newline, and returns bytes to send; None unplugs it."""

    def __init__(self, answer: Answer) -> None:
        self._answer = answer
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
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
            if not select.select([self._ours], [], [], 0.01)[0]:
                continue
            for line in lines.take(os.read(self._ours, 4096)):
                self.lines.append(line)
                answer = self._answer(line)
                if answer is None:
                    self._plugged = False
                    break
                os.write(self._ours, answer)
        os.close(self._ours)
