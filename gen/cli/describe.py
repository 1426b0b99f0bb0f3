"""The command that tells a machine as it was derived: `describe`."""

from __future__ import annotations

import json
import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.cli.given import value_of
from gen.cli.plan import json_option, welder_option
from gen.errors import InputError
from gen.job import find_welder
from gen.machine.breaker import NON_TRIPPING, SOURCE, dip, magnetic_rms_A
from gen.machine.derived import Tap
from gen.machine.electrodes import Change, compare
from gen.machine.tables import Electrodes
from gen.machine.welder import WELDER_FILE, Welder
from gen.ranges import Figure, shown
from gen.user_files import Wrong, written

_PARTS = {"diameter": "diameter_mm", "length": "length_mm", "offset": "offset_mm", "alloy": "alloy"}
_ELECTRODE_ALLOWED = (
    "diameter, length, offset (mm) or alloy, each once, joined by commas, such as diameter=10,length=45,offset=20"
)
_WIDTH = 120
_COLUMN = 60  # where the sources begin


def _electrode(text: str) -> dict[str, Any]:
    """The keys of the welder file's [electrodes] that an option's text gives."""
    found: dict[str, Any] = {}
    for part in text.split(","):
        name, equals, value = (piece.strip() for piece in part.partition("="))
        if not equals or name not in _PARTS or _PARTS[name] in found:
            raise click.BadParameter(f"{written(text)} given; allowed: {_ELECTRODE_ALLOWED}")
        try:
            found[_PARTS[name]] = value_of(Electrodes, _PARTS[name])(value)
        except click.BadParameter as error:
            raise click.BadParameter(f"{name}: {error.message}") from None
    return found


@click.command("describe")
@welder_option
@click.option(
    "--electrode",
    type=_electrode,
    metavar="SIZES",
    help="Compare with other electrodes, such as diameter=10,length=45,offset=20; what is left out stays as it is.",
)
@json_option
def describe_command(welder: Path | None, electrode: dict[str, Any] | None, as_json: bool) -> None:
    """The machine as derived from its file: each figure with its range and where it came from."""
    machine = find_welder(welder)
    change = _compared(machine, electrode, welder or Path(WELDER_FILE)) if electrode else None
    if as_json:
        click.echo(json.dumps(description(machine, change), indent=2, default=Electrodes.model_dump))
    else:
        click.echo("\n".join(_lines(machine) + (_change_lines(change) if change else [])))


def _compared(welder: Welder, sizes: dict[str, Any], path: Path) -> Change:
    for key, there in (("arms", welder.arms), ("electrodes", welder.electrodes)):
        if there is None:
            raise InputError(path, key, None, f"missing; allowed: a table [{key}], which --electrode needs")
    if not welder.transformer.tap_volts:
        allowed = "missing; allowed: this or transformer.taps, which --electrode needs"
        raise InputError(path, "transformer.open_secondary_V", None, allowed)
    present = welder.electrodes.model_dump(include=set(_PARTS.values())) if welder.electrodes else {}
    other = Electrodes.model_validate(present | sizes)
    try:
        welder.check_fits(other, "length")
    except Wrong as error:
        raise InputError("command line", "--electrode: length", error.given, str(error)) from None
    return compare(welder, other)


def description(welder: Welder, change: Change | None) -> dict[str, Any]:
    """Everything that the command tells, for another program."""
    machine = welder.machine
    return {
        "voltage_V": machine.voltage_V,
        "frequency_Hz": machine.frequency_Hz,
        "figures": {name: asdict(figure) for name, figure in machine.figures()},
        "taps": [
            {"name": tap.name, "in_use": tap is machine.in_use}
            | {name: asdict(figure) if figure else None for name, figure in _tap_figures(tap)}
            for tap in machine.taps
        ],
        "outlet_dip": asdict(dip(machine, machine.in_use.working_primary, machine.in_use.load_angle)),
        "breaker": welder.breaker.model_dump() if welder.breaker else None,
        "assumed": welder.assumed(),
        "electrodes": asdict(change) if change else None,
    }


def _tap_figures(tap: Tap) -> list[tuple[str, Figure | None]]:
    return [
        ("turns ratio", tap.turns_ratio),
        ("shorted, primary", tap.short_primary),
        ("shorted, secondary", tap.short_secondary),
        ("working, primary", tap.working_primary),
        ("working, secondary", tap.working_secondary),
        ("load angle", tap.load_angle),
    ]


