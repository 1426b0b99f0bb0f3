"""Copies the readable rows of a damaged `records.sqlite` into a new file. The damaged file stays as it is."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, fields
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from gen.errors import InputError
from gen.records import Records
from gen.records.values import KINDS, KINDS_OF, OF_A_LIFE, TABLES, ImpossibleValue, fitting
from gen.writing import write_whole

_BEYOND = 1000  # row numbers to try after the last one known


@dataclass(frozen=True)
class Rescued:
    """The result for one table."""

    kept: int
    """Rows read and written."""
    lost: int
    """Rows found that could not be read."""


def rescue(damaged: Path, new: Path) -> Mapping[str, Rescued]:
    """Write the readable rows of `damaged` into the new file `new`, and return the result for every table.

    It works on a copy, with the journal of an unfinished change. InputError if `new` exists, or if no row can be read;
    nothing is written then.
    """
    if new.exists() or new.is_symlink():
        raise InputError(new, "is there already", None, "allowed: a name for a new file")
    if not damaged.is_file():
        raise InputError(damaged, "no such file", None, "allowed: the records next to a welder file")
    with _scratch() as scratch:
        copy, made = Path(scratch, "damaged.sqlite"), Path(scratch, "new.sqlite")
        try:
            shutil.copyfile(damaged, copy)
            with suppress(FileNotFoundError):
                shutil.copyfile(damaged.with_name(f"{damaged.name}-journal"), copy.with_name(f"{copy.name}-journal"))
        except OSError as error:
            raise InputError(
                damaged, "cannot be read", None, f"{error.strerror}; allowed: a file you may read"
            ) from None
        with Records(made):
            pass
        found: dict[str, Rescued] = {}
        try:
            with closing(sqlite3.connect(copy)) as source, closing(sqlite3.connect(made)) as target:
                source.text_factory = _text
                for table, columns in _COLUMNS.items():
                    found[table] = _rescued(source, target, table, columns)
                target.commit()
        except sqlite3.Error as error:
            raise InputError(made, "cannot be written", None, f"{error}; allowed: room in {made.parent}") from None
        if not any(each.kept for each in found.values()):
            raise InputError(damaged, "no row of it can be read", None, "allowed: a copy from before it was damaged")
        with Records(made):  # the new file passes every check of an undamaged one
            pass
        try:
            content = made.read_bytes()
        except OSError as error:
            raise InputError(made, "cannot be read", None, f"{error.strerror}; allowed: try again") from None
        write_whole(new, content)
    return found


@contextmanager
def _scratch() -> Iterator[str]:
    """A temporary folder. Raises InputError if there is no room for one."""
    try:
        folder = TemporaryDirectory(ignore_cleanup_errors=True)
    except OSError as error:
        place = "the folder for temporary files"
        raise InputError(place, "cannot be written", None, f"{error.strerror}; allowed: one with room") from None
    with folder as name:
        yield name


# The columns of each table in the file. `life` is in no record.
_COLUMNS = {
    "pushed": ("digest", "name", "text", "pushed_at"),
    **{table: tuple(field.name for field in fields(kind)) for table, kind in TABLES.items()},
}
_COLUMNS |= {table: ("life", *_COLUMNS[table]) for table in OF_A_LIFE}


def _text(raw: bytes) -> Any:
    """The text, or its bytes if they are not UTF-8; no text column accepts bytes."""
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return raw


def _rescued(source: sqlite3.Connection, target: sqlite3.Connection, table: str, columns: tuple[str, ...]) -> Rescued:
    kept, lost = 0, 0
    places = ", ".join("?" * len(columns))
    for row in _rows(source, table, columns):
        if row is None or not _sound(table, columns, row):
            lost += 1
            continue
        try:
            target.execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})", row)
            kept += 1
        except (sqlite3.IntegrityError, sqlite3.DataError, OverflowError):  # such as a number used twice
            lost += 1
    return Rescued(kept, lost)


def _sound(table: str, columns: tuple[str, ...], row: tuple[Any, ...]) -> bool:
    kinds = KINDS | (KINDS_OF[TABLES[table]] if table in TABLES else {})
    try:
        fitting(columns, row, kinds)
    except ImpossibleValue:
        return False
    return True


def _rows(source: sqlite3.Connection, table: str, columns: tuple[str, ...]) -> Iterator[tuple[Any, ...] | None]:
    """Each readable row, and None for each one found that cannot be read.

    It reads forward from the first row and backward from the last, each up to a row that cannot be read. The rows between
    are read by number: a damaged page ends a walk, but not the reading of a row on another page.
    """
    select = f"SELECT rowid, {', '.join(columns)} FROM {table}"
    forward = _walk(source, f"{select} ORDER BY rowid")
    backward = {} if forward.whole else _walk(source, f"{select} ORDER BY rowid DESC").rows
    rows = dict(forward.rows) | dict(backward)
    if not forward.whole:
        below = max(forward.rows, default=0)
        for number in range(below + 1, min(backward, default=below + _BEYOND)):
            try:
                found = source.execute(f"{select} WHERE rowid = ?", (number,)).fetchone()
            except (sqlite3.Error, OverflowError, UnicodeError):
                yield None
                continue
            if found is not None and found[0] == number:
                rows[number] = found[1:]
    for number in sorted(rows):
        yield rows[number]


@dataclass(frozen=True)
class _Walk:
    rows: dict[int, tuple[Any, ...]]
    whole: bool
    """Whether it reached the end."""


def _walk(source: sqlite3.Connection, statement: str) -> _Walk:
    rows: dict[int, tuple[Any, ...]] = {}
    try:
        for number, *row in source.execute(statement):
            if not isinstance(number, int) or number in rows:
                return _Walk(rows, False)  # a damaged page leads back to an earlier one
            rows[number] = tuple(row)
    except (sqlite3.Error, OverflowError, UnicodeError):
        return _Walk(rows, False)
    return _Walk(rows, True)
