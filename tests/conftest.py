"""What every test may ask for, and what steps aside on a platform that lacks its ground."""

from __future__ import annotations

import sys
from collections import Counter
from importlib.util import find_spec
from pathlib import Path

import pytest

from gen.boards import Board, boards

# Folders and files that cannot even be read where something is missing, and what.
_NEEDS = {
    "firmware/rp2": ("the PIO assembler, which is for Linux", find_spec("adafruit_pioasm") is not None),
    "gen/link/test_unix_board.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/cli/test_commission.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/link/test_client.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/link/test_flashing.py": ("pseudo-terminals", sys.platform != "win32"),
}
collect_ignore = [name for name, (_, there) in _NEEDS.items() if not there]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say once, at the end, what was left out on this machine, and why."""
    for name, (what, there) in _NEEDS.items():
        if not there:
            terminalreporter.write_line(f"left out: tests/{name}: it needs {what}")
    skipped = {report.nodeid: report.longrepr for report in terminalreporter.getreports("skipped")}
    reasons = Counter(str(why[2]).removeprefix("Skipped: ") for why in skipped.values() if isinstance(why, tuple))
    for reason, number in reasons.items():
        terminalreporter.write_line(f"left out: {number} tests: {reason}")


@pytest.fixture
def pico() -> Board:
    return boards()["pico"]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to stand in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path
