"""Writes files whole or not at all, and never over the user's own files.

At every instant, even if the program is killed or the power fails, either the old file or the new one is there.
"""

from __future__ import annotations

import ctypes
import os
import secrets
import shutil
import stat
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from gen.errors import InputError
from gen.firmware import MARK, FirmwareBundle
from gen.user_files import written

T = TypeVar("T")
_MARK_WITHIN = 65_536  # bytes
_MOST_CACHED = 1_000_000  # bytes of a file that is read back; ours have ten thousand
_BUNDLE_ALLOWED = "allowed: a new or empty folder, or one with an earlier firmware and nothing else"


def refused(what: str, path: Path, why: str) -> InputError:
    """The error for a path on the command line."""
    return InputError("command line", what, written(str(path)), why)


def check_targets(targets: Mapping[str, Path | None], keep: Iterable[Path]) -> None:
    """Raise InputError if a file cannot be written, or would replace one of `keep` or another target."""
    taken = {path.resolve(): "a file that this command reads" for path in keep}
    for option, path in targets.items():
        if path is None:
            continue
        if path.is_dir():
            raise refused(option, path, "this is a folder; allowed: a file name")
        _check_plain(option, path)
        if not path.absolute().parent.is_dir():
            raise refused(option, path, "its folder does not exist; allowed: a file in an existing folder")
        place = path.resolve()
        if place in taken:
            raise refused(option, path, f"this is {taken[place]}; allowed: a file of its own")
        taken[place] = f"also the file of {option}"


def check_folder(what: str, folder: Path) -> None:
    """Raise InputError if `folder` is no folder and cannot be made."""
    if folder.exists() and not folder.is_dir():
        raise refused(what, folder, "this is a file; allowed: a folder")
    above = next((parent for parent in folder.absolute().parents if parent.exists()), folder)
    if not above.is_dir():
        raise refused(what, folder, f"{above.name} is a file; allowed: a folder below another folder")


def check_drawn(option: str, output: Path | None, ending: str, keep: Iterable[Path]) -> None:
    """Raise InputError if a drawing or list cannot be written there. `ending` protects files of other types."""
    check_targets({option: output}, keep)
    if output is not None and output.suffix.lower() != ending:
        raise refused(option, output, f"allowed: a name that ends in {ending}")


def check_own_folder(what: str, folder: Path, texts: Mapping[str, str]) -> None:
    """Raise InputError unless the folder is new or empty, or has files of `texts`, unchanged."""
    check_folder(what, folder)
    if not folder.is_dir() or not any(folder.iterdir()):
        return
    there = [name for name in texts if (folder / name).exists()]
    if not there:
        raise refused(what, folder, "holds other files; allowed: a folder, new or empty")
    for name in there:
        if not _holds_just(folder / name, texts[name].encode()):
            why = f"{name} in it is not the demonstration's own; allowed: a folder, new or empty"
            raise refused(what, folder, why)


def check_without(what: str, folder: Path, names: Iterable[str]) -> None:
    """Raise InputError if `folder` has one of these files, or cannot be made."""
    check_folder(what, folder)
    for name in names:
        if (folder / name).exists():
            raise refused(what, folder, f"{name} is in it already; allowed: a folder without one")


def _check_plain(what: str, path: Path) -> None:
    """Raise InputError for a link, a pipe or a device: none is replaced or followed."""
    if path.is_symlink():
        raise refused(what, path, "this is a link to another place; allowed: a file name")
    if path.exists() and not path.is_file():
        raise refused(what, path, "this is a pipe or a device; allowed: a file name")


def write_whole(path: Path, content: str | bytes) -> None:
    """Write `content`, text as UTF-8, to a new file next to `path`, sync it to the disk, and rename it to `path`.

    Raises InputError, which names `path`, if that fails; an earlier file is then unchanged.
    """
    _check_plain("output", path)
    part = _beside(path, ".part")
    try:
        mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else None
        _write_new(part, content if isinstance(content, bytes) else content.encode(), mode)
        os.replace(part, path)
    except OSError as error:
        _remove(part)
        raise _cannot_write(path, error) from None
    except BaseException:
        _remove(part)
        raise
    _sync_folder(path.absolute().parent)


def _beside(path: Path, ending: str) -> Path:
    """A new name next to `path`, which cannot be guessed."""
    return path.with_name(f".{path.name[:100]}-{secrets.token_hex(8)}{ending}")


def _cannot_write(path: Path, error: OSError) -> InputError:
    why = f"{error.strerror}; allowed: a place with room that you may write to; what was there is as it was"
    return InputError(path, "cannot be written", None, why)


def _write_new(path: Path, content: bytes, mode: int | None = None) -> None:
    """Write a new file and sync it to the disk. Raises OSError, also if the file exists."""
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    file = os.open(path, flags, 0o666)
    try:
        if mode is not None and hasattr(os, "fchmod"):
            os.fchmod(file, mode)
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(file, rest) :]
        os.fsync(file)
    finally:
        os.close(file)


def _sync_folder(folder: Path) -> None:
    """Sync the names in a folder to the disk, if the system can."""
    with suppress(OSError):
        file = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(file)
        finally:
            os.close(file)


def _remove(path: Path) -> None:
    with suppress(OSError):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            os.unlink(path)


