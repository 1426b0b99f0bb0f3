"""The transformer's winding: one time constant, calibrated at the rating plate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.thermal.materials import COPPER, LOW_CARBON_STEEL
from sim.thermal.network import LinearNetwork

# Mean rise over 40 degC, by resistance: IEC 60076-11 (dry-type transformers), from memory; assumed to hold for a
# welding transformer.
RATED_RISE_K = {"A": 60.0, "E": 75.0, "B": 80.0, "F": 100.0, "H": 125.0}
RATED_AMBIENT_degC = 40.0

# Assumed, for small dry transformers with a few kilograms of copper. Judge both ends.
TIME_CONSTANT_RANGE_S = (600.0, 1800.0)


@dataclass(frozen=True)
class Mass:
    """The masses that the winding loss warms."""

    copper_kg: float
    core_kg: float
    """The part of the core that warms with the winding."""
    rated_loss_W: float
    """Winding loss at the rated current and duty."""


@dataclass(frozen=True)
class Winding:
    """The winding from its rating plate. Insulation class A, the coolest, is assumed where the plate has none.

    The class changes the temperature and its limit together; the safe pace does not depend on it.
    """

    rated_current_A: float
    rated_duty: float
    insulation_class: str = "A"
    ambient_degC: float = RATED_AMBIENT_degC
    mass: Mass | None = None
    time_constant_s: float | None = None

    def __post_init__(self) -> None:
        if self.insulation_class not in RATED_RISE_K:
            raise ValueError(f"insulation class {self.insulation_class!r}; there are {', '.join(RATED_RISE_K)}")
        if not (self.rated_current_A > 0 and 0 < self.rated_duty <= 1):
            raise ValueError("a rating needs a current above 0 A and a duty above 0 and up to 1")

    @property
    def limit_degC(self) -> float:
        """The mean winding temperature of its class at the rated ambient, not at the present one."""
        return RATED_AMBIENT_degC + RATED_RISE_K[self.insulation_class]

    @property
    def time_constants_s(self) -> tuple[float, ...]:
        """The known time constant, or the one from the masses (rise times capacity over loss), or both ends of a range."""
        if self.time_constant_s is not None:
            return (self.time_constant_s,)
        if self.mass is None:
            return TIME_CONSTANT_RANGE_S
        m = self.mass
        capacity = m.copper_kg * COPPER.specific_heat_J_per_kgK + m.core_kg * LOW_CARBON_STEEL.specific_heat_J_per_kgK
        return (RATED_RISE_K[self.insulation_class] * capacity / m.rated_loss_W,)


def winding_networks(winding: Winding) -> tuple[LinearNetwork, ...]:
    """One network for each time constant. Input `current_A2`, the square of the RMS current; output `winding`.

    The rated current at the rated duty gives the rated rise. The resistance is that of the hot winding; a cold one heats
    less, so times to a limit are on the short side. The short time constant heats soonest, the long one rests longest.
    """
    rise_per_A2 = RATED_RISE_K[winding.insulation_class] / (winding.rated_current_A**2 * winding.rated_duty)
    return tuple(
        LinearNetwork(
            np.array([1 / tau]),
            np.array([[rise_per_A2 / tau]]),
            np.ones((1, 1)),
            np.zeros((1, 1)),
            ("current_A2",),
            ("winding",),
            winding.ambient_degC,
        )
        for tau in winding.time_constants_s
    )
