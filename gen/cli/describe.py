"""The command that shows the derived machine: `describe`."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gen.cli.electrode_sizes import electrode_sizes
from gen.cli.joint import by_electrodes
from gen.cli.options import USER_PATH, json_option, welder_option
from gen.cli.said import WIDTH, folded, said, say, say_data
from gen.errors import InputError
from gen.job import find_welder
from gen.machine import WELDER_FILE, Change, Welder, compared
from gen.machine.breaker import described, dip
from gen.machine.tables import Electrodes, OneElectrode
from gen.ranges import Figure, shown
from gen.user_files import written

if TYPE_CHECKING:
    from sim.joint.estimate import ElectrodeResult

_RATING_FROM = {
    "plate": "",
    "core_and_wire": ", calculated from core and wire",
    "typical": ", typical: no plate was read",
}


@click.command("describe")
@welder_option
@click.option(
    "--electrode",
    type=electrode_sizes,
    metavar="SIZES",
    help="Compare with other electrodes, such as diameter=10,length=45,groove=2.5; keys left out stay as they are.",
)
@click.option(
    "--joint",
    type=USER_PATH,
    help="With --electrode: compute this joint under both pairs as well, which takes some seconds.",
)
@json_option
def describe_command(
    welder_path: Path | None, electrode: dict[str, Any] | None, joint: Path | None, as_json: bool
) -> None:
    """The machine as derived from its file: each figure with its range and source."""
    if joint is not None and not electrode:
        raise InputError("command line", "--joint", written(str(joint)), "allowed: only with --electrode")
    welder = find_welder(welder_path)
    change = compared(welder, electrode, welder_path or Path(WELDER_FILE)) if electrode else None
    welded = by_electrodes(joint, welder, change) if joint and change else None
    if as_json:
        more = {} if welded is None else {"joint": dict(zip(("now", "other"), map(_weld_data, welded), strict=True))}
        say_data(json.dumps(description(welder, change) | more, indent=2, default=Electrodes.model_dump))
    else:
        lines = _change_lines(change) if change else _lines(welder)
        say("\n".join([*lines, *(_weld_lines(joint, *welded) if joint and welded else [])]))


def description(welder: Welder, change: Change | None) -> dict[str, Any]:
    """All that the command prints, for another program."""
    machine = welder.machine
    return {
        "voltage_V": machine.voltage_V,
        "frequency_Hz": machine.frequency_Hz,
        "figures": {name: asdict(figure) for name, figure in machine.figures()},
        "taps": [
            {"name": tap.name, "in_use": tap is machine.in_use}
            | {name: asdict(figure) if figure else None for name, figure in tap.figures()}
            for tap in machine.taps
        ],
        "outlet_dip": asdict(dip(machine, machine.in_use.working_primary, machine.in_use.load_angle)),
        "breaker": welder.breaker.model_dump() if welder.breaker else None,
        "assumed": welder.assumed(),
        "electrodes": asdict(change) if change else None,
    }


def _line(name: str, figure: Figure) -> str:
    return _text(name, figure.text, figure.source)


def _text(name: str, value: str, source: str) -> str:
    return f"  {name:<33}{value}\n{folded(source, ' ' * 6)}"


def _lines(welder: Welder) -> list[str]:
    machine, t = welder.machine, welder.transformer
    lines = [
        f"{machine.voltage_V:g} V, {machine.frequency_Hz} Hz; {t.rating_kVA:g} kVA at {t.rating_duty_percent:g} % duty"
        f"{_RATING_FROM[t.rating_from]}",
        "",
        "Referred to the primary, on the tap in use",
        *(_line(name, figure) for name, figure in machine.figures()),
    ]
    for tap in machine.taps:
        title = f"Tap {tap.name}" if tap.name else "Currents at full conduction"
        lines += ["", title + (" (in use)" if tap.name and tap is machine.in_use else "")]
        lines += [_line(name, figure) for name, figure in tap.figures() if figure]
    lines += ["", "Outlet and breaker"]
    lines.append(_line("voltage falls by", dip(machine, machine.in_use.working_primary, machine.in_use.load_angle)))
    lines.append(_text("breaker", *described(welder.breaker)))
    lines += welder.wanted()
    if assumed := welder.assumed():
        lines += ["", "Typical or derived, because the welder file leaves them out", *(f"  {key}" for key in assumed)]
    return lines


def _face(electrode: OneElectrode) -> str:
    if electrode.face_diameter_mm is not None:
        return f"flat, {electrode.face_diameter_mm:g} mm"
    return f"groove of {electrode.groove_radius_mm:g} mm" if electrode.groove_radius_mm is not None else "not given"


_ELECTRODE_ROWS: tuple[tuple[str, Callable[[OneElectrode], str]], ...] = (
    ("diameter", lambda e: f"{e.diameter_mm:g} mm"),
    ("length", lambda e: f"{e.length_mm:g} mm"),
    ("offset", lambda e: f"{e.offset_mm:g} mm"),
    ("face", _face),
    ("alloy", lambda e: e.alloy),
)


def _both(of: Callable[[OneElectrode], str], electrodes: Electrodes) -> str:
    """The text of the upper and the lower electrode; one if they are the same."""
    upper, lower = (of(electrode) for electrode in electrodes.pair)
    return upper if upper == lower else f"{upper}; {lower}"


def _change_lines(change: Change) -> list[str]:
    rows: list[tuple[str, ...]] = [("", "now", "other")]
    for label, of in _ELECTRODE_ROWS:
        rows.append((label, *(_both(of, side.electrodes) for side in (change.present, change.other))))
    for label, attribute in (
        ("shorted, secondary", "short_secondary"),
        ("working, secondary", "working_secondary"),
        ("working, primary", "working_primary"),
        ("resistance of both shanks", "shank_resistance"),
        ("heat in both shanks", "shank_heat"),
    ):
        rows.append((label, *(getattr(side, attribute).text for side in (change.present, change.other))))
    return [
        "Electrodes compared, on the tap in use, at full conduction",
        *(line for label, now, other in rows for line in _compared_lines(label, now, other)),
        f"  change of working current   {_signed(change.secondary)} ({_signed(change.secondary_percent)}) in the secondary, "
        f"{_signed(change.primary)} in the primary",
        f"  change of heat in shanks    {_signed(change.heat_percent)} while current flows",
        "  An offset is taken to reach outwards, away from the transformer, which lowers the current most.",
    ]


def _weld_lines(joint: Path, now: ElectrodeResult, other: ElectrodeResult) -> list[str]:
    """The joint under both pairs, computed."""
    rows = [
        (f"{now.what} after", *(_weld_time(each) for each in (now, other))),
        ("current in the weld", *(f"{each.amperes:.0f} A" for each in (now, other))),
        ("under the electrode, up to", *(f"{each.tip_C:.0f} degC" for each in (now, other))),
    ]
    lines = [
        "",
        f"{joint.stem} at 100 %, computed and not measured",
        *(line for row in rows for line in _compared_lines(*row)),
    ]
    lines += [said(f"now: {words}") for words in now.assumed if words not in other.assumed]
    lines += [said(f"other: {words}") for words in other.assumed if words not in now.assumed]
    return [*lines, *(said(f"both: {words}") for words in now.assumed if words in other.assumed)]


def _weld_time(weld: ElectrodeResult) -> str:
    return f"{weld.time_s:.2g} s" if weld.time_s < inf else "never"


def _weld_data(weld: ElectrodeResult) -> dict[str, Any]:
    return asdict(weld) | {"time_s": weld.time_s if weld.time_s < inf else None}


def _compared_lines(label: str, now: str, other: str) -> list[str]:
    """A row of the comparison, in two lines if it is too wide for one."""
    if len(now) < 26 and len(other) <= WIDTH - 56:
        return [f"  {label:<28}{now:<26}{other}".rstrip()]
    return [f"  {label:<28}{now}", f"{'':56}{other}" if len(other) <= WIDTH - 56 else f"{'other: ':>30}{other}"]


def _signed(figure: Figure) -> str:
    low, high = (f"{'+' if value > 0 else ''}{shown(value)}" for value in (figure.low, figure.high))
    return f"{low if low == high else f'{low} to {high}'} {figure.unit}"
