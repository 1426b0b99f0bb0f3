"""An electrode: heat at its face, its own resistance, conduction up the shank into the holder, loss to air.

A rod in one dimension, divided into layers that are thin at the face and grow with the square of the distance.
Simplifications: no radial gradient in the shank; constant properties; resistivity at one mean temperature; one resistance
from the holder to ambient; the spread from a small contact into a flat face taken as settled (true after about
radius^2 / diffusivity, 10 ms for 1 mm; too hot before).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from sim.thermal.answers import equilibrium_mean_degC
from sim.thermal.materials import Material
from sim.thermal.network import LinearNetwork, NodeRow, PowerProfile, row_network

LAYERS = 60  # within 0.5 % of the analytic rod after one half-cycle, closer later


@dataclass(frozen=True)
class Holder:
    """The electrode holder. The defaults are assumed for a small bench machine; measure them."""

    grip_K_per_W: float = 0.1
    to_ambient_K_per_W: float = 1.0
    capacity_J_per_K: float = 200.0


@dataclass(frozen=True)
class Electrode:
    """A round rod."""

    material: Material
    shank_diameter_m: float
    free_length_m: float
    """Length from face to holder."""
    contact_diameter_m: float
    """Diameter of the face where it touches the work."""
    tip_length_m: float = 0.0
    """Length of the cone from the contact to the shank; 0 for a flat face, into which heat and current spread (constriction)."""
    holder: Holder = Holder()
    air_W_per_m2K: float = 15.0
    """Convection and radiation in still air: 10 to 20, common practice, no source."""
    ambient_degC: float = 25.0
    mean_degC: float = 100.0
    """The temperature at which the resistivity is taken."""

    def __post_init__(self) -> None:
        if not 0 < self.contact_diameter_m <= self.shank_diameter_m:
            raise ValueError("the contact is wider than 0 and no wider than the shank")
        if not 0 <= self.tip_length_m < self.free_length_m:
            raise ValueError("the tip's cone is shorter than the free length")

    @property
    def resistivity_ohm_m(self) -> float:
        return self.material.resistivity_at_ohm_m(self.mean_degC)

    @property
    def spread_per_m(self) -> float:
        """Constriction: 1 / (4 a), a the contact radius, times (1 - a / b)^1.5 for a rod of radius b; 0 with a cone.

        Times resistivity it is in ohms (Holm, Electric Contacts), over conductivity in K/W (Cooper, Mikic and
        Yovanovich 1969), both from memory.
        """
        if self.tip_length_m > 0:
            return 0.0
        return math.pow(1 - self.contact_diameter_m / self.shank_diameter_m, 1.5) / (2 * self.contact_diameter_m)

    def per_area(self, x0_m: float, x1_m: float) -> float:
        """Integral of dx / area between two distances from the face, in 1/m."""
        return sum(4 * (b - a) / (math.pi * self._diameter(a) * self._diameter(b)) for a, b in self._frusta(x0_m, x1_m))

    def volume_m3(self, x0_m: float, x1_m: float) -> float:
        """Volume between two distances from the face."""
        total = 0.0
        for a, b in self._frusta(x0_m, x1_m):
            d, e = self._diameter(a), self._diameter(b)
            total += math.pi / 12 * (b - a) * (d * d + d * e + e * e)
        return total

    def side_m2(self, x0_m: float, x1_m: float) -> float:
        """Surface to the air, without the slant of the cone."""
        return sum(math.pi / 2 * (b - a) * (self._diameter(a) + self._diameter(b)) for a, b in self._frusta(x0_m, x1_m))

    def _diameter(self, x_m: float) -> float:
        if x_m >= self.tip_length_m:
            return self.shank_diameter_m
        return self.contact_diameter_m + (self.shank_diameter_m - self.contact_diameter_m) * x_m / self.tip_length_m

    def _frusta(self, x0_m: float, x1_m: float) -> list[tuple[float, float]]:
        tip = self.tip_length_m
        return [(x0_m, tip), (tip, x1_m)] if x0_m < tip < x1_m else [(x0_m, x1_m)]


def electrode_network(electrode: Electrode, layers: int = LAYERS) -> LinearNetwork:
    """The rod and its holder as a network.

    Inputs: `face_W`, this electrode's share of the joint's heat, and `current_A2`, the square of the RMS current.
    Outputs: `face` (where it touches the work), `body` (mean over the volume) and `holder`.
    """
    e, k = electrode, electrode.material.conductivity_W_per_mK
    edges = e.free_length_m * (np.arange(layers + 1) / layers) ** 2
    centres = (edges[:-1] + edges[1:]) / 2
    spans = list(pairwise(edges.tolist()))
    volumes = np.array([e.volume_m3(a, b) for a, b in spans])
    links = [k / e.per_area(a, b) for a, b in pairwise(centres.tolist())]
    grip = e.per_area(centres[-1], edges[-1]) / k + e.holder.grip_K_per_W
    links.append(1 / grip)
    to_ambient = [e.air_W_per_m2K * e.side_m2(a, b) for a, b in spans] + [1 / e.holder.to_ambient_K_per_W]

    spread_ohm, spread_K_per_W = e.resistivity_ohm_m * e.spread_per_m, e.spread_per_m / k
    one_node = np.eye(layers + 1)
    at_face, at_holder = one_node[0], one_node[layers]
    ohm = np.zeros(layers + 1)
    ohm[:layers] = [e.resistivity_ohm_m * e.per_area(a, b) for a, b in spans]
    ohm[0] += spread_ohm

    # Half a layer lies between the first node and the face. Heat made in the constriction warms the contact as much as
    # half of it would if made at the contact: V^2 / (2 k resistivity), Kohlrausch's relation (Holm), from memory.
    half_layer = e.per_area(0.0, centres[0]) / k
    face_direct = half_layer + spread_K_per_W, spread_ohm * (half_layer + spread_K_per_W / 2)
    capacities = np.append(volumes * e.material.heat_J_per_m3K, e.holder.capacity_J_per_K)
    return row_network(
        NodeRow(capacities, links, to_ambient),
        {"face_W": at_face, "current_A2": ohm},
        {
            "face": (at_face, face_direct),
            "body": (np.append(volumes / volumes.sum(), 0), (0, 0)),
            "holder": (at_holder, (0, 0)),
        },
        e.ambient_degC,
    )


def at_its_own_mean(electrode: Electrode, profile: PowerProfile, period_s: float, layers: int = LAYERS) -> Electrode:
    """The electrode with its resistivity at the mean temperature of its body in endless work, found by iteration.

    Raises ArithmeticError if it does not settle: resistance and temperature raise each other without end.
    """
    for _ in range(50):
        mean = equilibrium_mean_degC(electrode_network(electrode, layers), profile, period_s, "body")
        if not mean < 2000:
            break
        settled = abs(mean - electrode.mean_degC) < 0.01
        electrode = replace(electrode, mean_degC=mean)
        if settled:
            return electrode
    raise ArithmeticError(f"the electrode's own resistance heats it without end (mean {mean:.0f} degC)")
