"""Dialling in, at length: `python -m tests.campaigns.dial_in [joints a law and prior] [first seed]`.

Simulated joints of each law (dial_laws.py of tests/support/outside), no two alike, from a handbook's suggestion that is
right, half or double, with one outcome and one expulsion in twenty written down wrongly; how the methods are judged alike
stands in dial_methods.py there. Prints, for each law and prior, the median, 90th percentile and mean (one not found as
the most) of welds to a setting inside the true window, the shares found and held wrongly, and how often our 95 % held
each true edge, over all joints and over those that can be welded.
"""

from __future__ import annotations

import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor

os.environ.setdefault("OMP_NUM_THREADS", "1")  # two processes fill both cores; more threads would only get in the way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from tests.support.outside.dial_laws import LAWS
from tests.support.outside.dial_methods import METHODS, MOST_TRIALS, PRIORS, Trial, coverage, figures, try_out


def show(title: str, trials: list[Trial]) -> None:
    """One line for each method, and one for the coverage."""
    weldable = [trial for trial in trials if trial.weldable]
    print(f"{title}: {len(trials)} joints, {len(weldable)} of them weldable")
    for number, method in enumerate(METHODS):
        f = figures(trials, number)
        print(
            f"  {method:12}  median {f.median:3.0f}, 90th percentile {f.ninetieth:3.0f}, mean {f.mean:4.1f}, "
            f"found within {MOST_TRIALS}: {f.found:4.0%}, held outside: {f.wrong:4.0%}"
        )
    (low, high), (of_low, of_high) = coverage(trials), coverage(weldable)
    print(
        f"  95 % held     low edge {low:.1%}, high edge {high:.1%}; of the weldable {of_low:.1%}, {of_high:.1%}",
        flush=True,
    )


def main(joints: int = 200, first: int = 1) -> None:
    """Run every law with every prior, and print."""
    began = time.monotonic()
    everything: dict[str, list[Trial]] = {}
    with ProcessPoolExecutor(2) as pool:
        for law in LAWS:
            for number, prior in enumerate(PRIORS):
                seeds = range(first + number * joints, first + (number + 1) * joints)
                trials = list(pool.map(try_out, [law] * joints, [prior] * joints, seeds, chunksize=8))
                show(f"{law} law, prior {prior}", trials)
                everything.setdefault("own law" if law == "own" else "the other laws", []).extend(trials)
    everything["every law"] = [trial for trials in everything.values() for trial in trials]
    for title, trials in everything.items():
        show(f"{title}, all priors", trials)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]))
