"""The first files: a worked example on an invented machine, and those of the user's own machine."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from gen.begin.interview import WRITE, implied, interview, without_asking
from gen.begin.machine_file import FIRST_SCHEDULE, machine_files, render, wrong_with
from gen.begin.questions import INQUIRIES
from gen.machine.welder import WELDER_FILE

__all__ = [
    "DEMO_SCHEDULE",
    "FIRST_SCHEDULE",
    "INQUIRIES",
    "WRITE",
    "demo_files",
    "implied",
    "interview",
    "machine_files",
    "without_asking",
    "wrong_with",
]

DEMO_SCHEDULE = "boot-scraper.toml"
_DEMO: dict[str, Any] = {
    "title": "A bench welder on a 230 V outlet. Invented for this demonstration.",
    "voltage_V": 230,
    "frequency_Hz": 50,
    "rating_kVA": 3.2,
    "rating_duty_percent": 50,
    "working_current_A": 24,
    "hint_working_A": "24",
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
    "lower": {},
    "switch": "scr_pair",
    "rated_current_A": 55,
    "surge_current_A": 1000,
    "i2t_A2s": 5000,
    "on_state_V": 0.9,
    "on_state_slope_mohm": 4.5,
    "commutating_dv_dt_V_per_us": 500,
    "foster": [[0.05, 0.005], [0.15, 0.05], [0.25, 0.4]],
    "K_per_W": 0.8,
    "J_per_K": 450,
    "detector": "square",
    "offset_rise_us": 160,  # of the detector that `weldbeat wiring` draws
    "offset_fall_us": -130,
    "force": "foot_lever",
    "gate_drive": "one_shot",
    "isolator": True,
    "contactor": True,
    "stop_cuts_gate_supply": True,
    "stop_cuts_contactor": True,
    "over_temperature_contact": True,
    "mirror_contact": True,
    "suppression": "diode_and_zener",
    "closes_ms": 40,
    "bounce_ms": 5,
    "opens_ms": 40,
    "secondary_earthed": True,
    "board": "pico",
    "conduction_sense": True,
}


def demo_files() -> dict[str, str]:
    """The texts of the worked example by file name: a welder file without typical values, and a schedule."""
    schedule = files("gen.begin").joinpath("templates", DEMO_SCHEDULE).read_text(encoding="utf-8")
    return {WELDER_FILE: render("welder.toml.j2", _DEMO, {}), DEMO_SCHEDULE: schedule}
