"""The welder file of the user's own machine, from the answers of an interview. Typical values are marked as such."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined, Template

from gen.begin import questions as q
from gen.begin.interview import Answers, known
from gen.boards import boards
from gen.errors import InputError
from gen.machine.rating import RatedWinding, rating_of
from gen.machine.welder import TYPICAL_MARK, WELDER_FILE, Welder
from gen.ranges import Figure, shown
from gen.user_files import figure, parsed_toml, validated
from gen.wiring.current_part import turns_and_burden
from gen.wiring.signal_parts import detector

FIRST_SCHEDULE = "first-weld.toml"
TYPICAL_SUPPLY = "230 V"
TYPICAL_RATED_A = 11.0  # primary current of the rating of a machine that an outlet feeds (common practice, no source)
TYPICAL_WORKING = 2.0  # times the rated current, for the example in a comment
TYPICAL: Mapping[str, Any] = {
    "rating_duty_percent": 50,
    "switch": "scr_pair",
    "detector": "square",
    "force": "foot_lever",
    "board": "pico",
    "gate_drive": "direct",  # what nobody has named is not there
}
# The template's name for each answer.
_VALUES = {
    q.VOLTAGE: "voltage_V",
    q.FREQUENCY: "frequency_Hz",
    q.TO_EARTH: "voltage_to_earth_V",
    q.DUTY: "rating_duty_percent",
    q.MASS: "mass_kg",
    q.OPEN_VOLTS: "open_secondary_V",
    q.WORKING: "working_current_A",
    q.SHORTED: "shorted_current_A",
    q.ARM_LENGTH: "length_mm",
    q.THROAT: "throat_mm",
    q.ARM_DIAMETER: "diameter_mm",
    q.STEEL: "steel_in_throat",
    q.DIAMETER: "electrode_diameter_mm",
    q.LENGTH: "electrode_length_mm",
    q.FACE: "face_diameter_mm",
    q.GROOVE: "groove_radius_mm",
    q.ALLOY: "alloy",
    q.SWITCH: "switch",
    q.SWITCH_CURRENT: "rated_current_A",
    q.OFFSET_RISE: "offset_rise_us",
    q.OFFSET_FALL: "offset_fall_us",
    q.FORCE: "force",
    q.FORCE_SWITCH: "force_switch",
    q.GATE_DRIVE: "gate_drive",
    q.RESIDUAL: "residual_current_mA",
    q.BOARD: "board",
}
_LOWER = ("diameter_mm", "length_mm", None, "face_diameter_mm", "groove_radius_mm", "alloy")  # of q.LOWER, in its order


def machine_files(answers: Answers) -> dict[str, str]:
    """The texts of the user's own machine by file name: a welder file and a first schedule. Raises InputError."""
    values, notes = _figures(answers)
    text = render("welder.toml.j2", values, notes)
    measured = known(answers, q.CURRENT)
    if "offset_rise_us" not in values or measured:
        values, notes = values.copy(), notes.copy()
        welder = validated(Welder, parsed_toml(text, WELDER_FILE), Path(WELDER_FILE))
        if "offset_rise_us" not in values:
            _add_offsets(values, notes, welder)
        if measured:
            values["turns"], values["burden_ohm"] = turns_and_burden(welder, boards()[welder.board.name])
            notes["turns"] = f"{TYPICAL_MARK} of a part for this machine; what is printed on yours"
            notes["burden_ohm"] = f"{TYPICAL_MARK}; as `weldbeat choose` works it out"
        text = render("welder.toml.j2", values, notes)
    validated(Welder, parsed_toml(text, WELDER_FILE), Path(WELDER_FILE))
    return {WELDER_FILE: text, FIRST_SCHEDULE: render("first_weld.toml.j2", values, {})}


