"""A write that is killed, or fails, at each of its system calls in turn (`strace`, its fault injection: man 1 strace)."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.support.one_write import BEGIN, END, WRITES, state

STRACE = shutil.which("strace")
CALLS = (
    "openat", "write", "pwrite64", "fsync", "fdatasync", "rename", "renameat", "renameat2", "mkdir", "unlink", "unlinkat",
    "rmdir", "ftruncate", "fchmod", "close", "lseek", "fcntl", "pread64",
)  # fmt: skip
FAILURES = ("ENOSPC", "EIO")
_MAY_FAIL = ("openat", "write", "pwrite64", "fsync", "fdatasync", "rename", "renameat2", "mkdir", "ftruncate")
_LINE = re.compile(r"^\d+ +(?:<\.\.\. )?(\w+)")


@dataclass(frozen=True)
class Strike:
    """At the `number`-th call of this name the write is killed, or the call fails with `error`."""

    kind: str
    call: str
    number: int
    error: str | None

    @property
    def what(self) -> str:
        return f"{self.kind}: {self.call} {self.number} {self.error or 'killed'}"


def strikes(kind: str, folder: Path) -> Iterator[Strike]:
    """Every strike at a write of this kind, found by tracing one that nothing disturbs."""
    folder.mkdir()
    WRITES[kind][0](folder)
    trace = folder / "trace"
    assert STRACE is not None
    _run([STRACE, "-f", "-o", str(trace), "-e", f"trace={','.join(CALLS)},stat,newfstatat"], kind, folder)
    seen: Counter[str] = Counter()
    inside = False
    for line in trace.read_text(errors="replace").splitlines():
        inside = (inside or BEGIN in line) and END not in line
        found = _LINE.match(line)
        if found is None or found[1] not in CALLS:
            continue
        seen[found[1]] += 1
        if inside:
            yield Strike(kind, found[1], seen[found[1]], None)
            if found[1] in _MAY_FAIL:
                for error in FAILURES:
                    yield Strike(kind, found[1], seen[found[1]], error)


def complaint(strike: Strike, folder: Path) -> tuple[str, str | None]:
    """What was there afterwards, and what is wrong with that or with what was said, or None.

    Right is: the old or the new, and the next write of the kind does its work; a failure is told in one line.
    """
    folder.mkdir()
    WRITES[strike.kind][0](folder)
    before = state(strike.kind, folder)
    what = "signal=KILL" if strike.error is None else f"error={strike.error}"
    assert STRACE is not None
    inject = f"inject={strike.call}:{what}:when={strike.number}"
    done = _run([STRACE, "-f", "-o", "/dev/null", "-e", f"trace={strike.call}", "-e", inject], strike.kind, folder)
    came = state(strike.kind, folder)
    emptied = ["old"] if strike.kind == "new-records" else []  # a file without a row, or without a table yet
    if came not in (before, "new", *emptied):
        return came, f"{before} became {came}"
    if strike.error is not None and done.returncode not in (0, 2):
        return came, f"exit code {done.returncode}: {(done.stdout + done.stderr)[-300:]}"
    if (
        strike.error is not None
        and done.returncode == 2
        and (done.stdout.count("\n") != 1 or "allowed: " not in done.stdout)
    ):
        return came, f"says {done.stdout[-300:]}"
    if strike.kind != "rescue" or came == "nothing":
        WRITES[strike.kind][1](folder)
    after = state(strike.kind, folder)
    return came, None if after == "new" else f"the next write leaves {after}"


def _run(tracer: list[str], kind: str, folder: Path) -> subprocess.CompletedProcess[str]:
    line = [*tracer, sys.executable, "-m", "tests.support.one_write", kind, str(folder)]
    return subprocess.run(line, capture_output=True, text=True, timeout=120, check=False)
