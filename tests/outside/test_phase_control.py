"""Firing delays and currents held against textbooks and SciPy, for the compiler's equations and the simulator's alike."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from gen.phase_control import delay_for_fraction_deg, extinction_angle_deg, rms_fraction, volt_seconds
from sim.bench.circuit import Current, SeriesLoad
from sim.bench.mains import HalfCycle

GRID = [
    (delay, angle)
    for angle in (5, 20, 43.3, 60, 75, 85)
    for delay in (angle + 0.5, 70, 90, 110, 130, 150)
    if delay > angle
]


def half_cycle(voltage_rms_V: float, frequency_Hz: float) -> HalfCycle:
    return HalfCycle(0, 0.0, 0.5 / frequency_Hz, True, voltage_rms_V * math.sqrt(2))


def test_hart_example_5_1_resistive_load() -> None:
    """Hart, Power Electronics, example 5-1 (from memory, recomputed): 120 V, 15 ohm, 500 W at 88.1 degrees, 5.77 A."""
    full_A = 120 / 15
    fraction = math.sqrt(500 / 15) / full_A
    delay = delay_for_fraction_deg(fraction, 0)
    assert delay == pytest.approx(88.1, abs=0.05)
    assert rms_fraction(delay, 0) * full_A == pytest.approx(5.77, abs=0.005)


def test_hart_example_5_2_r_l_load() -> None:
    """Hart, example 5-2 (from memory, recomputed): 120 V, 60 Hz, 20 ohm, 50 mH, 90 degrees: 220 degrees, 2.71 A, 147 W."""
    reactance = 2 * math.pi * 60 * 0.05
    z, angle = math.hypot(20, reactance), math.degrees(math.atan2(reactance, 20))
    assert z == pytest.approx(27.5, abs=0.05)
    assert angle == pytest.approx(43.3, abs=0.05)
    assert extinction_angle_deg(90, angle) == pytest.approx(math.degrees(3.83), abs=0.3)
    current = rms_fraction(90, angle) * 120 / z
    assert current == pytest.approx(2.71, abs=0.005)
    assert current**2 * 20 == pytest.approx(147, abs=0.5)


def test_hart_example_5_2_in_the_simulated_circuit() -> None:
    """The same example through the simulator's own closed form, which shares no code with the compiler's."""
    half = half_cycle(120, 60)
    current = Current(SeriesLoad(20, 0.05), half, math.radians(90) / half.omega)
    end = current.extinction(0.0, current.start_s + 1e-6)
    assert end * half.omega == pytest.approx(3.83, abs=0.005)
    assert current.rms_and_peak(end)[0] == pytest.approx(2.71, abs=0.005)


@pytest.mark.parametrize(("delay", "angle"), GRID)
def test_extinction_and_rms_against_scipy(delay: float, angle: float) -> None:
    """Extinction solved with SciPy's brentq and RMS integrated with quad, over delays and load angles."""
    a, p = math.radians(delay), math.radians(angle)

    def i(t: float) -> float:
        return math.sin(t - p) - math.sin(a - p) * math.exp(-(t - a) / math.tan(p))

    b = brentq(i, math.pi, math.pi + p + 1e-3)
    assert extinction_angle_deg(delay, angle) == pytest.approx(math.degrees(b), abs=1e-6)
    rms = math.sqrt(quad(lambda t: i(t) ** 2, a, b, epsabs=1e-13)[0] / math.pi) * math.sqrt(2)
    assert rms_fraction(delay, angle) == pytest.approx(rms, rel=1e-7)
    assert volt_seconds(delay, angle) == pytest.approx(quad(math.sin, a, b)[0], rel=1e-9)
    assert delay_for_fraction_deg(rms_fraction(delay, angle), angle) == pytest.approx(delay, abs=1e-6)


@pytest.mark.parametrize("angle_deg", [0, 45, 90, 133.3, 170])
def test_turn_on_transient(angle_deg: float) -> None:
    """The closed-form turn-on transient against SciPy's solve_ivp: no d.c. term at the load angle, most 90 degrees past it."""
    load, half = SeriesLoad(20, 0.05), half_cycle(120, 60)
    start = math.radians(angle_deg) / half.omega
    current = Current(load, half, start)
    span = (start, start + half.length_s)
    solved = solve_ivp(
        lambda t, i: (half.voltage(t) - load.resistance_ohm * i) / load.inductance_H,
        span,
        [0.0],
        rtol=1e-10,
        atol=1e-12,
        dense_output=True,
    )
    peak = half.amplitude_V / math.hypot(20, half.omega * 0.05)
    for n in range(1, 20):
        t = start + n * half.length_s / 20
        assert current.at(t) == pytest.approx(solved.sol(t)[0], abs=1e-6 * peak)


def test_transient_with_harmonics() -> None:
    """Superposition of harmonics against solve_ivp on the distorted voltage, in a negative half-cycle too."""
    load = SeriesLoad(1.5, 0.006)
    for positive in (True, False):
        half = HalfCycle(7, 0.07, 0.01, positive, 325.0, ((3, 5.0, 20.0), (5, 3.0, -40.0)))
        start = 0.074
        solved = solve_ivp(
            lambda t, i, half=half: (half.voltage(t) - load.resistance_ohm * i) / load.inductance_H,
            (start, 0.0815),
            [0.0],
            rtol=1e-10,
            atol=1e-10,
            dense_output=True,
        )
        current = Current(load, half, start)
        for n in range(1, 16):
            t = start + n * 0.0005
            assert current.at(t) == pytest.approx(solved.sol(t)[0], abs=1e-4)


def test_full_conduction_at_and_below_the_load_angle() -> None:
    """Textbook: at or below the load angle a long gate gives full conduction."""
    for delay in (0, 30, 60):
        assert rms_fraction(delay, 60) == 1
        assert extinction_angle_deg(delay, 60) == 240
