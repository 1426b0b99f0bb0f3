"""`records.sqlite`, next to welder.toml: welds, schedules sent to boards, trials on scrap, commissioning.

Every change is one transaction, so that the file has all of it or none. A file of another kind, of a newer version, or
damaged, is never written to. Every value read is checked before it is used.
"""

from __future__ import annotations

import math
import os
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar, get_type_hints

from gen.errors import InputError
from gen.user_files import written
from gen.words import ENDING_NAMES, NOT_TIMED

RECORDS_FILE = "records.sqlite"
_APPLICATION = 0x5742_6561  # "WBea", the application ID in the file's header
_SAME_WELD = timedelta(minutes=5)  # two records of one weld differ by the clocks of board and computer
_WAIT_S = 5.0  # for another program that is writing
WAY_OUT = (
    "allowed: as it was written; copy the file, see what `weldbeat rescue NEW` can still read of it, or move it away and a "
    "new one is made"
)

# The additions of each version, in order. An older file is brought up to date when it is opened.
_VERSIONS = (
    """\
CREATE TABLE welds (
    board TEXT NOT NULL,      -- the board's name and the serial number of its USB
    life INTEGER NOT NULL,    -- from 1; the next when a board whose settings were wiped counts its starts from 1 again
    boot INTEGER NOT NULL,    -- which start of that board
    count INTEGER NOT NULL,   -- which weld since that start
    ended_at TEXT NOT NULL,   -- UTC, ISO 8601, to the second
    ending TEXT NOT NULL,     -- completed, released, stopped, fault, no force
    planned INTEGER NOT NULL, -- half-cycles
    fired INTEGER NOT NULL,
    duty_used_half_cycles INTEGER NOT NULL,
    schedule TEXT,            -- NULL where nobody watched, so that it is not known
    digest TEXT,
    PRIMARY KEY (board, boot, count, life)
) STRICT;
CREATE TABLE pushed (
    digest TEXT PRIMARY KEY,  -- of the compiled schedule
    name TEXT NOT NULL,
    text TEXT NOT NULL,       -- the schedule file as it was
    pushed_at TEXT NOT NULL
) STRICT;
""",
    """\
CREATE TABLE trials (
    joint TEXT NOT NULL,      -- its name
    number INTEGER NOT NULL,  -- from 1 in each joint
    tried_at TEXT NOT NULL,   -- UTC, ISO 8601, to the second
    joint_text TEXT NOT NULL, -- the joint file as it was
    schedule TEXT NOT NULL,   -- the name of the schedule
    text TEXT NOT NULL,       -- the schedule file as it was
    digest TEXT NOT NULL,     -- of the compiled schedule
    weld_s REAL NOT NULL,     -- under current, all impulses of the weld together
    percent REAL NOT NULL,    -- of the full current
    force_N REAL,
    outcome TEXT NOT NULL,    -- no bond, broke at joint, tore parent
    expulsion TEXT NOT NULL,  -- none, early, late
    setdown_mm REAL,
    strength_N REAL,          -- peel or tension
    twist_Nm REAL,
    nugget_mm REAL,
    dressed INTEGER NOT NULL, -- 1: the electrodes were dressed just before
    note TEXT NOT NULL,
    board TEXT,               -- with boot and count the weld that was watched, or NULL
    boot INTEGER,
    count INTEGER,
    PRIMARY KEY (joint, number)
) STRICT;
CREATE TABLE kept (
    joint TEXT NOT NULL,
    kept_at TEXT NOT NULL,
    schedule TEXT NOT NULL,
    text TEXT NOT NULL,
    digest TEXT NOT NULL,
    weld_s REAL NOT NULL,
    percent REAL NOT NULL,
    window_low_s REAL NOT NULL,  -- the estimated good window, and the number of trials it rests on
    window_high_s REAL NOT NULL,
    trials INTEGER NOT NULL,
    PRIMARY KEY (joint, kept_at)
) STRICT;
CREATE TABLE checks (
    walk INTEGER NOT NULL,    -- one commissioning, from 1
    step TEXT NOT NULL,
    number INTEGER NOT NULL,  -- from 1 in each walk
    checked_at TEXT NOT NULL,
    board TEXT NOT NULL,
    outcome TEXT NOT NULL,    -- passed, failed, not checked
    reading REAL,
    unit TEXT NOT NULL,
    note TEXT NOT NULL,
    PRIMARY KEY (walk, number)
) STRICT;
""",
    """\
CREATE TABLE currents (
    board TEXT NOT NULL,      -- with life, boot and count the weld
    life INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    count INTEGER NOT NULL,
    gate INTEGER NOT NULL,    -- from 0 in each weld
    delay_us INTEGER NOT NULL,  -- from the true zero crossing to the gate
    length_us INTEGER NOT NULL, -- of the current after it; 0: none, 16383: it had not ended when the next gate was due
    half_us INTEGER NOT NULL, -- the mains' half-cycle
    current_A REAL,           -- RMS, primary; NULL where it was not measured
    PRIMARY KEY (board, boot, count, life, gate)
) STRICT;
""",
    """\
ALTER TABLE currents ADD COLUMN peak_A REAL;
""",
)
VERSION = len(_VERSIONS)


