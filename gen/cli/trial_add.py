"""Trials into the records and out of them: `trial add` and `remove`."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from gen.cli.given import number
from gen.cli.plan import schedule_argument, welder_option
from gen.cli.trial_joint import joint_argument, recorded, setting_text
from gen.errors import InputError
from gen.job import find_welder, read_job
from gen.joint import Joint, read_joint
from gen.machine.welder import WELDER_FILE
from gen.records import Records, TrialRecord, WeldRecord
from gen.trials.joints import check_same_joint, watched
from gen.trials.rewritten import setting_of
from gen.trials.sheet import TIME
from gen.trials.values import EXPULSIONS, OUTCOMES
from gen.user_files import Written, figure, read_text, written

_LONGEST_NOTE = 200


def _words(*words: str) -> Callable[[str], str]:
    """An option's type: one of `words`, with spaces or hyphens in it."""

    def convert(text: str) -> str:
        found = text.replace("-", " ")
        if found not in words:
            allowed = ", ".join(word.replace(" ", "-") for word in words)
            raise click.BadParameter(f"{written(text)} given; allowed: {allowed}")
        return found

    return convert


def _note(text: str) -> str:
    if len(text) > _LONGEST_NOTE or not text.isprintable():
        raise click.BadParameter(
            f"{written(text)} given; allowed: words on one line, at most {_LONGEST_NOTE} characters"
        )
    return text


def _weld(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"(\d{1,9})/(\d{1,9})", text)
    if found is None:
        allowed = "the board's start and the weld's number since, as `weldbeat watch --json` tells them, such as 7/12"
        raise click.BadParameter(f"{written(text)} given; allowed: {allowed}")
    return int(found[1]), int(found[2])


def _measure(option: str, key: str, least: float, most: float, metavar: str, text: str) -> Callable[[Any], Any]:
    return click.option(option, key, type=number(least, most), metavar=metavar, help=text)


@click.command("add")
@joint_argument
@schedule_argument
@click.option(
    "--outcome",
    type=_words(*OUTCOMES),
    metavar="WORDS",
    required=True,
    help="no-bond, broke-at-joint or tore-parent (the parent metal tore).",
)
@click.option(
    "--expulsion",
    type=_words(*EXPULSIONS),
    metavar="WHEN",
    default="none",
    help="early (as the current came) or late (hot metal); otherwise none.",
)
@_measure("--force", "force_N", 1.0, 50_000.0, "N", "Electrode force; otherwise that of JOINT.")
@_measure("--setdown", "setdown_mm", 0.0, 100.0, "MM", "All parts less the welded height, by caliper.")
@_measure("--strength", "strength_N", 1.0, 1e6, "N", "Force that peeled or pulled it apart.")
@_measure("--twist", "twist_Nm", 0.01, 1e5, "NM", "Torque that twisted it apart.")
@_measure("--nugget", "nugget_mm", 0.1, 100.0, "MM", "Diameter of the nugget or button.")
@click.option("--dressed", is_flag=True, help="The electrodes were dressed just before.")
@click.option("--note", type=_note, metavar="TEXT", default="", help="Anything else, on one line.")
@click.option("--weld", type=_weld, metavar="BOOT/COUNT", help="The watched weld that this was.")
@click.option("--last", is_flag=True, help="It was the newest watched weld of SCHEDULE.")
@welder_option
def add_command(
    joint: Path,
    schedule: Path,
    weld: tuple[int, int] | None,
    last: bool,
    dressed: bool,
    welder: Path | None,
    **told: Any,
) -> None:
    """Keep one weld of JOINT on scrap, made with SCHEDULE, and what came of it."""
    if weld is not None and last:
        raise InputError("command line", "--weld and --last", None, "allowed: one of them")
    wanted = read_joint(joint)
    job = read_job(schedule, welder)
    setting = setting_of(job.schedule, schedule)
    _check_setdown(wanted, told["setdown_mm"])
    if told["force_N"] is None:
        told["force_N"] = wanted.force_N
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
        dressed=int(dressed),
        **told,
    )
    with Records.beside(welder or Path(WELDER_FILE)) as records:
        earlier = records.trials(joint.stem)
        check_same_joint(wanted, earlier, joint)
        if weld is not None or last:
            trial = _joined(trial, weld, records)
        kept_as = records.add_trial(trial)
    told_words = trial.outcome + (f", expelled {trial.expulsion}" if trial.expulsion != "none" else "")
    click.echo(f"Trial {kept_as} of {joint.stem}: {setting_text(setting, job.table.frequency_Hz)}, {told_words}.")
    click.echo(f"Next: weldbeat trial next {joint}")


def _joined(trial: TrialRecord, wanted: tuple[int, int] | None, records: Records) -> TrialRecord:
    """The trial with the watched weld that it was, and its time."""
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


@click.command("remove")
@joint_argument
@click.argument("trial", type=number(1, 1_000_000), metavar="NUMBER")
@welder_option
def remove_command(joint: Path, trial: int, welder: Path | None) -> None:
    """Take the trial NUMBER of JOINT out of the records: one that was noted wrongly. The others keep their numbers."""
    find_welder(welder)
    found, _ = recorded(welder, joint.stem)
    removed = next((record for record in found if record.number == trial), None)
    if removed is None:
        numbers = (
            f"allowed: {', '.join(str(record.number) for record in found)}" if found else "there are no trials yet"
        )
        raise InputError("command line", "NUMBER", trial, f"{joint.stem} has no such trial; {numbers}")
    with Records.beside(welder or Path(WELDER_FILE)) as records:
        records.remove_trial(joint.stem, trial)
    click.echo(
        f"Removed: trial {trial} of {joint.stem}, {removed.weld_s:.3g} s at {removed.percent:g} %, {removed.outcome}."
    )
