"""Commands to begin with: `demo` and `new`."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

import click
from jinja2 import Environment, StrictUndefined

from gen.cautions import caution_lines
from gen.cli.job import read_job, run_job
from gen.cli.prove import write_results
from gen.cli.show import table_text, verdict_text
from gen.cli.writing import check_bundle_folder, write_bundle, write_whole
from gen.errors import InputError
from gen.user_files import validated
from gen.welder import WELDER_FILE, Welder

TYPICAL: dict[str, Any] = {
    "voltage_V": 230,
    "frequency_Hz": 50,
    "rating_kVA": 2.5,
    "rating_duty_percent": 50,
    "working_current_A": 22,
    "load_angle_min_deg": 40,
    "load_angle_max_deg": 65,
    "switch": "scr_pair",
    "detector": "square",
    "offset_us": 300,
    "force": "foot_lever",
    "board": "pico",
}
DEMO = TYPICAL | {"title": "A bench welder on a 230 V outlet. Invented for this demonstration.", "rating_kVA": 3.2, "working_current_A": 24}
DEMO_SCHEDULE = "boot-scraper.toml"
DEMO_PACE = 4.0
FIRST_SCHEDULE = "first-weld.toml"


def _template(name: str) -> str:
    return files("gen.cli").joinpath(name).read_text(encoding="utf-8")


def _render(name: str, values: dict[str, Any], given: set[str]) -> str:
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    return environment.from_string(_template(name)).render(values, mark=lambda key: "" if key in given else "  # typical")


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path))
def demo_command(folder: Path) -> int:
    """Write a worked example into FOLDER: welder and schedule files, firmware, report, waveforms."""
    _check_new_folder(folder, {WELDER_FILE, DEMO_SCHEDULE})
    check_bundle_folder(folder / "firmware")
    folder.mkdir(parents=True, exist_ok=True)
    schedule, welder = folder / DEMO_SCHEDULE, folder / WELDER_FILE
    write_whole(welder, _render("welder.toml.j2", DEMO, set(DEMO) - {"load_angle_min_deg", "load_angle_max_deg", "offset_us"}))
    write_whole(schedule, _template(DEMO_SCHEDULE))
    run = run_job(read_job(schedule, welder), minutes=1, welds_per_minute=DEMO_PACE, seed=1)
    write_bundle(folder / "firmware", run.bundle)
    write_results(run, folder / "report.html", folder / "trace.vcd", folder / "weld.csv")
    click.echo(table_text(run.job))
    click.echo("")
    click.echo(verdict_text(run))
    click.echo(f"\nWritten to {folder}:")
    for name, what in (
        (WELDER_FILE, "the machine"),
        (DEMO_SCHEDULE, "the schedule"),
        ("firmware", f"{len(run.bundle.files)} files for the board, digest {run.bundle.digest}"),
        ("report.html", "the run as pictures, the findings, the cautions: open it in a browser"),
        ("trace.vcd", "the waveforms, for a waveform viewer"),
        ("weld.csv", "every current that flowed"),
    ):
        click.echo(f"  {name:<20}{what}")
    click.echo("\nInvented figures on an invented machine: for yours, go on with")
    click.echo("  weldbeat new my-welder")
    click.echo("  cd my-welder")
    click.echo(f"  weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    return 1 if run.verdict.refused else 0


def _check_new_folder(folder: Path, own: set[str]) -> None:
    """A new or empty folder, or one in which this command has been before."""
    if folder.is_file():
        raise InputError("DIR", str(folder), None, "this is a file; allowed: a folder, new or empty")
    if folder.is_dir() and any(folder.iterdir()) and not all((folder / name).is_file() for name in own):
        raise InputError("DIR", str(folder), None, "holds other files; allowed: a folder, new or empty")


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--voltage", "voltage_V", type=float, help="Mains voltage, RMS.")
@click.option("--frequency", "frequency_Hz", type=int, help="Mains frequency, 50 or 60.")
@click.option("--rating-kva", "rating_kVA", type=float, help="Power on the rating plate.")
@click.option("--rating-duty", "rating_duty_percent", type=float, help="The duty, per cent, that the power is for.")
@click.option("--working-current", "working_current_A", type=float, help="Primary amperes with the electrodes on the work.")
@click.option("--force", help="hand, foot_lever or air.")
@click.option("--detector", help="square or pulse.")
@click.option("--typical", is_flag=True, help="Ask nothing: take typical values for what no option gives.")
def new_command(folder: Path, typical: bool, **options: Any) -> None:
    """Write commented welder and schedule files for a machine of your own into FOLDER."""
    if folder.is_file():
        raise InputError("DIR", str(folder), None, "this is a file; allowed: a folder")
    for name in (WELDER_FILE, FIRST_SCHEDULE):
        if (folder / name).exists():
            raise InputError("DIR", str(folder / name), None, "is there already; allowed: a folder without it")
    given = {key: value for key, value in options.items() if value is not None}
    if not typical:
        given |= _ask(given)
    values = TYPICAL | given | {"title": "My welder"}
    text = _render("welder.toml.j2", values, set(given))
    _check(text, folder / WELDER_FILE)
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / WELDER_FILE, text)
    write_whole(folder / FIRST_SCHEDULE, _render("first_weld.toml.j2", values, set()))
    click.echo(f"Written: {folder / WELDER_FILE} and {folder / FIRST_SCHEDULE}. Read both; values marked typical are guesses.")
    click.echo(f"Then, in {folder}: weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    click.echo("")
    for line in caution_lines():
        click.echo(line)


_QUESTIONS = (
    ("voltage_V", "Mains voltage, V RMS", float),
    ("frequency_Hz", "Mains frequency, 50 or 60 Hz", int),
    ("rating_kVA", "Power on the rating plate, kVA (not a peak or short-circuit figure)", float),
    ("rating_duty_percent", "The duty that this power is for, %", float),
    ("working_current_A", "Primary current with the electrodes on the work, A (clamp meter with hold)", float),
    ("force", "What presses the electrodes together: hand, foot_lever or air", str),
    ("detector", "Zero-crossing detector: square or pulse", str),
)


def _ask(given: dict[str, Any]) -> dict[str, Any]:
    """Ask for what no option gave. An answer left at its typical value stays marked typical."""
    answers = {}
    for key, question, kind in _QUESTIONS:
        if key not in given:
            answer = click.prompt(question, default=TYPICAL[key], type=kind)
            if answer != TYPICAL[key]:
                answers[key] = answer
    return answers


def _check(text: str, path: Path) -> None:
    import tomllib

    try:
        validated(Welder, tomllib.loads(text), path)
    except tomllib.TOMLDecodeError:
        raise InputError("new", "answer", None, "a text with quotation marks or line breaks; allowed: plain words") from None
