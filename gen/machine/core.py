"""The transformer's core once it is saturated: what is left of the primary's inductance, and what that follows from.

A saturated core holds back no more than air does, so the primary is a coil of wire without iron. Its turns follow from
the volts a turn, for nearly every resistance welder has one secondary turn (more turns mean a larger inductance, so one
is the worse case); the core's section follows from the volts a turn and the flux density; the coil lies around that
core; its height follows from the transformer's mass, or from the usual shape of a core.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from gen.machine.tables import Transformer, WelderTables
from gen.ranges import Figure, shown, spanning

MU_0 = 4e-7 * math.pi

# Design figures: common practice, no source, unless it says otherwise.
FLUX_DENSITY_T = (1.2, 1.6)  # peak, at the mains voltage on the tap with the most volts a turn
COIL_OVER_CORE = (1.3, 2.0)  # area inside the primary's mean turn over the core's section
HEIGHT_OVER_SIDE = (0.7, 2.0)  # winding height over the core's side; scrapless E and I laminations: 1.5 (from memory)
LEAST_HEIGHT_OVER_SIDE = 0.3  # however light the transformer is said to be
IRON_OF_MASS = (0.6, 0.85)
IRON_KG_PER_M3 = 7650.0  # silicon steel, handbook, from memory
HEIGHT_OVER_WINDOW = (0.6, 0.75)  # height over height and width of the window together
TONGUE_OVER_SIDE = (0.6, 1.0)  # width of the core's tongue over the side of a square of the same section
VOLTS_A_TURN_PER_ROOT_KVA = (0.8, 1.8)  # of the power at 50 % duty


def volts_a_turn(t: Transformer) -> tuple[float, ...]:
    """Of the tap in use and the same for every tap: open secondary volts, or both ends of what is typical of the rating."""
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
    """The ends of what the winding's height may be on a core of this section.

    From the mass: iron around a window of height h and width w, on a tongue of width a, is 2 A (h + w + a) for a shell.
    The window is no taller than the tall end of the usual shapes, and no lower than the least, whatever the mass says.
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

    The winding's own leakage is part of it, for the flux of a coil without iron is all there is.
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
