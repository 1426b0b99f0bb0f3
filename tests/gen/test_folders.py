"""What lies in a folder that the user names is read with bounds, and no link in it is followed.

Common practice, no source: a path that somebody else may have filled is not trusted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from gen.errors import InputError
from gen.firmware import FirmwareBundle
from gen.link.flashing import read_bundle
from gen.writing import check_bundle_folder, made_here, write_bundle
from tests.support.cli.command_line import SCHEDULE, WELDER, contents, typed
from tests.support.machines import firmware, make_welder

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs links and pipes")
BUNDLE: FirmwareBundle = firmware(make_welder(), {"weld": "6 cycles"})[0]


def linked(file: Path, to: Path) -> None:
    file.unlink(missing_ok=True)
    file.symlink_to(to)


def sparse(file: Path) -> None:
    file.write_text("Made by Weldbeat")
    os.truncate(file, 2**40)


def piped(file: Path) -> None:
    file.unlink(missing_ok=True)
    os.mkfifo(file)


def many(folder: Path) -> None:
    for n in range(120):
        (folder / f"x{n}.py").write_text("")


SPOILT: dict[str, Callable[[Path], object]] = {
    "main.py is a link": lambda folder: linked(folder / "main.py", Path("/etc/passwd")),
    "a module is a link to what it was": lambda folder: linked(folder / "driver.py", folder / "boot.py"),
    "a link to a folder": lambda folder: (folder / "more").symlink_to("/"),
    "a file of a terabyte": lambda folder: sparse(folder / "driver.py"),
    "main.py of a terabyte": lambda folder: sparse(folder / "main.py"),
    "a pipe": lambda folder: piped(folder / "driver.py"),
    "a device": lambda folder: linked(folder / "driver.py", Path("/dev/zero")),
    "bytes": lambda folder: (folder / "driver.py").write_bytes(b"\xff"),
    "too many files": many,
}


@pytest.mark.parametrize("what", SPOILT)
def test_a_firmware_that_is_none(what: str, tmp_path: Path) -> None:
    folder = tmp_path / "firmware"
    write_bundle(folder, BUNDLE)
    assert read_bundle(folder) == BUNDLE
    SPOILT[what](folder)
    with pytest.raises(InputError, match=r"BUNDLE: .* given; .*; allowed: a folder that `weldbeat build` wrote"):
        read_bundle(folder)


@pytest.mark.parametrize("what", [name for name in SPOILT if "link" in name or "main.py" in name or "device" in name])
def test_what_is_not_replaced_by_a_firmware(what: str, tmp_path: Path) -> None:
    folder = tmp_path / "firmware"
    write_bundle(folder, BUNDLE)
    check_bundle_folder(folder, BUNDLE)
    SPOILT[what](folder)
    if what == "main.py of a terabyte":  # it begins as one that was made here
        check_bundle_folder(folder, BUNDLE)
        return
    with pytest.raises(InputError, match=r"holds other files \(.*\); allowed: a new or empty folder"):
        check_bundle_folder(folder, BUNDLE)


def test_a_whole_disk_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first file that is not of a firmware is enough."""
    read: list[object] = []
    real = os.scandir
    monkeypatch.setattr(os, "scandir", lambda path: read.append(path) or real(path))
    for n in range(20):
        (tmp_path / f"{n:02}").mkdir()
        (tmp_path / f"{n:02}" / "x").write_text("")
    with pytest.raises(InputError, match=r"holds other files \(00/x\)"):
        check_bundle_folder(tmp_path, BUNDLE)
    assert len(read) == 2


def test_an_earlier_drawing_is_known_by_its_beginning(here: Path) -> None:
    """A drawing of a terabyte is not read, nor is one behind a link replaced."""
    (here / "welder.toml").write_text(WELDER)
    (here / "job.toml").write_text(SCHEDULE)
    line = ["wiring", "-o", "sheet.html", "--svg", "drawings"]
    assert typed(line).code == 0
    assert typed(line).code == 0
    drawing = next(iter(sorted((here / "drawings").iterdir())))
    assert made_here(drawing, 'aria-label="Drawing')
    for spoil in (lambda: linked(drawing, here / "job.toml"), lambda: piped(drawing), lambda: sparse(drawing)):
        drawing.unlink()
        spoil()
        before = contents(here) if drawing.is_symlink() else None
        outcome = typed(line)
        assert outcome.code == 2
        assert "is not one of these drawings; allowed: a folder without one, or with earlier drawings" in outcome.err
        assert before is None or contents(here) == before
