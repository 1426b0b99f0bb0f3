"""What can still be read of a damaged `records.sqlite`, row by row, into a new file. The damaged one stays as it is."""

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
from gen.records import KINDS, KINDS_OF, OF_A_LIFE, TABLES, ImpossibleValue, Records, fitting
from gen.writing import write_whole

_BEYOND = 1000  # rows to look for after the last that is known, one by one


@dataclass(frozen=True)
class Rescued:
    """Of one table: how many rows were read and written, and how many there are signs of that could not be."""

    kept: int
    lost: int


def rescue(damaged: Path, new: Path) -> Mapping[str, Rescued]:
    """Write what can be read of `damaged` into the new file `new`; returns what came of each table.

    Works on a copy, the journal of an unfinished change with it. A table is named even when none of it can be read.
    Raises InputError where `new` is there already, or where not a row can be read; then nothing is written.
    """
    if new.exists() or new.is_symlink():
        raise InputError(new, "is there already", None, "allowed: a name for a new file")
    if not damaged.is_file():
        raise InputError(damaged, "no such file", None, "allowed: the records beside a welder file")
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
            raise InputError(damaged, "not a row of it can be read", None, "allowed: a copy from before it was damaged")
        with Records(made):  # what is written passes every check of a file that was never damaged
            pass
        try:
            content = made.read_bytes()
        except OSError as error:
            raise InputError(made, "cannot be read", None, f"{error.strerror}; allowed: try again") from None
        write_whole(new, content)
    return found


@contextmanager
def _scratch() -> Iterator[str]:
    """A folder that is gone afterwards. Raises InputError where there is no room for one."""
    try:
        folder = TemporaryDirectory(ignore_cleanup_errors=True)
    except OSError as error:
        place = "the folder for temporary files"
        raise InputError(place, "cannot be written", None, f"{error.strerror}; allowed: one with room") from None
    with folder as name:
        yield name


# Of each table the columns as the file has them; `life` stands in no record.
_COLUMNS = {
    "pushed": ("digest", "name", "text", "pushed_at"),
    **{table: tuple(field.name for field in fields(kind)) for table, kind in TABLES.items()},
}
_COLUMNS |= {table: ("life", *_COLUMNS[table]) for table in OF_A_LIFE}


def _text(raw: bytes) -> Any:
    """The text, or its bytes where they are none, which no column of text holds."""
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
        except (sqlite3.IntegrityError, sqlite3.DataError, OverflowError):  # such as a number that is there twice
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
    """Each row that can be read; None for each that is there and cannot.

    Forward from the first until one cannot be read, backward from the last, and what lies between by its number, since
    a damaged page stops a walk but not a look at a row of another page.
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
    whole: bool  # it came to the end


def _walk(source: sqlite3.Connection, statement: str) -> _Walk:
    rows: dict[int, tuple[Any, ...]] = {}
    try:
        for number, *row in source.execute(statement):
            if not isinstance(number, int) or number in rows:
                return _Walk(rows, False)  # a page that leads back to one that was read
            rows[number] = tuple(row)
    except (sqlite3.Error, OverflowError, UnicodeError):
        return _Walk(rows, False)
    return _Walk(rows, True)