@dataclass(frozen=True)
class WeldRecord:
    """One weld. `ended_at` is UTC in ISO 8601. `schedule` and `digest` are None if not known."""

    board: str
    boot: int
    count: int
    ended_at: str
    ending: str
    planned: int
    fired: int
    duty_used_half_cycles: int
    schedule: str | None
    digest: str | None


@dataclass(frozen=True)
class TrialRecord:
    """One weld on scrap and its result; columns as in the table `trials`. `number` 0: the next of its joint."""

    joint: str
    number: int
    tried_at: str
    joint_text: str
    schedule: str
    text: str
    digest: str
    weld_s: float
    percent: float
    force_N: float | None
    outcome: str
    expulsion: str
    setdown_mm: float | None
    strength_N: float | None
    twist_Nm: float | None
    nugget_mm: float | None
    dressed: int
    note: str
    board: str | None = None
    boot: int | None = None
    count: int | None = None


@dataclass(frozen=True)
class KeptRecord:
    """A setting kept for a joint, with the good window estimated at that time."""

    joint: str
    kept_at: str
    schedule: str
    text: str
    digest: str
    weld_s: float
    percent: float
    window_low_s: float
    window_high_s: float
    trials: int


@dataclass(frozen=True)
class CheckRecord:
    """One step of a commissioning and its result. `number` 0: the next of its walk."""

    walk: int
    step: str
    number: int
    checked_at: str
    board: str
    outcome: str
    reading: float | None
    unit: str
    note: str


@dataclass(frozen=True)
class GateRecord:
    """One gate of a weld and its current; columns as in the table `currents`.

    `length_us` is NOT_TIMED where no sense timed it; `peak_A` is what lay farthest from 0, with its sign.
    """

    board: str
    boot: int
    count: int
    gate: int
    delay_us: int
    length_us: int
    half_us: int
    current_A: float | None
    peak_A: float | None


AnyRecord = WeldRecord | TrialRecord | KeptRecord | CheckRecord | GateRecord
Record = TypeVar("Record", WeldRecord, TrialRecord, KeptRecord, CheckRecord, GateRecord)
TABLES: dict[str, type[AnyRecord]] = {
    "welds": WeldRecord,
    "trials": TrialRecord,
    "kept": KeptRecord,
    "checks": CheckRecord,
    "currents": GateRecord,
}
OF_A_LIFE = ("welds", "currents")
"""The tables with a column `life`, which stands in no record."""


class ImpossibleValue(ValueError):
    """A value that was never written: its column, and the value."""

    def __init__(self, column: str, value: Any) -> None:
        super().__init__(column)
        self.column = column
        self.value = value


_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z", re.ASCII)
_MOST = 1e9  # of what is measured
_MOST_COUNTED = 2**62
_LONGEST_TEXT = 1_000_000  # characters, as long as a file may be