def _line(name: str, figure: Figure) -> str:
    return _text(name, figure.text, figure.source)


def _text(name: str, value: str, source: str) -> str:
    start = f"{f'  {name:<33}{value}':<{_COLUMN - 2}}"
    return textwrap.fill(f"{start}  {source}", _WIDTH, subsequent_indent=" " * _COLUMN, break_long_words=False)


def _lines(welder: Welder) -> list[str]:
    machine, t = welder.machine, welder.transformer
    lines = [
        f"{machine.voltage_V:g} V, {machine.frequency_Hz} Hz; {t.rating_kVA:g} kVA at {t.rating_duty_percent:g} % duty",
        "",
        "As the primary sees it, on the tap in use",
        *(_line(name, figure) for name, figure in machine.figures()),
    ]
    for tap in machine.taps:
        title = f"Tap {tap.name}" if tap.name else "Currents at full conduction"
        lines += ["", title + (" (in use)" if tap.name and tap is machine.in_use else "")]
        lines += [_line(name, figure) for name, figure in _tap_figures(tap) if figure]
    lines += ["", *_supply_lines(welder)]
    if not t.tap_volts:
        lines.append(
            "Secondary currents are not known: give transformer.open_secondary_V, or transformer.taps and tap."
        )
    if t.shorted_current_A is None:
        lines.append(
            "Narrower figures: read the primary current with the electrodes shorted, and give it as "
            "transformer.shorted_current_A."
        )
    if assumed := welder.assumed():
        lines += ["", "Typical or derived, since the welder file leaves them out", *(f"  {key}" for key in assumed)]
    return lines


def _supply_lines(welder: Welder) -> list[str]:
    machine, breaker = welder.machine, welder.breaker
    lines = ["Outlet and breaker"]
    lines.append(_line("voltage falls by", dip(machine, machine.in_use.working_primary, machine.in_use.load_angle)))
    if breaker is None:
        lines.append(_text("breaker", "not known", "give [breaker]"))
    elif breaker.standard != "IEC 60898-1":
        lines.append(_text("breaker", f"{breaker.rating_A:g} A", "of another standard: its limits are not known here"))
    else:
        low, high = magnetic_rms_A(breaker)
        name = f"{breaker.characteristic}{breaker.rating_A:g}"
        passes = f"passes {low:g} A RMS for 0.1 s and opens at once from {high:g} A; holds a mean over the pace of"
        lines.append(_text("breaker", name, f"{passes} {shown(NON_TRIPPING * breaker.rating_A)} A ({SOURCE})"))
    return lines


def _change_lines(change: Change) -> list[str]:
    rows: list[tuple[str, ...]] = [("", "now", "other")]
    for label, key, unit in (
        ("diameter", "diameter_mm", " mm"),
        ("length", "length_mm", " mm"),
        ("offset", "offset_mm", " mm"),
    ):
        rows.append((label, *(f"{getattr(side.electrodes, key):g}{unit}" for side in (change.present, change.other))))
    rows.append(("alloy", change.present.electrodes.alloy, change.other.electrodes.alloy))
    for label, attribute in (
        ("shorted, secondary", "short_secondary"),
        ("working, secondary", "working_secondary"),
        ("working, primary", "working_primary"),
        ("resistance of both shanks", "shank_resistance"),
        ("heat in both shanks", "shank_heat"),
    ):
        rows.append((label, *(getattr(side, attribute).text for side in (change.present, change.other))))
    return [
        "",
        "Electrodes compared, on the tap in use, at full conduction",
        *(f"  {label:<28}{now:<26}{other}".rstrip() for label, now, other in rows),
        f"  change of working current   {_signed(change.secondary)} ({_signed(change.secondary_percent)}) in the secondary, "
        f"{_signed(change.primary)} in the primary",
        f"  change of heat in shanks    {_signed(change.heat_percent)} while current flows",
        "  An offset is taken to reach outwards, away from the transformer, which costs most.",
    ]


def _signed(figure: Figure) -> str:
    low, high = (f"{'+' if value > 0 else ''}{shown(value)}" for value in (figure.low, figure.high))
    return f"{low if low == high else f'{low} to {high}'} {figure.unit}"
