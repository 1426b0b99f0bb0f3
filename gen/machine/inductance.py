"""Impedance from geometry: of the secondary loop, and of the primary winding in air.

The loop is a rectangle of round copper: two arms, the electrodes' side, and the transformer's side. Its inductance is
Grover's (Inductance Calculations, 1946, chapter 8: rectangle of round wire, from memory), a sum over the sides. A side
of more than one thickness counts each length with its own radius and neglects the step. The skin effect in each conductor
is the Bessel solution for round wires (Ramo, Whinnery and Van Duzer, Fields and Waves in Communication Electronics). The
proximity effect between the arms is neglected.

A saturated core leaves the winding its inductance in air. Turns, core section and height of the coil follow from the volts
of one turn, the flux density of iron, and the transformer's mass; each as a range.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from gen.machine.tables import Alloy, Arms, Electrodes, Transformer, WelderTables
from gen.ranges import Figure, shown, spanning

MU_0 = 4e-7 * math.pi

# Resistivity at 20 degC, ohm m. Copper: IACS handbook value. Alloys: about 43 MS/m (ISO 5182, from memory).
RESISTIVITY: dict[Alloy, float] = {"Cu-ETP": 1.7241e-8, "CuCr1": 2.3e-8, "CuCr1Zr": 2.3e-8}

# Reactance with a little or much steel in the throat, over the reactance without (common practice, no source).
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
    shank_resistance_ohm: float
    """Resistance of both electrodes, which is a part of `resistance_ohm`."""


def _bessel(order: int, z: complex) -> complex:
    """J0 or J1 by its power series: eight digits or more for a bar at 60 Hz (|z| up to about 15).

    SciPy's would take longer to import than a welder file to read.
    """
    term = total = (z / 2) ** order
    for n in range(1, 200):
        term *= -(z * z / 4) / (n * (n + order))
        total += term
        if abs(term) < 1e-17 * abs(total):
            break
    return total


def internal_impedance(conductor: Conductor, frequency_Hz: float) -> complex:
    """Resistance and internal reactance of a round bar in ohms, with skin effect."""
    omega = 2 * math.pi * frequency_Hz
    skin_m = math.sqrt(2 * conductor.resistivity_ohm_m / (omega * MU_0))
    k = (1 - 1j) / skin_m
    a = conductor.radius_m
    ratio = _bessel(0, k * a) / _bessel(1, k * a)
    return conductor.length_m * k * conductor.resistivity_ohm_m / (2 * math.pi * a) * ratio


def rectangle_inductance_H(
    side_a: list[Conductor], side_b: list[Conductor], far_b: list[Conductor], far_a: list[Conductor] | None = None
) -> float:
    """Inductance outside the conductors of a rectangle with sides `side_a`, `side_b` and, opposite, `far_a`, `far_b`.

    Opposite sides are of equal length. Without `far_a` it is like `side_a`.

    Lengths are between axes. With one radius r all round this is Grover's
    mu0/pi (a ln(2a/r) + b ln(2b/r) + 2d - a asinh(a/b) - b asinh(b/a) - 2(a + b)), d the diagonal; the internal
    quarter of a + b that Grover adds is in `internal_impedance`.
    """
    a, b = (sum(c.length_m for c in side) for side in (side_a, side_b))
    d = math.hypot(a, b)
    own = sum(
        c.length_m * math.log(2 * whole / c.radius_m)
        for side, whole in ((side_a, a), (far_a or side_a, a), (side_b, b), (far_b, b))
        for c in side
    )
    return MU_0 / (2 * math.pi) * (own + 4 * d - 2 * a * math.asinh(a / b) - 2 * b * math.asinh(b / a) - 4 * (a + b))


def loop_of(arms: Arms, electrodes: Electrodes | None, frequency_Hz: float) -> Loop:
    """The loop of these arms. Without electrodes a bar like the arms closes it.

    An offset is taken to reach outwards, away from the transformer, which gives the most reactance. Holders as thick as the
    arms fill the rest of the gap. Steel in the throat is not included (`STEEL_FACTOR`).
    """
    mm = 1e-3
    copper = RESISTIVITY["Cu-ETP"]
    arm_radius = arms.diameter_mm / 2 * mm
    gap = (arms.throat_mm + arms.diameter_mm) * mm  # between the arms' axes
    arm = [Conductor(arms.length_mm * mm, arm_radius, copper)]
    back = [Conductor(gap, arm_radius, copper)]
    shanks: list[Conductor] = []
    front, along = back, [arm, arm]
    if electrodes is not None:
        pair = electrodes.pair
        uprights = [Conductor(e.length_mm * mm, e.diameter_mm / 2 * mm, RESISTIVITY[e.alloy]) for e in pair]
        front = [*uprights, Conductor(gap - sum(bar.length_m for bar in uprights), arm_radius, copper)]
        shanks = [*uprights]
        if electrodes.offset_mm:
            reaches = [replace(bar, length_m=electrodes.offset_mm * mm) for bar in uprights]
            along = [[*arm, reach] for reach in reaches]
            shanks += reaches
    inductance_H = rectangle_inductance_H(along[0], back, front, along[1])
    internal = sum((internal_impedance(c, frequency_Hz) for c in (*along[0], *along[1], *front)), 0j)
    shank = sum((internal_impedance(c, frequency_Hz) for c in shanks), 0j)
    return Loop(internal.real, 2 * math.pi * frequency_Hz * inductance_H + internal.imag, shank.real)


# Design figures: common practice, no source, unless one is named.
FLUX_DENSITY_T = (1.2, 1.6)  # peak, at the mains voltage on the tap with the most volts a turn
COIL_OVER_CORE = (1.3, 2.0)  # area inside the primary's mean turn over the core's section
HEIGHT_OVER_SIDE = (0.7, 2.0)  # winding height over the core's side; scrapless E and I laminations: 1.5 (from memory)
LEAST_HEIGHT_OVER_SIDE = 0.3  # even of a transformer with a small mass in the welder file
IRON_OF_MASS = (0.6, 0.85)
IRON_KG_PER_M3 = 7650.0  # silicon steel, handbook, from memory
HEIGHT_OVER_WINDOW = (0.6, 0.75)  # height over height and width of the window together
TONGUE_OVER_SIDE = (0.6, 1.0)  # width of the core's tongue over the side of a square of the same section
VOLTS_A_TURN_PER_ROOT_KVA = (0.8, 1.8)  # volts a turn over the root of the power at 50 % duty


def volts_a_turn(t: Transformer) -> tuple[float, ...]:
    """Open secondary volts of the tap in use; without them both ends of the range typical of the rating."""
    if t.tap_volts:
        return (next(iter(t.tap_volts.values())),)
    at_half_duty_kVA = t.rating_kVA * math.sqrt(t.rating_duty_percent / 50)  # equal heating, I^2 times duty
    return tuple(k * math.sqrt(at_half_duty_kVA) for k in VOLTS_A_TURN_PER_ROOT_KVA)


def core_section_m2(most_volts_a_turn: float, frequency_Hz: float, flux_density_T: float) -> float:
    """Section in which a turn's volts make this peak density: V = 4.44 f B A (textbook: the transformer equation)."""
    return most_volts_a_turn * math.sqrt(2) / (2 * math.pi * frequency_Hz * flux_density_T)


