"""Writing: the old or the new at each instant, nothing else touched. Killed at each system call; POSIX rename is the outside."""

from __future__ import annotations

import os
import resource
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import gen.writing
from gen.errors import InputError
from gen.firmware import MARK, FirmwareBundle
from gen.writing import check_bundle_folder, check_targets, write_bundle, write_whole

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a process to kill")

CALLS = ("open", "write", "fsync", "close", "fchmod", "replace", "rename", "mkdir", "unlink", "rmdir")
OLD = FirmwareBundle({"main.py": f"# {MARK}\nold\n", "app/one.py": "old\n"})
NEW = FirmwareBundle({"main.py": f"# {MARK}\nnew\n", "app/one.py": "new\n", "app/two.py": "new\n"})


def in_child(work: Callable[[], None]) -> int:
    """The exit code of a process that does `work`: 0 done, 1 it raised."""
    child = os.fork()
    if child == 0:
        try:
            work()
        except BaseException:
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed_at(n: int, work: Callable[[], None]) -> bool:
    """Do `work` in a process that dies just before its system call number `n`; whether it came so far."""

    def dying() -> None:
        made = 0

        def wrapped(real: Callable[..., Any]) -> Callable[..., Any]:
            def call(*given: Any, **named: Any) -> Any:
                nonlocal made
                made += 1
                if made == n:
                    os._exit(9)
                return real(*given, **named)

            return call

        for name in CALLS:
            setattr(os, name, wrapped(getattr(os, name)))
        gen.writing._exchange = wrapped(gen.writing._exchange)
        work()

    code = in_child(dying)
    assert code in (0, 9)
    return code == 9


def held(folder: Path) -> dict[str, str]:
    return {path.relative_to(folder).as_posix(): path.read_text() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("earlier", [True, False])
def test_a_file_killed_at_each_call(tmp_path: Path, earlier: bool) -> None:
    """The file is the old or the new one, whole; the next write goes through."""
    path = tmp_path / "report.html"
    old = "old\n" * 100 if earlier else None
    seen = set()
    for n in range(1, 100):
        path.unlink(missing_ok=True)
        if old is not None:
            path.write_text(old)
        cut = killed_at(n, lambda: write_whole(path, "new\n" * 100))
        there = path.read_text() if path.exists() else None
        assert there in (old, "new\n" * 100)
        seen.add(there)
        if not cut:
            break
    assert n > 5
    assert seen == {old, "new\n" * 100}
    write_whole(path, "newer")
    assert path.read_text() == "newer"


@pytest.mark.parametrize("exchange", [True, False])
def test_a_bundle_killed_at_each_call(tmp_path: Path, exchange: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder holds the old or the new firmware, whole; without an exchange, after the next command has looked at it."""
    if not exchange:
        monkeypatch.setattr(gen.writing, "_exchange", lambda one, other: False)
    seen = []
    for n in range(1, 200):
        folder = tmp_path / f"{n}" / "firmware"
        write_bundle(folder, OLD)
        cut = killed_at(n, lambda folder=folder: write_bundle(folder, NEW))
        if not exchange:
            check_bundle_folder(folder, NEW)
        there = held(folder)
        assert there in (OLD.files, NEW.files), n
        seen.append(there == NEW.files)
        if not cut:
            break
        write_bundle(folder, NEW)
        assert held(folder) == NEW.files
    assert n > 15
    assert seen == sorted(seen)
    assert seen[-1]
    assert not seen[0]
    assert os.listdir(folder.parent) == ["firmware"]


def test_a_disk_that_fills(tmp_path: Path) -> None:
    """The system's limit on a file's size stands for the disk: the file is named, the old one stays, no part is left."""
    path = tmp_path / "report.html"
    path.write_text("old")

    def full() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (5000, 5000))
        with pytest.raises(
            InputError, match=r"^report\.html: cannot be written; File too large; allowed: a place with room"
        ):
            write_whole(path, "n" * 9000)
        with pytest.raises(InputError, match=r"^firmware: cannot be written; File too large"):
            write_bundle(tmp_path / "firmware", FirmwareBundle({"main.py": "n" * 9000}))

    write_bundle(tmp_path / "firmware", OLD)
    assert in_child(full) == 0
    assert path.read_text() == "old"
    assert held(tmp_path / "firmware") == OLD.files
    assert sorted(os.listdir(tmp_path)) == ["firmware", "report.html"]


def test_nothing_of_the_users_is_written_through(tmp_path: Path) -> None:
    """A link where the part once had its fixed name, and one in place of the file itself."""
    mine = tmp_path / "mine.txt"
    mine.write_text("mine")
    (tmp_path / "report.html.part").symlink_to(mine)
    write_whole(tmp_path / "report.html", "new")
    (tmp_path / "link.html").symlink_to(mine)
    for refuse in (
        lambda: write_whole(tmp_path / "link.html", "new"),
        lambda: check_targets({"--report": tmp_path / "link.html"}, ()),
    ):
        with pytest.raises(InputError, match="this is a link to another place; allowed: a file name"):
            refuse()
    assert mine.read_text() == "mine"
    assert (tmp_path / "link.html").is_symlink()


def test_a_pipe_is_not_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="this is a pipe or a device; allowed: a file name"):
        write_whole(tmp_path / "pipe", "new")
    with pytest.raises(InputError, match="this is a pipe or a device"):
        check_targets({"--report": Path("/dev/null")}, ())
    assert (tmp_path / "pipe").is_fifo()


def test_permissions_stay(tmp_path: Path) -> None:
    """A file that only its owner may read stays so."""
    path = tmp_path / "welder.toml"
    path.write_text("old")
    path.chmod(0o600)
    write_whole(path, "new")
    assert path.stat().st_mode & 0o777 == 0o600
