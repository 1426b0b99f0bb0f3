"""The transformer against what textbooks say of switching on: doubled flux, remanence, half-waves, a plain R-L load."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sim.bench.circuit import Current, SeriesLoad
from sim.core.impulse import (
    Firing,
    flux_after_pause,
    gate_windows,
    inrush,
    missed_firing,
    odd_half_cycle,
    open_electrodes,
    run,
    sine,
    worst_of_residues,
)
from sim.core.transformer import MagnetisingCurve, TransformerCircuit
from tests.support.small_transformer import OMEGA, F, V, welder

STEADY_VS = math.sqrt(2) * V / OMEGA  # the flux's steady peak
NO_KNEE = MagnetisingCurve.from_working_point(V, F, 1e-6, 1e3, 1.0)


def ideal(curve: MagnetisingCurve, remanence: float = 0.0) -> TransformerCircuit:
    """Hardly any impedance before the core."""
    return TransformerCircuit(0, 0, 0.01, 1e-5, 8.0, 0.02, curve, remanence)


def held_on(delay_deg: float, half_cycles: int = 4) -> Firing:
    return Firing(delay_deg / 180 * 0.5 / F, (half_cycles - 0.1) * 0.5 / F)


def test_hart_example_5_2() -> None:
    """Hart, Power Electronics, example 5-2 (from memory, recomputed): 120 V, 60 Hz, 20 ohm, 50 mH, 90 degrees."""
    curve = MagnetisingCurve.from_working_point(120, 60, 1e-6, 1e3, 1.0)
    circuit = TransformerCircuit(2, 0.005, 6, 0.010, 12, 0.035, curve)
    supply = sine(120, 60, 2)
    swing = run(circuit, supply, gate_windows(supply, [90])).swings[0]
    assert math.radians(swing.end_deg) == pytest.approx(3.83, abs=0.005)
    assert swing.primary_rms_A == pytest.approx(2.71, abs=0.005)
    assert swing.primary_rms_A**2 * 20 == pytest.approx(147, abs=0.5)


@pytest.mark.parametrize("angle", [10, 30, 60, 80])
@pytest.mark.parametrize("delay", [5, 40, 87, 130])
def test_linear_case_is_the_series_load(angle: float, delay: float) -> None:
    """A core that takes no current leaves sim.circuit's series R and L: same end, RMS and peak."""
    z = V / 20
    r, h = z * math.cos(math.radians(angle)), z * math.sin(math.radians(angle)) / OMEGA
    circuit = TransformerCircuit(0.1 * r, 0.1 * h, 0.3 * r, 0.2 * h, 0.6 * r, 0.7 * h, NO_KNEE)
    supply = sine(V, F, 1)
    swing = run(circuit, supply, gate_windows(supply, [delay])).swings[0]
    current = Current(SeriesLoad(r, h), supply[0], delay / 180 * supply[0].length_s)
    end = current.extinction(0.0, current.start_s + 1e-5)
    rms, peak = current.rms_and_peak(end)
    assert swing.end_deg == pytest.approx(end / supply[0].length_s * 180, abs=1e-3)
    assert swing.primary_rms_A == pytest.approx(rms, rel=1e-5)
    assert swing.primary_peak_A == pytest.approx(peak, rel=3e-3)  # sim.circuit samples its peak
    assert swing.secondary_peak_A == pytest.approx(swing.primary_peak_A, rel=1e-5)


def test_below_the_load_angle_a_long_gate_conducts_fully() -> None:
    """Textbook: sines from zero to zero at the load angle, once the turn-on transient is gone."""
    circuit = replace(welder(), curve=NO_KNEE)
    supply = sine(V, F, 30)
    swings = run(circuit, supply, gate_windows(supply, [20] * 30)).swings
    assert len(swings) == 30
    assert swings[-2].start_deg == pytest.approx(45, abs=1e-3)
    assert swings[-2].end_deg == pytest.approx(225, abs=1e-3)
    assert swings[-2].primary_rms_A == pytest.approx(20, rel=1e-5)
    assert swings[-2].primary_peak_A == pytest.approx(20 * math.sqrt(2), rel=1e-5)


@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize(
    ("delay", "residue", "peak"), [(0, 0, 2), (90, 0, 1), (0, 0.5, 2.5), (90, 0.5, 1.5), (90, -0.5, 1.5)]
)
def test_flux_doubles_at_zero_and_remanence_adds(delay: float, residue: float, peak: float, closed: bool) -> None:
    """Textbook: switched on at voltage zero the flux swings to twice its steady peak, at the peak to that peak."""
    circuit = ideal(MagnetisingCurve.from_working_point(V, F, 0.05, 50, 0.01))
    found = run(circuit, sine(V, F, 4), [held_on(delay)], residue * STEADY_VS, closed)
    assert found.peak_flux_Vs / STEADY_VS == pytest.approx(peak, rel=0.01)


