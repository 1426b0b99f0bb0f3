"""Electrodes to draw: what their tables may hold, to the ends of what is allowed."""

from __future__ import annotations

from typing import Any

FLAT: dict[str, Any] = {"diameter_mm": 12, "length_mm": 40, "face_diameter_mm": 8, "alloy": "CuCr1Zr"}
GROOVES: dict[str, Any] = {
    "diameter_mm": 12,
    "length_mm": 45,
    "groove_radius_mm": 2.5,
    "lower": {"groove_radius_mm": 4},
}
CASES: dict[str, dict[str, Any]] = {
    "flat": FLAT,
    "grooves": GROOVES,
    "no face": {"diameter_mm": 2, "length_mm": 3},
    "crank": {"diameter_mm": 16, "length_mm": 60, "offset_mm": 30, "face_diameter_mm": 16},
    "greatest": {"diameter_mm": 100, "length_mm": 1000, "offset_mm": 500, "groove_radius_mm": 50},
    "least": {"diameter_mm": 1, "length_mm": 1, "groove_radius_mm": 0.1},
}
