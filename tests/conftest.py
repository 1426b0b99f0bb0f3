"""What every test may ask for, and what steps aside on a platform that lacks its ground."""

from __future__ import annotations

import os
import signal
import sys
from collections import Counter
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from gen.boards import Board, boards

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command has it
# Or each worker, and each command under test, would compile everything anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# Folders and files that cannot even be read where something is missing, and what.
_NEEDS = {
    "firmware/rp2": ("the PIO assembler, which is for Linux", find_spec("adafruit_pioasm") is not None),
    "gen/link/test_unix_board.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/cli/test_commission.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/link/test_client.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/cli/test_trial_run.py": ("pseudo-terminals", sys.platform != "win32"),
    "gen/link/test_flashing.py": ("pseudo-terminals", sys.platform != "win32"),
}
# Scopes of eight processor seconds and more, the longest first; folders whose files share their runs.
_LONG = [
    "tests/gen/page/test_by_the_keyboard.py",
    "tests/gen/page/test_in_the_browser.py",
    "tests/gen/cli/test_commission.py",
    "tests/sim/replay/test_replay_schedules.py",
    "tests/gen/page/test_trials_and_joint.py",
    "tests/gen/cli/test_programs.py",
    "tests/gen/cli/test_joint.py",
    "tests/gen/trials/test_running.py",
    "tests/firmware/test_emitted.py",
    "tests/gen/cli/test_trial.py",
    "tests/gen/cli/test_trial_run.py",
    "tests/gen/test_paper.py",
    "tests/sim/report",
    "tests/gen/link/test_unix_board.py",
    "tests/gen/page/test_commission_room.py",
    "tests/gen/page/test_every_address.py",
    "tests/firmware/app/test_mutants.py",
    "tests/gen/cli/test_faults.py",
    "tests/gen/page/test_schedule_room.py",
    "tests/gen/page/test_board_room.py",
    "tests/gen/page/test_door.py",
    "tests/gen/wiring/test_wiring.py",
    "tests/gen/cli/test_begin.py",
    "tests/outside/test_dial_in.py",
    "tests/gen/cli/test_commands.py",
    "tests/firmware/rp2/test_world_gates.py",
    "tests/gen/wiring/test_interface_document.py",
    "tests/gen/wiring/test_choosing.py",
    "tests/sim/faults/test_broken_parts.py",
    "tests/outside/test_thermal.py",
    "tests/sim/verdict/test_summary.py",
    "tests/sim/verdict/test_heat.py",
    "tests/outside/test_joint_rows.py",
    "tests/sim/joint/test_sites.py",
    "tests/sim/test_sweep_machines.py",
    "tests/outside/test_joint_elements.py",
]
_SHARING = ["tests/sim/report"]
collect_ignore = [name for name, (_, there) in _NEEDS.items() if not there]


def pytest_configure() -> None:
    """A shell's background job ignores Ctrl-C, and so would every program under test, which inherits that."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say once, at the end, what was left out on this machine, and why."""
    for name, (what, there) in _NEEDS.items():
        if not there:
            terminalreporter.write_line(f"left out: tests/{name}: it needs {what}")
    skipped = {report.nodeid: report.longrepr for report in terminalreporter.getreports("skipped")}
    reasons = Counter(str(why[2]).removeprefix("Skipped: ") for why in skipped.values() if isinstance(why, tuple))
    for reason, number in reasons.items():
        terminalreporter.write_line(f"left out: {number} tests: {reason}")


def _scope(nodeid: str) -> str:
    """What of the suite goes to one worker as a whole: a file, or a folder whose files share their runs."""
    file = nodeid.partition("::")[0]
    return next((folder for folder in _SHARING if file.startswith(f"{folder}/")), file)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The long ones first, so that no worker begins one when the others have nothing left; then those of most tests."""
    scopes = [_scope(item.nodeid) for item in items]
    tests = Counter(scopes)
    place = {scope: (_LONG.index(scope) if scope in _LONG else len(_LONG), -tests[scope]) for scope in tests}
    order = sorted(range(len(items)), key=lambda n: place[scopes[n]])
    items[:] = [items[n] for n in order]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Files to workers as above, in the order above."""
    from xdist.scheduler import LoadScopeScheduling

    class ByScope(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return _scope(nodeid)

    config.option.loadscopereorder = False
    return ByScope(config, log)


@pytest.fixture
def pico() -> Board:
    return boards()["pico"]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to stand in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path
