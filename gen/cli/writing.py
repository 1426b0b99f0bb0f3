"""Writes files whole or not at all."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from gen.errors import InputError
from gen.firmware import FirmwareBundle

_MARK = "Made by Weldbeat"


def check_target(option: str, path: Path | None) -> None:
    """Raise InputError where a file could not be written to `path`."""
    if path is None:
        return
    if path.is_dir():
        raise InputError(option, str(path), None, "this is a folder; allowed: a file name")
    if not path.absolute().parent.is_dir():
        raise InputError(option, str(path), None, f"there is no folder {path.parent}; allowed: a file in an existing folder")


def write_whole(path: Path, text: str) -> None:
    """Write `text` beside `path` first and rename it, so that a reader never sees half a file."""
    part = path.with_name(path.name + ".part")
    part.write_bytes(text.encode())
    os.replace(part, path)


def check_bundle_folder(folder: Path) -> None:
    """Raise InputError where `folder` holds anything but an earlier bundle."""
    if folder.is_file():
        raise InputError("-o", str(folder), None, "this is a file; allowed: a new or empty folder, or one with an earlier bundle")
    if not folder.is_dir() or not any(folder.iterdir()):
        return
    main = folder / "main.py"
    if not main.is_file() or _MARK not in main.read_text(encoding="utf-8", errors="replace"):
        raise InputError("-o", str(folder), None, "holds other files; allowed: a new or empty folder, or one with an earlier bundle")


def write_bundle(folder: Path, bundle: FirmwareBundle) -> None:
    """Put the bundle into `folder`, in place of an earlier one, by renaming a finished copy."""
    check_bundle_folder(folder)
    part = folder.with_name(folder.name + ".part")
    if part.exists():
        shutil.rmtree(part)
    bundle.write(part)
    if folder.exists():
        shutil.rmtree(folder)
    os.replace(part, folder)
