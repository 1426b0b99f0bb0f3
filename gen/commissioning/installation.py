"""Limits on supply and earth by the installation standards, for this machine's figures.

Limits from memory are marked so. A local code has priority over all of them.
"""

from __future__ import annotations

import math

from gen.machine.breaker import curve_of
from gen.machine.supply import least_to_earth
from gen.machine.tables import Breaker, Mains
from gen.machine.welder import Welder
from gen.ranges import Figure, shown

# IEC 60974-4, cables rated 16 A and less, as the manual of a machine tester prints it (public copy).
SMALL_CABLE_A = 16
EARTH_OHM, EARTH_TO_M, EARTH_MORE_OHM_M, EARTH_MOST_OHM = 0.3, 5.0, 0.1 / 7.5, 1.0
# Flexible copper at 20 degC, ohm mm2/m: the greatest product of resistance and section in IEC 60228, class 5, from memory.
FLEXIBLE_COPPER = 0.01995
JOINTS_OHM = 0.1  # plug and clamps: the limit of IEC 60335-1 from the earth terminal to any metal part, from memory
COLD = 2 / 3  # factor for a reading on cold conductors, IEC 60364-6, from memory
TOUCH_V = 50.0  # IEC 60364-4-41, with a residual-current device, from memory
# IEC 61008-1, general type, at its rated residual current; it need not open below half of that; from memory.
RESIDUAL_MA = 30.0  # trip current of a device that protects people, if the file gives none
RESIDUAL_MS = 300.0
RESIDUAL_LEAST = 0.5


def to_earth_V(mains: Mains, read_V: float | None = None) -> Figure:
    """Volts from a supply conductor to earth, U0: the file's value, or the least of all supplies of this voltage.

    `read_V`: a measured value. It replaces the least where it is lower and the file has no value.
    """
    if mains.voltage_to_earth_V is not None:
        return Figure(mains.voltage_to_earth_V, mains.voltage_to_earth_V, "V", "mains.voltage_to_earth_V")
    least_V, why = least_to_earth(mains)
    if read_V is not None and read_V < least_V:
        least_V, why = read_V, "as measured"
    return Figure(least_V, least_V, "V", why)


def opens_at_once_A(breaker: Breaker | None) -> float | None:
    """RMS current at which the breaker opens instantaneously. None where unknown."""
    curve = curve_of(breaker)
    return curve.instant_A[1] if curve is not None and curve.instant_A is not None else None


def residual_mA(welder: Welder) -> float:
    """Rated residual current of the device."""
    return welder.protection.residual_current_mA or RESIDUAL_MA


def loop_limit(welder: Welder, read_V: float | None = None) -> Figure | None:
    """Greatest impedance of the loop from a supply conductor to earth, ohm. None where no device is known to open it.

    IEC 60364-4-41: Zs <= U0 / Ia; with a residual-current device 50 V over its current.
    """
    if welder.protection.residual_current_device:
        rated_mA = residual_mA(welder)
        source = f"IEC 60364-4-41: {TOUCH_V:g} V over {rated_mA:g} mA, at which the residual-current device opens; from memory"
        return Figure(-math.inf, 1e3 * TOUCH_V / rated_mA, "ohm", source)
    trips_A = opens_at_once_A(welder.breaker)
    if trips_A is None:
        return None
    volts = to_earth_V(welder.mains, read_V)
    source = (
        f"IEC 60364-4-41: {shown(volts.middle)} V to earth ({volts.source}) over {trips_A:g} A, at which the breaker opens at "
        "once; IEC 60364-6: two thirds of it, since the conductors are cold; from memory"
    )
    return Figure(-math.inf, COLD * volts.middle / trips_A, "ohm", source)


def earth_limit(welder: Welder) -> Figure:
    """Greatest resistance from the plug's earth pin to the frame, ohm: IEC 60974-4; over 16 A, of conductor and joints."""
    mains = welder.mains
    rating_A = welder.breaker.rating_A if welder.breaker else welder.rated_current_A
    if rating_A <= SMALL_CABLE_A:
        more_m = max(0.0, (mains.earth_conductor_m or 0.0) - EARTH_TO_M)
        most_ohm = min(EARTH_MOST_OHM, EARTH_OHM + EARTH_MORE_OHM_M * more_m)
        length = f"{shown(mains.earth_conductor_m)} m" if mains.earth_conductor_m else f"up to {EARTH_TO_M:g} m"
        return Figure(-math.inf, most_ohm, "ohm", f"IEC 60974-4, cable of {SMALL_CABLE_A} A or less, {length}")
    if mains.earth_conductor_m is None or mains.earth_conductor_mm2 is None:
        own_ohm, cable = 0.0, "none for the cable without mains.earth_conductor_m and mains.earth_conductor_mm2"
    else:
        own_ohm = FLEXIBLE_COPPER * mains.earth_conductor_m / mains.earth_conductor_mm2
        cable = (
            f"{shown(own_ohm)} ohm for {shown(mains.earth_conductor_m)} m of {shown(mains.earth_conductor_mm2)} mm2 flexible "
            "copper at 20 degC (IEC 60228, class 5)"
        )
    joints = f"{JOINTS_OHM:g} ohm for joints (IEC 60335-1); from memory"
    source = f"IEC 60974-4, over {SMALL_CABLE_A} A as calculated: {cable}, {joints}"
    return Figure(-math.inf, own_ohm + JOINTS_OHM, "ohm", source)
