"""A full `records.sqlite`, and the damages that a disk, a cable or an editor does to it: each page and each value in turn."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gen.errors import InputError
from gen.records import CheckRecord, KeptRecord, Records, TrialRecord, WeldRecord
from gen.rescue import rescue
from gen.trials import to_csv

WELD = WeldRecord("pico", 7, 1, "2026-01-01T00:00:01Z", "completed", 20, 20, 30, "job", "0" * 16)
_TRIAL = TrialRecord(
    "rungs", 0, "2026-01-01T00:00:00Z", "rods_mm = [5, 8]\n", "job", "# Tür\n" * 60, "0" * 16, 0.3, 87.5,
    None, "no bond", "late", 0.25, None, 12.5, None, 1, "slipped", "pico", 7, 3,
)  # fmt: skip
_KEPT = KeptRecord("rungs", "2026-01-01T00:00:00.000001Z", "job", "", "0" * 16, 0.3, 100.0, 0.2, 0.5, 9)
_CHECK = CheckRecord(1, "visual", 0, "2026-01-01T00:00:00Z", "pico", "passed", 0.4, "ohm", "")
ROWS = {"welds": 60, "pushed": 12, "trials": 24, "kept": 6, "checks": 20}


def full(path: Path) -> None:
    """Write records with rows in every table, over several pages."""
    with Records(path) as records:
        records.add_welds(replace(WELD, count=n, ended_at=f"2026-01-01T00:00:{n - 1:02}Z") for n in range(1, 61))
        for n in range(12):
            records.add_pushed(f"{n:016x}", "job", "# as it was\n" * 40, "2026-01-01T00:00:00Z")
        records.add_trials([_TRIAL] * 24)
        for n in range(6):
            records.add_kept(replace(_KEPT, kept_at=f"2026-01-01T00:00:00.00000{n}Z"))
        for _ in range(20):
            records.add_check(_CHECK)


@dataclass(frozen=True)
class Damage:
    """One damage: what it is called and the bytes of the file that has it."""

    what: str
    content: bytes


def damaged_pages(good: bytes, seed: int = 1) -> Iterator[Damage]:
    """Each page zeroed, overwritten, cut off there, put in place of another, and with bits flipped all over it."""
    size = int.from_bytes(good[16:18], "big")
    chance = random.Random(seed)
    pages = len(good) // size
    for page in range(pages):
        begin = page * size
        rest = good[begin + size :]
        for what, new in (("zeroed", bytes(size)), ("noise", chance.randbytes(size)), ("ones", b"\xff" * size)):
            yield Damage(f"page {page}: {what}", good[:begin] + new + rest)
        other = chance.randrange(pages) * size
        yield Damage(f"page {page}: another's", good[:begin] + good[other : other + size] + rest)
        yield Damage(f"page {page}: cut off", good[:begin])
        yield Damage(f"page {page}: cut in half", good[: begin + size // 2])
        for number in range(20):  # the header of the page, the pointers to its cells and their headers come first
            place = begin + (number if number < 10 else chance.randrange(size))
            flipped = bytes([good[place] ^ (1 << chance.randrange(8))])
            yield Damage(f"byte {place}: a bit", good[:place] + flipped + good[place + 1 :])
    for place in range(100):  # the header of the file: sqlite.org/fileformat, 1.3
        for new in (0, 255, good[place] ^ 1):
            yield Damage(f"header, byte {place}: {new}", good[:place] + bytes([new]) + good[place + 1 :])


_VALUES: tuple[Any, ...] = (
    None,
    -1,
    2**63 - 1,
    -1e308,
    float("inf"),
    "",
    "\x1b[2J",
    "x" * 300,
    b"\xff\xfe",
    "2026-13-01T00:00:00Z",
)


def damaged_values(good: Path, scratch: Path, every: int = 1) -> Iterator[Damage]:
    """Each column of each table by each of some values, of its kind and of others, and by text that is not UTF-8; one in `every`.

    SQLite would refuse the wrong kinds: the words that make it do so are taken out and put back, as a damage would.
    """
    with closing(sqlite3.connect(good)) as db:
        tables = [(name, sql) for name, sql in db.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL")]
    number = 0
    for table, sql in tables:
        with closing(sqlite3.connect(good)) as db:
            columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        for column in columns:
            for value in (*_VALUES, "not UTF-8"):
                number += 1
                if number % every:
                    continue
                scratch.write_bytes(good.read_bytes())
                with closing(sqlite3.connect(scratch, isolation_level=None)) as db:
                    _schema(db, table, sql.replace(" NOT NULL", "").replace("STRICT", "").rstrip())
                with closing(sqlite3.connect(scratch, isolation_level=None)) as db:
                    new, given = ("CAST(x'ff41' AS TEXT)", []) if value == "not UTF-8" else ("?", [value])
                    try:
                        db.execute(f"UPDATE {table} SET {column} = {new} WHERE rowid = 2", given)
                    except sqlite3.IntegrityError:
                        continue
                    _schema(db, table, sql)
                yield Damage(f"{table}.{column} = {value!r:.30}", scratch.read_bytes())


def _schema(db: sqlite3.Connection, table: str, sql: str) -> None:
    db.execute("PRAGMA writable_schema = ON")
    db.execute("UPDATE sqlite_schema SET sql = ? WHERE name = ?", (sql, table))
    version = db.execute("PRAGMA schema_version").fetchone()[0]
    db.execute(f"PRAGMA schema_version = {version + 1}")
    db.execute("PRAGMA writable_schema = OFF")


def used(path: Path) -> None:
    """All that the program does with records: every read, and an addition to each table."""
    with Records(path) as records:
        welds, trials, _, _ = records.welds(), records.trials(), records.kept(), records.checks()
        records.trials("rungs")
        records.kept("rungs")
        records.checks(1)
        records.pushed_text(f"{1:016x}")
        assert all(weld.planned >= 0 for weld in welds)
        to_csv(trials)
        records.add_welds([replace(WELD, count=61, ended_at="2026-01-01T00:02:00Z"), WELD])
        records.add_pushed("f" * 16, "job", "", "2026-01-01T00:00:00Z")
        records.add_trial(_TRIAL)
        records.add_kept(replace(_KEPT, kept_at="2026-02-01T00:00:00Z"))
        records.add_check(_CHECK)


def complaint(damage: Damage, folder: Path) -> str | None:
    """What is wrong with how a damaged file is taken, or None.

    Right is: one sentence with the way out and not a byte changed, or a file that is used as if it were whole. Then the
    rescue: a file that can be used, or one sentence.
    """
    path, new = folder / "records.sqlite", folder / "new.sqlite"
    path.write_bytes(damage.content)
    new.unlink(missing_ok=True)
    try:
        used(path)
        return None
    except InputError as error:
        if "; allowed: " not in str(error) or len(str(error)) > 500:
            return f"{damage.what}: {error}"
    except Exception as error:
        return f"{damage.what}: {type(error).__name__}: {error}"
    try:
        rescue(path, new)
        used(new)
    except InputError as error:
        return f"{damage.what}: rescued but {error}" if new.exists() else None
    except Exception as error:
        return f"{damage.what}: rescue: {type(error).__name__}: {error}"
    return None