def _figures(answers: Answers) -> tuple[dict[str, Any], dict[str, str]]:
    """The values of the template, and the comments after those that were not given."""
    values: dict[str, Any] = {"title": "My welder"}
    notes: dict[str, str] = {}
    for inquiry, name in _VALUES.items():
        if (value := known(answers, inquiry)) is not None:
            values[name] = value
    _supply(answers, values, notes)
    _breaker(answers, values)
    _taps(answers, values)
    _rating(answers, values, notes)
    kind = known(answers, q.DETECTOR)
    if kind is not None:
        values["detector"] = kind.removeprefix("own ")
    if values.get("detector") == "pulse" and "offset_rise_us" in values:
        values["offset_fall_us"] = values["offset_rise_us"]
    values |= dict.fromkeys(known(answers, q.FITTED) or (), True)
    for name, value in TYPICAL.items():
        if name not in values:
            values[name], notes[name] = value, TYPICAL_MARK
    values["conduction_sense"] = boards()[values["board"]].capabilities.conduction_sense
    notes["conduction_sense"] = (
        f"{TYPICAL_MARK}; as `weldbeat wiring` draws it; false where no coupler watches the switch"
    )
    lower = {name: known(answers, inquiry) for inquiry, name in zip(q.LOWER, _LOWER, strict=True) if name}
    values["lower"] = {name: value for name, value in lower.items() if value is not None}
    for table in (("length_mm", "throat_mm", "diameter_mm"), ("electrode_diameter_mm", "electrode_length_mm")):
        if not all(name in values for name in table):  # a table is written whole or not at all
            for name in table:
                if name in values:
                    values[f"hint_{name}"] = values.pop(name)
    if "electrode_length_mm" not in values:
        for name in ("face_diameter_mm", "groove_radius_mm", "alloy"):
            values.pop(name, None)
        values["lower"] = {}
    if "length_mm" not in values:
        values.pop("steel_in_throat", None)
    return values, notes


def _supply(answers: Answers, values: dict[str, Any], notes: dict[str, str]) -> None:
    supply = known(answers, q.SUPPLY)
    names = ("voltage_V", "frequency_Hz", "voltage_to_earth_V")
    if supply in q.SUPPLIES:
        values |= dict(zip(names, q.SUPPLIES[supply], strict=True))
    typical_V = 120 if values.get("frequency_Hz") == 60 else q.SUPPLIES[TYPICAL_SUPPLY][0]
    typical_Hz = 60 if values.get("voltage_V", typical_V) < 150 else 50
    for name, value in (("voltage_V", typical_V), ("frequency_Hz", typical_Hz)):
        if name not in values:
            values[name], notes[name] = value, f"{TYPICAL_MARK}; read the plate"


def _breaker(answers: Answers, values: dict[str, Any]) -> None:
    breaker = known(answers, q.BREAKER_MARKING) or known(answers, q.BREAKER)
    if not isinstance(breaker, dict):
        return
    kind = known(answers, q.BREAKER)
    if kind == "UL" and breaker["characteristic"] is None:
        breaker = breaker | {"standard": "UL 489"}
    values |= {f"breaker_{name}": value for name, value in breaker.items() if value is not None}
    if (band := known(answers, q.BREAKER_BAND)) is not None:
        values["instantaneous_from_A"], values["instantaneous_to_A"] = band


def _taps(answers: Answers, values: dict[str, Any]) -> None:
    volts = known(answers, q.TAP_VOLTS)
    if volts is None:
        return
    values["taps"] = {str(n): volt for n, volt in enumerate(volts, 1)}
    values["tap"] = known(answers, q.TAP) or str(len(volts))
    for reading, tap in ((q.WORKING, q.WORKING_TAP), (q.SHORTED, q.SHORTED_TAP)):
        if known(answers, reading) is not None:
            values[tap.key] = known(answers, tap) or values["tap"]