def files_below(folder: Path) -> Iterator[Path]:
    """The files and links below a folder. Links are not followed.

    They come one at a time, so that a search for a foreign file does not first read a whole disk.
    """
    for root, folders, names in os.walk(folder):
        folders.sort()
        yield from (Path(root, name) for name in sorted(names))
        yield from (Path(root, name) for name in folders if Path(root, name).is_symlink())


def made_here(path: Path, mark: str) -> bool:
    """Whether `path` is a file, not a link, with this program's `mark` near its beginning."""
    return mark.encode() in _beginning(path, _MARK_WITHIN)


def _holds_just(path: Path, content: bytes) -> bool:
    return not path.is_symlink() and path.is_file() and _beginning(path, len(content) + 1) == content


def _beginning(path: Path, most: int) -> bytes:
    """The first bytes of a regular file; empty for a link, a pipe, a device, or an unreadable file."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    with suppress(OSError):
        file = os.open(path, flags)
        with os.fdopen(file, "rb") as opened:
            if stat.S_ISREG(os.fstat(file).st_mode):
                return opened.read(most)
    return b""


def check_bundle_folder(folder: Path, bundle: FirmwareBundle, what: str = "--output") -> None:
    """Raise InputError if `folder` has anything but an earlier bundle of the same files."""
    _put_back(folder.resolve())
    check_folder(what, folder)
    if folder.resolve() in (Path.cwd(), *Path.cwd().parents):
        raise refused(what, folder, "you are in this folder; allowed: another one, such as firmware")
    if not folder.is_dir():
        return
    found = False
    for path in files_below(folder):
        found, name = True, path.relative_to(folder).as_posix()
        if name not in bundle.files or path.is_symlink():
            raise refused(what, folder, f"holds other files ({name}); {_BUNDLE_ALLOWED}")
    if found and not made_here(folder / "main.py", MARK):
        raise refused(what, folder, f"holds files that Weldbeat did not make; {_BUNDLE_ALLOWED}")


def write_bundle(folder: Path, bundle: FirmwareBundle) -> None:
    """Write the bundle to a new folder, and exchange it with `folder` in one step.

    Raises InputError if that fails; an earlier bundle is then unchanged.
    """
    place = folder.resolve()
    new = _beside(place, ".new")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        _put_back(place)
        os.mkdir(new)
        for name, text in bundle.files.items():
            file = new / name
            file.parent.mkdir(parents=True, exist_ok=True)
            _write_new(file, text.encode())
        for below in (new, *(path for path in new.rglob("*") if path.is_dir())):
            _sync_folder(below)
        if not place.exists():
            os.rename(new, place)
        elif not _exchange(new, place):
            _in_two_steps(new, place)
    except OSError as error:
        raise _cannot_write(folder, error) from None
    finally:
        _remove(new)
    _sync_folder(place.parent)


# Of linux/fs.h and linux/fcntl.h.
_RENAME_EXCHANGE = 2
_HERE = -100


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two names in one step. False if the system or its disk cannot."""
    if not sys.platform.startswith("linux"):
        return False
    renameat2 = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    return renameat2 is not None and not renameat2(
        _HERE, os.fsencode(one), _HERE, os.fsencode(other), ctypes.c_uint(_RENAME_EXCHANGE)
    )


def _earlier(place: Path) -> Path:
    """The name of a folder while another replaces it, always the same, so that the next call finds it."""
    return place.with_name(f".{place.name}-earlier")


def _in_two_steps(new: Path, place: Path) -> None:
    """The same without an exchange. If the program is killed between the steps, the next call restores the earlier folder."""
    earlier = _earlier(place)
    os.rename(place, earlier)
    try:
        os.rename(new, place)
    except OSError:
        os.rename(earlier, place)
        raise
    _discard(earlier)


def _discard(earlier: Path) -> None:
    """Remove an earlier folder. It loses its name in one step, so that half of it is never restored."""
    gone = _beside(earlier, ".gone")
    os.rename(earlier, gone)
    _remove(gone)


def _put_back(place: Path) -> None:
    """Finish the work of a killed program: restore an earlier folder if `place` is missing, else remove it."""
    earlier = _earlier(place)
    if not earlier.is_dir() or earlier.is_symlink():
        return
    if place.exists():
        if made_here(earlier / "main.py", MARK):
            _discard(earlier)
    else:
        with suppress(OSError):
            os.rename(earlier, place)


def cached(name: str, read: Callable[[str], T | None], make: Callable[[], T], text_of: Callable[[T], str]) -> T:
    """What was kept under this name among what this user's programs can compute again; otherwise what `make` computes, kept then.

    `read` gives None for a text that is not of it. A place that cannot be read or written costs only the time.
    """
    place = os.environ.get("LOCALAPPDATA" if os.name == "nt" else "XDG_CACHE_HOME", "")
    kept = (Path(place) if place else Path.home() / ".cache") / "weldbeat" / name
    with suppress(OSError, ValueError), kept.open("rb") as file:
        if (found := read(file.read(_MOST_CACHED).decode("utf-8"))) is not None:
            return found
    made = make()
    with suppress(OSError, InputError):
        kept.parent.mkdir(parents=True, exist_ok=True)
        write_whole(kept, text_of(made))
    return made
