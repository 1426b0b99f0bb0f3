"""Contact of two metals: the resistance and heat conductance of spots and film, indentation, and the force of melt.

The true contact area is a share of the apparent area: pressure over hardness (Bowden and Tabor). The current is constricted
to the spots of this area (Holm; Greenwood 1966). Heat takes the same path (Wiedemann and Franz). The spots are covered by a
film of oxide and oil, which breaks down as it warms. The figures are from memory, except the fitted ones of `Contacts`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.joint.metals import KELVIN, TABOR, Array, Metal

LORENZ_V2_K2 = 2.44e-8
_POISSON = 0.3
_ANNEALED = (
    0.5  # flow stress of annealed metal over that of metal as delivered (1010 steel: 300 of 600 MPa, from memory)
)
_MOST_SHARE = 0.98  # greatest share of true contact in the apparent area; hot metal touches nearly everywhere


@dataclass(frozen=True)
class Contacts:
    """Properties of the contacts that no data sheet gives."""

    film_ohm_m2: float = 2.0e-9
    """Resistance of the film times the true contact area, at 20 degC. Fitted; 1e-9 with `constraint` 0.8 fits nearly as well."""
    film_decay_K: float = 400.0
    """Rise of temperature that divides the film's resistance by e."""
    tip_share: float = 0.3
    """Film under an electrode over that at the faying surface."""
    constraint: float = 1.0
    """Mean pressure over flow stress of the hot metal that yields. Fitted; it is 1 for a free column."""
    spread: float = 0.4
    """Diameter of the faying surface less that of the electrode's face, in thicknesses of the thinner sheet. Fitted."""
    spot_m: float = 50e-6
    """Half of the distance between spots, from the roughness."""
    gap_W_m2K: float = 3e4
    """Heat conductance of the gaps between the spots."""


def contact_values(
    contacts: Contacts, at_C: Array, resistivity: Array, hardness_Pa: Array, pressure_Pa: float, film: float = 1.0
) -> tuple[Array, Array]:
    """Resistance times area (ohm m2) and heat conductance over area (W/m2 K) of a contact at these temperatures.

    `film`: the contact's film over that of `contacts`.
    """
    share = np.clip(pressure_Pa / hardness_Pa, 1e-4, _MOST_SHARE)
    spots = resistivity * math.pi * contacts.spot_m / 2 * (1 - np.sqrt(share)) ** 1.5 / np.sqrt(share)
    oxide = film * contacts.film_ohm_m2 / share * np.exp(-np.clip(at_C - 20.0, 0, None) / contacts.film_decay_K)
    heat = LORENZ_V2_K2 * (at_C + KELVIN) / np.maximum(spots, 1e-13) + contacts.gap_W_m2K
    return spots + oxide, heat


def limited_by_melting(ohm_m2: Array, area_m2: Array, amperes: float, at_C: Array, melting_degC: float) -> Array:
    """The resistances times area, all lowered by one factor if the contact's voltage exceeds the melting voltage.

    Spots that melt grow until their voltage is below it. The melting voltage follows from Kohlrausch's relation between a
    contact's voltage and its greatest temperature (Greenwood and Williamson 1958), from the contact's mean temperature up to
    melting. `amperes`: current through all of `area_m2`.
    """
    mean_K = float(np.average(at_C, weights=area_m2)) + KELVIN
    most_V = 2 * math.sqrt(LORENZ_V2_K2 * max((melting_degC + KELVIN) ** 2 - mean_K**2, 0.0))
    volts = amperes / max(float((area_m2 / np.maximum(ohm_m2, 1e-16)).sum()), 1e-30)
    return ohm_m2 if volts <= most_V else np.asarray(ohm_m2 * (most_V / volts))


def indentation_radius_m(force_N: float, dome_m: float, metals: tuple[Metal, Metal], at_C: float = 20.0) -> float:
    """Radius of a dome's indentation in a flat: the greater of the elastic and the plastic limit. Infinite for a flat face.

    Elastic: Hertz (Johnson, Contact Mechanics, 4.2; Poisson's ratio 0.3). Plastic: force over the hardness of the softer
    metal (Tabor; Johnson 6.3). Between the two limits the true radius is a little greater.
    """
    if math.isinf(dome_m):
        return math.inf
    softness = sum((1 - _POISSON**2) / (1e9 * metal.young_GPa) for metal in metals)
    elastic = float(np.cbrt(0.75 * force_N * dome_m * softness))
    softer = min(float(metal.hardness_Pa(at_C)) for metal in metals)
    return max(elastic, math.sqrt(force_N / (math.pi * softer)))


@dataclass(frozen=True, eq=False)
class Melt:
    """The faying surface of one contact, in rings round its middle."""

    edges_m: Array
    """Radii of the rings, rising."""
    at_C: Array
    """Temperature of each ring, degC."""
    melted_m: float
    """Radius of the molten part."""
    rim_m: float
    """Radius of the contact."""


def melt_force_N(melt: Melt, metal: Metal) -> float:
    """The force by which the nugget's melt separates the parts, N. A ring of solid metal encloses the melt.

    Metal grows by some 4 % in volume as it melts (from memory). Its pressure rises until the ring yields. This is the yield
    pressure of a thick-walled cylinder: 2 / sqrt 3 of the integral of flow stress over the logarithm of radius (Hill, The
    Mathematical Theory of Plasticity, 1950), of annealed metal at 1 /s. The part of the ring that is hot enough to have welded
    holds the parts together with its own flow stress, and this force is subtracted. Expulsion follows if the result exceeds
    the electrodes' force (Senkara, Zhang and Hu, Welding Journal 83(4), 2004; from memory).
    """
    a = melt.melted_m
    if a <= 0:
        return 0.0
    inner, outer = (np.clip(each, a, max(melt.rim_m, a)) for each in (melt.edges_m[:-1], melt.edges_m[1:]))
    yields_Pa = 1e6 * np.minimum(metal.flow.stress_MPa(melt.at_C, 1.0), _ANNEALED * metal.flow.cold_MPa)
    pressure = 2 / math.sqrt(3) * float((yields_Pa * np.log(outer / inner)).sum())
    welded = math.pi * float((yields_Pa * (outer**2 - inner**2))[melt.at_C >= metal.forge_degC].sum())
    return max(0.0, pressure * math.pi * a**2 - welded)


def cold_area_m2(metal: Metal, force_N: float) -> float:
    """The contact area of cold metal: force over Tabor's hardness."""
    return force_N / (TABOR * 1e6 * metal.flow.cold_MPa)
