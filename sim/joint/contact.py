"""What touches: resistance by force over hot hardness, the film between, and how fast hot metal gives way.

Bowden and Tabor: of the area that seems to touch, the share that does is pressure over hardness. Greenwood 1966 and Holm:
through it the current crowds into spots, and heat goes the same way (Wiedemann and Franz). Over the spots lies a film of
oxide and oil, which breaks down as it warms. Figures from memory; those of `Contacts` that are fitted say so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.joint.metals import KELVIN, TABOR, Array, Metal

LORENZ_V2_K2 = 2.44e-8
_POISSON = 0.3
_ANNEALED = (
    0.5  # of what cold metal bears as it comes, that annealed metal bears (1010 steel: 300 of 600 MPa, from memory)
)
_MOST_SHARE = 0.98  # of the area, that touches: what is hot touches all over, but for the last spots


@dataclass(frozen=True)
class Contacts:
    """What no data sheet gives.

    `film_ohm_m2`: of the film, times the area that truly touches, at 20 degC (fitted; a film of 1e-9 with `constraint` 0.8 meets
    the rows nearly as well). `breaks_K`: it falls by e for so many kelvins. `tip_share`: the film's share under an electrode.
    `constraint`: mean pressure over flow stress of the hot metal that gives way (fitted; 1 is that of a free column). `spread`:
    how much wider than the face sheets touch, in thicknesses of the thinner (fitted). `spot_m`: half of the distance between
    spots, as roughness has it. `gap_W_m2K`: heat that crosses beside the spots.
    """

    film_ohm_m2: float = 2.0e-9
    breaks_K: float = 400.0
    tip_share: float = 0.3
    constraint: float = 1.0
    spread: float = 0.4
    spot_m: float = 50e-6
    gap_W_m2K: float = 3e4


def touching(
    contacts: Contacts, at_C: Array, resistivity: Array, hardness_Pa: Array, pressure_Pa: float, film: float = 1.0
) -> tuple[Array, Array]:
    """(Resistance times area, conductance of heat over area) of a contact at these temperatures; `film`: its share of film."""
    share = np.clip(pressure_Pa / hardness_Pa, 1e-4, _MOST_SHARE)
    spots = resistivity * math.pi * contacts.spot_m / 2 * (1 - np.sqrt(share)) ** 1.5 / np.sqrt(share)
    oxide = film * contacts.film_ohm_m2 / share * np.exp(-np.clip(at_C - 20.0, 0, None) / contacts.breaks_K)
    heat = LORENZ_V2_K2 * (at_C + KELVIN) / np.maximum(spots, 1e-13) + contacts.gap_W_m2K
    return spots + oxide, heat


def not_over_melting(ohm_m2: Array, area_m2: Array, amperes: float, at_C: Array, melting_degC: float) -> Array:
    """The same resistances, lowered together where their voltage would melt the spots, which then grow until it does not.

    Kohlrausch's relation between a contact's voltage and its hottest place (Greenwood and Williamson 1958), from the mean
    temperature of what touches up to melting. `amperes` flow through all of `area_m2`.
    """
    mean_K = float(np.average(at_C, weights=area_m2)) + KELVIN
    most_V = 2 * math.sqrt(LORENZ_V2_K2 * max((melting_degC + KELVIN) ** 2 - mean_K**2, 0.0))
    volts = amperes / max(float((area_m2 / np.maximum(ohm_m2, 1e-16)).sum()), 1e-30)
    return ohm_m2 if volts <= most_V else np.asarray(ohm_m2 * (most_V / volts))


def pressed_radius_m(force_N: float, dome_m: float, metals: tuple[Metal, Metal], at_C: float = 20.0) -> float:
    """Radius of what a dome of this radius touches on a flat: the greater of the elastic and of the plastic limit.

    Elastic: Hertz (Johnson, Contact Mechanics, 4.2; Poisson's ratio 0.3). Plastic: force over the hardness of the softer
    (Tabor; Johnson 6.3). Between the two both are a little small. A flat face touches all over: infinite.
    """
    if math.isinf(dome_m):
        return math.inf
    softness = sum((1 - _POISSON**2) / (1e9 * metal.young_GPa) for metal in metals)
    elastic = float(np.cbrt(0.75 * force_N * dome_m * softness))
    softer = min(float(metal.hardness_Pa(at_C)) for metal in metals)
    return max(elastic, math.sqrt(force_N / (math.pi * softer)))


@dataclass(frozen=True, eq=False)
class Melt:
    """Of the plane in which parts touch: the rings round its middle, how far it is molten and how far it touches; radii."""

    edges_m: Array
    at_C: Array
    melted_m: float
    rim_m: float


def shut_in_N(melt: Melt, metal: Metal) -> float:
    """What force it takes to hold parts together against the melt between them, while a ring round it shuts it in.

    Metal that melts grows by some 4 % (from memory), and its pressure rises until the ring flows. That of a thick-walled
    cylinder: 2 / sqrt 3 of the integral of flow stress over radius (Hill, The Mathematical Theory of Plasticity, 1950), of
    annealed metal at 1 /s. Where the ring is hot enough to have welded it bears its own flow stress in pull. Balanced against
    the electrodes' force as by Senkara, Zhang and Hu (Welding Journal 83(4), 2004; from memory).
    """
    a = melt.melted_m
    if a <= 0:
        return 0.0
    inner, outer = (np.clip(each, a, max(melt.rim_m, a)) for each in (melt.edges_m[:-1], melt.edges_m[1:]))
    bears = 1e6 * np.minimum(metal.flow.stress_MPa(melt.at_C, 1.0), _ANNEALED * metal.flow.cold_MPa)
    pressure = 2 / math.sqrt(3) * float((bears * np.log(outer / inner)).sum())
    welded = math.pi * float((bears * (outer**2 - inner**2))[melt.at_C >= metal.forge_degC].sum())
    return max(0.0, pressure * math.pi * a**2 - welded)


def cold_area_m2(metal: Metal, force_N: float) -> float:
    """What cold metal gives way to: force over Tabor's hardness."""
    return force_N / (TABOR * 1e6 * metal.flow.cold_MPa)
