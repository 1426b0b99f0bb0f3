"""The command that makes a first schedule from the handbook tables: `suggest`."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from gen.boards import boards
from gen.cli.given import value_of
from gen.cli.plan import json_option, welder_option
from gen.cli.suggest_text import as_data, as_lines
from gen.errors import InputError
from gen.handbook.advice import suggest
from gen.handbook.suggestion import Suggestion
from gen.job import find_welder
from gen.joint import RODS_MM, SHEETS_MM, Joint, read_joint
from gen.machine.welder import WELDER_FILE, Welder
from gen.schedule import read_schedule
from gen.timing import compile_schedule
from gen.units import INCH_MM, POUND_N
from gen.user_files import validated, written
from gen.writing import check_targets, refused, write_whole

_KEYS = {
    "sheets_mm": "--sheets",
    "rods_mm": "--rods",
    "material": "--material",
    "surface": "--surface",
    "finish": "--finish",
    "setdown_percent": "--setdown",
    "force_N": "--force",
    "force_measured": "--force-measured",
    "face_diameter_mm": "--face",
    "groove_radius_mm": "--groove",
    "pitch_mm": "--pitch",
    "overlap_mm": "--overlap",
}
_COUNTS = {2: "two", 3: "three"}


def _sizes(least_mm: float, most_mm: float, most: int) -> Callable[[str], list[float]]:
    """Two sizes or as many as `most`, joined by commas, in mm or with `in` after each."""
    many = " or ".join(word for count, word in _COUNTS.items() if count <= most)
    allowed = f"allowed: {many} sizes from {least_mm:g} to {most_mm:g} mm, such as 1.6,2 or 0.0625in,0.08in"

    def convert(text: str) -> list[float]:
        try:
            sizes = [_millimetres(part.strip()) for part in text.split(",")]
        except ValueError:
            sizes = []
        if len(sizes) > most:
            raise click.BadParameter(
                f"{written(text)} given; of more than {_COUNTS[most]} nothing is known here; {allowed}"
            )
        if len(sizes) < 2 or not all(least_mm * 0.999 <= size <= most_mm * 1.001 for size in sizes):
            raise click.BadParameter(f"{written(text)} given; {allowed}")
        return sizes

    return convert


def _millimetres(text: str) -> float:
    return float(text[:-2]) * INCH_MM if text.endswith("in") else float(text.removesuffix("mm"))


def _option(name: str, key: str, metavar: str, text: str) -> Callable[[Any], Any]:
    return click.option(name, key, type=value_of(Joint, key), metavar=metavar, help=text)


def _measure(name: str, key: str, metavar: str, text: str) -> Callable[[Any], Any]:
    """An option in mm or N, or in inches or pounds where `in` or `lb` stands after it."""
    metric = value_of(Joint, key)
    unit, factor = ("lb", POUND_N) if key.endswith("_N") else ("in", INCH_MM)

    def convert(typed: str) -> Any:
        try:
            given: Any = float(typed.removesuffix(unit)) * factor if typed.endswith(unit) else typed
        except ValueError:
            given = typed
        try:
            return metric(given)
        except click.BadParameter as error:
            if given == typed:
                raise
            allowed = error.message.partition(" given; ")[2]
            raise click.BadParameter(f"{written(typed)} given; {allowed} ({factor:.4g} {metavar} each)") from None

    return click.option(name, key, type=convert, metavar=metavar, help=text)


@click.command("suggest")
@click.option(
    "--sheets",
    "sheets_mm",
    type=_sizes(*SHEETS_MM, 3),
    metavar="T,T[,T]",
    help="Two or three sheets as they lie: 1,1 (mm); 0.04in,0.06in.",
)
@click.option("--rods", "rods_mm", type=_sizes(*RODS_MM, 2), metavar="D,D", help="Two crossed rods, such as 5,8 (mm).")
@click.option("--joint", type=click.Path(path_type=Path), help="A joint file, in place of the other options.")
@_option("--material", "material", "METAL", "low_carbon_steel, or stainless_steel (of sheets).")
@_option("--surface", "surface", "SURFACE", "clean, scaled or zinc.")
@_option("--finish", "finish", "FINISH", "Of rods: cold_drawn or hot_drawn.")
@_option("--setdown", "setdown_percent", "PERCENT", "Of rods: 15, 30 or 50 % of the thinner (15).")
@_measure("--force", "force_N", "N", "Electrode force, N (or 400lb), beside the tables'.")
@_option("--force-measured", "force_measured", "HOW", "How it was measured: gauge, spring or lever.")
@_measure("--face", "face_diameter_mm", "MM", "Electrode face, across; otherwise the welder file's.")
@_measure("--groove", "groove_radius_mm", "MM", "Radius of its groove; otherwise the welder file's.")
@_measure("--pitch", "pitch_mm", "MM", "From this weld to the nearest made before it.")
@_measure("--overlap", "overlap_mm", "MM", "Overlap of sheets, beside the table's.")
@welder_option
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write the schedule to this new file.")
@click.option("--inch", is_flag=True, help="Print inches and pounds; files stay metric.")
@json_option
def suggest_command(
    joint: Path | None, welder: Path | None, output: Path | None, inch: bool, as_json: bool, **options: Any
) -> int | None:
    """A first schedule for a joint on this machine, from the handbook tables, with its reasons and sources.

    Nothing of it is more than a first guess: try it on scrap. Exit code 1 where nothing is known, with what would help.
    """
    given = {key: value for key, value in options.items() if value is not None}
    if joint is not None and given:
        raise InputError(
            "command line", "--joint", written(str(joint)), "allowed: --joint or the other options of a joint"
        )
    if inch and as_json:
        raise InputError("command line", "--inch and --json", None, "allowed: one of them; data is metric")
    if output is not None:
        _check_output(output)
    wanted = read_joint(joint) if joint else _from_options(given)
    machine = find_welder(welder)
    described = with_electrodes(wanted, machine)
    current = machine.machine.in_use.working_secondary
    if current is None:
        allowed = "missing; allowed: this or transformer.taps, from which the secondary current follows"
        raise InputError(welder or Path(WELDER_FILE), "transformer.open_secondary_V", None, allowed)
    found = suggest(described, current, machine.mains.frequency_Hz)
    if not found.known and (taps := _taps_that_help(described, machine)):
        found = replace(found, helps=(f"tap {' or '.join(taps)}, of which something is known", *found.helps))
    refusal = _compiled(found, machine, output) if found.known else ""
    if as_json:
        click.echo(json.dumps(as_data(found, refusal), indent=2))
    else:
        click.echo("\n".join(as_lines(found, refusal, inch)))
    if not found.known:
        return 1
    if output is not None and not refusal:
        write_whole(output, found.schedule_text())
        if not as_json:
            click.echo(f"\nWritten: {output}. Next: weldbeat simulate {output}")
    return 1 if refusal else None


def _from_options(given: dict[str, Any]) -> Joint:
    if not given.keys() & {"sheets_mm", "rods_mm"}:
        raise InputError("command line", "--sheets, --rods or --joint", None, "missing; allowed: one of them")
    try:
        return validated(Joint, given, Path("command line"))
    except InputError as error:
        raise InputError("command line", _as_options(error.key), error.given, _as_options(error.allowed)) from None


def _as_options(text: str) -> str:
    """A message about a joint file's keys, told of the options."""
    for key, option in _KEYS.items():
        text = text.replace(key, option)
    return text


