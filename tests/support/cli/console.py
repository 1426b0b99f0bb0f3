"""A console of 24 lines and 80 columns: the command in a process of its own on a pseudo-terminal, its screen drawn by pyte."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import Self

import pexpect
import pyte
import pytest

LINES, COLUMNS = 24, 80


class Console:
    """`screen` is what stands on it now, `scrolled` everything that was drawn."""

    def __init__(self, *words: str, environment: dict[str, str] | None = None, lines: int = LINES) -> None:
        self._terminal = pyte.Screen(COLUMNS, lines)
        self._stream = pyte.Stream(self._terminal)
        self.scrolled = ""
        line = ["-c", "from gen.cli import main; main()", *words]
        everything = os.environ | {"TERM": "xterm", "PYTHONUNBUFFERED": "1"} | (environment or {})
        self.child = pexpect.spawn(
            sys.executable, line, env=everything, dimensions=(lines, COLUMNS), encoding="utf-8", timeout=1
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.child.close(force=True)

    @property
    def screen(self) -> str:
        return "\n".join(line.rstrip() for line in self._terminal.display)

    def type(self, keys: str) -> None:
        self.child.send(keys)

    def read(self) -> bool:
        """Draw what has come; False at the end."""
        try:
            text = self.child.read_nonblocking(4096, 0.05)
        except pexpect.TIMEOUT:
            return True
        except pexpect.EOF:
            return False
        self.scrolled += text
        self._stream.feed(text)
        return True

    def until(self, words: str, seconds: float = 60, meanwhile: Callable[[], None] = lambda: None) -> None:
        """Wait until these words were drawn since the last such wait, and forget what came before them."""
        deadline = time.monotonic() + seconds
        while words not in self.scrolled:
            if time.monotonic() > deadline or not self.read():
                pytest.fail(f"{words!r} never came:\n{self.scrolled}\n---\n{self.screen}")
            meanwhile()
        self.scrolled = self.scrolled.partition(words)[2]

    def end(self, seconds: float = 60) -> int:
        """Wait for its end; the exit code."""
        deadline = time.monotonic() + seconds
        while self.read():
            if time.monotonic() > deadline:
                pytest.fail(f"it does not end:\n{self.screen}")
        self.child.close()
        return int(self.child.exitstatus if self.child.exitstatus is not None else -1)
