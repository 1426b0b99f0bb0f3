"""The files to begin with: a worked example on an invented machine, and a machine of one's own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined

from gen.ask import Ask, NotTaken, value_of
from gen.machine.tables import Detector, Force, Mains, Protection, Transformer
from gen.machine.welder import WELDER_FILE
from gen.user_files import FileModel, figure, written

FIRST_SCHEDULE = "first-weld.toml"
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


@dataclass(frozen=True)
class Question:
    """One question about a machine: the name of its answer, and whose key of which table it is."""

    answer: str
    table: type[FileModel]
    key: str
    text: str


QUESTIONS = (
    Question("voltage_V", Mains, "voltage_V", "Mains voltage, V RMS"),
    Question("frequency_Hz", Mains, "frequency_Hz", "Mains frequency, 50 or 60 Hz"),
    Question(
        "rating_kVA", Transformer, "rating_kVA", "Power on the rating plate, kVA (not a peak or short-circuit figure)"
    ),
    Question("rating_duty_percent", Transformer, "rating_duty_percent", "The duty that this power is for, %"),
    Question(
        "working_current_A",
        Transformer,
        "working_current_A",
        "Primary current with the electrodes on the work, A (clamp meter with hold)",
    ),
    Question("force", Force, "source", "What presses the electrodes together: hand, foot_lever or air"),
    Question("detector", Detector, "kind", "Zero-crossing detector: square or pulse"),
    Question(
        "gate_drive",
        Protection,
        "gate_drive",
        "What ends the gate current within 12 ms if the pin stays high: one_shot, pulse_transformer, capacitor, or direct "
        "for nothing",
    ),
)
FITTED = tuple(key for key, field in Protection.model_fields.items() if field.annotation is bool)


def fitted_of(text: str) -> tuple[str, ...]:
    """Reads the protections that are there: their names with commas between, or none."""
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    if names == ("none",):
        return ()
    for name in names or ("",):
        if name not in FITTED:
            raise NotTaken(written(name), f"none, or of {', '.join(FITTED)}")
    return names


def demo_files() -> dict[str, str]:
    """The texts of the worked example by file: a welder file, every value of it given, and a schedule."""
    return {WELDER_FILE: _render("welder.toml.j2", DEMO, set(DEMO)), DEMO_SCHEDULE: _template(DEMO_SCHEDULE)}


def machine_files(given: Mapping[str, Any], fitted: tuple[str, ...] = ()) -> dict[str, str]:
    """The texts of a machine of one's own by file: answers by question, the protections fitted, the rest marked typical."""
    told = {**given, **dict.fromkeys(fitted, True)}
    values = TYPICAL | told | {"title": "My welder"}
    return {
        WELDER_FILE: _render("welder.toml.j2", values, set(told)),
        FIRST_SCHEDULE: _render("first_weld.toml.j2", values, set()),
    }


def asked(ask: Ask, given: Mapping[str, Any]) -> dict[str, Any]:
    """Ask for what is not given. An answer left at its typical value is none, so that it stays marked typical."""
    answers = {}
    for question in QUESTIONS:
        if question.answer not in given:
            typical = TYPICAL[question.answer]
            value = ask.answer(question.text, value_of(question.table, question.key), typical)
            if value != typical:
                answers[question.answer] = value
    return answers


def asked_fitted(ask: Ask) -> tuple[str, ...]:
    """Ask which protections there are."""
    question = f"Protections fitted, with commas between: {', '.join(FITTED)}; or none"
    return ask.answer(question, fitted_of, "none")


def _template(name: str) -> str:
    return files("gen.begin").joinpath("templates", name).read_text(encoding="utf-8")


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
