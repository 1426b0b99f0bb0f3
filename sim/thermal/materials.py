"""Metals of electrodes, windings and work, at 20 degC unless said, and how they soften.

Softening is a matter of time at temperature: seconds at a face in work count as so many hours in a furnace.

Two anneals are alike where T (C + log t) is, T in kelvins and t in hours: Larson and Miller (1952), and for hardness
Hollomon and Jaffe (1945); from memory. It is Arrhenius's law with the activation energy R T ln(10) (C + log t): 164 kJ/mol
for copper that softens at 150 degC, 300 for CuCr1Zr. Along a course each stretch counts as its share of the time that its
temperature allows (Scheil's additivity, from memory). Nobody has measured milliseconds near melting: there it is a guess.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sim.thermal.network import Array

LARSON_MILLER_C = 20.0  # with hours, for most metals; from memory
FURNACE_H = 2.0  # at the softening temperature (ISO 5182, from memory)
_KELVIN = 273.15


@dataclass(frozen=True)
class Material:
    """`softening_degC`: held there for two hours, hardness falls by at most 15 % (ISO 5182). None: no electrode.

    melting_degC: where it begins to melt.
    """

    name: str
    resistivity_ohm_m: float
    temperature_coefficient_per_K: float
    density_kg_per_m3: float
    specific_heat_J_per_kgK: float
    conductivity_W_per_mK: float
    softening_degC: float | None
    melting_degC: float
    source: str

    def resistivity_at_ohm_m(self, temperature_degC: float) -> float:
        """Linear in temperature from 20 degC."""
        return self.resistivity_ohm_m * (1 + self.temperature_coefficient_per_K * (temperature_degC - 20))

    @property
    def heat_J_per_m3K(self) -> float:
        return self.density_kg_per_m3 * self.specific_heat_J_per_kgK

    @property
    def diffusivity_m2_per_s(self) -> float:
        return self.conductivity_W_per_mK / self.heat_J_per_m3K


COPPER = Material(
    name="Cu-ETP",
    resistivity_ohm_m=1.7241e-8,
    temperature_coefficient_per_K=0.00393,
    density_kg_per_m3=8890,
    specific_heat_J_per_kgK=385,
    conductivity_W_per_mK=394,
    softening_degC=150,
    melting_degC=1083,
    source="IACS annealed copper; handbook 390 to 400 W/(m K), 8890 to 8960 kg/m3; softening ISO 5182 and "
    "melting, from memory",
)

# The slope of resistivity in K is taken to be copper's own (Matthiessen's rule), hence the smaller coefficient.
CUCR1 = Material(
    name="CuCr1",
    resistivity_ohm_m=1 / 44e6,
    temperature_coefficient_per_K=1.7241e-8 * 0.00393 * 44e6,
    density_kg_per_m3=8900,
    specific_heat_J_per_kgK=380,
    conductivity_W_per_mK=320,
    softening_degC=475,
    melting_degC=1075,
    source="44 MS/m (least), softening ISO 5182 and melting (the eutectic, 1076), from memory; the rest as for CuCr1Zr, "
    "assumed; coefficient by "
    "Matthiessen's rule",
)
CUCR1ZR = Material(
    name="CuCr1Zr",
    resistivity_ohm_m=1 / 43e6,
    temperature_coefficient_per_K=1.7241e-8 * 0.00393 * 43e6,
    density_kg_per_m3=8900,
    specific_heat_J_per_kgK=380,
    conductivity_W_per_mK=320,
    softening_degC=500,
    melting_degC=1070,
    source="43 MS/m (least), softening ISO 5182 and melting (data sheets, 1070 to 1080), from memory; 8.9 g/cm3, "
    "380 J/(kg K), 320 W/(m K) a public data "
    "sheet of CW106C; coefficient by Matthiessen's rule",
)

LOW_CARBON_STEEL = Material(
    name="low-carbon steel",
    resistivity_ohm_m=1.4e-7,
    temperature_coefficient_per_K=0.005,
    density_kg_per_m3=7850,
    specific_heat_J_per_kgK=480,
    conductivity_W_per_mK=50,
    softening_degC=None,
    melting_degC=1500,
    source="handbook values, from memory; resistivity and specific heat rise more than linearly: good to some 300 degC",
)


def log_softening_h(softening_degC: float, temperature_degC: ArrayLike) -> Array:
    """Log10 of the hours at a temperature that soften as `FURNACE_H` at `softening_degC` do."""
    parameter_K = (softening_degC + _KELVIN) * (LARSON_MILLER_C + math.log10(FURNACE_H))
    return np.asarray(parameter_K / (np.asarray(temperature_degC, dtype=float) + _KELVIN) - LARSON_MILLER_C)


def softened(softening_degC: float, times_s: Array, course_degC: Array) -> float:
    """Share of its softening that a course brings; 1: it is soft.

    Between two samples the log of the rate is taken to be straight, which is exact where it is.
    """
    rates = -math.log(10) * log_softening_h(softening_degC, course_degC)
    low, difference = np.minimum(rates[:-1], rates[1:]), np.abs(np.diff(rates))
    straight = np.where(difference > 1e-6, np.expm1(difference) / np.maximum(difference, 1e-6), 1.0)
    return float(np.sum(np.diff(times_s) / 3600 * np.exp(low) * straight))
