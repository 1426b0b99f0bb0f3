"""Commands to begin with: `demo` and `new`."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from gen.begin import (
    DEMO_SCHEDULE,
    FIRST_SCHEDULE,
    FITTED,
    QUESTIONS,
    asked,
    asked_fitted,
    demo_files,
    fitted_of,
    machine_files,
)
from gen.cautions import caution_lines
from gen.cli.options import taken, value_of
from gen.cli.prove import reported, write_results
from gen.cli.said import say
from gen.cli.show import table_text, verdict_text
from gen.cli.terminal import Asked
from gen.job import read_job
from gen.machine.welder import WELDER_FILE
from gen.writing import check_bundle_folder, check_own_folder, check_without, write_bundle, write_whole

DEMO_PACE = 4.0
# Of each question: its option, and what stands for a value in the help.
_OPTIONS = {
    "voltage_V": ("--voltage", "VOLTS"),
    "frequency_Hz": ("--frequency", "HZ"),
    "rating_kVA": ("--rating-kva", "KVA"),
    "rating_duty_percent": ("--rating-duty", "PERCENT"),
    "working_current_A": ("--working-current", "AMPERES"),
    "force": ("--force", "SOURCE"),
    "detector": ("--detector", "KIND"),
    "gate_drive": ("--gate-drive", "DRIVE"),
}


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path))
def demo_command(folder: Path) -> int:
    """Write a worked example into FOLDER: welder and schedule files, firmware, report, waveforms."""
    texts = demo_files()
    check_own_folder("FOLDER", folder, texts)
    with TemporaryDirectory() as scratch:
        for name, text in texts.items():
            write_whole(Path(scratch, name), text)
        job = read_job(Path(scratch, DEMO_SCHEDULE), Path(scratch, WELDER_FILE))
    check_bundle_folder(folder / "firmware", job.bundle, "FOLDER")
    from sim.run import run as run_job

    run = run_job(job, DEMO_PACE, seed=1)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        write_whole(folder / name, text)
    write_bundle(folder / "firmware", job.bundle)
    write_results(run, (folder / "report.html", reported(run)), folder / "trace.vcd", folder / "weld.csv")
    say(table_text(run.job))
    say("")
    say(verdict_text(run))
    say(f"\nWritten to {folder}:")
    for name, what in (
        (WELDER_FILE, "the machine"),
        (DEMO_SCHEDULE, "the schedule"),
        ("firmware", f"{len(job.bundle.files)} files for the board, digest {job.bundle.digest}"),
        ("report.html", "the run as pictures, the findings, the cautions: open it in a browser"),
        ("trace.vcd", "the waveforms, for a waveform viewer"),
        ("weld.csv", "every current that flowed"),
    ):
        say(f"  {name:<20}{what}")
    say("\nInvented figures on an invented machine: for yours, go on with")
    say("  weldbeat new my-welder")
    say("  cd my-welder")
    say(f"  weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    return 1 if run.verdict.refused else 0


def _options(command: Any) -> Any:
    """One option for each question, listed in their order."""
    for q in reversed(QUESTIONS):
        option, metavar = _OPTIONS[q.answer]
        made = click.option(option, q.answer, type=value_of(q.table, q.key), metavar=metavar, help=f"{q.text}.")
        command = made(command)
    return command


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
@_options
@click.option(
    "--fitted",
    type=taken(fitted_of),
    metavar="NAMES",
    help=f"Protections that work without the board, with commas between: {', '.join(FITTED)}; or none.",
)
@click.option("--typical", is_flag=True, help="Ask nothing: take typical values for what no option gives.")
def new_command(folder: Path, typical: bool, fitted: tuple[str, ...] | None, **options: Any) -> None:
    """Write commented welder and schedule files for a machine of your own into FOLDER."""
    check_without("FOLDER", folder, (WELDER_FILE, FIRST_SCHEDULE))
    given = {key: value for key, value in options.items() if value is not None}
    if not typical:
        given |= asked(Asked(), given)
        fitted = asked_fitted(Asked()) if fitted is None else fitted
    texts = machine_files(given, fitted or ())
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        write_whole(folder / name, text)
    say(f"Written: {folder / WELDER_FILE} and {folder / FIRST_SCHEDULE}. Read both; values marked typical are guesses.")
    say(f"Then, in {folder}: weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    say("")
    for line in caution_lines():
        say(line)
