"""The formulas by which parts are chosen, each with its source. SI units unless a name says otherwise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

# IEC 60063: the preferred numbers of a decade (from memory).
E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
E24 = (
    1.0,
    1.1,
    1.2,
    1.3,
    1.5,
    1.6,
    1.8,
    2.0,
    2.2,
    2.4,
    2.7,
    3.0,
    3.3,
    3.6,
    3.9,
    4.3,
    4.7,
    5.1,
    5.6,
    6.2,
    6.8,
    7.5,
    8.2,
    9.1,
)
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)

# The detector's edges depend on these three bands.
LED_V = (1.0, 1.4)  # typical light-emitting diode of a coupler (common practice, no source)
LOGIC_OF_SUPPLY = (0.24, 0.61)  # a 3.3 V input reads low below 0.8 V and high above 2.0 V (data sheets, from memory)
MAINS_OF_NOMINAL = (0.85, 1.10)  # EN 50160

_LOOKS = 1000  # instants at which a ringing voltage is evaluated
_TIME_CONSTANTS = 8.0  # decays that are evaluated; the rest is negligible


@dataclass(frozen=True)
class Recovery:
    """The voltage on a switch that has turned off: its peak, the time of the peak, and its steepest rise."""

    peak_V: float
    peak_s: float
    steepest_V_per_s: float


def preferred_at_least(value: float, series: Sequence[float] = E12) -> float:
    """The least preferred number that is not below `value` (above 0)."""
    decade = 10.0 ** math.floor(math.log10(value) + 1e-12)
    return next(float(f"{n * d:.3g}") for d in (decade, 10 * decade) for n in series if n * d >= value * (1 - 1e-9))


def preferred_at_most(value: float, series: Sequence[float] = E12) -> float:
    """The greatest preferred number that is not above `value` (above 0)."""
    decade = 10.0 ** math.floor(math.log10(value) + 1e-12)
    found = [float(f"{n * d:.3g}") for d in (decade / 10, decade) for n in series]
    return max(n for n in found if n <= value * (1 + 1e-9))


def nearest_preferred(value: float, series: Sequence[float] = E12) -> float:
    """The preferred number that is nearest in proportion."""
    return min(
        preferred_at_least(value, series), preferred_at_most(value, series), key=lambda n: abs(math.log(n / value))
    )


def step_at_least(value: float, steps: Sequence[float]) -> float | None:
    """The least of the rising `steps` that is not below `value`; None where every step is below it."""
    return next((step for step in steps if step >= value), None)


def half_sine_i2t(peak_A: float, half_s: float) -> float:
    """I2t of a half sine: half of the peak squared times its length (textbook)."""
    return peak_A**2 * half_s / 2


def pair_loss_W(threshold_V: float, slope_ohm: float, rms_A: float) -> float:
    """Loss of a pair of thyristors under a whole sine: V0 times the mean, 2 sqrt 2 / pi of RMS, plus r I^2 (textbook)."""
    return threshold_V * 2 * math.sqrt(2) / math.pi * rms_A + slope_ohm * rms_A**2


def heat_sink_K_per_W(hot_C: float, ambient_C: float, loss_W: float, *in_series_K_per_W: float) -> float:
    """Greatest resistance of the heat sink: rise over loss, less the resistances before it (textbook)."""
    return (hot_C - ambient_C) / loss_W - sum(in_series_K_per_W)


def damping_ratio(ohm: float, henry: float, farad: float) -> float:
    """Damping ratio of a series circuit; 1 is critical (textbook)."""
    return ohm / 2 * math.sqrt(farad / henry)


@lru_cache(maxsize=4096)
def recovery(
    step_V: float, load_H: float, load_ohm: float, snubber_ohm: float, snubber_F: float, chopped_A: float = 0.0
) -> Recovery:
    """The voltage across a series snubber after its switch stops conducting with `step_V` left across it.

    `chopped_A` is the current that still flowed then, against the step. It continues through the snubber and first swings
    the voltage the other way. Load and snubber are one series circuit of the second order (textbook; application notes on
    RC snubber networks for thyristors). The switch's recovery charge is left out; it adds to the peak.
    """
    ohm = load_ohm + snubber_ohm
    alpha = ohm / (2 * load_H)
    # Complex roots cover under- and overdamping. At exactly critical damping they are moved by a negligible amount.
    omega = np.sqrt(complex(alpha**2 - 1 / (load_H * snubber_F))) or alpha * 1e-6
    slow, fast = -alpha + omega, -alpha - omega
    if omega.imag:  # the first swing is the greatest
        times = np.linspace(0, min(_TIME_CONSTANTS / alpha, 2 * math.pi / abs(omega.imag)), _LOOKS)
    else:
        times = np.append(0.0, np.geomspace(1e-3 / abs(fast), _TIME_CONSTANTS / abs(slow), _LOOKS))
    of_slow, of_fast = np.exp(slow * times), np.exp(fast * times)
    first_A_per_s = (step_V + ohm * chopped_A) / load_H
    share = (first_A_per_s + fast * chopped_A) / (slow - fast)
    other = -chopped_A - share
    current = (share * of_slow + other * of_fast).real
    slope = (share * slow * of_slow + other * fast * of_fast).real
    volts = step_V - load_H * slope - load_ohm * current
    rises = current / snubber_F + snubber_ohm * slope
    at = int(np.argmax(volts))
    return Recovery(float(volts[at]), float(times[at]), float(np.max(rises)))


def snubber_loss_W(snubber_F: float, peak_V: float, per_second: float) -> float:
    """Heat in the resistor, W, with `per_second` discharges from `peak_V`: half C V^2 f (Rashid, from memory)."""
    return snubber_F * peak_V**2 / 2 * per_second


def capacitor_current_A(farad: float, rms_V: float, frequency_Hz: float) -> float:
    """Current through a capacitor: V times omega C (textbook)."""
    return rms_V * 2 * math.pi * frequency_Hz * farad


def resistor_W(rms_V: float, ohm: float) -> float:
    """Heat in a resistor across a voltage: V^2 / R (textbook)."""
    return rms_V**2 / ohm


def edge_offset_us(threshold_V: float, peak_V: float, frequency_Hz: float) -> float:
    """From the zero crossing until a sine reaches the threshold: asin(Vth / Vpk) / omega (textbook)."""
    return 1e6 * math.asin(min(1.0, threshold_V / peak_V)) / (2 * math.pi * frequency_Hz)
