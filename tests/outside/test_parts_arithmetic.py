"""The sums by which parts are chosen, against worked examples and against mathematics that is not ours."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from gen.wiring.arithmetic import (
    E6,
    E12,
    capacitor_current_A,
    damping_ratio,
    edge_offset_us,
    half_sine_i2t,
    heat_sink_K_per_W,
    pair_loss_W,
    preferred_at_least,
    recovery,
    resistor_W,
    snubber_loss_W,
    step_at_least,
)


def test_heat_sink_of_two_worked_examples() -> None:
    """Published worked examples, read the other way round: given the junction, the heat sink.

    A page on the chain of thermal resistances: 5 W, junction to case 3, case to sink 1, sink to air 8 K/W, 25 C: junction
    85 C. Lecture notes on an emitter follower: 3.9 W, 3.125 K/W junction to case, 13 K/W case to air, 25 C: case 76 C,
    junction 88 C (rounded there).
    """
    assert heat_sink_K_per_W(85, 25, 5, 3, 1) == pytest.approx(8)
    assert heat_sink_K_per_W(76, 25, 3.9) == pytest.approx(13, rel=0.01)
    assert heat_sink_K_per_W(88, 25, 3.9, 3.125) == pytest.approx(13, rel=0.01)


def test_loss_of_a_pair_is_the_integral() -> None:
    """Threshold times current plus slope times its square, integrated over a sine (SciPy)."""
    peak = 30 * math.sqrt(2)

    def loss(t: float) -> float:
        current = peak * math.sin(t)
        return 1.1 * current + 0.006 * current**2

    mean_W = quad(loss, 0, math.pi)[0] / math.pi
    assert pair_loss_W(1.1, 0.006, 30) == pytest.approx(mean_W, rel=1e-9)


def test_half_sine_i2t() -> None:
    """The integral (SciPy), and the pair of ratings that data sheets print: 1000 A for 10 ms is 5000 A2s (from memory)."""
    assert half_sine_i2t(1000, 0.010) == pytest.approx(5000)
    integral = quad(lambda t: (300 * math.sin(math.pi * t / 0.00833)) ** 2, 0, 0.00833)[0]
    assert half_sine_i2t(300, 0.00833) == pytest.approx(integral, rel=1e-9)


def test_rashids_snubber() -> None:
    """Rashid, Power Electronics, worked example on a thyristor's snubber (from memory).

    200 V, a load of 5 ohm without inductance, 2 kHz, 100 V/us, discharge limited to 100 A: 2 ohm, 0.129 uF, 5.2 W. There the
    rise is 63.2 % of what the capacitor sees, over the time constant; ours is followed by the exact steepest, a step apart.
    """
    ohm = 200 / 100
    farad = 0.632 * 5 * 200 / ((5 + ohm) ** 2 * 100e6)
    assert farad == pytest.approx(0.129e-6, rel=0.002)
    assert snubber_loss_W(farad, 200, 2000) == pytest.approx(5.2, rel=0.01)
    seen = recovery(200, 20e-9, 5, ohm, farad)  # next to no inductance: it creeps up to the source
    assert seen.peak_V == pytest.approx(200, rel=0.01)


@pytest.mark.parametrize("henry", [0.2e-3, 2e-3, 15e-3, 60e-3, 0.8])
@pytest.mark.parametrize("ohm", [33, 100, 820])
@pytest.mark.parametrize("load_ohm", [0.0, 4.0])
@pytest.mark.parametrize("chopped_A", [0.0, 0.1])
def test_recovery_against_an_integration(henry: float, ohm: float, load_ohm: float, chopped_A: float) -> None:
    """The second-order circuit stepped by SciPy: same peak, same moment, same steepest rise; ringing and creeping.

    With a current that the switch lets go of too, as with open electrodes.
    """
    farad, step = 0.1e-6, 358.0

    def rates(_: float, state: np.ndarray) -> list[float]:
        current, charge_V = state
        return [(step - (load_ohm + ohm) * current - charge_V) / henry, current / farad]

    period = 2 * math.pi * math.sqrt(henry * farad)
    # A creeping circuit nears its end for long: there the moment of the peak tells nothing.
    times = np.linspace(0, 4 * period + 40 * ohm * farad, 40_001)
    found = solve_ivp(rates, (0, times[-1]), [-chopped_A, 0], t_eval=times, rtol=1e-9, atol=1e-9)
    current, charge_V = found.y
    volts = charge_V + ohm * current
    rises = current / farad + ohm * (step - (load_ohm + ohm) * current - charge_V) / henry
    seen = recovery(step, henry, load_ohm, ohm, farad, chopped_A)
    assert seen.peak_V == pytest.approx(volts.max(), rel=1e-3)
    assert seen.steepest_V_per_s == pytest.approx(rises.max(), rel=1e-3)
    if damping_ratio(ohm + load_ohm, henry, farad) < 0.9:
        assert seen.peak_s == pytest.approx(times[volts.argmax()], rel=0.02)


@pytest.mark.parametrize("ohm", [47, 100, 390])
def test_peak_of_an_application_note(ohm: float) -> None:
    """An application note on RC snubber networks for thyristors (AN-3008, equation 4.4): without load resistance and initial
    current the peak is E (1 + exp(-alpha t)) at its own moment t.
    """
    henry, farad = 20e-3, 0.1e-6
    seen = recovery(325, henry, 0, ohm, farad)
    assert seen.peak_V == pytest.approx(325 * (1 + math.exp(-ohm / (2 * henry) * seen.peak_s)), rel=1e-3)


def test_critical_damping() -> None:
    """R = 2 sqrt(L / C) is critical (textbook), and the sum does not break down there."""
    henry, farad = 10e-3, 0.1e-6
    ohm = 2 * math.sqrt(henry / farad)
    assert damping_ratio(ohm, henry, farad) == pytest.approx(1)
    at, near = recovery(325, henry, 0, ohm, farad), recovery(325, henry, 0, ohm * 1.001, farad)
    assert at.peak_V == pytest.approx(near.peak_V, rel=1e-3)


def test_heat_of_a_detectors_resistor() -> None:
    """Two published questions on zero-crossing detectors: 150 kohm at 240 V takes 0.77 W at the peak, and 220 kohm at 220 V
    440 mW; the mean, which heats, is half of it.
    """
    assert resistor_W(240, 150e3) == pytest.approx(0.77 / 2, rel=0.01)
    assert resistor_W(220, 220e3) == pytest.approx(0.440 / 2, rel=0.01)


@pytest.mark.parametrize("frequency_Hz", [50, 60])
@pytest.mark.parametrize("threshold_V", [1.2, 6.0, 25.0, 80.0])
def test_edge_offset_is_where_the_sine_gets_there(frequency_Hz: int, threshold_V: float) -> None:
    """asin(Vth / Vpk) / (2 pi f), as manuals on zero-cross inputs print it (from memory); SciPy's root."""
    peak = 230 * math.sqrt(2)
    root = brentq(lambda t: peak * math.sin(2 * math.pi * frequency_Hz * t) - threshold_V, 0, 0.25 / frequency_Hz)
    assert edge_offset_us(threshold_V, peak, frequency_Hz) == pytest.approx(1e6 * root, rel=1e-6)


def test_leakage_of_a_snubber() -> None:
    """Handbook arithmetic: 0.1 uF has 31.8 kohm at 50 Hz, so 7.2 mA flow at 230 V."""
    assert capacitor_current_A(0.1e-6, 230, 50) == pytest.approx(230 / 31.83e3, rel=1e-3)


def test_preferred_numbers() -> None:
    """IEC 60063: twelve and six values a decade, near the roots of ten; never below what is asked."""
    for series in (E6, E12):
        for n, value in enumerate(series):
            assert value == pytest.approx(10 ** (n / len(series)), rel=0.06)
    for asked, given in ((358, 390), (4.7, 4.7), (0.83, 1.0), (8.21, 10), (33_001, 39_000), (1e-7, 1e-7), (820, 820)):
        assert preferred_at_least(asked) == pytest.approx(given)
    assert preferred_at_least(2.3, E6) == 3.3
    assert step_at_least(17, (16, 25)) == 25
    assert step_at_least(26, (16, 25)) is None
