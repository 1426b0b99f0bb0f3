"""Commands to begin with: `demo` and `new`."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click
from jinja2 import Environment, StrictUndefined

from gen.cautions import caution_lines
from gen.cli.given import value_of
from gen.cli.job import read_job, run_job
from gen.cli.prove import write_results
from gen.cli.show import table_text, verdict_text
from gen.machine.tables import Detector, Force, Mains, Protection, Transformer
from gen.machine.welder import WELDER_FILE
from gen.user_files import FileModel, figure, written
from gen.writing import check_bundle_folder, check_folder, refused, write_bundle, write_whole

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
    "offset_rise_us": 300,
    "offset_fall_us": 300,
    "force": "foot_lever",
    "board": "pico",
    "gate_drive": "direct",  # what nobody has named is not there
}
DEMO = TYPICAL | {
    "title": "A bench welder on a 230 V outlet. Invented for this demonstration.",
    "rating_kVA": 3.2,
    "working_current_A": 24,
    "source_resistance_ohm": 0.35,
    "source_inductance_mH": 0.5,
    "breaker_standard": "IEC 60898-1",
    "breaker_characteristic": "C",
    "breaker_rating_A": 20,
    "shorted_current_A": 30,
    "open_secondary_V": 2.4,
    "mass_kg": 14,
    "insulation_class": "B",
    "length_mm": 250,
    "throat_mm": 100,
    "diameter_mm": 20,
    "electrode_diameter_mm": 12,
    "electrode_length_mm": 40,
    "alloy": "CuCr1Zr",
    "face_diameter_mm": 8,
    "rated_current_A": 55,
    "surge_current_A": 1000,
    "i2t_A2s": 5000,
    "on_state_V": 0.9,
    "on_state_slope_mohm": 4.5,
    "commutating_dv_dt_V_per_us": 500,
    "foster": [[0.05, 0.005], [0.15, 0.05], [0.25, 0.4]],
    "K_per_W": 0.8,
    "J_per_K": 450,
    "offset_rise_us": 160,  # of the detector that `weldbeat wiring` draws
    "offset_fall_us": -130,
    "gate_drive": "one_shot",
    "isolator": True,
    "contactor": True,
    "stop_cuts_gate_supply": True,
    "stop_cuts_contactor": True,
    "over_temperature_contact": True,
    "secondary_earthed": True,
}
# They follow from the shorted current.
del DEMO["load_angle_min_deg"], DEMO["load_angle_max_deg"]
DEMO_SCHEDULE = "boot-scraper.toml"
DEMO_PACE = 4.0
FIRST_SCHEDULE = "first-weld.toml"


def _template(name: str) -> str:
    return files("gen.cli").joinpath(name).read_text(encoding="utf-8")


def _render(name: str, values: dict[str, Any], given: set[str]) -> str:
    """A template with `values`, those not in `given` marked typical, and optional keys without a value commented out."""
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    shown = {key: figure(value) if isinstance(value, float) else value for key, value in values.items()}

    def mark(key: str) -> str:
        return "" if key in given else "  # typical"

    def line(key: str, typical: str, value: str = "", note: str = "typical") -> str:
        value = value or key
        if value in values:
            return f"{key} = {json.dumps(values[value])}{mark(value)}"
        return f"# {key} = {typical}" + (f"  # {note}" if note else "")

    def table(key: str, value: str) -> str:
        return f"[{key}]" if value in values else f"# [{key}]"

    return environment.from_string(_template(name)).render(shown, mark=mark, line=line, table=table)


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path))
def demo_command(folder: Path) -> int:
    """Write a worked example into FOLDER: welder and schedule files, firmware, report, waveforms."""
    invented = set(DEMO)
    texts = {WELDER_FILE: _render("welder.toml.j2", DEMO, invented), DEMO_SCHEDULE: _template(DEMO_SCHEDULE)}
    _check_demo_folder(folder, texts)
    with TemporaryDirectory() as scratch:
        for name, text in texts.items():
            write_whole(Path(scratch, name), text)
        job = read_job(Path(scratch, DEMO_SCHEDULE), Path(scratch, WELDER_FILE))
    check_bundle_folder(folder / "firmware", job.firmware, "FOLDER")
    run = run_job(job, minutes=1, welds_per_minute=DEMO_PACE, seed=1)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        write_whole(folder / name, text)
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


def _check_demo_folder(folder: Path, texts: dict[str, str]) -> None:
    """A new or empty folder, or one in which this command has been before and nobody has changed its files since."""
    check_folder("FOLDER", folder)
    if not folder.is_dir() or not any(folder.iterdir()):
        return
    there = [name for name in texts if (folder / name).exists()]
    if not there:
        raise refused("FOLDER", folder, "holds other files; allowed: a folder, new or empty")
    for name in there:
        if not (folder / name).is_file() or (folder / name).read_bytes() != texts[name].encode():
            raise refused(
                "FOLDER", folder, f"{name} in it is not the demonstration's own; allowed: a folder, new or empty"
            )


# key of the answer, table and key of the welder file, option, its value's name, question
_QUESTIONS: tuple[tuple[str, type[FileModel], str, str, str, str], ...] = (
    ("voltage_V", Mains, "voltage_V", "--voltage", "volts", "Mains voltage, V RMS"),
    ("frequency_Hz", Mains, "frequency_Hz", "--frequency", "Hz", "Mains frequency, 50 or 60 Hz"),
    (
        "rating_kVA",
        Transformer,
        "rating_kVA",
        "--rating-kva",
        "kVA",
        "Power on the rating plate, kVA (not a peak or short-circuit figure)",
    ),
    (
        "rating_duty_percent",
        Transformer,
        "rating_duty_percent",
        "--rating-duty",
        "percent",
        "The duty that this power is for, %",
    ),
    (
        "working_current_A",
        Transformer,
        "working_current_A",
        "--working-current",
        "amperes",
        "Primary current with the electrodes on the work, A (clamp meter with hold)",
    ),
    ("force", Force, "source", "--force", "source", "What presses the electrodes together: hand, foot_lever or air"),
    ("detector", Detector, "kind", "--detector", "kind", "Zero-crossing detector: square or pulse"),
    (
        "gate_drive",
        Protection,
        "gate_drive",
        "--gate-drive",
        "drive",
        "What ends the gate current within 12 ms if the pin stays high: one_shot, pulse_transformer, capacitor, or direct "
        "for nothing",
    ),
)
_FITTED = tuple(key for key, field in Protection.model_fields.items() if field.annotation is bool)


def _fitted(text: str) -> tuple[str, ...]:
    """The type of the protections that are there: their names with commas between, or none."""
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    if names == ("none",):
        return ()
    for name in names or ("",):
        if name not in _FITTED:
            raise click.BadParameter(f"{written(name)} given; allowed: none, or of {', '.join(_FITTED)}")
    return names


def _options(command: Any) -> Any:
    """One option for each question, listed in their order."""
    for answer, model, key, option, name, question in reversed(_QUESTIONS):
        command = click.option(option, answer, type=value_of(model, key), metavar=name.upper(), help=f"{question}.")(
            command
        )
    return command


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
@_options
@click.option(
    "--fitted",
    type=_fitted,
    metavar="NAMES",
    help=f"Protections that work without the board, with commas between: {', '.join(_FITTED)}; or none.",
)
@click.option("--typical", is_flag=True, help="Ask nothing: take typical values for what no option gives.")
def new_command(folder: Path, typical: bool, fitted: tuple[str, ...] | None, **options: Any) -> None:
    """Write commented welder and schedule files for a machine of your own into FOLDER."""
    check_folder("FOLDER", folder)
    for name in (WELDER_FILE, FIRST_SCHEDULE):
        if (folder / name).exists():
            raise refused("FOLDER", folder, f"{name} is in it already; allowed: a folder without one")
    given = {key: value for key, value in options.items() if value is not None}
    if not typical:
        given |= _ask(given)
        if fitted is None:
            question = f"Protections fitted, with commas between: {', '.join(_FITTED)}; or none"
            fitted = click.prompt(question, default="none", value_proc=_fitted)
    given |= dict.fromkeys(fitted or (), True)
    values = TYPICAL | given | {"title": "My welder"}
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / WELDER_FILE, _render("welder.toml.j2", values, set(given)))
    write_whole(folder / FIRST_SCHEDULE, _render("first_weld.toml.j2", values, set()))
    click.echo(
        f"Written: {folder / WELDER_FILE} and {folder / FIRST_SCHEDULE}. Read both; values marked typical are guesses."
    )
    click.echo(f"Then, in {folder}: weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    click.echo("")
    for line in caution_lines():
        click.echo(line)


def _ask(given: dict[str, Any]) -> dict[str, Any]:
    """Ask for what no option gave. An answer left at its typical value stays marked typical."""
    answers = {}
    for answer, model, key, _, _, question in _QUESTIONS:
        if answer not in given:
            value = click.prompt(question, default=TYPICAL[answer], value_proc=value_of(model, key))
            if value != TYPICAL[answer]:
                answers[answer] = value
    return answers
