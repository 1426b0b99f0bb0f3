"""A folder as a user has it, and the emitted firmware on a MicroPython that answers on a pseudo-terminal."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support.cli.command_line import SCHEDULE, WELDER, Outcome, replaced, typed
from tests.support.link.unix_board import UnixBoard

__all__ = [
    "MISSING",
    "OTHER",
    "SCHEDULE",
    "WELDER",
    "Outcome",
    "UnixBoard",
    "bare",
    "command",
    "replaced",
    "shop",
    "typed",
    "until",
]

MISSING = sys.platform == "win32" or importlib.util.find_spec("micropython_unix") is None
OTHER = replaced(
    replaced(SCHEDULE, "current_percent = 85", "current_percent = 80"), 'weld = "20 cycles"', 'weld = "12 cycles"'
)


def shop(folder: Path) -> None:
    """A welder file, two schedules and the firmware of the first, and we stand in it."""
    folder.mkdir(parents=True, exist_ok=True)
    os.chdir(folder)
    (folder / "welder.toml").write_text(WELDER)
    (folder / "job.toml").write_text(SCHEDULE)
    (folder / "other.toml").write_text(OTHER)
    assert typed(["build", "job.toml", "-o", "firmware"]).code == 0


def bare(text: str) -> str:
    """What was printed, without the cautions."""
    return "".join(line for line in text.splitlines(True) if not line.startswith(("- ", "  - ")))


def command(*words: str, stdin: int | None = None) -> subprocess.Popen[str]:
    """A command in a process of its own, as from a shell."""
    line = [sys.executable, "-c", "from gen.cli import main; main()", *words]
    return subprocess.Popen(line, stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def until(what: Callable[[], bool], seconds: float = 10) -> None:
    """Wait for something to become so."""
    deadline = time.monotonic() + seconds
    while not what():
        if time.monotonic() > deadline:
            pytest.fail("waited in vain")
        time.sleep(0.02)
