"""Firing delay against RMS current, for a switch of two thyristors feeding a resistance and an inductance in series.

The textbook analysis (D. W. Hart, Power Electronics, section 5.3). Angles are degrees of the mains voltage, from the
zero crossing that begins the half-cycle; the load angle is atan(omega L / R).
"""

from __future__ import annotations

import math
from functools import lru_cache

from gen.roots import root

_RESISTIVE_DEG = 1e-6  # below it the tangent may vanish; the current ends within a nanosecond of the voltage


@lru_cache(maxsize=4096)
def extinction_angle_deg(delay_deg: float, load_angle_deg: float) -> float:
    """The angle at which the current that began at `delay_deg` ends.

    Solves sin(b - p) = sin(a - p) exp(-(b - a) / tan p). At or below the load angle a long gate gives full
    conduction, and the current runs 180 degrees from where steady state begins: `load_angle_deg` + 180.
    """
    if not 0 <= delay_deg < 180 or not 0 <= load_angle_deg < 90:
        raise ValueError(f"delay {delay_deg} must be 0 to 180 and load angle {load_angle_deg} 0 to 90 degrees")
    if delay_deg <= load_angle_deg:
        return load_angle_deg + 180
    if load_angle_deg < _RESISTIVE_DEG:
        return 180.0
    a, p = math.radians(delay_deg), math.radians(load_angle_deg)

    sine, lag = math.sin(a - p), math.tan(p)

    def flowing(b: float) -> float:
        return math.sin(b - p) - sine * math.exp((a - b) / lag)

    # The current ends after the voltage zero, by less than the load angle.
    latest = math.pi + p
    return math.degrees(root(flowing, math.pi, latest) if flowing(latest) < 0 else latest)


@lru_cache(maxsize=4096)
def rms_fraction(delay_deg: float, load_angle_deg: float) -> float:
    """RMS current at a delay, as a fraction of that at full conduction. Closed form of Hart's integral."""
    if delay_deg <= load_angle_deg:
        return 1.0
    a, p = math.radians(delay_deg), math.radians(load_angle_deg)
    b = math.radians(extinction_angle_deg(delay_deg, load_angle_deg))
    # i = sin(t - p) - s exp(-(t - a) k), squared and integrated from a to b
    total = (b - a) / 2 - (math.sin(2 * (b - p)) - math.sin(2 * (a - p))) / 4
    if load_angle_deg >= _RESISTIVE_DEG:
        s, k = math.sin(a - p), 1 / math.tan(p)

        def cross(t: float) -> float:  # integral of sin(t - p) exp(-k (t - a))
            return -math.exp(-k * (t - a)) * (k * math.sin(t - p) + math.cos(t - p)) / (1 + k * k)

        total += -2 * s * (cross(b) - cross(a)) + s * s * (1 - math.exp(-2 * k * (b - a))) / (2 * k)
    return math.sqrt(max(0.0, 2 * total / math.pi))


@lru_cache(maxsize=4096)
def delay_for_fraction_deg(fraction: float, load_angle_deg: float) -> float:
    """The delay that gives `fraction` (above 0, to 1) of the full RMS current: the inverse of `rms_fraction`."""
    if not 0 < fraction <= 1:
        raise ValueError(f"fraction {fraction} must be above 0 and at most 1")
    return root(lambda delay_deg: rms_fraction(delay_deg, load_angle_deg) - fraction, load_angle_deg, 180 - 1e-9)


def volt_seconds(delay_deg: float, load_angle_deg: float) -> float:
    """Volt-seconds on the load in one half-cycle, in units of peak voltage over omega; a whole half-cycle is 2."""
    b = extinction_angle_deg(delay_deg, load_angle_deg)
    a = max(delay_deg, load_angle_deg)
    return math.cos(math.radians(a)) - math.cos(math.radians(b))