def _is_time(value: str) -> bool:
    if not _TIME.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


# What a column of this name holds, in whichever table, beyond its kind.
_HOLDS: dict[str, Callable[[Any], bool]] = {
    **dict.fromkeys(("ended_at", "tried_at", "kept_at", "checked_at", "pushed_at"), _is_time),
    "ending": lambda value: value in ENDING_NAMES,
    "expulsion": lambda value: value in ("none", "early", "late"),
    "outcome": lambda value: value in ("no bond", "broke at joint", "tore parent", "passed", "failed", "not checked"),
    "dressed": lambda value: value in (0, 1),
    "life": lambda value: value >= 1,
    "weld_s": lambda value: value > 0,
    "percent": lambda value: 0 < value <= 100,
    "reading": lambda value: True,  # below 0 too
    "peak_A": lambda value: True,
    "length_us": lambda value: True,
}


_LEAST = {"length_us": NOT_TIMED}  # of a whole number, else 0


def _fits(column: str, kinds: Any, value: Any) -> bool:
    """Whether `value` is of a column's kind and within what the column can hold."""
    if value is None:
        return isinstance(None, kinds)
    if not isinstance(value, kinds):
        return False
    if isinstance(value, str) and len(value) > _LONGEST_TEXT:
        return False
    if isinstance(value, int) and not _LEAST.get(column, 0) <= value <= _MOST_COUNTED:
        return False
    if isinstance(value, float) and not (math.isfinite(value) and abs(value) <= _MOST):
        return False
    holds = _HOLDS.get(column, lambda value: not isinstance(value, float) or value >= 0)
    return holds(value)


def checked(kind: type[Record], row: Sequence[Any]) -> Record:
    """The row as a record. Raises ImpossibleValue where a value is none that was ever written."""
    fitting(_columns(kind), row, KINDS_OF[kind])
    return kind(*row)


def fitting(columns: Sequence[str], row: Sequence[Any], kinds: Mapping[str, Any] | None = None) -> None:
    """Raise ImpossibleValue where a value of these columns is none that was ever written."""
    for column, value in zip(columns, row, strict=True):
        if not _fits(column, (kinds or KINDS)[column], value):
            raise ImpossibleValue(column, value)


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
        there = dict(self._db.execute(_SCHEMA).fetchall())
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
        for added in _VERSIONS[version:]:
            for statement in _statements(added):
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
                    columns = ("life", *_columns(GateRecord))
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
        columns = _columns(type(record))
        statement = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
        self._db.execute(statement, [getattr(record, column) for column in columns])

    def _records(self, kind: type[Record], rest: str, given: Sequence[Any] = ()) -> list[Record]:
        """Every row as a record, each value checked. `rest`: the statement after its columns."""
        with self._as_input_error():
            rows = self._db.execute(f"SELECT {', '.join(_columns(kind))} {rest}", given).fetchall()
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


def _columns(kind: type[AnyRecord]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _statements(script: str) -> list[str]:
    return [statement.strip() for statement in script.split(";\n") if statement.strip()]


_SCHEMA = "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"


@cache
def tables_of(version: int) -> dict[str, str]:
    """The tables of a file of this version: the statement that SQLite keeps of each, by name."""
    with closing(sqlite3.connect(":memory:")) as db:
        for script in _VERSIONS[:version]:
            for statement in _statements(script):
                db.execute(statement)
        return dict(db.execute(_SCHEMA).fetchall())


_WELD_COLUMNS = _columns(WeldRecord)
# The Python type of each column, by record. A weld's life and the pushed schedules are in no record.
KINDS_OF: dict[Any, dict[str, Any]] = {kind: get_type_hints(kind) for kind in TABLES.values()}
KINDS: dict[str, Any] = {column: kind for kinds in KINDS_OF.values() for column, kind in kinds.items()} | {
    "board": str,
    "life": int,
    "name": str,
    "pushed_at": str,
}
