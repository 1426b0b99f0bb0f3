"""Seeded schedules under both interpreters, at length: `python -m tests.campaigns.replay_schedules [number] [first seed]`.

The runs are those of tests/sim/replay, 1000 of them unless told otherwise, after a quarter as many of contactor, mirror contact
and lasting lockouts (tests/support/replay/cut_off_runs.py). Prints progress, each difference with its seed, and figures; exit 1
when there was a difference, a byte allocated while armed, or an interpreter missing.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from sim.replay.playback import INTERPRETERS, replay
from tests.support.replay.cut_off_runs import cut_off_run
from tests.support.replay.directed_runs import record
from tests.support.replay.seeded_runs import seeded_run
from tests.support.replay.tracing import Transition

EVERY_S = 10  # a line of progress


def main(number: int = 1000, first: int = 0) -> int:
    missing = [interpreter.needs for interpreter in INTERPRETERS if not interpreter.available()]
    if missing:
        print(f"not installed: {', '.join(missing)}")
        return 1
    calls, seconds = Counter[str](), Counter[str]()
    transitions = Counter[Transition]()
    welds = armed_bytes = differences = 0
    began = told = time.monotonic()
    cut_off = [(seed, cut_off_run) for seed in range(first, first + number, 4)]
    seeded = [(seed, seeded_run) for seed in range(first, first + number)]
    for done, (seed, make) in enumerate((*cut_off, *seeded), 1):
        run = make(seed)
        recording, made = record(run)
        transitions.update(made)
        welds += len(recording.welds)
        for interpreter in INTERPRETERS:
            result = replay(run.bundle, recording, interpreter)
            calls[interpreter.name] += result.calls
            seconds[interpreter.name] += result.seconds
            armed_bytes += result.armed_bytes
            if result.difference is not None:
                differences += 1
                print(f"seed {seed} ({run.happens}), {interpreter.name}: {result.difference}")
        if time.monotonic() - told > EVERY_S:
            told = time.monotonic()
            print(f"{done} of {len(cut_off) + number}, {differences} differences, {told - began:.0f} s", flush=True)
    print(f"{len(cut_off)} runs of cut-off and {number} schedules from seed {first}, {welds} welds")
    print(f"{sum(transitions.values())} transitions made, of {len(transitions)} kinds")
    for interpreter in INTERPRETERS:
        print(f"{interpreter.name}: {calls[interpreter.name]} calls compared in {seconds[interpreter.name]:.1f} s")
    print(
        f"{armed_bytes} bytes allocated while armed, {differences} differences, {time.monotonic() - began:.0f} s in all"
    )
    return 1 if differences or armed_bytes else 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
