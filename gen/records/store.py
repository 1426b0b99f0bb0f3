"""Reading and writing the records file.

Every change is one transaction, so that the file has all of it or none. A file of another kind, of a newer version, or
damaged, is never written to. Every value read is checked before it is used.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from gen.errors import InputError
from gen.records.tables import SCHEMA, VERSION, VERSIONS, statements, tables_of
from gen.records.values import (
    CheckRecord,
    GateRecord,
    ImpossibleValue,
    KeptRecord,
    Record,
    TrialRecord,
    WeldRecord,
    checked,
    columns_of,
    fitting,
)
from gen.user_files import written

RECORDS_FILE = "records.sqlite"
_APPLICATION = 0x5742_6561  # "WBea", the application ID in the file's header
_SAME_WELD = timedelta(minutes=5)  # two records of one weld differ by the clocks of board and computer
_WAIT_S = 5.0  # for another program that is writing
WAY_OUT = (
    "allowed: as it was written; copy the file, see what `weldbeat rescue NEW` can still read of it, or move it away and a "
    "new one is made"
)


class Records:
    """The records file, opened in a `with`, and made if it is missing. Raises InputError if it cannot be used."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db: sqlite3.Connection

    @classmethod
    def beside(cls, welder_path: Path) -> Self:
        """The records of the machine whose welder file this is."""
        return cls(welder_path.absolute().parent / RECORDS_FILE)

    def __enter__(self) -> Self:
        if self._path.exists() and not (self._path.is_file() or self._path.is_dir()):
            raise self._error("a pipe or a device, not a file", "allowed: move it away, and a new one is made")
        with self._as_input_error():
            self._db = sqlite3.connect(self._path, timeout=_WAIT_S, isolation_level=None)
        try:
            with self._as_input_error():
                self._prepare()
        except InputError:
            self._db.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._db.close()

    def _prepare(self) -> None:
        self._db.execute("BEGIN IMMEDIATE")  # another program may be making it at the same time
        application, version = (int(self._db.execute(f"PRAGMA {name}").fetchone()[0]) for name in _HEADER)
        there = dict(self._db.execute(SCHEMA).fetchall())
        new = application == 0 and version == 0 and not there
        if not new and application != _APPLICATION:
            raise self._error("a database of another program", "allowed: move it away, and a new one is made")
        if version > VERSION:
            raise self._error(
                f"written by a newer Weldbeat (version {version} of the file)",
                f"allowed: at most {VERSION}; update Weldbeat",
            )
        if there != tables_of(version):
            raise self._error("damaged: its tables are not as they were made", WAY_OUT)
        if self._db.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
            raise self._error("damaged", WAY_OUT)
        if 0 < version < VERSION:
            self._back_up(version)
        for added in VERSIONS[version:]:
            for statement in statements(added):
                self._db.execute(statement)
        if version < VERSION:
            self._db.execute(f"PRAGMA application_id = {_APPLICATION}")
            self._db.execute(f"PRAGMA user_version = {VERSION}")
        self._db.execute("COMMIT")

    def _back_up(self, version: int) -> None:
        """Copy the file to a free name next to it, before its tables are changed."""
        for number in range(1, 1000):
            name = f"{self._path.stem}-version-{version}{'' if number == 1 else f'-{number}'}{self._path.suffix}"
            copy = self._path.with_name(name)
            try:
                os.close(os.open(copy, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            except FileExistsError:
                continue
            except OSError as error:
                why = f"cannot be copied to {name} before it is changed: {error.strerror}"
                raise self._error(why, "allowed: a folder that you may write to") from None
            try:
                with closing(sqlite3.connect(self._path)) as source, closing(sqlite3.connect(copy)) as target:
                    source.backup(target)
            except sqlite3.Error:
                copy.unlink()
                raise
            return
        raise self._error("has a thousand copies of earlier versions", "allowed: move them away")

    def add_welds(self, welds: Iterable[WeldRecord]) -> int:
        """Keep the welds that are not recorded yet, and return their number. Recorded ones stay as they are.

        A weld with another's number but another time is a different weld: the board's settings were wiped between them.
        """
        added = 0
        with self._change():
            lives = dict(self._read("SELECT board, max(life) FROM welds GROUP BY board", ("board", "life")))
            for weld in welds:
                life = self._life(weld, lives)
                if life is not None:
                    values = [getattr(weld, column) for column in _WELD_COLUMNS]
                    places = ", ".join("?" * (len(values) + 1))
                    statement = f"INSERT INTO welds (life, {', '.join(_WELD_COLUMNS)}) VALUES ({places})"
                    self._db.execute(statement, [life, *values])
                    added += 1
        return added

    def _life(self, weld: WeldRecord, lives: dict[str, int]) -> int | None:
        """The life of its board under which to keep a weld, also put into `lives`; None if the weld is kept already."""
        statement = "SELECT ended_at, life FROM welds WHERE board = ? AND boot = ? AND count = ?"
        same = self._read(statement, ("ended_at", "life"), (weld.board, weld.boot, weld.count))
        ended_at = datetime.fromisoformat(weld.ended_at)
        if any(abs(datetime.fromisoformat(at) - ended_at) < _SAME_WELD for at, _ in same):
            return None
        life = lives.setdefault(weld.board, 1)
        if any(life == taken for _, taken in same):
            lives[weld.board] = life + 1
        return lives[weld.board]

    def welds(self) -> list[WeldRecord]:
        """Every weld, in the order of their ends."""
        return self._records(WeldRecord, "FROM welds ORDER BY ended_at, board, boot, count")

    def add_curve(self, gates: Sequence[GateRecord]) -> int:
        """Keep the gates of one recorded weld, and return the number of new ones. Recorded gates stay as they are."""
        added = 0
        with self._change():
            for gate in gates:
                of_weld = (gate.board, gate.boot, gate.count)
                statement = (
                    "SELECT max(life) FROM welds WHERE board = ? AND boot = ? AND count = ? HAVING max(life) > 0"
                )
                found = self._read(statement, ("life",), of_weld)
                if found:
                    columns = ("life", *columns_of(GateRecord))
                    statement = f"INSERT OR IGNORE INTO currents ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
                    values = [getattr(gate, column) for column in columns[1:]]
                    added += self._db.execute(statement, [found[0][0], *values]).rowcount
        return added

    def curve(self, weld: WeldRecord) -> list[GateRecord]:
        """The gates of a weld, in order; empty if they were not watched or not timed."""
        rest = (
            "FROM currents WHERE board = ? AND boot = ? AND count = ? AND life = "
            "(SELECT life FROM welds WHERE board = ? AND boot = ? AND count = ? AND ended_at = ?) ORDER BY gate"
        )
        key = (weld.board, weld.boot, weld.count)
        return self._records(GateRecord, rest, (*key, *key, weld.ended_at))

    def add_pushed(self, digest: str, name: str, text: str, pushed_at: str) -> None:
        """Keep the text of a schedule that a board now holds under `digest`."""
        with self._change():
            self._db.execute("INSERT OR REPLACE INTO pushed VALUES (?, ?, ?, ?)", (digest, name, text, pushed_at))

    def pushed_text(self, digest: str) -> str | None:
        """The schedule file pushed under `digest`, or None."""
        found = self._read("SELECT text FROM pushed WHERE digest = ?", ("text",), (digest,))
        return str(found[0][0]) if found else None

    def add_trial(self, trial: TrialRecord) -> int:
        """Keep one trial, and return its number. Number 0 becomes the next of its joint."""
        return self._add_numbered("trials", "joint", trial)

    def add_trials(self, trials: Iterable[TrialRecord]) -> list[int]:
        """Keep all trials or none, and return their numbers. Number 0 becomes the next of its joint."""
        with self._change():
            return [self._numbered("trials", "joint", trial) for trial in trials]

    def remove_trial(self, joint: str, number: int) -> None:
        """Remove one trial. The others keep their numbers."""
        with self._change():
            self._db.execute("DELETE FROM trials WHERE joint = ? AND number = ?", (joint, number))

    def replace_trial(self, trial: TrialRecord) -> None:
        """Replace the trial of the same number."""
        with self._change():
            self._db.execute("DELETE FROM trials WHERE joint = ? AND number = ?", (trial.joint, trial.number))
            self._insert("trials", trial)

    def trials(self, joint: str | None = None) -> list[TrialRecord]:
        """The trials of `joint`, or of all, in order."""
        return self._records(TrialRecord, "FROM trials WHERE ? IN (joint, '') ORDER BY joint, number", (joint or "",))

    def add_kept(self, kept: KeptRecord) -> None:
        """Keep a setting."""
        with self._change():
            self._insert("kept", kept)

    def kept(self, joint: str | None = None) -> list[KeptRecord]:
        """The settings kept for `joint`, or for all, the newest last."""
        return self._records(KeptRecord, "FROM kept WHERE ? IN (joint, '') ORDER BY kept_at, joint", (joint or "",))

    def add_check(self, check: CheckRecord) -> int:
        """Keep one step of a commissioning, and return its number. Number 0 becomes the next of its walk."""
        return self._add_numbered("checks", "walk", check)

    def checks(self, walk: int | None = None) -> list[CheckRecord]:
        """The steps of a walk, or of all, in order."""
        return self._records(CheckRecord, "FROM checks WHERE ? IN (walk, 0) ORDER BY walk, number", (walk or 0,))

    def _add_numbered(self, table: str, group: str, record: TrialRecord | CheckRecord) -> int:
        with self._change():
            return self._numbered(table, group, record)

    def _numbered(self, table: str, group: str, record: TrialRecord | CheckRecord) -> int:
        """Insert a record under its number, or the next of its group for 0. Call it inside a change."""
        number = record.number
        if number == 0:
            statement = f"SELECT coalesce(max(number), 0) + 1 FROM {table} WHERE {group} = ?"
            ((number,),) = self._read(statement, ("number",), (getattr(record, group),))
        self._insert(table, replace(record, number=number))
        return number

    def _insert(self, table: str, record: TrialRecord | KeptRecord | CheckRecord) -> None:
        columns = columns_of(type(record))
        statement = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
        self._db.execute(statement, [getattr(record, column) for column in columns])

    def _records(self, kind: type[Record], rest: str, given: Sequence[Any] = ()) -> list[Record]:
        """Every row as a record, each value checked. `rest`: the statement after its columns."""
        with self._as_input_error():
            rows = self._db.execute(f"SELECT {', '.join(columns_of(kind))} {rest}", given).fetchall()
            return [checked(kind, row) for row in rows]

    def _read(self, statement: str, columns: Sequence[str], given: Sequence[Any] = ()) -> list[Any]:
        """The rows of a statement with these `columns`, each value checked."""
        with self._as_input_error():
            rows = self._db.execute(statement, given).fetchall()
            for row in rows:
                fitting(columns, row)
            return rows

    @contextmanager
    def _as_input_error(self) -> Iterator[None]:
        """Raises every error of a damaged file as an InputError with the way out."""
        try:
            yield
        except sqlite3.Error as error:
            raise self._unusable(error) from None
        except ImpossibleValue as error:
            what = f"damaged: {error.column} {written(error.value)} was never written"
            raise self._error(what, WAY_OUT) from None
        except (TypeError, OverflowError, UnicodeError, IndexError):
            raise self._error("damaged", WAY_OUT) from None

    @contextmanager
    def _change(self) -> Iterator[None]:
        """A transaction: all changes inside it, or none."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            self._undo()
            raise self._unusable(error) from None
        except BaseException:
            self._undo()
            raise

    def _undo(self) -> None:
        """Roll back a failed change. If that fails too, closing the file rolls it back."""
        try:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
        except sqlite3.Error:
            self._db.close()

    def _unusable(self, error: sqlite3.Error) -> InputError:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF  # without the extended part
        if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
            return self._error("not a records file, or damaged", WAY_OUT)
        if code in (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_SCHEMA, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_FORMAT):
            return self._error("damaged", WAY_OUT)
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return self._error("another program is writing to it", "allowed: when that has ended")
        if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
            return self._error("cannot be written", "allowed: a file in a folder that you may write to")
        return self._error(str(error), "allowed: a disk with room and a file that you may write to")

    def _error(self, what: str, allowed: str) -> InputError:
        return InputError(self._path, what, None, allowed)


_HEADER = ("application_id", "user_version")
_WELD_COLUMNS = columns_of(WeldRecord)
