"""The loop from recorded welds on shorted electrodes, and the resistance of the work by it.

It stands in the welder file apart from the shorted current of a clamp meter: an error of the current transformer's ratio is in
the loop and in the weld alike, and scales the work by as much and no more. The mains voltage of the weld on the work must be
known: an error of it enters about twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import mean

from gen.machine.tables import ShortedLoop
from gen.measured.course import Course
from gen.measured.load_angle import work_resistance_by_current
from gen.measured.loop_fit import LearntLoop, ShortedGate, loop_from_delays

METERS = 0.03  # of the clamp meter behind `reading_factor` and the voltmeter, together
_ANGLES_DEG = (1.0, 89.0)
SETTLING_GATES = 2  # first gates of a weld, left out: the first is fired late


def shorted_gates(course: Course) -> tuple[ShortedGate, ...]:
    """The half-cycles of a weld of which the current and its end were both measured."""
    return tuple(
        ShortedGate(seen.delay_deg, seen.end_deg, seen.current_A)
        for seen in course.seen[SETTLING_GATES:]
        if seen.end_deg is not None and seen.current_A
    )


def loop_of(courses: Iterable[Course], voltage_V: float) -> LearntLoop | None:
    """The loop from welds on shorted electrodes at this mains voltage. None with too few firing delays."""
    return loop_from_delays([gate for course in courses for gate in shorted_gates(course)], voltage_V)


def shorted_loop(learnt: LearntLoop, frequency_Hz: float) -> ShortedLoop:
    """The loop as keys of the welder file. The errors of the meters widen its impedance."""
    ohm, angle = learnt.impedance, learnt.angle
    return ShortedLoop(
        impedance_min_ohm=float(f"{ohm.low * (1 - METERS):.4g}"),
        impedance_max_ohm=float(f"{ohm.high * (1 + METERS):.4g}"),
        angle_min_deg=max(math.floor(10 * angle.low) / 10, _ANGLES_DEG[0]),
        angle_max_deg=min(math.ceil(10 * angle.high) / 10, _ANGLES_DEG[1]),
        gates_late_us=round(learnt.late_deg / 360e-6 / frequency_Hz),
    )


def work_ohms(
    course: Course, loop: ShortedLoop, voltage_V: float, frequency_Hz: float
) -> tuple[tuple[int, float], ...]:
    """(First gate, ohms of the work referred to the primary) of each whole cycle whose currents were measured.

    `voltage_V`: the mains before the weld.
    """
    ohm = (loop.impedance_min_ohm + loop.impedance_max_ohm) / 2
    angle = math.radians((loop.angle_min_deg + loop.angle_max_deg) / 2)
    reactance, resistance = ohm * math.sin(angle), ohm * math.cos(angle)
    late_deg = loop.gates_late_us * 360e-6 * frequency_Hz
    found = []
    for one, other in zip(course.seen[::2], course.seen[1::2], strict=False):
        told = [
            work_resistance_by_current(half.delay_deg + late_deg, half.current_A, voltage_V, reactance, resistance)
            for half in (one, other)
            if half.current_A
        ]
        values = [value for value in told if value is not None]
        if len(values) == 2:
            found.append((one.gate, mean(values)))
    return tuple(found)