def with_electrodes(joint: Joint, welder: Welder) -> Joint:
    """The joint with the welder file's face or groove, where the joint names neither."""
    e = welder.electrodes
    if e is None or joint.face_diameter_mm is not None or joint.groove_radius_mm is not None:
        return joint
    groove = e.groove_radius_mm if joint.rods_mm else None
    return joint.model_copy(update={"face_diameter_mm": e.face_diameter_mm, "groove_radius_mm": groove})


def _taps_that_help(joint: Joint, welder: Welder) -> list[str]:
    """The other taps of this machine on which the tables reach the joint."""
    return [
        str(written(tap.name))
        for tap in welder.machine.taps
        if tap.working_secondary and suggest(joint, tap.working_secondary, welder.mains.frequency_Hz).known
    ]


def _check_output(output: Path) -> None:
    """Raise InputError where the schedule cannot go there."""
    check_targets({"--output": output}, ())
    if output.exists():
        raise refused("--output", output, "is there already; allowed: a new file")


def _compiled(found: Suggestion, welder: Welder, output: Path | None) -> str:
    """Why this machine would not take the schedule; empty where it does. Raises InputError for a name that cannot be one."""
    with TemporaryDirectory() as scratch:
        path = Path(scratch, output.name if output else "suggestion.toml")
        path.write_text(found.schedule_text(), encoding="utf-8")
        schedule = read_schedule(path)
        try:
            compile_schedule(schedule, welder, boards()[welder.board.name], path)
        except InputError as error:
            return str(error)
    return ""
