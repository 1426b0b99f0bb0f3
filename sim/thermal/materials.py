"""Metals of electrodes, windings and work, at 20 degC unless stated otherwise, and their softening.

Softening depends on time and temperature: seconds at a hot face are equivalent to hours in a furnace.

Two anneals are equivalent where T (C + log t) is equal, T in kelvins and t in hours: Larson and Miller (1952), and for
hardness Hollomon and Jaffe (1945); from memory. This is Arrhenius's law with the activation energy R T ln(10) (C + log t):
164 kJ/mol for copper that softens at 150 degC, 300 for CuCr1Zr. As the temperature varies, each interval uses up its share
of the time allowed at its temperature (Scheil's additivity, from memory). For milliseconds near melting there is no
measurement, and the result is a guess.
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
    """A metal with its electrical and thermal properties."""

    name: str
    resistivity_ohm_m: float
    temperature_coefficient_per_K: float
    density_kg_per_m3: float
    specific_heat_J_per_kgK: float
    conductivity_W_per_mK: float
    softening_degC: float | None
    """Temperature at which two hours lower the hardness by 15 % at most (ISO 5182). None for a metal not used for electrodes."""
    melting_degC: float
    """Solidus temperature."""
    source: str

    def resistivity_at_ohm_m(self, temperature_degC: float) -> float:
        """Linear in temperature from 20 degC."""
        return self.resistivity_ohm_m * (1 + self.temperature_coefficient_per_K * (temperature_degC - 20))

    @property
    def heat_J_per_m3K(self) -> float:
        return self.density_kg_per_m3 * self.specific_heat_J_per_kgK


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

# Resistivity rises by as much per kelvin as copper's (Matthiessen's rule), so the coefficient is smaller.
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
    "assumed; coefficient by Matthiessen's rule",
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
    "380 J/(kg K), 320 W/(m K) a public data sheet of CW106C; coefficient by Matthiessen's rule",
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
    """Log10 of the hours at this temperature that soften as much as `FURNACE_H` at `softening_degC`."""
    parameter_K = (softening_degC + _KELVIN) * (LARSON_MILLER_C + math.log10(FURNACE_H))
    return np.asarray(parameter_K / (np.asarray(temperature_degC, dtype=float) + _KELVIN) - LARSON_MILLER_C)


def softened(softening_degC: float, times_s: Array, course_degC: Array) -> float:
    """How far a course of temperatures softens the metal: 0 not at all, 1 soft.

    The log of the rate is interpolated linearly between samples.
    """
    rates = -math.log(10) * log_softening_h(softening_degC, course_degC)
    low, difference = np.minimum(rates[:-1], rates[1:]), np.abs(np.diff(rates))
    straight = np.where(difference > 1e-6, np.expm1(difference) / np.maximum(difference, 1e-6), 1.0)
    return float(np.sum(np.diff(times_s) / 3600 * np.exp(low) * straight))
