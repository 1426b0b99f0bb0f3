"""Trials as CSV, written and read without loss: one row a trial, the texts of joint and schedule in their cells."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import Any, NoReturn, get_args

from gen.errors import InputError
from gen.joint import joint_from
from gen.records import TrialRecord
from gen.schedule import schedule_from
from gen.trials.values import Expulsion, Outcome
from gen.units import typed_number, typed_whole
from gen.user_files import LETTER, Written, read_text, written

COLUMNS = tuple(field.name for field in fields(TrialRecord))
NEEDED = ("joint", "tried_at", "weld_s", "percent", "outcome")
TIME = "%Y-%m-%dT%H:%M:%SZ"  # UTC
LARGEST = 1e6  # greatest measured value accepted; typing errors are often larger
_LARGEST_SHEET = 20_000_000  # bytes: some five thousand trials with the texts of their files
_LARGEST_WHOLE = 2**62  # SQLite's integers end at 2**63


def to_csv(trials: list[TrialRecord]) -> str:
    """The trials under a line of column names. A cell is empty where nothing was measured."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for trial in trials:
        writer.writerow([_cell(getattr(trial, column)) for column in COLUMNS])
    return out.getvalue()


# A spreadsheet runs a cell that begins with one of these as a formula (OWASP, "CSV Injection"). A leading apostrophe marks it
# as text. A cell that has an apostrophe already gets a second one, so that nothing is lost.
_FORMULAS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULAS) else value


def _without_apostrophe(cell: str) -> str:
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(_FORMULAS) else cell


def from_csv(path: Path) -> list[tuple[int, TrialRecord]]:
    """Each trial of the file with its first line. A column of COLUMNS that is not in NEEDED may be missing.

    Raises InputError for the first cell that is wrong, with its line and column.
    """
    text = read_text(path, "a CSV file", _LARGEST_SHEET)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = next(reader, [])
        _check_header(header, path)
        found: list[tuple[int, TrialRecord]] = []
        while True:
            line = reader.line_num + 1
            cells = next(reader, None)
            if cells is None:
                return found
            if cells:
                found.append((line, _trial(header, cells, path, line)))
    except csv.Error as error:
        allowed = f"not readable as CSV ({error}); allowed: cells parted by commas, texts in double quotes"
        raise InputError(path, f"line {reader.line_num}", None, allowed) from None


def _check_header(header: list[str], path: Path) -> None:
    allowed = f"allowed: {', '.join(NEEDED)}, and any of {', '.join(c for c in COLUMNS if c not in NEEDED)}"
    for number, name in enumerate(header):
        if name not in COLUMNS:
            raise InputError(path, "line 1, column", written(name), allowed)
        if name in header[:number]:
            raise InputError(path, "line 1, column", written(name), "is there twice; allowed: each column once")
    for name in NEEDED:
        if name not in header:
            raise InputError(path, f"line 1, column {name}", None, f"missing; {allowed}")


def _trial(header: list[str], cells: list[str], path: Path, line: int) -> TrialRecord:
    def wrong(column: str, allowed: str) -> NoReturn:
        cell = dict(zip(header, cells, strict=False)).get(column, "")
        given = None if not cell else Written(cell) if re.fullmatch(r"-?[0-9.]{1,20}", cell) else written(cell)
        raise InputError(path, f"line {line}, column {column}", given, f"{'' if cell else 'empty; '}allowed: {allowed}")

    if len(cells) != len(header):
        raise InputError(
            path, f"line {line}", Written(f"{len(cells)} cells"), f"allowed: {len(header)}, as the first line has"
        )
    row = dict.fromkeys(COLUMNS, "") | {
        column: _without_apostrophe(cell) for column, cell in zip(header, cells, strict=True)
    }
    values: dict[str, Any] = {}
    for column, (convert, allowed) in _CELLS.items():
        try:
            values[column] = convert(row[column])
        except ValueError:
            wrong(column, allowed)
    for column, read in (("joint_text", joint_from), ("text", schedule_from)):
        if row[column]:
            name = row["joint" if column == "joint_text" else "schedule"]
            try:
                read(row[column], Path(f"{name}.toml"))
            except InputError as error:
                raise InputError(path, f"line {line}, column {column}", None, str(error)) from None
    joined = [values[column] is not None for column in ("board", "boot", "count")]
    if any(joined) and not all(joined):
        wrong("board", "board, boot and count together, or none of them")
    return TrialRecord(**values)


def _number(least: float, most: float, kind: Callable[[str], float] = typed_number) -> Callable[[str], float]:
    def convert(cell: str) -> float:
        value = kind(cell)
        if not least <= value <= most:
            raise ValueError
        return value

    return convert


def _optional(convert: Callable[[str], Any], missing: Any = None) -> Callable[[str], Any]:
    return lambda cell: convert(cell) if cell else missing


def _one_of(*words: str) -> Callable[[str], str]:
    def convert(cell: str) -> str:
        if cell not in words:
            raise ValueError
        return cell

    return convert


def _like(pattern: str) -> Callable[[str], str]:
    def convert(cell: str) -> str:
        if re.fullmatch(pattern, cell) is None:
            raise ValueError
        return cell

    return convert


def _time(cell: str) -> str:
    if datetime.strptime(cell, TIME).strftime(TIME) != cell:
        raise ValueError
    return cell


def _text(cell: str) -> str:
    return cell


_ABOVE_0 = math.nextafter(0, 1)
_MEASURED = (_optional(_number(_ABOVE_0, LARGEST)), f"empty, or a number above 0 and at most {LARGEST:g}")
_OUTCOMES, _EXPULSIONS = get_args(Outcome), get_args(Expulsion)

# The converter of each column, and its allowed values.
_CELLS: Mapping[str, tuple[Callable[[str], Any], str]] = {
    "joint": (_like(f"{LETTER}+"), "the joint's name, on one line"),
    "number": (
        _optional(_number(1, _LARGEST_WHOLE, typed_whole), 0),
        "empty for the next of its joint, or a whole number from 1",
    ),
    "tried_at": (_time, "a time in UTC such as 2026-01-31T14:05:00Z"),
    "joint_text": (_text, ""),
    "schedule": (_like(r"([a-z0-9][a-z0-9_-]{0,31})?"), "the schedule's name, or empty"),
    "text": (_text, ""),
    "digest": (_like("([0-9a-f]{16})?"), "16 hexadecimal digits, or empty"),
    "weld_s": (_number(_ABOVE_0, 60), "a number of seconds above 0 and at most 60"),
    "percent": (_number(_ABOVE_0, 100), "a number above 0 and at most 100"),
    "force_N": _MEASURED,
    "outcome": (_one_of(*_OUTCOMES), ", ".join(_OUTCOMES)),
    "expulsion": (_optional(_one_of(*_EXPULSIONS), "none"), ", ".join(_EXPULSIONS)),
    "setdown_mm": (_optional(_number(0, LARGEST)), f"empty, or a number from 0 to {LARGEST:g}"),
    "strength_N": _MEASURED,
    "twist_Nm": _MEASURED,
    "nugget_mm": _MEASURED,
    "dressed": (
        _optional(_number(0, 1, typed_whole), 0),
        "1 where the electrodes were dressed just before, otherwise 0 or empty",
    ),
    "note": (_like(f"{LETTER}*"), "words on one line"),
    "board": (_optional(_like(f"{LETTER}+")), "the board's name, or empty"),
    "boot": (_optional(_number(0, _LARGEST_WHOLE, typed_whole)), "a whole number from 0, or empty"),
    "count": (_optional(_number(0, _LARGEST_WHOLE, typed_whole)), "a whole number from 0, or empty"),
}
