"""Adding trials to the records and removing them: one weld on scrap with its outcome, or many from a table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from gen.errors import InputError
from gen.job import read_job
from gen.joint import Joint, read_joint
from gen.machine import WELDER_FILE
from gen.records import Records, TrialRecord, WeldRecord
from gen.trials.joints import check_same_joint, recorded, watched
from gen.trials.rewritten import setting_of
from gen.trials.sheet import TIME
from gen.trials.values import Setting
from gen.user_files import Written, figure, read_text


@dataclass(frozen=True)
class Added:
    """A trial just recorded, and the mains frequency of its schedule."""

    record: TrialRecord
    setting: Setting
    frequency_Hz: int


def add_trial(
    joint: Path,
    schedule: Path,
    welder: Path | None,
    observed: dict[str, Any],
    weld: tuple[int, int] | None = None,
    last: bool = False,
) -> Added:
    """Record one weld of `joint`, made with `schedule`. Raises InputError, and then nothing is recorded.

    `observed`: the weld's outcome, by column of the records. `weld`: boot and count of the watched weld that it was.
    `last`: it was the newest watched weld.
    """
    wanted = read_joint(joint)
    job = read_job(schedule, welder)
    setting = setting_of(job.schedule, schedule)
    _check_setdown(wanted, observed["setdown_mm"])
    force_N = wanted.force_N if observed["force_N"] is None else observed["force_N"]
    trial = TrialRecord(
        joint=joint.stem,
        number=0,
        tried_at=datetime.now(UTC).strftime(TIME),
        joint_text=read_text(joint),
        schedule=job.schedule.name,
        text=read_text(schedule),
        digest=job.table.digest,
        weld_s=setting.time_s,
        percent=setting.percent,
        **(observed | {"force_N": force_N}),
    )
    with Records.beside(welder or Path(WELDER_FILE)) as records:
        check_same_joint(wanted, records.trials(joint.stem), joint)
        if weld is not None or last:
            trial = _joined(trial, weld, records)
        number = records.add_trial(trial)
    return Added(replace(trial, number=number), setting, job.table.frequency_Hz)


def remove_trial(joint: Path, number: int, welder: Path | None) -> TrialRecord:
    """Remove one trial from the records, and return it. The others keep their numbers. Raises InputError."""
    found, _ = recorded(welder, joint.stem)
    removed = next((record for record in found if record.number == number), None)
    if removed is None:
        numbers = (
            f"allowed: {', '.join(str(record.number) for record in found)}" if found else "there are no trials yet"
        )
        raise InputError("command line", "NUMBER", number, f"{joint.stem} has no such trial; {numbers}")
    with Records.beside(welder or Path(WELDER_FILE)) as records:
        records.remove_trial(joint.stem, number)
    return removed


def new_trials(
    rows: Iterable[tuple[int, TrialRecord]], earlier: Sequence[TrialRecord], source: Path
) -> list[TrialRecord]:
    """The trials of a table, each with its line, that the records do not hold yet. Raises InputError."""
    unnumbered = {replace(record, number=0) for record in earlier}
    taken = {(record.joint, record.number): record for record in earlier}
    new = []
    for line, trial in rows:
        key = (trial.joint, trial.number)
        if taken.get(key) == trial or trial in unnumbered:
            continue
        if key in taken:
            allowed = f"{trial.joint} has another trial of that number; allowed: an empty cell for the next number"
            raise InputError(source, f"line {line}, column number", trial.number, allowed)
        if trial.number:
            taken[key] = trial
        new.append(trial)
    return new


def _joined(trial: TrialRecord, wanted: tuple[int, int] | None, records: Records) -> TrialRecord:
    """The trial joined to the watched weld that it was, with that weld's time."""
    option, given = ("--last", None) if wanted is None else ("--weld", Written(f"{wanted[0]}/{wanted[1]}"))
    found = watched(records.welds(), trial.digest, wanted)
    if not isinstance(found, WeldRecord):
        raise InputError("command line", option, given, found)
    for other in records.trials():
        if (other.board, other.boot, other.count) == (found.board, found.boot, found.count) and (
            other.tried_at == found.ended_at
        ):
            already = f"weld {found.boot}/{found.count} is trial {other.number} of {other.joint} already"
            raise InputError("command line", option, given, f"{already}; allowed: another weld")
    return replace(trial, tried_at=found.ended_at, board=found.board, boot=found.boot, count=found.count)


def _check_setdown(joint: Joint, setdown_mm: float | None) -> None:
    most = sum(joint.sheets_mm or joint.rods_mm or ())
    if setdown_mm is not None and setdown_mm >= most:
        allowed = f"allowed: less than {most:g}, all parts together"
        raise InputError("command line", "--setdown", figure(setdown_mm), allowed)
