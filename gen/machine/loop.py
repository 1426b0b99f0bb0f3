"""The secondary loop: what arms and electrodes of a given shape put in the current's way.

The loop is a rectangle of round copper: two arms, the electrodes' side, and the transformer's side. Its inductance is
Grover's (Inductance Calculations, 1946, chapter 8: rectangle of round wire, from memory), a sum over the sides; a side
of more than one thickness counts each stretch with its own radius, which neglects the step. Within each conductor the
current crowds outwards by the textbook's Bessel solution (Ramo, Whinnery and Van Duzer, Fields and Waves in
Communication Electronics, round wires). Crowding of one arm by the other is neglected.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.machine.tables import Alloy, Arms, Electrodes

MU_0 = 4e-7 * math.pi

# Resistivity at 20 degC, ohm m. Copper: IACS handbook value. Alloys: about 43 MS/m (ISO 5182, from memory).
RESISTIVITY: dict[Alloy, float] = {"Cu-ETP": 1.7241e-8, "CuCr1": 2.3e-8, "CuCr1Zr": 2.3e-8}

# Reactance with steel in the throat against without (common practice, no source): a little of it, or much.
STEEL_FACTOR = (1.1, 1.5)


@dataclass(frozen=True)
class Conductor:
    """A straight round bar, metres and ohm metres."""

    length_m: float
    radius_m: float
    resistivity_ohm_m: float


@dataclass(frozen=True)
class Loop:
    """Impedance of the secondary at one frequency, in ohms of the secondary side."""

    resistance_ohm: float
    reactance_ohm: float
    shank_resistance_ohm: float  # of both electrodes together, part of `resistance_ohm`


def _bessel(order: int, z: complex) -> complex:
    """J0 or J1 by its power series: eight digits or more for a bar at 60 Hz (|z| up to about 15).

    Here and not from SciPy, so that reading a welder file stays quick.
    """
    term = total = (z / 2) ** order
    for n in range(1, 200):
        term *= -(z * z / 4) / (n * (n + order))
        total += term
        if abs(term) < 1e-17 * abs(total):
            break
    return total


def internal_impedance(conductor: Conductor, frequency_Hz: float) -> complex:
    """Resistance and internal reactance of a round bar, ohms, the current crowded outwards."""
    omega = 2 * math.pi * frequency_Hz
    skin_m = math.sqrt(2 * conductor.resistivity_ohm_m / (omega * MU_0))
    k = (1 - 1j) / skin_m
    a = conductor.radius_m
    ratio = _bessel(0, k * a) / _bessel(1, k * a)
    return conductor.length_m * k * conductor.resistivity_ohm_m / (2 * math.pi * a) * ratio


def rectangle_inductance_H(side_a: list[Conductor], side_b: list[Conductor], far_b: list[Conductor]) -> float:
    """Inductance outside the conductors of a rectangle: two sides like `side_a`, and two of equal length, one `far_b`.

    Lengths are between axes. With one radius r all round this is Grover's
    mu0/pi (a ln(2a/r) + b ln(2b/r) + 2d - a asinh(a/b) - b asinh(b/a) - 2(a + b)), d the diagonal; the internal
    quarter of a + b that Grover adds is in `internal_impedance`.
    """
    a, b = (sum(c.length_m for c in side) for side in (side_a, side_b))
    d = math.hypot(a, b)
    own = sum(
        c.length_m * math.log(2 * whole / c.radius_m)
        for side, whole in ((side_a, a), (side_a, a), (side_b, b), (far_b, b))
        for c in side
    )
    return MU_0 / (2 * math.pi) * (own + 4 * d - 2 * a * math.asinh(a / b) - 2 * b * math.asinh(b / a) - 4 * (a + b))


def loop_of(arms: Arms, electrodes: Electrodes | None, frequency_Hz: float) -> Loop:
    """The loop of these arms. Without electrodes the arms' bar is taken to close it.

    An offset is taken to reach outwards, away from the transformer: that costs most. Where the electrodes do not fill
    the gap, holders as thick as the arms do. Steel in the throat is not in these figures (`STEEL_FACTOR`).
    """
    mm = 1e-3
    copper = RESISTIVITY["Cu-ETP"]
    arm_radius = arms.diameter_mm / 2 * mm
    gap = (arms.throat_mm + arms.diameter_mm) * mm  # between the arms' axes
    arm = [Conductor(arms.length_mm * mm, arm_radius, copper)]
    back = [Conductor(gap, arm_radius, copper)]
    shanks: list[Conductor] = []
    front, along = back, arm
    if electrodes is not None:
        radius, resistivity = electrodes.diameter_mm / 2 * mm, RESISTIVITY[electrodes.alloy]
        upright = Conductor(2 * electrodes.length_mm * mm, radius, resistivity)
        front = [upright, Conductor(gap - upright.length_m, arm_radius, copper)]
        shanks = [upright]
        if electrodes.offset_mm:
            reach = Conductor(electrodes.offset_mm * mm, radius, resistivity)
            along = [*arm, reach]
            shanks += [reach, reach]
    inductance_H = rectangle_inductance_H(along, back, front)
    internal = sum((internal_impedance(c, frequency_Hz) for c in (*along, *along, *front)), 0j)
    shank = sum((internal_impedance(c, frequency_Hz) for c in shanks), 0j)
    return Loop(internal.real, 2 * math.pi * frequency_Hz * inductance_H + internal.imag, shank.real)
