"""The loop from a weld with shorted electrodes that was fired at several delays, and how late the gates truly come.

A fifth harmonic moves the mains' crossings, and with them the detector's edges, by up to 150 us; one delay cannot tell that
from another load angle. Currents and ends over several delays can, by least squares: reactance, resistance, what every gate
is late by, and the coupler. The lateness belongs to the site's mains and the detector, and holds for the welds after it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from gen.measured.load_angle import LEAST_DEG
from gen.phase_control import extinction_angle_deg, rms_fraction
from gen.ranges import Figure

# What is known beforehand, as standard deviations; common practice, no source. Ends and currents: what harmonics leave of them.
LATE_DEG = 1.1
COUPLER_DEG = 0.3
END_DEG = 0.15
CURRENT_SHARE = 0.003
LEAST_DELAYS = 3
_DEVIATIONS = 3
APART_DEG = 5.0  # between two delays that are counted


@dataclass(frozen=True)
class ShortedGate:
    """One gate: the delay that the board aimed at, the end of its current counted from there, and its RMS current."""

    delay_deg: float
    end_deg: float
    current_A: float


@dataclass(frozen=True)
class LearntLoop:
    """Impedance and angle of the loop, and by how many degrees each gate comes later than aimed.

    The ranges are three standard deviations of the fit to either side. An error of voltage or current scales the impedance, and
    is not in its range; the angle does not depend on it.
    """

    impedance: Figure
    angle: Figure
    late_deg: float


def delays_apart(delays_deg: Iterable[float]) -> int:
    """The number of firing delays, of which those closer than APART_DEG count as one."""
    count, last = 0, -math.inf
    for delay in sorted(delays_deg):
        if delay >= last + APART_DEG:
            count, last = count + 1, delay
    return count


def loop_from_delays(gates: Sequence[ShortedGate], voltage_V: float) -> LearntLoop | None:
    """The likeliest loop. None with fewer than LEAST_DELAYS delays.

    The middle of what the coupler may be late by is taken off `end_deg` beforehand.
    """
    if delays_apart(gate.delay_deg for gate in gates) < LEAST_DELAYS:
        return None
    from scipy.optimize import least_squares  # type: ignore[import-untyped,unused-ignore]

    def off(guess: np.ndarray) -> list[float]:
        reactance, resistance, late, coupler = (float(value) for value in guess)
        angle, size = math.degrees(math.atan2(reactance, resistance)), math.hypot(reactance, resistance)
        found = [late / LATE_DEG, coupler / COUPLER_DEG]
        for gate in gates:
            fired = max(gate.delay_deg + late, LEAST_DEG)
            told_A = voltage_V * rms_fraction(fired, angle) / size
            found.append(math.log(told_A / gate.current_A) / CURRENT_SHARE)
            found.append((extinction_angle_deg(fired, angle) - late + coupler - gate.end_deg) / END_DEG)
        return found

    size = 0.7 * voltage_V * rms_fraction(gates[-1].delay_deg, 45.0) / gates[-1].current_A
    most = (100 * size, 100 * size, 10.0, 5.0)
    bounds = ((1e-3 * size, 1e-3 * size, -10.0, -5.0), most)
    fit = least_squares(off, (size, size, 0.0, 0.0), bounds=bounds, x_scale=(size, size, 0.5, 0.2))
    reactance, resistance, late = (float(value) for value in fit.x[:3])
    # Residuals larger than expected widen the ranges.
    scatter = max(1.0, 2 * fit.cost / (len(fit.fun) - len(fit.x)))
    spread = scatter * np.linalg.inv(fit.jac.T @ fit.jac)[:2, :2]
    ohm = math.hypot(reactance, resistance)
    along, across = np.array((reactance, resistance)) / ohm, np.array((resistance, -reactance)) / ohm
    reach_ohm, reach_deg = (_DEVIATIONS * math.sqrt(way @ spread @ way) for way in (along, np.degrees(across) / ohm))
    angle_deg = math.degrees(math.atan2(reactance, resistance))
    source = "fitted to shorted welds at several firing delays"
    return LearntLoop(
        Figure(ohm - reach_ohm, ohm + reach_ohm, "ohm", source),
        Figure(angle_deg - reach_deg, angle_deg + reach_deg, "degrees", source),
        late,
    )