def coil_in_air_H(turns: float, area_m2: float, height_m: float, *, with_ends: bool = True) -> float:
    """Inductance of a coil of one layer without iron: mu0 N^2 A / h, the height with its ends by Wheeler (1928).

    Wheeler's formula, from memory: L = mu0 N^2 pi r^2 / (h + 0.9 r), within 1 % for coils higher than 0.8 r. Without
    `with_ends` it is the long coil's, which holds where yokes lead the flux back.
    """
    ends_m = 0.9 * math.sqrt(area_m2 / math.pi) if with_ends else 0.0
    return MU_0 * turns**2 * area_m2 / (height_m + ends_m)


def winding_heights_m(section_m2: float, mass_kg: float | None) -> Iterator[float]:
    """The ends of the range of the winding's height on a core of this section.

    From the mass: iron around a window of height h and width w, on a tongue of width a, is 2 A (h + w + a) for a shell.
    The height stays within the least and the tallest usual shape, whatever the mass.
    """
    side = math.sqrt(section_m2)
    if mass_kg is None:
        yield from (k * side for k in HEIGHT_OVER_SIDE)
        return
    for iron, tongue, share in itertools.product(IRON_OF_MASS, TONGUE_OVER_SIDE, HEIGHT_OVER_WINDOW):
        window_m = iron * mass_kg / (2 * IRON_KG_PER_M3 * section_m2) - tongue * side
        yield min(max(share * window_m, LEAST_HEIGHT_OVER_SIDE * side), HEIGHT_OVER_SIDE[1] * side)


def air_core_reactance(welder: WelderTables) -> Figure:
    """Reactance of the primary on the tap in use with its core saturated and the secondary open, in ohms.

    It includes the winding's own leakage: without iron there is no other flux.
    """
    t, mains = welder.transformer, welder.mains
    found = []
    for volts, density_T in itertools.product(volts_a_turn(t), FLUX_DENSITY_T):
        section = core_section_m2(max(t.tap_volts.values(), default=volts), mains.frequency_Hz, density_T)
        for height, coil, with_ends in itertools.product(
            set(winding_heights_m(section, t.mass_kg)), COIL_OVER_CORE, (True, False)
        ):
            henry = coil_in_air_H(mains.voltage_V / volts, coil * section, height, with_ends=with_ends)
            found.append(2 * math.pi * mains.frequency_Hz * henry)
    return spanning(found, "ohm", _source(t))


def _source(t: Transformer) -> str:
    turn = (
        f"{shown(volts_a_turn(t)[0])} V a turn"
        if t.tap_volts
        else "{:g} to {:g} V a turn, typical of the rating".format(*(float(shown(v)) for v in volts_a_turn(t)))
    )
    height = "mass_kg" if t.mass_kg is not None else "the usual shape of a core"
    density = "{:g} to {:g} T".format(*FLUX_DENSITY_T)
    return (
        f"from {turn} on one secondary turn, a core at {density} and a coil around it, its height from {height}: "
        "mu0 N^2 A / h (common practice, no source)"
    )