@pytest.mark.parametrize("remanence", [0.0, 0.5, 0.8])
def test_inrush_formula(remanence: float) -> None:
    """Textbook (from memory): switched on at zero, a core draws (2 peaks + residue - knee) / saturated inductance."""
    circuit = ideal(MagnetisingCurve.from_working_point(V, F, 1e-3, 1.2, 0.02), remanence)
    circuit = replace(circuit, primary_ohm=1e-4)
    found = inrush(circuit, sine(V, F, 2), 0, electrodes_closed=False)
    expected = (2 + remanence * 1.2 - 1.2) * STEADY_VS / (0.02 + 1e-5)
    assert found.initial_flux_Vs == pytest.approx(circuit.remanent_Vs)
    assert found.primary_peak_A == pytest.approx(expected, rel=0.01)


def test_the_second_half_cycle_may_be_the_worst() -> None:
    """With a residue against the first half-cycle the core saturates in the second; its sign decides."""
    supply = sine(V, F, 4)
    gates = gate_windows(supply, [100, 45, 45, 45])
    worst = worst_of_residues(welder(), supply, gates)
    assert worst.initial_flux_Vs < 0
    assert worst.swings[0].positive
    assert worst.swings[1].primary_peak_A == worst.primary_peak_A
    assert worst.primary_peak_A > 1.1 * run(welder(), supply, gates, -worst.initial_flux_Vs).primary_peak_A


def test_open_electrodes_with_a_short_gate_go_half_wave() -> None:
    """Textbook: a short gate latches one way only and walks into saturation; held to 165 degrees it does not."""
    supply, circuit = sine(V, F, 8), welder(remanence=0.0)
    short = open_electrodes(circuit, supply, [60] * 8, until_deg=66)
    held = open_electrodes(circuit, supply, [60] * 8)
    assert short.half_wave
    assert len(short.swings) == 4
    assert not held.half_wave
    assert len(held.swings) == 8
    settled = [s.primary_peak_A for s in short.swings][-1], [s.primary_peak_A for s in held.swings][-1]
    assert settled[0] > 2 * settled[1]


def test_what_goes_wrong_costs_flux() -> None:
    """An odd half-cycle and a missed firing each drive the core further than the pattern they spoil."""
    supply, circuit, delays = sine(V, F, 8), welder(knee=1.3, remanence=0.0), [87.0] + [60.0] * 7
    right = run(circuit, supply, gate_windows(supply, delays))
    for spoiled in (odd_half_cycle(circuit, supply, delays, 1), missed_firing(circuit, supply, delays, 3)):
        assert spoiled.peak_flux_Vs > 1.1 * right.peak_flux_Vs
        assert spoiled.primary_peak_A > right.primary_peak_A
    late = odd_half_cycle(circuit, supply, delays, 41)
    assert late.peak_flux_Vs < odd_half_cycle(circuit, supply, delays, 1).peak_flux_Vs  # the residue fades meanwhile
    with pytest.raises(ValueError, match="gap of 2"):
        odd_half_cycle(circuit, supply, delays, 2)


def test_a_balanced_impulse_carries_no_charge_for_long() -> None:
    """Charge of the first cycles only: once settled, each swing gives back what the one before took."""
    supply, circuit = sine(V, F, 120), welder()
    swings = run(circuit, supply, gate_windows(supply, [87] + [60] * 119)).swings
    assert abs(swings[-2].charge_C + swings[-3].charge_C) < 1e-3 * abs(swings[-2].charge_C)


def test_nothing_fired_leaves_the_flux_to_fade() -> None:
    """No gate: no swing, and the residue is what it was."""
    found = run(welder(), sine(V, F, 2), [], 0.3)
    assert (found.swings, found.extinction_s, found.flux_at_extinction_Vs) == ((), None, 0.3)
    assert flux_after_pause(welder(), found, 0.0) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("knees", "saturated"), [((), 0.01), (((1.0, 1.0), (0.9, 2.0)), 0.01), (((1.0, 0.0),), 0.01), (((1.0, 1.0),), 0.0)]
)
def test_a_curve_that_does_not_rise_is_refused(knees: tuple[tuple[float, float], ...], saturated: float) -> None:
    with pytest.raises(ValueError, match="rise"):
        MagnetisingCurve(knees, saturated)


def test_impossible_circuits_are_refused() -> None:
    with pytest.raises(ValueError, match="remanence"):
        replace(welder(), remanence=0.9)
    with pytest.raises(ValueError, match="positive"):
        replace(welder(), secondary_ohm=0.0)
    with pytest.raises(ValueError, match="at least one half-cycle"):
        run(welder(), [], [])
