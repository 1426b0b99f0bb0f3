"""The resistance of the work from timings alone, the loop known from one firing delay: what `calibrate --loop` is held against.

Measuring a welder's power factor from firing and conduction angle is published (gen/measured/load_angle.py names it).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from gen.measured.load_angle import Timing, angles_at_the_errors
from gen.phase_control import rms_fraction


@dataclass(frozen=True)
class Ohms:
    """A resistance or reactance: its likeliest value and its range."""

    value: float
    low: float
    high: float

    @property
    def relative_error(self) -> float:
        """The distance to the farther end of the range, as a share of the value."""
        return max(self.high - self.value, self.value - self.low) / self.value


@dataclass(frozen=True)
class MeasuredLoop:
    """The loop of transformer, leads and throat, from a weld on shorted electrodes, referred to the primary."""

    reactance: Ohms
    resistance: Ohms


def _ohms(values: Sequence[float]) -> Ohms:
    return Ohms(values[0], min(values), max(values))


def loop_from_short(
    timing: Timing, current_A: float, voltage_V: float, current_error: float = 0.0
) -> MeasuredLoop | None:
    """The loop from a half-cycle on shorted electrodes: its timing, RMS primary current and the mains voltage.

    `current_error`: the relative error of the ratio of voltage to current. None where no load angle fits the timing.
    """
    angles = angles_at_the_errors(timing)
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

    None where no load angle fits the timing. The value may be negative where the work is nearly a short.
    """
    angles = angles_at_the_errors(timing)
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
