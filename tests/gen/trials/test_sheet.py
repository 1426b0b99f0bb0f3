"""Trials as CSV: whatever a record may hold comes back as it was. RFC 4180 says how a cell with commas and lines is quoted."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pandas
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gen.errors import InputError
from gen.records import TrialRecord
from gen.trials.sheet import COLUMNS, from_csv, to_csv
from gen.trials.values import EXPULSIONS, OUTCOMES

SCHEDULE = '# {}\nfrequency_Hz = 50\n[[phase]]\nsqueeze = "1 s"\n[[phase]]\nweld = "9 cycles"\n'
SCHEDULE += '[[phase]]\nhold = "1 s"\n[[phase]]\noff = "1 s"\n'
WORDS = st.text(st.characters(blacklist_categories=("Cc", "Cs", "Zl", "Zp")), max_size=20)
MEASURED = st.none() | st.floats(1e-3, 1e6)


@st.composite
def trials(draw: st.DrawFn) -> TrialRecord:
    comment, end = draw(WORDS), draw(st.sampled_from(["\n", "\r\n"]))
    watched = draw(st.booleans())
    return TrialRecord(
        joint=draw(WORDS.filter(bool)),
        number=draw(st.integers(1, 10_000)),
        tried_at=draw(st.datetimes(min_value=datetime(1970, 1, 1))).strftime("%Y-%m-%dT%H:%M:%SZ"),
        joint_text=draw(st.sampled_from(["", f"rods_mm = [5, 8] # {comment}{end}"])),
        schedule=draw(st.sampled_from(["", "job", "a-1_b"])),
        text="",
        digest=draw(st.sampled_from(["", "0123456789abcdef"])),
        weld_s=draw(st.floats(1e-3, 60)),
        percent=draw(st.floats(1e-3, 100)),
        force_N=draw(MEASURED),
        outcome=draw(st.sampled_from(OUTCOMES)),
        expulsion=draw(st.sampled_from(EXPULSIONS)),
        setdown_mm=draw(MEASURED),
        strength_N=draw(MEASURED),
        twist_Nm=draw(MEASURED),
        nugget_mm=draw(MEASURED),
        dressed=draw(st.integers(0, 1)),
        note=draw(WORDS),
        board=draw(WORDS.filter(bool)) if watched else None,
        boot=draw(st.integers(0, 2**31)) if watched else None,
        count=draw(st.integers(0, 2**31)) if watched else None,
    )


@settings(
    max_examples=100, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(found=st.lists(trials(), max_size=3), comment=WORDS, end=st.sampled_from(["\n", "\r\n"]))
def test_out_and_in_is_exact(tmp_path: Path, found: list[TrialRecord], comment: str, end: str) -> None:
    """Commas, quotes, line ends inside the files, every letter, every bit of a number."""
    text = SCHEDULE.format(comment).replace("\n", end)
    found = [replace(trial, text=text if trial.schedule else "") for trial in found]
    path = tmp_path / "trials.csv"
    path.write_bytes(to_csv(found).encode())
    assert [trial for _, trial in from_csv(path)] == found


def test_another_reader_sees_the_same_rows(tmp_path: Path) -> None:
    """pandas reads the table as it was written."""
    rows = tmp_path / "trials.csv"
    trial = TrialRecord(
        "rungs", 1, "2026-01-01T00:00:00Z", "rods_mm = [5, 8]\r\n", "job", SCHEDULE.format('"a", b'), "", 0.1 + 0.2, 90,
        None, "tore parent", "late", 0.25, None, None, None, 0, 'held, "just"',
    )  # fmt: skip
    rows.write_bytes(to_csv([trial]).encode())
    table = pandas.read_csv(rows, keep_default_na=False, dtype=str)
    assert tuple(table.columns) == COLUMNS
    assert float(table["weld_s"][0]) == 0.1 + 0.2
    assert (table["note"][0], table["text"][0], table["force_N"][0]) == (trial.note, trial.text, "")


def test_the_line_is_where_the_row_begins(tmp_path: Path) -> None:
    """Lines inside a cell count, as they do in an editor; blank lines between rows are passed over."""
    path = tmp_path / "trials.csv"
    head = "joint,tried_at,weld_s,percent,outcome,joint_text\n"
    good = 'rungs,2026-01-01T00:00:00Z,0.3,100,no bond,"rods_mm = [\n5,\n8]"\n'
    path.write_text(f"{head}{good}\n{good}{good.replace('0.3', '0')}")
    with pytest.raises(InputError, match=r"trials.csv: line 9, column weld_s: 0 given"):
        from_csv(path)
    path.write_text(head + good.replace("8]", "80]"))
    with pytest.raises(InputError, match=r"line 2, column joint_text; rungs.toml: rods_mm: 80 given"):
        from_csv(path)


def test_a_cell_beyond_what_is_read(tmp_path: Path) -> None:
    """The reader's own limit on a cell is bad input too, and no crash."""
    path = tmp_path / "trials.csv"
    path.write_text(to_csv([]) + "x" * (csv.field_size_limit() + 1))
    with pytest.raises(InputError, match=r"trials\.csv: line 2; not readable as CSV"):
        from_csv(path)
