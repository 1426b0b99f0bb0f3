"""The transformer's closed form at length: `python -m tests.campaigns.transformer_ivp [machines] [first seed]`.

Seeded machines against solve_ivp at two tolerances; prints the worst errors and fails with a traceback beyond the
tests' limits.
"""

from __future__ import annotations

import sys
import time

from sim.core.impulse import run
from tests.support.outside.transformer_reference import (
    EXTINCTION_DEG,
    FLUX,
    PEAK,
    RMS,
    Errors,
    compare,
    random_case,
    reference,
)

TOLERANCES = (1e-8, 1e-10)


def main(machines: int = 200, first: int = 1000) -> None:
    """Compare, and print."""
    began = time.monotonic()
    errors: dict[float, list[Errors]] = {rtol: [] for rtol in TOLERANCES}
    swings = saturated = opened = 0
    for seed in range(first, first + machines):
        case = random_case(seed)
        found = run(case.circuit, case.supply, case.gates, case.residue_Vs, case.closed)
        swings += len(found.swings)
        saturated += found.peak_flux_Vs > case.circuit.curve.knees[0][0]
        opened += not case.closed
        for rtol in TOLERANCES:
            error = compare(found, *reference(case, rtol))
            assert error.rms < RMS, (seed, error)
            assert error.peak < PEAK, (seed, error)
            assert error.extinction_deg < EXTINCTION_DEG, (seed, error)
            assert error.flux < FLUX, (seed, error)
            errors[rtol].append(error)
    print(f"{machines} machines, {swings} swings, {saturated} saturating, {opened} with open electrodes")
    for rtol, all_of_them in errors.items():
        w = Errors.worst(all_of_them)
        print(
            f"against solve_ivp at rtol {rtol:g}: worst RMS {w.rms:.2e}, peak {w.peak:.2e}, "
            f"flux {w.flux:.2e} (fractions), extinction {w.extinction_deg:.2e} degrees"
        )
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]))
