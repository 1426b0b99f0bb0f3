"""Softening is a matter of time at temperature: seconds at a face in work count as so many hours in a furnace.

Two anneals are alike where T (C + log t) is, T in kelvins and t in hours: Larson and Miller (1952), and for hardness
Hollomon and Jaffe (1945); from memory. It is Arrhenius's law with the activation energy R T ln(10) (C + log t): 164 kJ/mol
for copper that softens at 150 degC, 300 for CuCr1Zr. Along a course each stretch counts as its share of the time that its
temperature allows (Scheil's additivity, from memory). Nobody has measured milliseconds near melting: there it is a guess.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from sim.thermal.network import Array

LARSON_MILLER_C = 20.0  # with hours, for most metals; from memory
FURNACE_H = 2.0  # at the softening temperature (ISO 5182, from memory)
_KELVIN = 273.15


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
