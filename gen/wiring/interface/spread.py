"""The spread of each part's values, and draws from it: at random, and at the worst case of a figure.

Values with a tolerance are uniform over it. Gains, leakages and delays, which makers do not sort, are uniform in their
logarithm. Ranges of types: data sheets, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gen.wiring.interface.components import Component, Generic

Reals = NDArray[np.float64]
Draws = Mapping[str, Reals]  # "R33.value" and the like: one number a draw


@dataclass(frozen=True)
class Between:
    """A range from `low` to `high`, uniform in the value (`even`) or in its logarithm."""

    low: float
    high: float
    even: bool = True

    def at(self, share: Reals) -> Reals:
        """The value at a share of the range: 0 is the lower end, 1 the upper."""
        if self.even:
            return self.low + (self.high - self.low) * share
        return np.asarray(self.low * (self.high / self.low) ** share, dtype=np.float64)


# Spreads of the models in `nodal`, by type. Saturation currents, A, for the emission factors named there.
MODELS: dict[Generic, dict[str, Between]] = {
    "signal diode": {"saturation_A": Between(1e-9, 1e-8, False)},
    "rectifier diode": {"saturation_A": Between(1e-9, 3e-8, False)},
    "Schottky diode": {"saturation_A": Between(1e-7, 1e-5, False)},
    "N-MOSFET": {"threshold_V": Between(0.5, 1.5), "slope_A_per_V2": Between(0.1, 1.0, False)},
    "P-MOSFET": {"threshold_V": Between(2.0, 4.0), "slope_A_per_V2": Between(0.5, 5.0, False)},
    "PNP transistor": {"gain": Between(100.0, 600.0, False), "saturation_A": Between(3e-15, 1e-13, False)},
    "dual comparator": {"offset_V": Between(-0.005, 0.005), "bias_A": Between(20e-9, 400e-9, False)},
    "coupler": {
        "saturation_A": Between(1e-14, 1e-11, False),
        "transfer": Between(0.5, 2.0, False),
        "lag_s": Between(5e-6, 20e-6, False),
    },
    "phototriac coupler": {"saturation_A": Between(1e-14, 1e-11, False)},
}
MODELS["two-way coupler"] = MODELS["coupler"]
MODELS["NPN transistor"] = MODELS["PNP transistor"]


def spreads(components: Iterable[Component]) -> dict[str, Between]:
    """The spread of every value of these parts."""
    found = {}
    for part in components:
        if part.value is not None and part.tolerance:
            found[f"{part.name}.value"] = Between(part.value * (1 - part.tolerance), part.value * (1 + part.tolerance))
        for key, between in MODELS.get(part.generic, {}).items():
            found[f"{part.name}.{key}"] = between
    return found


def middle(spread: Mapping[str, Between]) -> dict[str, Reals]:
    """One draw with every value in the middle."""
    return {key: between.at(np.array([0.5])) for key, between in spread.items()}


def by_chance(spread: Mapping[str, Between], number: int, seed: int) -> dict[str, Reals]:
    """`number` random draws. The same seed gives the same draws."""
    chance = np.random.default_rng(seed)
    return {key: between.at(chance.random(number)) for key, between in spread.items()}


def worst(spread: Mapping[str, Between], figure: Callable[[Draws], Reals]) -> tuple[float, float]:
    """The least and the greatest of a figure with every value at the end of its range that makes it so.

    That end is found by moving one value at a time from its middle. `figure` returns one number a draw.
    """
    keys = list(spread)
    shares = np.full((2 * len(keys), len(keys)), 0.5)
    for n in range(len(keys)):
        shares[2 * n, n], shares[2 * n + 1, n] = 0.0, 1.0
    moved = figure({key: spread[key].at(shares[:, n]) for n, key in enumerate(keys)})
    up = moved[1::2] >= moved[0::2]
    ends = np.array([~up, up], dtype=np.float64)
    least, most = figure({key: spread[key].at(ends[:, n]) for n, key in enumerate(keys)})
    return (float(least), float(most)) if not math.isnan(least + most) else (math.nan, math.nan)
