"""Commissioning: the numbered steps from unpowered to the first weld, their limits, the walk through them and the record."""

from gen.commissioning.calibration import (
    calibrated,
    difference,
    last_walk,
    marked_typical,
    measured_values,
    values_of_last_walk,
    with_values,
)
from gen.commissioning.from_welds import Narrowed, narrowed, values_of_loop, values_of_welds
from gen.commissioning.sheet import RecordLine, record_html, record_lines, sheet_html
from gen.commissioning.shots import Shot, may_last_too_long, shorted_job
from gen.commissioning.steps import steps
from gen.commissioning.values import Judged, Step
from gen.commissioning.walk import Guide, Walk, Walked, instead_of_reading, walking

__all__ = [
    "Guide",
    "Judged",
    "Narrowed",
    "RecordLine",
    "Shot",
    "Step",
    "Walk",
    "Walked",
    "calibrated",
    "difference",
    "instead_of_reading",
    "last_walk",
    "marked_typical",
    "may_last_too_long",
    "measured_values",
    "narrowed",
    "record_html",
    "record_lines",
    "sheet_html",
    "shorted_job",
    "steps",
    "values_of_last_walk",
    "values_of_loop",
    "values_of_welds",
    "walking",
    "with_values",
]
