"""The commands that record, remove, export and import trials: `trial add`, `remove`, `export` and `import`."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.cli.options import USER_PATH, json_option, number, schedule_argument, welder_option
from gen.cli.said import say, say_object
from gen.cli.trial import joint_argument
from gen.errors import InputError
from gen.job import find_welder
from gen.machine import WELDER_FILE
from gen.records import Records
from gen.trials import add_trial, from_csv, new_trials, recorded, remove_trial, setting_text, to_csv
from gen.trials.values import EXPULSIONS, OUTCOMES
from gen.user_files import written
from gen.writing import check_drawn, write_whole

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
    found = re.fullmatch(r"([0-9]{1,9})/([0-9]{1,9})", text)
    if found is None:
        allowed = "boot and count of a weld, as `weldbeat watch --json` prints them, such as 7/12"
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
    help="early (as the current began) or late (hot metal); otherwise none.",
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
@json_option
def add_command(
    joint: Path,
    schedule: Path,
    weld: tuple[int, int] | None,
    last: bool,
    dressed: bool,
    welder_path: Path | None,
    as_json: bool,
    **noted: Any,
) -> None:
    """Record one weld of JOINT on scrap, made with SCHEDULE, and its outcome."""
    if weld is not None and last:
        raise InputError("command line", "--weld and --last", None, "allowed: one of them")
    added = add_trial(joint, schedule, welder_path, noted | {"dressed": int(dressed)}, weld, last)
    trial = added.record
    if as_json:
        say_object({"added": asdict(trial)})
        return
    outcome = trial.outcome + (f", expelled {trial.expulsion}" if trial.expulsion != "none" else "")
    say(f"Trial {trial.number} of {joint.stem}: {setting_text(added.setting, added.frequency_Hz)}, {outcome}.")
    say(f"Next: weldbeat trial next {joint}")


@click.command("remove")
@joint_argument
@click.argument("trial", type=number(1, 1_000_000), metavar="NUMBER")
@welder_option
@json_option
def remove_command(joint: Path, trial: int, welder_path: Path | None, as_json: bool) -> None:
    """Remove the trial NUMBER of JOINT from the records. The others keep their numbers."""
    find_welder(welder_path)
    removed = remove_trial(joint, trial, welder_path)
    if as_json:
        say_object({"removed": asdict(removed)})
        return
    say(f"Removed: trial {trial} of {joint.stem}, {removed.weld_s:.3g} s at {removed.percent:g} %, {removed.outcome}.")


@click.command("export")
@click.argument("file", type=USER_PATH)
@welder_option
@json_option
def export_command(file: Path, welder_path: Path | None, as_json: bool) -> None:
    """Write the trials of all joints to FILE as CSV, with schedules and joint files in cells.

    `weldbeat trial import` reads it back without loss, here or next to another welder file.
    """
    find_welder(welder_path)
    check_drawn("FILE", file, ".csv", keep=(welder_path or Path(WELDER_FILE),))
    trials, _ = recorded(welder_path)
    write_whole(file, to_csv(trials))
    if as_json:
        say_object({"written": str(file), "trials": len(trials)})
        return
    say(f"Written: {file}, {len(trials)} trial{'' if len(trials) == 1 else 's'}.")


@click.command("import")
@click.argument("file", type=USER_PATH)
@welder_option
@json_option
def import_command(file: Path, welder_path: Path | None, as_json: bool) -> None:
    """Add the trials in FILE, a CSV, to the records: all of them, or none if a row is wrong.

    The first line names the columns: joint, tried_at, weld_s, percent and outcome, and any other that `weldbeat trial
    export` writes. A trial that is in the records already is skipped.
    """
    find_welder(welder_path)
    rows = from_csv(file)
    earlier, _ = recorded(welder_path)
    new = new_trials(rows, earlier, file)
    if new:
        with Records.beside(welder_path or Path(WELDER_FILE)) as records:
            records.add_trials(new)
    same = len(rows) - len(new)
    if as_json:
        say_object({"added": len(new), "there_already": same})
        return
    say(f"Added: {len(new)}." + (f" Recorded before: {same}." if same else ""))
