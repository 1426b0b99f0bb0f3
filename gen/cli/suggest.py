"""The command that makes a first schedule from the handbook tables: `suggest`."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from gen.boards import boards
from gen.cli.given import value_of
from gen.cli.job import find_welder
from gen.cli.plan import json_option, welder_option
from gen.cli.writing import check_targets, refused, write_whole
from gen.errors import InputError
from gen.figures import Figure
from gen.handbook.advice import suggest
from gen.handbook.suggestion import OFF, SQUEEZE, Suggestion
from gen.joint import RODS_MM, SHEETS_MM, Joint, read_joint
from gen.schedule import read_schedule
from gen.timing import compile_schedule
from gen.user_files import validated, written
from gen.welder import WELDER_FILE, Welder

_WIDTH = 120
_COLUMN = 46  # where the sources begin
_INCH_MM = 25.4
_KEYS = {
    "sheets_mm": "--sheets",
    "rods_mm": "--rods",
    "finish": "--finish",
    "setdown_percent": "--setdown",
    "force_N": "--force",
    "face_diameter_mm": "--face",
    "groove_radius_mm": "--groove",
}


def _pair(least_mm: float, most_mm: float) -> Callable[[str], list[float]]:
    """Two sizes joined by a comma, in mm or with `in` after each."""
    allowed = f"allowed: two sizes from {least_mm:g} to {most_mm:g} mm, such as 1.6,2 or 0.0625in,0.08in"

    def convert(text: str) -> list[float]:
        try:
            sizes = [_millimetres(part.strip()) for part in text.split(",")]
        except ValueError:
            sizes = []
        if len(sizes) > 2:
            raise click.BadParameter(f"{written(text)} given; of more than two nothing is known here; {allowed}")
        if len(sizes) != 2 or not all(least_mm * 0.999 <= size <= most_mm * 1.001 for size in sizes):
            raise click.BadParameter(f"{written(text)} given; {allowed}")
        return sizes

    return convert


def _millimetres(text: str) -> float:
    return float(text[:-2]) * _INCH_MM if text.endswith("in") else float(text.removesuffix("mm"))


def _option(name: str, key: str, metavar: str, text: str) -> Callable[[Any], Any]:
    return click.option(name, key, type=value_of(Joint, key), metavar=metavar, help=text)


@click.command("suggest")
@click.option("--sheets", "sheets_mm", type=_pair(*SHEETS_MM), metavar="T,T", help="Two sheets, such as 1,1 (mm).")
@click.option("--rods", "rods_mm", type=_pair(*RODS_MM), metavar="D,D", help="Two crossed rods, such as 5,8 (mm).")
@click.option("--joint", type=click.Path(path_type=Path), help="A joint file, in place of the other options.")
@_option(
    "--material", "material", "METAL", "The metal: low_carbon_steel, the only one of which figures are known here."
)
@_option("--surface", "surface", "SURFACE", "clean, scaled or zinc.")
@_option("--finish", "finish", "FINISH", "Of rods: cold_drawn or hot_drawn.")
@_option("--setdown", "setdown_percent", "PERCENT", "Of rods: 15, 30 or 50 % of the thinner; otherwise 15.")
@_option("--force", "force_N", "N", "Electrode force, N, to compare with the tables'.")
@_option("--face", "face_diameter_mm", "MM", "Diameter of the electrode face; otherwise that of the welder file.")
@_option("--groove", "groove_radius_mm", "MM", "Radius of a groove across the face; otherwise that of the welder file.")
@welder_option
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write the schedule to this new file.")
@json_option
def suggest_command(
    joint: Path | None, welder: Path | None, output: Path | None, as_json: bool, **options: Any
) -> int | None:
    """A first schedule for a joint on this machine, from the handbook tables, with its reasons and sources.

    Nothing of it is more than a first guess: try it on scrap. Exit code 1 where nothing is known, with what would help.
    """
    given = {key: value for key, value in options.items() if value is not None}
    if joint is not None and given:
        raise InputError(
            "command line", "--joint", written(str(joint)), "allowed: --joint or the other options of a joint"
        )
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
        click.echo(json.dumps(_data(found, refusal), indent=2))
    else:
        click.echo("\n".join(_lines(found, refusal)))
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


def _data(found: Suggestion, refusal: str) -> dict[str, Any]:
    """Everything that the command tells, for another program."""
    return {
        "joint": found.joint.model_dump(),
        "frequency_Hz": found.frequency_Hz,
        "working_current_A": asdict(found.current),
        "known": found.known,
        "why_not": found.why_not,
        "helps": list(found.helps),
        "current_percent": found.percent if found.known else None,
        "weld_s": asdict(found.weld) if found.weld else None,
        "start_s": found.start_s if found.known else None,
        "squeeze_s": asdict(SQUEEZE),
        "hold_s": asdict(found.hold) if found.hold else None,
        "off_s": asdict(OFF),
        "figures": [{"name": name} | asdict(figure) for name, figure in found.figures],
        "assumptions": list(found.assumptions),
        "cautions": list(found.cautions),
        "machine_refuses": refusal,
        "schedule": found.schedule_text() if found.known else None,
    }


def _row(name: str, figure: Figure) -> str:
    start = f"{f'  {name:<20}{figure.text}':<{_COLUMN - 2}}"
    return textwrap.fill(f"{start}  {figure.source}", _WIDTH, subsequent_indent=" " * _COLUMN, break_long_words=False)


def _said(text: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False)


def _lines(found: Suggestion, refusal: str) -> list[str]:
    lines = [found.joint.title, _row("this machine", found.current)]
    if found.figures:
        lines += ["", "What the tables say", *(_row(name, figure) for name, figure in found.figures)]
    if found.weld is None or found.hold is None:
        lines += ["", textwrap.fill(f"No suggestion: {found.why_not}.", _WIDTH), "What would help"]
        lines += [f"  {help_}" for help_ in found.helps]
    else:
        lines += ["", "On this machine, as a first guess"]
        percent = Figure(found.percent, found.percent, "%", f"of the working current: {found.delivered.text}")
        start_s = found.weld_cycles / found.frequency_Hz
        first = Figure(start_s, start_s, "s", f"{found.weld_cycles} cycles, to be tried on scrap")
        for name, figure in (
            ("squeeze", SQUEEZE),
            ("percent current", percent),
            ("weld, begin with", first),
            ("weld, range", found.weld),
            ("hold", found.hold),
            ("off", OFF),
        ):
            lines.append(_row(name, figure))
        if found.assumptions:
            lines += ["", "Assumed", *(_said(text) for text in found.assumptions)]
    if refusal:
        lines += ["", textwrap.fill(f"The machine refuses it as it stands, so nothing is written: {refusal}", _WIDTH)]
    if found.cautions:
        lines += ["", "Cautions", *(_said(text) for text in found.cautions)]
    return lines
