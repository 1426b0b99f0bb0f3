"""What was measured of a weld: load angle and resistance of each half-cycle from its timing, its current from samples."""

from gen.measured.load_angle import (
    Loop,
    Ohms,
    Timing,
    load_angle_deg,
    loop_from_short,
    work_resistance,
)
from gen.measured.samples import HalfCycleCurrent, current_of

__all__ = [
    "HalfCycleCurrent",
    "Loop",
    "Ohms",
    "Timing",
    "current_of",
    "load_angle_deg",
    "loop_from_short",
    "work_resistance",
]
