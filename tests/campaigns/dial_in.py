"""Dialling in, at length: `python tests/campaigns/dial_in.py [joints a law and prior] [first seed]`."""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "outside")]

from dial_laws import LAWS, PERCENT, Bench, Run, bisection, by_rule, draw, ours, prior_times, steps_upward  # noqa: E402

PRIORS = {"right": 1.0, "half": 0.5, "double": 2.0}


def one(law: str, factor: float, seed: int):
    prior = prior_times(factor)
    joint = draw(law, np.random.default_rng(seed))
    runs = [
        ours(Bench(joint, np.random.default_rng((seed, 1))), prior),
        by_rule(steps_upward, Bench(joint, np.random.default_rng((seed, 2))), prior),
        by_rule(bisection, Bench(joint, np.random.default_rng((seed, 3))), prior),
    ]
    true = joint.window(runs[0].trials)
    w = runs[0].window
    covers = tuple(c.low <= x <= c.high for c, x in zip((w.low_s, w.high_s), true))
    return runs, covers


def main(joints: int = 84, first: int = 1) -> None:
    began = time.monotonic()
    with ProcessPoolExecutor(2) as pool:
        for law in LAWS:
            for name, factor in PRIORS.items():
                seeds = range(first, first + joints)
                found = list(pool.map(one, [law] * joints, [factor] * joints, seeds, chunksize=8))
                line = f"{law:10} {name:7}"
                for m in range(3):
                    runs = [r[m] for r, _ in found]
                    t = np.array([r.trials if r.found else 99 for r in runs])
                    wrong = np.mean([r.held_s is not None and not r.found for r in runs])
                    line += f" | {np.median(t):4.0f} {np.quantile(t, .9):4.0f} {np.mean(t<=25):5.0%} wrong {wrong:4.0%}"
                c = np.array([c for _, c in found]).mean(0)
                print(line, f"| cover {c[0]:.1%} {c[1]:.1%}", f"{time.monotonic() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]))
