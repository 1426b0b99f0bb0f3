"""Writes files whole or not at all, and over nothing that is the user's own."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from gen.errors import InputError
from gen.firmware import MARK, FirmwareBundle
from gen.user_files import written

_BUNDLE_ALLOWED = "allowed: a new or empty folder, or one with an earlier firmware and nothing else"


def refused(what: str, path: Path, why: str) -> InputError:
    """The message for a path on the command line."""
    return InputError("command line", what, written(str(path)), why)


def check_targets(targets: Mapping[str, Path | None], keep: Iterable[Path]) -> None:
    """Raise InputError where a file could not be written, or would go over one of `keep` or another target."""
    taken = {path.resolve(): "a file that this command reads" for path in keep}
    for option, path in targets.items():
        if path is None:
            continue
        if path.is_dir():
            raise refused(option, path, "this is a folder; allowed: a file name")
        if not path.absolute().parent.is_dir():
            raise refused(option, path, "its folder is not there; allowed: a file in an existing folder")
        place = path.resolve()
        if place in taken:
            raise refused(option, path, f"this is {taken[place]}; allowed: a file of its own")
        taken[place] = f"also the file of {option}"


def check_folder(what: str, folder: Path) -> None:
    """Raise InputError where `folder` is not one and cannot become one."""
    if folder.exists() and not folder.is_dir():
        raise refused(what, folder, "this is a file; allowed: a folder")
    above = next((parent for parent in folder.absolute().parents if parent.exists()), folder)
    if not above.is_dir():
        raise refused(what, folder, f"{above.name} is a file; allowed: a folder below another folder")


def check_drawn(option: str, output: Path | None, ending: str, keep: Iterable[Path]) -> None:
    """Raise InputError where what is drawn or listed cannot go there; the ending keeps it off files of other kinds."""
    check_targets({option: output}, keep)
    if output is not None and output.suffix.lower() != ending:
        raise refused(option, output, f"allowed: a name that ends in {ending}")


def check_own_folder(what: str, folder: Path, texts: Mapping[str, str]) -> None:
    """Raise InputError unless the folder is new or empty, or holds of `texts` what was written here, as it was."""
    check_folder(what, folder)
    if not folder.is_dir() or not any(folder.iterdir()):
        return
    there = [name for name in texts if (folder / name).exists()]
    if not there:
        raise refused(what, folder, "holds other files; allowed: a folder, new or empty")
    for name in there:
        if not (folder / name).is_file() or (folder / name).read_bytes() != texts[name].encode():
            why = f"{name} in it is not the demonstration's own; allowed: a folder, new or empty"
            raise refused(what, folder, why)


def check_without(what: str, folder: Path, names: Iterable[str]) -> None:
    """Raise InputError where `folder` holds one of these files, or cannot become a folder."""
    check_folder(what, folder)
    for name in names:
        if (folder / name).exists():
            raise refused(what, folder, f"{name} is in it already; allowed: a folder without one")


def write_whole(path: Path, text: str) -> None:
    """Write `text` to a file next to `path` and rename it, so that a reader never sees half a file."""
    part = path.with_name(path.name + ".part")
    part.write_bytes(text.encode())
    os.replace(part, path)


def check_bundle_folder(folder: Path, bundle: FirmwareBundle, what: str = "--output") -> None:
    """Raise InputError where `folder` holds anything but an earlier bundle of the same files."""
    check_folder(what, folder)
    if folder.resolve() in (Path.cwd(), *Path.cwd().parents):
        raise refused(what, folder, "you are in this folder; allowed: another one, such as firmware")
    if not folder.is_dir():
        return
    found = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}
    if not found:
        return
    foreign = sorted(found - set(bundle.files))
    if foreign:
        raise refused(what, folder, f"holds other files ({foreign[0]}); {_BUNDLE_ALLOWED}")
    main = folder / "main.py"
    if not main.is_file() or MARK not in main.read_text(encoding="utf-8", errors="replace"):
        raise refused(what, folder, f"holds files that Weldbeat did not make; {_BUNDLE_ALLOWED}")


def write_bundle(folder: Path, bundle: FirmwareBundle) -> None:
    """Put the bundle into `folder`, in place of an earlier one, by renaming a finished copy."""
    place = folder.resolve()
    place.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=place.parent, prefix=f".{place.name}-") as beside:
        new, earlier = Path(beside, "new"), Path(beside, "earlier")
        bundle.write(new)
        if place.exists():
            os.replace(place, earlier)
        os.replace(new, place)
