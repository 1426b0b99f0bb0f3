"""How far the peak current depends on what nobody knows: the knee and the remanence. `pytest -n 0 -s` prints the table.

The checks against solve_ivp, ngspice and the textbook check the solution of the circuit, not the curve put into it. No
source for a small welder's curve is known to us, so it is swept, and what is asserted is only the direction.
"""

from __future__ import annotations

import itertools

import pytest

from sim.core.impulse import gate_windows, inrush, sine, worst_of_residues
from tests.support.small_transformer import F, V, welder

KNEES = (1.05, 1.1, 1.2, 1.3, 1.4, 1.5)
REMANENCES = (0.0, 0.2, 0.4, 0.6, 0.8)


@pytest.mark.parametrize("first", ["at zero", "at 87 degrees"])
def test_knee_and_remanence(first: str) -> None:
    """A higher knee never raises the worst peak by more than 1 %, more remanence never lowers it."""
    supply = sine(V, F, 6)
    peaks = {}
    for knee in KNEES:
        for remanence in REMANENCES:
            circuit = welder(knee, remanence)
            if first == "at zero":
                found = inrush(circuit, supply, 0)
            else:
                found = worst_of_residues(circuit, supply, gate_windows(supply, [87] + [50] * 5))
            peaks[knee, remanence] = found.primary_peak_A
    print(f"\nworst primary peak in A of a 20 A machine, first fired {first}; the settled peak is about 28 A")
    print("knee \\ remanence" + "".join(f"{r:8.1f}" for r in REMANENCES))
    for knee in KNEES:
        print(f"{knee:16.2f}" + "".join(f"{peaks[knee, r]:8.1f}" for r in REMANENCES))
    for remanence in REMANENCES:
        column = [peaks[knee, remanence] for knee in KNEES]
        assert all(b <= 1.01 * a for a, b in itertools.pairwise(column))  # the residue is a fraction of the knee
    for knee in KNEES:
        row = [peaks[knee, remanence] for remanence in REMANENCES]
        assert row == sorted(row)
