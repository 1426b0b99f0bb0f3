"""Trials as CSV, out and in: `trial export` and `import`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from gen.cli.plan import welder_option
from gen.cli.trial_joint import check_drawn, recorded
from gen.errors import InputError
from gen.job import find_welder
from gen.machine.welder import WELDER_FILE
from gen.records import Records
from gen.trials.sheet import from_csv, to_csv
from gen.writing import write_whole


@click.command("export")
@click.argument("file", type=click.Path(path_type=Path))
@welder_option
def export_command(file: Path, welder: Path | None) -> None:
    """Write the trials of all joints to FILE as CSV, schedules and joint files in their cells.

    `weldbeat trial import` reads it back with nothing lost, here or beside another welder file.
    """
    find_welder(welder)
    check_drawn("FILE", file, ".csv", keep=(welder or Path(WELDER_FILE),))
    trials, _ = recorded(welder)
    write_whole(file, to_csv(trials))
    click.echo(f"Written: {file}, {len(trials)} trial{'' if len(trials) == 1 else 's'}.")


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@welder_option
def import_command(file: Path, welder: Path | None) -> None:
    """Add the trials in FILE, a CSV, to the records: all of them, or none where a row is wrong.

    The first line names the columns: joint, tried_at, weld_s, percent and outcome, and whatever else `weldbeat trial
    export` writes. A trial that the records hold already is passed over.
    """
    find_welder(welder)
    rows = from_csv(file)
    earlier, _ = recorded(welder)
    unnumbered = {replace(record, number=0) for record in earlier}
    taken = {(record.joint, record.number): record for record in earlier}
    new = []
    for line, trial in rows:
        key = (trial.joint, trial.number)
        if taken.get(key) == trial or trial in unnumbered:
            continue
        if key in taken:
            allowed = f"{trial.joint} has another trial of that number; allowed: an empty cell for the next number"
            raise InputError(file, f"line {line}, column number", trial.number, allowed)
        if trial.number:
            taken[key] = trial
        new.append(trial)
    if new:
        with Records.beside(welder or Path(WELDER_FILE)) as records:
            records.add_trials(new)
    same = len(rows) - len(new)
    click.echo(f"Added: {len(new)}." + (f" There already: {same}." if same else ""))
