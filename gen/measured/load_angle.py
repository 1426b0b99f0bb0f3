"""The load angle from when a current begins and ends, and from it the resistance of the work.

A current fired at `a` into a resistance and an inductance ends at `b`, where sin(b - p) = sin(a - p) exp(-(b - a) / tan p), p
being the load angle: `gen.phase_control` solves that for `b`, this module for `p`. The idea of reading the power factor of
a welder from firing and conduction angle is published: K. Zhou and L. Cai, "Online Measuring Power Factor in AC Resistance
Spot Welding", IEEE Transactions on Industrial Electronics. The reactance of the loop is the iron, the leads and the area
of the throat, and does not change within a weld; so the tangent of the load angle gives the resistance.

All resistances are seen from the primary. On the secondary side they are less by the square of the turns ratio.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from gen.phase_control import extinction_angle_deg, rms_fraction
from gen.roots import root

LEAST_DEG = 0.5  # a welder's loop shows more; below it nothing could be told from a resistance
MOST_DEG = 89.5
_NEAR_DEG = 1e-9


@dataclass(frozen=True)
class Timing:
    """When one half-cycle's current began and ended, in degrees of the voltage from the crossing that begins the half-cycle.

    `delay_error_deg` and `end_error_deg`: how far either may be off, to both sides.
    """

    delay_deg: float
    end_deg: float
    delay_error_deg: float = 0.0
    end_error_deg: float = 0.0


@dataclass(frozen=True)
class Ohms:
    """A resistance or reactance: the likeliest, and where it may lie."""

    value: float
    low: float
    high: float

    @property
    def relative_error(self) -> float:
        """The greater distance of either end, as a share of the value."""
        return max(self.high - self.value, self.value - self.low) / self.value


@dataclass(frozen=True)
class MeasuredLoop:
    """What a weld with shorted electrodes tells of transformer, leads and throat, seen from the primary."""

    reactance: Ohms
    resistance: Ohms


def load_angle_deg(delay_deg: float, end_deg: float) -> float | None:
    """The load angle at which a current that begins at `delay_deg` ends at `end_deg`.

    None where there is no such angle from LEAST_DEG to MOST_DEG: a current that ends before the voltage's own crossing, or
    one that runs until the next one could begin, so that its end says only that the firing lies at or before the angle.
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


def _angles(timing: Timing) -> list[float] | None:
    """The likeliest load angle first, then those at the corners of the errors; None where the likeliest is none.

    A corner beyond every angle counts as the end of the range that it lies beyond.
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
    """(Likeliest, least, greatest) load angle of a half-cycle; None where the likeliest is none."""
    angles = _angles(timing)
    return None if angles is None else (angles[0], min(angles), max(angles))


def _ohms(values: Sequence[float]) -> Ohms:
    return Ohms(values[0], min(values), max(values))


def loop_from_short(
    timing: Timing, current_A: float, voltage_V: float, current_error: float = 0.0
) -> MeasuredLoop | None:
    """The loop from a half-cycle with shorted electrodes: its timing, RMS primary current and the mains voltage.

    `current_error`: the share by which the ratio of voltage and current may be off. None where the timing gives no angle.
    """
    angles = _angles(timing)
    if angles is None:
        return None
    reactances, resistances = [], []
    for angle, ratio in zip(
        (angles[0], *(angle for angle in angles[1:] for _ in range(2))),
        (1.0, *(1 + sign * current_error for _ in angles[1:] for sign in (-1, 1))),
        strict=True,
    ):
        impedance = ratio * voltage_V * rms_fraction(timing.delay_deg, angle) / current_A
        reactances.append(impedance * math.sin(math.radians(angle)))
        resistances.append(impedance * math.cos(math.radians(angle)))
    return MeasuredLoop(_ohms(reactances), _ohms(resistances))


def work_resistance(timing: Timing, loop: MeasuredLoop) -> Ohms | None:
    """The resistance of the work in one half-cycle: that of the whole loop less that with shorted electrodes.

    None where the timing gives no angle. The value may come out below 0 where the work is nearly a short.
    """
    angles = _angles(timing)
    if angles is None:
        return None

    def less(angle: float, reactance: float, resistance: float) -> float:
        return reactance / math.tan(math.radians(angle)) - resistance

    x, r = loop.reactance, loop.resistance
    values = [less(angles[0], x.value, r.value)]
    values += [
        less(angle, reactance, resistance)
        for angle, reactance, resistance in itertools.product(angles[1:], (x.low, x.high), (r.low, r.high))
    ]
    return _ohms(values)


def work_resistance_by_current(
    delay_deg: float, current_A: float, voltage_V: float, loop: MeasuredLoop
) -> float | None:
    """The resistance of the work from the RMS current of one half-cycle, where the mains voltage is known.

    The coupler's delay is not in it; an error of the voltage is, about twice. None where no resistance draws such a current.
    """
    reactance = loop.reactance.value

    def off(angle_deg: float) -> float:
        size = reactance / math.sin(math.radians(angle_deg))
        return voltage_V * rms_fraction(delay_deg, angle_deg) / size - current_A

    most = min(MOST_DEG, delay_deg - _NEAR_DEG)
    if off(LEAST_DEG) > 0 or off(most) < 0:
        return None
    return reactance / math.tan(math.radians(root(off, LEAST_DEG, most))) - loop.resistance.value
