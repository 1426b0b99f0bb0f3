"""The tables of the records file, by version of the file."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import cache

# The additions of each version, in order. An older file is brought up to date when it is opened.
VERSIONS = (
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
    """\
ALTER TABLE welds ADD COLUMN fired_for_percent REAL;
ALTER TABLE welds ADD COLUMN correction TEXT;
""",
)
VERSION = len(VERSIONS)


def statements(script: str) -> list[str]:
    """The statements of one version, one by one."""
    return [statement.strip() for statement in script.split(";\n") if statement.strip()]


SCHEMA = "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"


@cache
def tables_of(version: int) -> dict[str, str]:
    """The tables of a file of this version: the statement that SQLite keeps of each, by name."""
    with closing(sqlite3.connect(":memory:")) as db:
        for script in VERSIONS[:version]:
            for statement in statements(script):
                db.execute(statement)
        return dict(db.execute(SCHEMA).fetchall())
