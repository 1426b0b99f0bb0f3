"""One write of each kind, between two marks that a tracer sees, and what is there afterwards."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from gen.errors import InputError
from gen.firmware import MARK, FirmwareBundle
from gen.records import Records
from gen.records.tables import VERSION, tables_of
from gen.rescue import rescue
from gen.writing import write_bundle, write_whole
from tests.support.record_damage import WELD, full

BEGIN, END = "/the-write-begins", "/the-write-ends"
OLD, NEW = "old\n" * 2000, "new\n" * 3000


def bundle(text: str) -> FirmwareBundle:
    files = {"main.py": f"# {MARK}\n{text}", "config.py": text, "app/plan.py": text}
    return FirmwareBundle(files)


def _before_a_version(folder: Path) -> None:
    """Records of version 1, which the next opening brings up to date after a copy."""
    with closing(sqlite3.connect(folder / "records.sqlite", isolation_level=None)) as db:
        for statement in tables_of(1).values():
            db.execute(statement)
        db.execute("PRAGMA application_id = 0x57426561")
        db.execute("PRAGMA user_version = 1")


def _add(folder: Path) -> None:
    with Records(folder / "records.sqlite") as records:
        records.add_welds([WELD])


# Of each kind: what is there before, and the write.
WRITES: dict[str, tuple[Callable[[Path], object], Callable[[Path], object]]] = {
    "file": (
        lambda folder: write_whole(folder / "job.toml", OLD),
        lambda folder: write_whole(folder / "job.toml", NEW),
    ),
    "new-file": (lambda folder: None, lambda folder: write_whole(folder / "job.toml", NEW)),
    "firmware": (
        lambda folder: write_bundle(folder / "firmware", bundle(OLD)),
        lambda folder: write_bundle(folder / "firmware", bundle(NEW)),
    ),
    "new-firmware": (lambda folder: None, lambda folder: write_bundle(folder / "firmware", bundle(NEW))),
    "records": (lambda folder: _open(folder), _add),
    "new-records": (lambda folder: None, _add),
    "upgrade": (_before_a_version, lambda folder: _open(folder)),
    "rescue": (
        lambda folder: full(folder / "records.sqlite"),
        lambda folder: rescue(folder / "records.sqlite", folder / "rescued.sqlite"),
    ),
}


def _open(folder: Path) -> None:
    with Records(folder / "records.sqlite"):
        pass


def state(kind: str, folder: Path) -> str:
    """What is there: "nothing", "old", "new", or words for what must never be."""
    try:
        if kind in ("file", "new-file"):
            path = folder / "job.toml"
            return {OLD: "old", NEW: "new"}.get(path.read_text(), "half a file") if path.exists() else "nothing"
        if kind in ("firmware", "new-firmware"):
            place = folder / "firmware"
            if not place.exists():
                return "nothing"
            found = {str(p.relative_to(place)): p.read_text() for p in place.rglob("*") if p.is_file()}
            return {tuple(bundle(text).files.items()): name for text, name in ((OLD, "old"), (NEW, "new"))}.get(
                tuple((name, found.get(name, "")) for name in bundle(OLD).files), "half a firmware"
            )
        path = folder / ("rescued.sqlite" if kind == "rescue" else "records.sqlite")
        if not path.exists():
            return "nothing"
        if kind == "upgrade":  # which looking at it by `Records` would do
            with closing(sqlite3.connect(path)) as db:
                whole = db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
                version = db.execute("PRAGMA user_version").fetchone()[0]
            return {1: "old", VERSION: "new"}.get(version, "another version") if whole else "damaged"
        with Records(path) as records:
            return "new" if records.welds() else "old"
    except InputError as error:
        return str(error)


def main(kind: str, place: str) -> int:
    folder = Path(place)
    os.path.exists(BEGIN)
    try:
        WRITES[kind][1](folder)
    except InputError as error:
        print(error)
        return 2
    finally:
        os.path.exists(END)
    return 0
