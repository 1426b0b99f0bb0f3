"""Measurements of a weld: load angle and resistance of each half-cycle from its timing; the loop from shorted welds."""

from gen.measured.course import Course, HalfCycleSeen, correction_text, course_of, text_chart, to_csv
from gen.measured.drift import GATES, Drift, drift_of, job_of
from gen.measured.load_angle import (
    Timing,
    load_angle_deg,
)
from gen.measured.loop_fit import APART_DEG, LEAST_DELAYS, LearntLoop, ShortedGate, delays_apart, loop_from_delays
from gen.measured.shorted import METERS, loop_of, shorted_gates, shorted_loop, work_ohms

__all__ = [
    "APART_DEG",
    "GATES",
    "LEAST_DELAYS",
    "METERS",
    "Course",
    "Drift",
    "HalfCycleSeen",
    "LearntLoop",
    "ShortedGate",
    "Timing",
    "correction_text",
    "course_of",
    "delays_apart",
    "drift_of",
    "job_of",
    "load_angle_deg",
    "loop_from_delays",
    "loop_of",
    "shorted_gates",
    "shorted_loop",
    "text_chart",
    "to_csv",
    "work_ohms",
]
