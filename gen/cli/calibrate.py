"""`weldbeat calibrate`: measured values into the welder file, shown before they are written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from gen.cli.job import find_welder
from gen.cli.plan import welder_option
from gen.commissioning.calibration import calibrated, difference, measured_key
from gen.commissioning.shots import lowest_tap
from gen.commissioning.steps import KEYS
from gen.errors import InputError
from gen.machine.welder import WELDER_FILE, Welder
from gen.records import RECORDS_FILE, CheckRecord, Records
from gen.writing import write_whole


@click.command("calibrate")
@click.argument("values", nargs=-1, metavar="[KEY=VALUE]...")
@welder_option
@click.option("--yes", is_flag=True, help="Do not ask before the welder file is written.")
def calibrate_command(values: tuple[str, ...], welder: Path | None, yes: bool) -> None:
    """Put measured values into the welder file, in the place of assumed ones, such as detector.offset_rise_us=412.

    Without KEY=VALUE the readings of the last commissioning are taken. What would change is shown first; the file is
    checked before it is written, and comments stay.
    """
    machine, path = find_welder(welder), welder or Path(WELDER_FILE)
    if values:
        given = dict(measured_key(text) for text in values)
        if len(given) < len(values):
            raise InputError("command line", "KEY=VALUE", None, "a key is given twice; allowed: each key once")
    else:
        given = _of_last_walk(path, machine)
    offer(path, given, yes)


def _of_last_walk(path: Path, welder: Welder) -> dict[str, float | int | str]:
    beside = path.absolute().parent / RECORDS_FILE
    allowed = "allowed: KEY=VALUE, or a walk with `weldbeat commission` before"
    if not beside.exists():
        raise InputError(RECORDS_FILE, "no commissioning in it", None, allowed)
    with Records(beside) as records:
        checks = records.checks()
    given = readings_for_file([c for c in checks if c.walk == checks[-1].walk] if checks else [], welder)
    if not given:
        raise InputError(RECORDS_FILE, "no reading that belongs into the welder file", None, allowed)
    return given


def readings_for_file(checks: list[CheckRecord], welder: Welder) -> dict[str, float | int | str]:
    """The readings of passed steps by the key that they replace."""
    found: dict[str, float | int | str] = {}
    for check in checks:
        if check.outcome == "passed" and check.reading is not None and check.step in KEYS:
            key = KEYS[check.step]
            reading = check.reading
            found[key] = round(reading) if reading == round(reading) or key.startswith("detector.") else reading
            if key == "detector.offset_rise_us" and welder.detector.kind == "pulse":
                found["detector.offset_fall_us"] = found[key]
            if key == "transformer.shorted_current_A" and welder.transformer.taps:
                found["transformer.shorted_tap"] = lowest_tap(welder.transformer)
    return found


def offer(path: Path, values: Mapping[str, float | int | str], yes: bool) -> bool:
    """Show what the welder file would become, and write it after a yes. True when it was written."""
    text = calibrated(path, values)
    shown = difference(path, text)
    if not shown:
        click.echo(f"{path} holds these values already.")
        return False
    click.echo(shown)
    if not yes and not click.confirm(f"Write {path}?"):
        click.echo("Nothing was written.")
        return False
    write_whole(path, text)
    click.echo(f"Written: {path}. What the firmware holds of it changes only when you simulate, build and flash anew.")
    return True
