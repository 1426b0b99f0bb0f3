"""Runs chosen tests against one mutant after another, in a process that has read everything else beforehand.

Each worker has a copy of the tree. For a mutant it puts the changed file there and forks; the child imports application and
tests, and runs the chosen tests until one fails. No bytecode of the changed file is ever kept.
"""

from __future__ import annotations

import gc
import importlib
import os
import resource
import select
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.campaigns.mutant_making import Mutation, mutant

COPIED = ("gen", "sim", "firmware_templates", "boards", "tests", "pyproject.toml")
# What takes long to read and does not change: everything but the application and the tests.
READ_BEFORE = (
    "numpy", "pytest", "hypothesis.stateful", "jinja2", "simpy", "littlefs", "pioemu", "adafruit_pioasm",
    "gen.firmware", "gen.timing", "gen.link.messages", "sim.bench.world", "sim.replay.playback",
)  # fmt: skip
# A test may take so much processor time, and so many times what it takes on the unchanged files; a mutant so much time in all.
LEAST_S, MANY_TIMES, UNMEASURED_S = 1.0, 5, 2.0
PER_MUTANT_S = 120
MOST_BYTES = 4 << 30

CAUGHT, TIMED_OUT, SURVIVED = "caught", "timed out", "survived"
WHY_UNFIT = {CAUGHT: "fails", TIMED_OUT: "takes too long"}
_WITHOUT = ("cacheprovider", "faulthandler", "unraisableexception", "threadexception", "junitxml", "pastebin")
PYTEST = ("-x", "-q", "--tb=no", "--assert=plain", "-o", "addopts=", *(f"-pno:{name}" for name in _WITHOUT))


@dataclass(frozen=True)
class Trial:
    """What became of a mutation. `by`: the test that failed, or why there was nothing to try."""

    mutation: Mutation
    outcome: str
    by: str
    seconds: float
    line: str
    becomes: str


class _Watcher:
    """A plugin of pytest: likeliest killers first, a limit on each test's time, and a line for each test that begins."""

    def __init__(self, likely: Counter[str], costs: dict[str, float], note: int) -> None:
        self.likely = likely
        self.costs = costs
        self.note = note
        self.group = 0

    def tell(self, name: str) -> None:
        os.write(self.note, f"{self.group} {time.process_time():.3f} {name}\n".encode())

    def limit(self, name: str) -> None:
        """End the process when it takes too long from now on."""
        signal.setitimer(signal.ITIMER_PROF, LEAST_S + MANY_TIMES * self.costs.get(name, UNMEASURED_S))

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        items.sort(key=lambda item: -self.likely[item.nodeid])

    def pytest_runtest_protocol(self, item: Any) -> None:
        self.tell(item.nodeid)
        self.limit(item.nodeid)

    def pytest_collectreport(self, report: Any) -> None:
        if report.failed:
            self.tell(report.nodeid)


