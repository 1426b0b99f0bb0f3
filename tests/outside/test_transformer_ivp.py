"""The transformer's closed form against SciPy's solve_ivp on the full nonlinear circuit, over seeded machines.

A seeded few here; 200 and more by `python -m tests.campaigns.transformer_ivp`. This checks the solution and not the
curve: both sides are given the same magnetising curve, and whether a welder's core follows it is another question.
"""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp

from sim.core.impulse import flux_after_pause, run
from sim.core.transformer import TransformerCircuit, fade
from tests.support.outside.transformer_reference import (
    EXTINCTION_DEG,
    FLUX,
    PEAK,
    RMS,
    Case,
    Errors,
    compare,
    random_case,
    reference,
)

SEEDS = range(60)


def errors_of(case: Case, rtol: float = 1e-9) -> Errors:
    """The closed form's errors against the reference."""
    found = run(case.circuit, case.supply, case.gates, case.residue_Vs, case.closed)
    return compare(found, *reference(case, rtol))


@pytest.mark.parametrize("tens", range(0, len(SEEDS), 10))
def test_seeded_machines(tens: int) -> None:
    """Random machines, supplies, delays, gates and residues, with the electrodes closed and open."""
    for seed in SEEDS[tens : tens + 10]:
        e = errors_of(random_case(seed))
        assert e.rms < RMS, seed
        assert e.peak < PEAK, seed
        assert e.extinction_deg < EXTINCTION_DEG, seed
        assert e.flux < FLUX, seed


def test_the_seeds_hold_what_matters() -> None:
    """Among them: saturation both ways, a core left alone, both electrodes' states, one-way and missed currents."""
    saturated = unsaturated = opened = one_way = missed = distorted = 0
    for seed in SEEDS:
        case = random_case(seed)
        found = run(case.circuit, case.supply, case.gates, case.residue_Vs, case.closed)
        past = found.peak_flux_Vs > case.circuit.curve.knees[0][0] * 1.01
        saturated += past
        unsaturated += not past
        opened += not case.closed
        one_way += found.half_wave
        missed += len(case.gates) < len(case.supply)
        distorted += bool(case.supply[0].harmonics)
    assert min(saturated, unsaturated, opened, missed, distorted) >= 8, (
        saturated,
        unsaturated,
        opened,
        missed,
        distorted,
    )
    assert one_way >= 3


@pytest.mark.parametrize("seed", [5, 10, 23, 41])
def test_the_reference_has_converged(seed: int) -> None:
    """A tighter solve_ivp stays as near the closed form, within a tenth of each tolerance."""
    case = random_case(seed)
    loose, tight = errors_of(case, 1e-7), errors_of(case, 1e-11)
    assert tight.rms <= max(loose.rms, RMS / 100)
    assert tight.peak <= max(loose.peak, PEAK / 10)
    assert tight.extinction_deg <= max(loose.extinction_deg, EXTINCTION_DEG / 100)


def test_a_wrong_circuit_is_noticed() -> None:
    """The comparison has teeth: a leakage 5 % too large fails it in most of the seeds."""
    caught = 0
    for seed in range(10):
        case = random_case(seed)
        c = case.circuit
        wrong = TransformerCircuit(
            c.source_ohm, c.source_H, c.primary_ohm, c.primary_H * 1.05 + 0.05 * c.secondary_H,
            c.secondary_ohm, c.secondary_H, c.curve, c.remanence,
        )  # fmt: skip
        try:
            e = compare(run(wrong, case.supply, case.gates, case.residue_Vs, case.closed), *reference(case))
            caught += e.rms > RMS or e.peak > PEAK or e.extinction_deg > EXTINCTION_DEG
        except AssertionError:
            caught += 1
    assert caught >= 8


@pytest.mark.parametrize("seed", range(8))
def test_fading_flux(seed: int) -> None:
    """Flux and secondary heating in a pause, from deep in saturation, against solve_ivp on that loop."""
    circuit = random_case(seed).circuit
    curve, r2, l2 = circuit.curve, circuit.secondary_ohm, circuit.secondary_H

    def slope(t: float, y: list[float]) -> list[float]:
        henry = next(h for _, to, h, _ in curve.segments if y[0] < to)
        current = curve.current(y[0])
        return [-r2 * current / (1 + l2 / henry), current * current]

    for start in (1.4 * curve.knee_Vs, -0.6 * curve.knee_Vs):
        for pause in (1e-4, 0.01, 0.1):
            solved = solve_ivp(slope, (0, pause), [start, 0], "LSODA", rtol=1e-10, atol=1e-12, max_step=1e-3)
            flux, heat = fade(circuit, start, pause)
            assert flux == pytest.approx(solved.y[0, -1], rel=1e-5, abs=1e-9)
            assert heat == pytest.approx(solved.y[1, -1], rel=1e-4)


def test_flux_after_a_pause() -> None:
    """Kept closed it is what fades; opened it is the remanent flux, of the sign it had."""
    case = next(c for c in map(random_case, range(50)) if c.closed and c.circuit.remanence > 0.3 and c.gates)
    done = run(case.circuit, case.supply, case.gates, case.residue_Vs)
    kept = flux_after_pause(case.circuit, done, 0.02)
    assert 0 < kept / done.flux_at_extinction_Vs < 1
    opened = flux_after_pause(case.circuit, done, 0.02, electrodes_closed=False)
    assert opened == math.copysign(case.circuit.remanent_Vs, done.flux_at_extinction_Vs)
