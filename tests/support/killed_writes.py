"""A write that is killed, or fails, at each of its system calls in turn (`strace`, its fault injection: man 1 strace)."""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import signal
import subprocess
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

from tests.support import one_write
from tests.support.one_write import BEGIN, END, WRITES, state

STRACE = shutil.which("strace")
# Those that change what is on the disk: between two of them a kill leaves what it leaves at the second.
CALLS = (
    "openat", "write", "pwrite64", "fsync", "fdatasync", "rename", "renameat", "renameat2", "mkdir", "unlink", "unlinkat",
    "rmdir", "ftruncate", "fchmod",
)  # fmt: skip
FAILURES = ("ENOSPC", "EIO")
_MAY_FAIL = ("openat", "write", "pwrite64", "fsync", "fdatasync", "rename", "renameat2", "mkdir", "ftruncate")
_LINE = re.compile(r"(\w+)\(")
_ANY_TRACER = 0x59616D61  # PR_SET_PTRACER of linux/prctl.h, for a kernel that lets only a parent look on


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
    for place in (folder.with_name(f"{folder.name}-first"), folder):  # the first of its kind may import something
        place.mkdir()
        WRITES[kind][0](place)
        WRITES[kind][1](place) if place != folder else None
    trace = folder / "trace"
    _traced(kind, folder, ["-o", str(trace), "-e", f"trace={','.join(CALLS)},stat,newfstatat"])
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

    Right is: the old or the new, and the next write of the kind does its work; a failure is reported in one line.
    """
    folder.mkdir()
    WRITES[strike.kind][0](folder)
    before = state(strike.kind, folder)
    what = "signal=KILL" if strike.error is None else f"error={strike.error}"
    inject = f"inject={strike.call}:{what}:when={strike.number}"
    code, said = _traced(strike.kind, folder, ["-o", "/dev/null", "-e", f"trace={strike.call}", "-e", inject])
    came = state(strike.kind, folder)
    emptied = ["old"] if strike.kind == "new-records" else []  # a file without a row, or without a table yet
    if came not in (before, "new", *emptied):
        return came, f"{before} became {came}"
    if strike.error is None and code != -signal.SIGKILL:
        return came, f"was not killed: {code}, {said[-300:]}"
    if strike.error is not None and code not in (0, 2):
        return came, f"exit code {code}: {said[-300:]}"
    if strike.error is not None and code == 2 and (said.count("\n") != 1 or "allowed: " not in said):
        return came, f"says {said[-300:]}"
    if strike.kind != "rescue" or came == "nothing":
        WRITES[strike.kind][1](folder)
    after = state(strike.kind, folder)
    return came, None if after == "new" else f"the next write leaves {after}"


def _traced(kind: str, folder: Path, options: list[str]) -> tuple[int, str]:
    """Exit code of the write, negative where a signal ended it, and what it printed; `strace` looks on from its beginning."""
    assert STRACE is not None
    said = folder.with_name(f"{folder.name}.said")
    waits, go = os.pipe()
    child = os.fork()  # and not a new interpreter, of whose thousand calls each would be looked at
    if child == 0:
        ctypes.CDLL(None).prctl(_ANY_TRACER, ctypes.c_ulong(-1))
        code = 1
        try:
            os.read(waits, 1)  # until it is looked on: what it does before is not counted
            with said.open("w") as out, redirect_stdout(out), redirect_stderr(out):
                try:
                    code = one_write.main(kind, str(folder))
                except BaseException:
                    traceback.print_exc()
        finally:
            os._exit(code)
    command = [STRACE, "-p", str(child), *options]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as tracer:
        assert tracer.stderr is not None
        first = tracer.stderr.readline()
        os.write(go, b"x")
        _, status = os.waitpid(child, 0)
        assert "attached" in first, first
    os.close(waits)
    os.close(go)
    return os.waitstatus_to_exitcode(status), said.read_text()
