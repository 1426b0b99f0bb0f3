"""The interface board's stages with their parts' tolerances, by our own solver and by ngspice on the same parts.

A seeded handful of `python -m tests.campaigns.interface`. Both are given the same models of parts, typical of data sheets
and from memory: the solution is checked, and the figures, but not the models.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from gen.wiring.interface.nodal import Nodal, Source
from gen.wiring.interface.spread import Between, by_chance, worst
from tests.support.machines import known_welder
from tests.support.wiring.interface_spice import by_ngspice
from tests.support.wiring.interface_trials import StageTrial, claims
from tests.support.wiring.upgrade_machines import chosen

WELDER = known_welder(board={"name": "pico", "conduction_sense": True})
CLAIMS = claims(WELDER, chosen(WELDER))
DRAWS, SEED = 3, 15

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed (apt-get install ngspice)"
)


@needs_ngspice
@pytest.mark.parametrize("name", [name for name in CLAIMS if name != "train that ends high"])
def test_every_draw_keeps_inside_its_bounds_by_both_solvers(name: str, tmp_path: Path) -> None:
    """12 ms of a gate, 60 ms of a train, the detector's band, the sense's lateness; and both solvers say the same."""
    trial, bounds = CLAIMS[name]
    draws = by_chance(trial.spread(), DRAWS, SEED)
    ours = trial.ours(draws)
    for draw in range(DRAWS):
        theirs = by_ngspice(trial, draws, draw, tmp_path)
        for bound in bounds:
            mine, other = float(ours[bound.figure][draw]), theirs[bound.figure]
            assert bound.low <= mine <= bound.high, (bound, mine)
            assert bound.low <= other <= bound.high, (bound, other)
            assert abs(mine - other) <= bound.apart, (bound, mine, other)


def test_a_lost_timing_resistor_breaks_the_bound() -> None:
    """The bound is no accident of the trial: without R33 the current does not end, as it does in the test above."""
    trial, (bound, _) = CLAIMS["frozen pin"]
    draws = by_chance(trial.spread(), 1, SEED)
    without = StageTrial(**{**vars(trial), "components": tuple(p for p in trial.components if p.name != "R33")})
    assert float(without.ours(draws)[bound.figure][0]) > bound.high


def test_our_solver_against_closed_forms() -> None:
    """A resistor into a capacitor, t = RC ln(1 / (1 - k)), and a diode behind a resistor, by the exponential itself."""
    trial, _ = CLAIMS["frozen pin"]
    parts = {part.name: part for part in trial.components}
    timing = [parts["R33"], parts["C31"]]
    draws = {"R33.value": np.array([470e3]), "C31.value": np.array([22e-9])}
    sources = {"24E": Source(np.array([24.0]), ((0.0, 0.0), (1e-9, 1.0))), "GX": Source(np.array([0.0]))}
    times = np.linspace(0, 0.02, 2001)
    curve = Nodal(timing, draws, sources).run(times, ["GY"])["GY"][:, 0]
    expected = 24 * (1 - np.exp(-times / (470e3 * 22e-9)))
    assert np.abs(curve - expected).max() < 0.02


def test_the_worst_of_everything_is_found() -> None:
    """Each thing goes to the end that counts: of a ratio the upper above and the lower below."""
    spread = {"a": Between(1, 2), "b": Between(10, 20, even=False)}
    assert worst(spread, lambda draws: draws["a"] / draws["b"]) == pytest.approx((0.05, 0.2))
