"""Measurements of a weld: load angle and resistance of each half-cycle from its timing, and its current from samples."""

from gen.measured.course import Course, HalfCycleSeen, correction_text, course_of, text_chart, to_csv
from gen.measured.drift import GATES, Drift, drift_of, job_of
from gen.measured.load_angle import (
    MeasuredLoop,
    Ohms,
    Timing,
    load_angle_deg,
    loop_from_short,
    work_resistance,
)
from gen.measured.loop_fit import APART_DEG, LEAST_DELAYS, LearntLoop, ShortedGate, delays_apart, loop_from_delays
from gen.measured.samples import HalfCycleCurrent, current_of
from gen.measured.shorted import METERS, loop_of, shorted_gates, shorted_loop, work_ohms

__all__ = [
    "APART_DEG",
    "GATES",
    "LEAST_DELAYS",
    "METERS",
    "Course",
    "Drift",
    "HalfCycleCurrent",
    "HalfCycleSeen",
    "LearntLoop",
    "MeasuredLoop",
    "Ohms",
    "ShortedGate",
    "Timing",
    "correction_text",
    "course_of",
    "current_of",
    "delays_apart",
    "drift_of",
    "job_of",
    "load_angle_deg",
    "loop_from_delays",
    "loop_from_short",
    "loop_of",
    "shorted_gates",
    "shorted_loop",
    "text_chart",
    "to_csv",
    "work_ohms",
    "work_resistance",
]
