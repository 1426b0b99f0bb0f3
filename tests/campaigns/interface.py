"""1,000 draws of each stage of the interface board: `python -m tests.campaigns.interface [draws] [ngspice] [seed]`, 20 min.

Each trial of tests/support/wiring/interface_trials.py with all parts inside their tolerances: the extremes by chance and
with everything at its worst by our own solver, by ngspice on the same draws, and the most that both are apart. Fails with
a traceback where a bound is broken.
"""

from __future__ import annotations

import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np

from gen.wiring.interface import interface_for
from gen.wiring.interface.spread import Draws, Reals, by_chance, worst
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import at_rest, breaks
from tests.support.wiring.interface_spice import by_ngspice
from tests.support.wiring.interface_trials import COIL, StageTrial, claims, gate_parts
from tests.support.wiring.upgrade_machines import chosen

_BATCH = 100


def one_figure(trial: StageTrial, figure: str, draws: Draws) -> Reals:
    """One of a trial's figures, by our own solver."""
    return trial.ours(draws)[figure]


def main(draws: int = 1000, by_spice: int = 1000, seed: int = 1) -> None:
    """Draw, solve twice, and print."""
    welder = known_welder(board={"name": "pico", "conduction_sense": True})
    for name, (trial, bounds) in claims(welder, chosen(welder)).items():
        began = time.monotonic()
        spread = trial.spread()
        drawn = by_chance(spread, draws, seed)
        batches = [
            trial.ours({key: values[at : at + _BATCH] for key, values in drawn.items()})
            for at in range(0, draws, _BATCH)
        ]
        ours = {bound.figure: np.concatenate([batch[bound.figure] for batch in batches]) for bound in bounds}
        with tempfile.TemporaryDirectory() as folder:
            theirs = [by_ngspice(trial, drawn, draw, Path(folder)) for draw in range(min(by_spice, draws))]
        for bound in bounds:
            mine, other = ours[bound.figure], np.array([one[bound.figure] for one in theirs])
            ends = worst(spread, partial(one_figure, trial, bound.figure))
            apart = np.abs(mine[: len(other)] - other).max(initial=0.0)
            print(
                f"{name}, {bound.figure}: {mine.min():.4g} to {mine.max():.4g}, at its worst {ends[0]:.4g} to {ends[1]:.4g}; "
                f"ngspice {other.min():.4g} to {other.max():.4g}, apart by {apart:.2g}; "
                f"bounds {bound.low:.4g} to {bound.high:.4g}",
                flush=True,
            )
            for values in (mine, other, np.array(ends)):
                assert bound.low <= values.min(), (name, bound, values.min())
                assert values.max() <= bound.high, (name, bound, values.max())
            assert apart <= bound.apart, (name, bound, apart)
        print(
            f"  {draws} draws, {len(theirs)} by ngspice, {len(spread)} figures spread, {time.monotonic() - began:.0f} s"
        )
    choice = chosen(welder)
    stage = interface_for(welder, choice.detector).stage("contactor")
    assert stage is not None
    for what, parts, ends, pin in (
        ("gate", gate_parts(welder, choice), ("FIRE", "FIRE0", 0.9), "GATE"),
        ("coil", (*stage.components, COIL), ("COIL", "0V", 1.0), "PULSE"),
    ):
        tried, driven = 0, []
        for broken in breaks(parts):
            for volts in (0.0, 3.3):
                tried += 1
                levels = {"24E": 24.0, pin: volts}
                try:
                    across = at_rest(broken.components, levels, ends[0]) - (
                        at_rest(broken.components, levels, ends[1]) if ends[1] != "0V" else 0.0
                    )
                except ArithmeticError:  # an output tied to its own input swings
                    across = float("inf")
                if across > ends[2]:
                    driven.append(f"{broken.name} with the pin {'high' if volts else 'low'}")
        print(f"{what}: {tried} single faults with the pin still, {len(driven)} drive it: {'; '.join(driven)}")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:4]))
