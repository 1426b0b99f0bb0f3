"""1,000 draws of each stage of the interface board: `python -m tests.campaigns.interface [draws] [ngspice] [seed] [trials]`.

20 minutes of one core; `trials` are names such as "crossings", "faults" for the broken parts, and all without any.

Each trial of tests/support/wiring/interface_trials.py with all parts inside their tolerances: the extremes by chance and
with everything at its worst by our own solver, by ngspice on the same draws, and the most that both are apart. Fails with
a traceback where a bound is broken. At the end every part of gate and contactor stage is broken, with the pin still and after
a train: what then drives gate or coil.
"""

from __future__ import annotations

import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np

from gen.machine.welder import Welder
from gen.wiring.interface import interface_for
from gen.wiring.interface.spread import Draws, Reals, by_chance, worst
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import SWINGS, TRAIN, all_at_rest, gone_ms, together, without_rest
from tests.support.wiring.interface_spice import by_ngspice
from tests.support.wiring.interface_trials import COIL, StageTrial, claims, gate_parts
from tests.support.wiring.upgrade_machines import chosen

_BATCH = 100


def one_figure(trial: StageTrial, figure: str, draws: Draws) -> Reals:
    """One of a trial's figures, by our own solver."""
    return trial.ours(draws)[figure]


def main(draws: int = 1000, by_spice: int = 1000, seed: int = 1, *only: str) -> None:
    """Draw, solve twice, and print."""
    welder = known_welder(board={"name": "pico", "conduction_sense": True})
    for name, (trial, bounds) in claims(welder, chosen(welder)).items():
        if only and name not in only:
            continue
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
    if not only or "faults" in only:
        broken(welder)


def broken(welder: Welder) -> None:
    """Every part of both stages open and shorted, between any two pins: what drives the gate, and what holds the coil."""
    choice = chosen(welder)
    stage = interface_for(welder, choice.detector).stage("contactor")
    assert stage is not None
    coil = (*stage.components, COIL)
    for what, parts, ends, pin in (
        ("gate", gate_parts(welder, choice), ("FIRE", "FIRE0", 0.9), "GATE"),
        ("coil", coil, ("COIL", "0V", 1.0), "PULSE"),
    ):
        names, swinging = {part.name for part in parts}, set[str]()
        for volts in (0.0, 3.3):
            swinging |= without_rest(together(parts, names), {"24E": 24.0, pin: volts}, ends[0])
        every, driven = together(parts, names, leaving=swinging), []
        for volts in (0.0, 3.3):
            at = {net: all_at_rest(every, {"24E": 24.0, pin: volts}, net) for net in ends[:2] if net != "0V"}
            for name in every.names:
                if at[ends[0]][name] - at.get(ends[1], {}).get(name, 0.0) > ends[2]:
                    driven.append(f"{name} with the pin {'high' if volts else 'low'}")
        print(
            f"{what}: {2 * len(every.names)} single faults with the pin still, {len(driven)} drive it: {'; '.join(driven)}"
        )
    for how, levels in (("high", TRAIN), ("low", (*TRAIN, (0.053, 0.0)))):
        every = together(coil, {part.name for part in stage.components}, leaving=SWINGS)
        gone = gone_ms(every, levels)
        late = {name: round(ms) for name, ms in gone.items() if ms > 60}
        print(
            f"coil: {len(gone)} single faults at the end of a train that ends {how}; later than 60 ms: {late}",
            flush=True,
        )
        assert max(gone.values()) < 300


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:4]), *sys.argv[4:])
