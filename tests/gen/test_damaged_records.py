"""Damaged `records.sqlite`: one clear sentence with the way out, and what can be read is read into a new file.

The whole is `python -m tests.campaigns.damaged_records`. Where the bytes lie: sqlite.org/fileformat.
"""

from __future__ import annotations

import itertools
import os
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gen.errors import InputError
from gen.records import Records
from gen.records.tables import VERSION, VERSIONS, tables_of
from gen.rescue import Rescued, rescue
from tests.support.cli.command_line import WELDER, typed
from tests.support.record_damage import ROWS, Damage, complaint, damaged_pages, damaged_values, full, used


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("good") / "good.sqlite"
    full(path)
    return path


def test_damages_in_a_sample(good: Path, tmp_path: Path) -> None:
    """Some twenty of the pages' and values' damages: none is a traceback, none changes the file that it says is damaged."""
    pages = random.Random(2).sample(list(damaged_pages(good.read_bytes())), 10)
    values = list(damaged_values(good, tmp_path / "scratch.sqlite", every=50))
    found = [complaint(damage, tmp_path) for damage in itertools.chain(pages, values)]
    assert len(found) >= 20
    assert [what for what in found if what] == []


def test_the_words_of_a_table_that_are_no_text(good: Path, tmp_path: Path) -> None:
    """SQLite's own message about a column of such a name cannot be read either."""
    content = good.read_bytes()
    place = content.index(b"board TEXT NOT NULL")
    spaces = [at for at in range(place, place + 200) if content[at : at + 1] == b" "]
    for at in spaces[:4]:
        damaged = content[:at] + b"\xa0" + content[at + 1 :]
        assert complaint(Damage(f"byte {at}", damaged), tmp_path) is None


def test_a_damaged_file_is_not_changed(good: Path, tmp_path: Path) -> None:
    """Nothing is written to a file that is damaged: the next who looks at it finds what there was."""
    path = tmp_path / "records.sqlite"
    content = bytearray(good.read_bytes())
    content[5 * 4096 : 6 * 4096] = bytes(4096)
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"damaged; allowed: .*weldbeat rescue NEW"):
        used(path)
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("outcome", "tore parents", 'outcome "tore parents" was never written'),
        ("tried_at", "yesterday", 'tried_at "yesterday" was never written'),
        ("percent", 400.0, "percent 400.0 was never written"),
        ("setdown_mm", float("inf"), "setdown_mm inf was never written"),
        ("boot", -3, "boot -3 was never written"),
    ],
)
def test_an_impossible_value_is_named(good: Path, tmp_path: Path, column: str, value: object, words: str) -> None:
    """SQLite holds the file for whole; the value is what it cannot be."""
    path = tmp_path / "records.sqlite"
    path.write_bytes(good.read_bytes())
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(f"UPDATE trials SET {column} = ? WHERE number = 3", (value,))
    with Records(path) as records:
        assert len(records.welds()) == ROWS["welds"]
        with pytest.raises(InputError) as told:
            records.trials()
    assert str(told.value).startswith(f"records.sqlite: damaged: {words}; allowed: as it was written; copy the file")


def test_what_can_be_read_is_rescued(good: Path, tmp_path: Path) -> None:
    """A leaf page of the welds zeroed: every other table whole, the other welds there, each as it was."""
    with closing(sqlite3.connect(good)) as db:
        root = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'welds'").fetchone()[0]
    content = bytearray(good.read_bytes())
    page = content[(root - 1) * 4096 : root * 4096]
    assert page[0] == 5  # an inner page of a table: its cells begin with the number of the page below
    (place,) = (int.from_bytes(page[12:14], "big"),)
    leaf = int.from_bytes(page[place : place + 4], "big")
    content[(leaf - 1) * 4096 : leaf * 4096] = bytes(4096)
    damaged, new = tmp_path / "damaged.sqlite", tmp_path / "new.sqlite"
    damaged.write_bytes(content)
    found = rescue(damaged, new)
    assert {table: found[table] for table in ROWS if table != "welds"} == {
        table: Rescued(rows, 0) for table, rows in ROWS.items() if table != "welds"
    }
    assert 0 < found["welds"].kept < ROWS["welds"]
    assert found["welds"].kept + found["welds"].lost == ROWS["welds"]
    with Records(good) as before, Records(new) as after:
        assert after.trials() == before.trials()
        assert after.checks() == before.checks()
        assert after.kept() == before.kept()
        assert set(after.welds()) < set(before.welds())
        assert len(after.welds()) == found["welds"].kept
    assert damaged.read_bytes() == content


def test_the_command(good: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`weldbeat rescue`: what was read of each table, no file of the user's overwritten, nothing written of nothing."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "welder.toml").write_text(WELDER)
    (tmp_path / "records.sqlite").write_bytes(good.read_bytes())
    outcome = typed(["rescue", "new.sqlite"])
    assert outcome.code == 0
    assert "trials: 24 read\n" in outcome.out
    again = typed(["rescue", "new.sqlite"])
    assert (again.code, again.err) == (
        2,
        "weldbeat: new.sqlite: is there already; allowed: a name for a new file\n",
    )
    (tmp_path / "records.sqlite").write_bytes(b"\xff" * 8192)
    nothing = typed(["rescue", "other.sqlite"])
    why = "no row of it can be read; allowed: a copy from before it was damaged"
    assert (nothing.code, nothing.err) == (2, f"weldbeat: records.sqlite: {why}\n")
    assert not (tmp_path / "other.sqlite").exists()


def test_a_copy_is_made_before_the_tables_are_changed(tmp_path: Path) -> None:
    """An older file is copied as it is; a copy that is there already is left alone."""
    path = tmp_path / "records.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.executescript(
            f"PRAGMA application_id = {int.from_bytes(b'WBea', 'big')}; PRAGMA user_version = 1;{VERSIONS[0]}"
        )
    (tmp_path / "records-version-1.sqlite").write_text("mine")
    with Records(path):
        pass
    assert (tmp_path / "records-version-1.sqlite").read_text() == "mine"
    for name, version in (("records-version-1-2.sqlite", 1), ("records.sqlite", VERSION)):
        with closing(sqlite3.connect(tmp_path / name)) as db:
            assert db.execute("PRAGMA user_version").fetchone() == (version,)
            made = dict(db.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall())
        assert made == tables_of(version)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes in folders here")
def test_a_pipe_for_records_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "records.sqlite")
    with pytest.raises(InputError, match="a pipe or a device"), Records(tmp_path / "records.sqlite"):
        pass
