"""Dialling in, at length: `python -m tests.campaigns.dial_in [joints a law and scatter] [first seed] [air, spring or hand]`.

Simulated joints of each law (dial_laws.py of tests/support/outside), no two alike, whose heat scatters from weld to weld by 5,
10, 20 and 30 %, from a suggestion that is right, half or double, with one outcome and one expulsion in twenty written down
wrongly. The force is said to be held as HELD of dial_methods.py there has it, or as the third word says, wrongly or not.
How the methods are judged alike stands there too. Prints for each cell

- how often our 95 % held each true edge, over all joints (wanted: 93 to 97 %);
- of the joints whose best setting is good nine times in ten the share settled, after how many welds, and how many of these inside
  the true window (wanted: 90 % at least);
- over all joints settled the chance of a good weld, as printed and as it is (wanted: within 5 points), and how often it is below
  the lower limit printed (one in ten is meant);

and then, by what holds the force, all three methods over the joints that can be welded.
"""

from __future__ import annotations

import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor

os.environ.setdefault("OMP_NUM_THREADS", "1")  # two processes fill both cores; more threads would only get in the way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from gen.joint import ForceHeld
from tests.support.outside.dial_laws import LAWS
from tests.support.outside.dial_methods import (
    HELD,
    METHODS,
    MOST_TRIALS,
    SCATTERS,
    Trial,
    coverage,
    figures,
    promised,
    try_out,
)


def cell(law: str, scatter: float, held: ForceHeld, trials: list[Trial]) -> None:
    """One line for a law and a scatter."""
    settled = [trial for trial in trials if trial.settled]
    weldable = [trial for trial in trials if trial.weldable]
    both = [trial for trial in weldable if trial.settled]
    (low, high), (predicted, true) = coverage(trials), promised(trials)
    below = sum(trial.true < trial.least for trial in settled) / max(1, len(settled))
    line = f"{law:9} {scatter:4.0%} {held:6} 95 % holds {low:6.1%} {high:6.1%}; can be welded {len(weldable):4}"
    if both:
        welds = sum(trial.runs[0].trials for trial in both) / len(both)
        inside = sum(trial.runs[0].found for trial in both) / len(both)
        line += f", settled {len(both) / len(weldable):4.0%} after {welds:4.1f}, inside {inside:6.1%}"
    print(
        f"{line}; of all settled {len(settled):4}, printed {predicted:.3f}, true {true:.3f}, below limit {below:3.0%}",
        flush=True,
    )


def compare(held: str, trials: list[Trial]) -> None:
    """One line for each method."""
    weldable = sum(trial.weldable for trial in trials)
    print(f"{held}: {len(trials)} joints, {weldable} of them can be welded")
    for number, method in enumerate(METHODS if weldable else ()):
        f = figures(trials, number)
        print(
            f"  {method:12}  median {f.median:3.0f}, 90th percentile {f.ninetieth:3.0f}, mean {f.mean:4.1f}, "
            f"found within {MOST_TRIALS}: {f.found:4.0%}, held outside: {f.wrong:4.0%}, good where held: {f.good:.2f}",
            flush=True,
        )


def main(joints: int = 150, first: int = 1, held: ForceHeld | None = None) -> None:
    """Run every law with every scatter, and print."""
    began = time.monotonic()
    by_force: dict[str, list[Trial]] = {}
    with ProcessPoolExecutor(2) as pool:
        for law in LAWS:
            for scatter in SCATTERS:
                seeds = range(first, first + joints)
                given = [law] * joints, [scatter] * joints, seeds, [held] * joints
                trials = list(pool.map(try_out, *given, chunksize=3))
                cell(law, scatter, held or HELD[scatter], trials)
                by_force.setdefault(held or HELD[scatter], []).extend(trials)
    for name, trials in by_force.items():
        compare(name, trials)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]), *sys.argv[3:4])  # type: ignore[arg-type]
