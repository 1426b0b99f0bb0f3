"""The load angle from the beginning and end of a current, and the resistance of the work from the load angle.

A current fired at `a` into a resistance and an inductance ends at `b`, where sin(b - p) = sin(a - p) exp(-(b - a) / tan p) and
p is the load angle. `gen.phase_control` solves this for `b`, this module for `p`. Measuring a welder's power factor from firing
and conduction angle is published: K. Zhou and L. Cai, "Online Measuring Power Factor in AC Resistance Spot Welding", IEEE
Transactions on Industrial Electronics. The reactance of the loop is that of the iron, the leads and the area of the throat. It
is constant within a weld, so the tangent of the load angle gives the resistance.

All resistances are referred to the primary. On the secondary side they are less by the square of the turns ratio.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from gen.phase_control import extinction_angle_deg, rms_fraction
from gen.roots import root

LEAST_DEG = 0.5  # least load angle solved for; a welder's loop has more, and below it the loop looks resistive
MOST_DEG = 89.5
_NEAR_DEG = 1e-9


@dataclass(frozen=True)
class Timing:
    """Beginning and end of one half-cycle's current, in degrees of the voltage from the half-cycle's first crossing.

    `delay_error_deg` and `end_error_deg`: the errors of the two, to either side.
    """

    delay_deg: float
    end_deg: float
    delay_error_deg: float = 0.0
    end_error_deg: float = 0.0


def load_angle_deg(delay_deg: float, end_deg: float) -> float | None:
    """The load angle at which a current that begins at `delay_deg` ends at `end_deg`.

    None where no angle from LEAST_DEG to MOST_DEG fits. That is so for a current that ends before the voltage's crossing, and
    for one that runs until the next could begin: its end shows only that the firing is at or before the load angle.
    """
    if not 0 < delay_deg < 180 or not delay_deg < end_deg:
        return None
    most = min(MOST_DEG, delay_deg - _NEAR_DEG)
    if most <= LEAST_DEG:
        return None

    def off_deg(angle_deg: float) -> float:
        return extinction_angle_deg(delay_deg, angle_deg) - end_deg

    if off_deg(LEAST_DEG) > 0 or off_deg(most) < 0:
        return None
    return root(off_deg, LEAST_DEG, most)


def angles_at_the_errors(timing: Timing) -> list[float] | None:
    """The likeliest load angle first, then those at the corners of the errors. None where no likeliest angle exists.

    A corner outside the range of angles is replaced by the nearer end of the range.
    """
    middle = load_angle_deg(timing.delay_deg, timing.end_deg)
    if middle is None:
        return None
    found = [middle]
    signs = (-1, 1)
    for delay_sign, end_sign in itertools.product(signs, signs):
        delay = timing.delay_deg + delay_sign * timing.delay_error_deg
        end = timing.end_deg + end_sign * timing.end_error_deg
        angle = load_angle_deg(delay, end)
        if angle is None:
            angle = LEAST_DEG if end_sign < 0 else min(MOST_DEG, delay)
        found.append(angle)
    return found


def load_angle_range_deg(timing: Timing) -> tuple[float, float, float] | None:
    """(Likeliest, least, greatest) load angle of a half-cycle. None where no likeliest angle exists."""
    angles = angles_at_the_errors(timing)
    return None if angles is None else (angles[0], min(angles), max(angles))


def work_resistance_by_current(
    delay_deg: float, current_A: float, voltage_V: float, reactance_ohm: float, resistance_ohm: float
) -> float | None:
    """The resistance of the work from the RMS current of one half-cycle and the known mains voltage.

    `reactance_ohm`, `resistance_ohm`: of the loop with shorted electrodes. The coupler's delay is not in it; an error of the
    voltage enters about twice. None where no resistance fits the current.
    """

    def off(angle_deg: float) -> float:
        size = reactance_ohm / math.sin(math.radians(angle_deg))
        return voltage_V * rms_fraction(delay_deg, angle_deg) / size - current_A

    most = min(MOST_DEG, delay_deg - _NEAR_DEG)
    if off(LEAST_DEG) > 0 or off(most) < 0:
        return None
    return reactance_ohm / math.tan(math.radians(root(off, LEAST_DEG, most))) - resistance_ohm
