"""The waves that the report draws, against the peaks, ends and charges of the run itself, and against Faraday's law."""

from __future__ import annotations

import pytest
from numpy import array, interp, trapezoid

from sim.bench.mains import HalfCycle
from sim.core.impulse import GATE_END_DEG, Firing, gate_windows, run, sine
from sim.core.waves import Wave, wave
from sim.core.weld_current import circuit_of
from tests.support.machines import known_welder
from tests.support.report import report_runs as runs

CIRCUIT = circuit_of(known_welder())
SUPPLY = sine(230, 50, 12)
PATTERNS = {
    "as fired": gate_windows(SUPPLY, (95.0, 70.0, 60.0, 80.0, None, None, 95.0, 60.0, 60.0, 60.0)),
    "at zero": (Firing(0.0, SUPPLY[-1].start_s + GATE_END_DEG / 180 * 0.01),),
}
CASES = pytest.mark.parametrize(
    ("pattern", "residue"), [(name, k) for name in PATTERNS for k in (-1.0, 0.0, 1.0)], ids=lambda value: str(value)
)


def drawn(pattern: str, residue: float) -> Wave:
    return wave(CIRCUIT, SUPPLY, PATTERNS[pattern], 0.13, residue * CIRCUIT.remanent_Vs)


@CASES
def test_every_swing_is_drawn_as_the_run_follows_it(pattern: str, residue: float) -> None:
    found = drawn(pattern, residue)
    impulse = run(CIRCUIT, SUPPLY, PATTERNS[pattern], residue * CIRCUIT.remanent_Vs, remanent=True)
    times = [t for t, _, _ in found.points]
    assert times == sorted(times)
    outside = set(times)
    for swing in impulse.swings:
        start_s, end_s = ((swing.half_cycle + deg / 180) * 0.01 for deg in (swing.start_deg, swing.end_deg))
        inside = [(t, i, f) for t, i, f in found.points if start_s - 1e-9 <= t <= end_s + 1e-9]
        outside -= {t for t, _, _ in inside}
        peak = max(abs(i) for _, i, _ in inside)
        assert swing.primary_peak_A * 0.998 <= peak <= swing.primary_peak_A * (1 + 1e-6)
        assert inside[-1][1] == pytest.approx(0, abs=1e-6)
        assert inside[-1][2] == pytest.approx(swing.flux_at_end_Vs, abs=1e-6)
        charge = trapezoid([i for _, i, _ in inside], [t for t, _, _ in inside])
        assert charge == pytest.approx(swing.charge_C, rel=3e-3, abs=1e-6)
    assert all(i == 0 for t, i, _ in found.points if t in outside)
    assert impulse.peak_flux_Vs * 0.998 <= found.peak_Vs <= impulse.peak_flux_Vs * (1 + 1e-6)


def volts(supply: tuple[HalfCycle, ...], time_s: float) -> float:
    return supply[min(int(time_s / 0.01), len(supply) - 1)].voltage(time_s)


@CASES
def test_flux_rises_with_the_voltage_that_is_left_to_the_core(pattern: str, residue: float) -> None:
    found = drawn(pattern, residue)
    ohm, henry = CIRCUIT.source_ohm + CIRCUIT.primary_ohm, CIRCUIT.source_H + CIRCUIT.primary_H
    points = [p for p in found.points if p[0] <= 0.04]
    fine = array([n * 1e-6 for n in range(1, 40_000)])
    current = interp(fine, [t for t, _, _ in points], [i for _, i, _ in points])
    flux = interp(fine, [t for t, _, _ in points], [f for _, _, f in points])
    flowing = abs(current) > 1e-6
    left = array([volts(SUPPLY, t) for t in fine]) - ohm * current
    for start in range(0, 39_000, 500):  # over half a millisecond of current at a time
        span = slice(start, start + 501)
        if not flowing[span].all():
            continue
        rise = flux[span][-1] - flux[span][0] + henry * (current[span][-1] - current[span][0])
        assert rise == pytest.approx(trapezoid(left[span], fine[span]), abs=2e-3)


def test_the_flux_fades_between_impulses_and_to_the_end() -> None:
    found = drawn("as fired", 0.0)
    gap = [abs(f) for t, i, f in found.points if 0.055 < t < 0.062 and i == 0]
    assert len(gap) > 10
    assert gap == sorted(gap, reverse=True)
    assert found.points[-1][0] == pytest.approx(0.13)


def test_cut_where_asked() -> None:
    whole = drawn("at zero", 1.0)
    short = wave(CIRCUIT, SUPPLY, PATTERNS["at zero"], 0.025, CIRCUIT.remanent_Vs)
    assert short.points == tuple(p for p in whole.points if p[0] <= 0.025)


def test_the_report_draws_the_worst_of_the_checks() -> None:
    currents = runs.rods().currents
    supply = sine(230, 50, 12)
    zero = wave(currents.circuit, supply, (Firing(0.0, 0.119),), 0.1, currents.zero_worst.initial_flux_Vs)
    assert zero.peak_A == pytest.approx(currents.zero_worst.primary_peak_A, rel=2e-3)
