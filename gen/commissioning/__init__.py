"""Commissioning: the numbered steps from unpowered to the first weld, their limits, the walk through them and the record."""

from gen.commissioning.calibration import calibrated, difference, last_walk, measured_values, values_of_last_walk
from gen.commissioning.sheet import record_html, sheet_html
from gen.commissioning.shots import Shot
from gen.commissioning.steps import steps
from gen.commissioning.values import Judged, Step
from gen.commissioning.walk import Guide, Walk, Walked, walking

__all__ = [
    "Guide",
    "Judged",
    "Shot",
    "Step",
    "Walk",
    "Walked",
    "calibrated",
    "difference",
    "last_walk",
    "measured_values",
    "record_html",
    "sheet_html",
    "steps",
    "values_of_last_walk",
    "walking",
]