def _rating(answers: Answers, values: dict[str, Any], notes: dict[str, str]) -> None:
    voltage_V, kVA = values["voltage_V"], known(answers, q.RATING)
    if kVA is not None:
        values["rating_kVA"] = kVA
        if "rating_duty_percent" not in values:
            values["rating_duty_percent"], notes["rating_duty_percent"] = (
                50,
                f"{TYPICAL_MARK}, the trade's custom; read the plate",
            )
    elif (calculated := calculated_rating(answers, values)) is not None:
        values |= {"rating_kVA": _floored(calculated.low), "rating_duty_percent": 100, "rating_from": "core_and_wire"}
        span = f"{shown(calculated.low)} to {shown(calculated.high)} kVA, the lower end"
        notes["rating_kVA"] = f"calculated, {span}"
        notes["rating_duty_percent"] = "continuous"
        values["rating_comment"] = f"Calculated: {calculated.source}."
    else:
        values |= {"rating_kVA": float(shown(TYPICAL_RATED_A * voltage_V / 1000)), "rating_from": "typical"}
        notes["rating_kVA"] = (
            f"{TYPICAL_MARK} of an outlet of this voltage; find a plate, or measure core, wire and mass"
        )
    values["hint_working_A"] = shown(
        TYPICAL_WORKING
        * values["rating_kVA"]
        * 1000
        / voltage_V
        * math.sqrt(values.get("rating_duty_percent", 50) / 50)
    )


def calculated_rating(answers: Answers, values: Mapping[str, Any]) -> Figure | None:
    """The power of a machine without a plate, if its core, wire, turns or mass are known."""
    wire_mm, volts = known(answers, q.WIRE), known(answers, q.TAP_VOLTS) or ()
    winding = RatedWinding(
        known(answers, q.CORE),
        known(answers, q.MASS),
        None if wire_mm is None else math.pi / 4 * wire_mm**2,
        known(answers, q.TURNS),
        max(volts) if volts else known(answers, q.OPEN_VOLTS),
    )
    if answers.get(q.PLATE.key) is not False and winding.core_mm is None and winding.wire_mm2 is None:
        return None  # volts and mass alone say little, and there may be a plate
    return rating_of(winding, values["voltage_V"], values["frequency_Hz"])


def _floored(value: float) -> float:
    """Two digits, rounded down, so that the lower end of a range stays below it."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return float(f"{math.floor(value / step) * step:.6g}")


def _add_offsets(values: dict[str, Any], notes: dict[str, str], welder: Welder) -> None:
    """Add the offsets of the detector that `weldbeat choose` selects for this machine, from its parts."""
    found, _ = detector(welder, boards()[welder.board.name])
    values["offsets_from"] = "parts"
    for name, band in (("offset_rise_us", found.offset_rise_us), ("offset_fall_us", found.offset_fall_us)):
        values[name] = round(band.middle)
        notes[name] = f"of the detector drawn by `weldbeat wiring`: {band.low:.0f} to {band.high:.0f}; measure yours"


def render(name: str, values: Mapping[str, Any], notes: Mapping[str, str]) -> str:
    """A template with `values` and the comments of `notes`. Keys without a value are commented out."""

    def line(key: str, typical: Any, value: str = "", note: str = TYPICAL_MARK) -> str:
        value = value or key
        if value not in values:
            return f"# {key} = {values.get(f'hint_{value}', typical)}" + (f"  # {note}" if note else "")
        comment = f"  # {notes[value]}" if value in notes else ""
        return f"{key} = {_toml(values[value])}{comment}"

    def table(key: str, value: str) -> str:
        return f"[{key}]" if value in values else f"# [{key}]"

    return _template(name).render(values, values=values, line=line, table=table, toml=_toml)


@cache
def _template(name: str) -> Template:
    """Compiled once: an interview renders its files after every answer."""
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    return environment.from_string(files("gen.begin").joinpath("templates", name).read_text(encoding="utf-8"))


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {_toml(each)}" for key, each in value.items()) + "}"
    return str(figure(value)) if isinstance(value, float) else json.dumps(value)


def wrong_with(answers: Answers) -> str:
    """What is wrong with a machine of these answers alone; "" for nothing."""
    try:
        machine_files(answers)
    except InputError as error:
        return str(error)
    return ""