class Worker:
    """One copy of the tree, in this process alone."""

    def __init__(self, root: Path, folder: Path, tests: dict[str, list[list[str]]]) -> None:
        self.tests = tests
        self.killers: dict[str, Counter[str]] = defaultdict(Counter)  # by file, of each test
        self.costs: dict[str, float] = {}  # of each test on the unchanged files, in seconds
        self.last_group: dict[str, int] = {}  # by function, the place of the tests that last caught something
        self.unfit = ""  # why nothing can be tried
        self.folder = Path(tempfile.mkdtemp(dir=folder))
        for name in COPIED:
            if (root / name).is_dir():
                shutil.copytree(root / name, self.folder / name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(root / name, self.folder / name)
        self.templates = self.folder / "firmware_templates"
        os.chdir(self.folder)
        os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
        os.environ["PYTHONPATH"] = str(self.folder)
        sys.path[:0] = [str(self.folder)]
        sys.dont_write_bytecode = True
        for name in READ_BEFORE:
            importlib.import_module(name)
        gen = sys.modules["gen"]
        assert gen.__file__ is not None
        assert Path(gen.__file__).is_relative_to(self.folder), f"reads {gen.__file__}, not its copy"
        from hypothesis import Phase, settings

        phases = (Phase.explicit, Phase.generate)  # what fails need not be made small
        settings.register_profile("mutants", deadline=None, derandomize=True, database=None, phases=phases)
        settings.load_profile("mutants")
        gc.collect()
        gc.freeze()

    def prepare(self) -> None:
        """Keep the tests' own bytecode, and run them all once on the unchanged files."""
        everything = {tuple(group): group for groups in self.tests.values() for group in groups}
        sys.dont_write_bytecode = False
        outcome, told = self._forked(list(everything.values()), Counter(), 600)
        sys.dont_write_bytecode = True
        for cache in self.templates.rglob("__pycache__"):
            shutil.rmtree(cache)
        if outcome != SURVIVED:
            self.unfit = f"nothing was tried: on the unchanged files {told[-1][2]} {WHY_UNFIT[outcome]}"
        for this, following in zip(told, told[1:]):
            self.costs[this[2]] = float(following[1]) - float(this[1])

    def trial(self, mutation: Mutation) -> Trial:
        """Make the mutant, try it, and put the file back. SystemExit, of one line, where the tests are not fit for it."""
        if self.unfit:
            raise SystemExit(self.unfit)
        began = time.monotonic()
        changed = mutant(self.templates, mutation)
        if isinstance(changed, str):
            return Trial(mutation, "none", changed, 0, "", "")
        file = self.templates / mutation.path
        original = file.read_text(encoding="utf-8")
        where = f"{mutation.path} {mutation.function}"
        groups = list(enumerate(self.tests[mutation.path]))
        groups.sort(key=lambda group: group[0] != self.last_group.get(where, -1))
        file.write_text(changed.text, encoding="utf-8")
        try:
            outcome, told = self._forked([group for _, group in groups], self.killers[mutation.path], PER_MUTANT_S)
        finally:
            file.write_text(original, encoding="utf-8")
        at, _, by = told[-1]
        if outcome == SURVIVED:
            by = ""
        else:
            self.killers[mutation.path][by] += 1
            self.last_group[where] = groups[int(at)][0]
        return Trial(mutation, outcome, by, round(time.monotonic() - began, 2), changed.line, changed.becomes)

    def _forked(self, groups: list[list[str]], likely: Counter[str], limit_s: float) -> tuple[str, list[list[str]]]:
        """Run groups of tests in a child until one fails. Outcome; and group, time and name of each test that began."""
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reading)
            _run(groups, _Watcher(likely, self.costs, writing))
        os.close(writing)
        told, ends = b"", time.monotonic() + limit_s
        while True:
            ready, _, _ = select.select([reading], [], [], max(0.0, ends - time.monotonic()))
            piece = os.read(reading, 4096) if ready else b""
            if not piece:
                break
            told += piece
        if not ready:
            os.kill(child, signal.SIGKILL)
        os.close(reading)
        _, status = os.waitpid(child, 0)
        lines = [line.split(" ", 2) for line in told.decode().splitlines()] or [["0", "0", "nothing"]]
        if os.WIFSIGNALED(status):
            return TIMED_OUT, lines
        code = os.waitstatus_to_exitcode(status)
        if code not in (0, 1):
            raise RuntimeError(f"pytest ended with {code}: {lines[-1]}")
        return (CAUGHT if code else SURVIVED), lines


def _run(groups: list[list[str]], watcher: _Watcher) -> None:
    """The child: ends the process, with 0 where every test passed and 1 where one failed."""
    import pytest

    code = 99
    try:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        # This module was read from the tree itself, and the rest may hold the unchanged file: read both from the copy.
        for name in [name for name in sys.modules if name.split(".")[0] in ("tests", "firmware_templates")]:
            del sys.modules[name]
        watcher.limit("reading the tests")
        code = 0
        for watcher.group, group in enumerate(groups):
            code = int(pytest.main([*PYTEST, *group], plugins=[watcher]))
            if code == pytest.ExitCode.INTERRUPTED:
                code = 1  # an error while the tests were read
            if code:
                break
        else:
            watcher.tell("end")
    except BaseException as error:
        watcher.tell(repr(error))
    finally:
        os._exit(code)
