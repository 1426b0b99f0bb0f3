"""The closed form's speed against solve_ivp, in one command: `python -m tests.bench.bench_circuit [machines]`.

The same seeded machines are solved both ways. solve_ivp (RK45 and LSODA, events for extinction, no dense output,
steps as long as it likes) runs at several rtol; each row states the error that rtol really gives, in every swing's
primary RMS as a fraction of the impulse's greatest and in extinction, against DOP853 at 1e-12. The closed form has
one speed and one error.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from typing import TypeVar

from sim.core.impulse import Impulse, run
from tests.support.outside.transformer_reference import Case, random_case, reference

RTOLS = {
    "RK45": (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11),
    "LSODA": (1e-3, 1e-4, 1e-5, 1e-6, 1e-7),  # tighter, some of these machines take it minutes
}
T = TypeVar("T")
Swings = list[tuple[bool, float, float]]  # positive, primary RMS, end in degrees


def closed_form(case: Case) -> Impulse:
    """The impulse of a case."""
    return run(case.circuit, case.supply, case.gates, case.residue_Vs, case.closed)


def of_reference(case: Case, rtol: float, method: str) -> Swings:
    """The same by solve_ivp."""
    swings = reference(case, rtol, method, peaks=False)[0]
    return [(s.positive, s.primary_rms, s.end_deg) for s in swings]


def error(found: Swings, exact: Swings) -> tuple[float, float]:
    """Worst RMS (fraction) and extinction (degrees); infinite when the swings are not the same ones."""
    if [s[0] for s in found] != [s[0] for s in exact]:
        return float("inf"), float("inf")
    top = max(s[1] for s in exact)
    pairs = list(zip(found, exact, strict=True))
    return max(abs(a[1] - b[1]) for a, b in pairs) / top, max(abs(a[2] - b[2]) for a, b in pairs)


def timed(work: Callable[[], T], times: int) -> tuple[float, T]:
    """Least processor time of several runs, and the result."""
    least = float("inf")
    for _ in range(times):
        began = time.process_time()
        result = work()
        least = min(least, time.process_time() - began)
    return least, result


def main(machines: int = 40) -> None:
    """Measure, and print."""
    cases = [c for c in map(random_case, range(machines)) if c.gates]
    exact = [of_reference(c, 1e-12, "DOP853") for c in cases]
    mine, errors = [], []
    for case, truth in zip(cases, exact, strict=True):
        took, impulse = timed(lambda case=case: closed_form(case), 7)
        mine.append(took)
        errors.append(error([(s.positive, s.primary_rms_A, s.end_deg) for s in impulse.swings], truth))
    half_cycles = sum(len(c.supply) for c in cases)
    a_half, an_impulse = sum(mine) / half_cycles * 1e6, sum(mine) / len(mine) * 1e3
    print(f"closed form: {a_half:.0f} us a half-cycle, {an_impulse:.2f} ms an impulse")
    print(f"its worst RMS error {max(e[0] for e in errors):.0e}, extinction {max(e[1] for e in errors):.0e} degrees")
    print(f"{'method':8}{'rtol':>8}{'worst RMS':>12}{'median RMS':>12}{'worst end':>12}{'times slower':>14}")
    for method, rtols in RTOLS.items():
        for rtol in rtols:
            theirs, errors = [], []
            for case, truth in zip(cases, exact, strict=True):
                took, swings = timed(lambda case=case: of_reference(case, rtol, method), 2)  # noqa: B023
                theirs.append(took)
                errors.append(error(swings, truth))
            print(
                f"{method:8}{rtol:8.0e}{max(e[0] for e in errors):12.1e}{statistics.median(e[0] for e in errors):12.1e}"
                f"{max(e[1] for e in errors):12.1e}{sum(theirs) / sum(mine):14.0f}"
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]))
