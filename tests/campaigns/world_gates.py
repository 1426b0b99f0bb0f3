"""The emitted PIO words as the gate of whole runs, at length: `python -m tests.campaigns.world_gates [runs] [slow]`.

The runs are those of tests/firmware/rp2/test_world_gates.py, 1000 of them unless told otherwise; `slow` of them, or 8, are
emulated clock by clock as well. Prints progress, each difference with the number of its run, and figures; exit 1 when
there was a difference.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from sim.bench.world import simulate
from tests.support.rp2.emulated_gates import compare, emulate, numbered_run

EVERY_S = 10  # a line of progress


def main(runs: int = 1000, slow: int = 8) -> int:
    total = Counter[str]()
    kinds = set()
    worst_us = 0.0
    began = told = time.monotonic()
    for number in range(runs):
        run = numbered_run(number)
        recording = simulate(run.bundle, run.table, run.bench)
        emulated = emulate(run.bundle, recording)
        result = compare(recording, emulated)
        worst_us = max(worst_us, result.worst_us)
        total.update(edges=result.edges, answers=result.answers, excused=result.excused, fire=bool(result.edges))
        if result.undecided:
            total["undecided"] += 1
            print(f"run {number} ({run.happens}): undecided, it starts at an edge of the detector")
        kinds.add((run.happens, run.welder.detector.kind, run.welder.mains.frequency_Hz))
        differences = result.differences
        if slow and number % max(runs // slow, 1) == 0:
            total["slow"] += 1
            if emulate(run.bundle, recording, fast=False) != emulated:
                differences = [*differences, "not the same clock by clock"]
        for difference in differences:
            total["differences"] += 1
            print(f"run {number} ({run.happens}): {difference}")
        if time.monotonic() - told > EVERY_S:
            told = time.monotonic()
            print(f"{number + 1} of {runs}, {total['differences']} differences, {told - began:.0f} s", flush=True)
    print(f"{runs} runs, {len(kinds)} of kind, detector and frequency: {total['fire']} fire")
    print(f"{total['slow']} of them clock by clock too")
    print(f"{total['edges']} gate edges, the worst {worst_us:.2f} us apart")
    print(f"{total['answers']} answers, {total['excused']} of them unequal at an edge within 2 us")
    print(f"{total['undecided']} undecided, {total['differences']} differences, {time.monotonic() - began:.0f} s")
    return 1 if total["differences"] else 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
