"""The two conductors of the supply: what each has to earth, and whether the second is a neutral or live as the first."""

from __future__ import annotations

import math

from gen.machine.tables import Mains

_SQRT3 = math.sqrt(3)
_ALL = 0.9  # of the supply's voltage: a conductor with so much to earth has the other near earth


def least_to_earth(mains: Mains) -> tuple[float, str]:
    """The least volts to earth that a conductor of a supply of this voltage may have, and of which supply (from memory)."""
    voltage_V, frequency_Hz = mains.voltage_V, mains.frequency_Hz
    if voltage_V > 264:
        return voltage_V / _SQRT3, "between two phases: mains.voltage_V over the square root of 3"
    if voltage_V > 132:
        if frequency_Hz == 60:
            return voltage_V / 2, "split phase: half of mains.voltage_V"
        return voltage_V, "phase to neutral: mains.voltage_V"
    if frequency_Hz == 50 and abs(voltage_V - 110) <= 5:
        return voltage_V / 2, "building-site supply, earthed in the middle: half of mains.voltage_V"
    return voltage_V, "one conductor earthed: mains.voltage_V"


def second_is_live(mains: Mains) -> bool:
    """Whether the second conductor is live too: both have clearly less to earth than to each other.

    By mains.voltage_to_earth_V, or where that is left out by the supplies that have this voltage.
    """
    to_earth_V = mains.voltage_to_earth_V
    return (least_to_earth(mains)[0] if to_earth_V is None else to_earth_V) < _ALL * mains.voltage_V
