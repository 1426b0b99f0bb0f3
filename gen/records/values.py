"""The rows of the records file as frozen values, and the values that each column can hold."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, TypeVar, get_type_hints

from gen.words import CORRECTION_NAMES, ENDING_NAMES, NOT_TIMED


@dataclass(frozen=True)
class WeldRecord:
    """One weld. `ended_at` is UTC in ISO 8601. `schedule` and `digest` are None if not known.

    `fired_for_percent`: of the planned current, 100 for the table as it is; `correction`: what the weld means to the next.
    Both are None where the board corrects nothing.
    """

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
    fired_for_percent: float | None = None
    correction: str | None = None


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
_MOST = 1e9  # greatest measured figure
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
    "correction": lambda value: value in CORRECTION_NAMES,
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
    fitting(columns_of(kind), row, KINDS_OF[kind])
    return kind(*row)


def fitting(columns: Sequence[str], row: Sequence[Any], kinds: Mapping[str, Any] | None = None) -> None:
    """Raise ImpossibleValue where a value of these columns is none that was ever written."""
    for column, value in zip(columns, row, strict=True):
        if not _fits(column, (kinds or KINDS)[column], value):
            raise ImpossibleValue(column, value)


def columns_of(kind: type[AnyRecord]) -> tuple[str, ...]:
    """The columns of its table, in the order of its fields."""
    return tuple(field.name for field in fields(kind))


# The Python type of each column, by record. A weld's life and the pushed schedules are in no record.
KINDS_OF: dict[Any, dict[str, Any]] = {kind: get_type_hints(kind) for kind in TABLES.values()}
KINDS: dict[str, Any] = {column: kind for kinds in KINDS_OF.values() for column, kind in kinds.items()} | {
    "board": str,
    "life": int,
    "name": str,
    "pushed_at": str,
}
