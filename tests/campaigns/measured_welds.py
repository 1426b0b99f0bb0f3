"""Reports of the sense across the switch on healthy welds, at length: `python -m tests.campaigns.measured_welds 1000`.

A second number is the first seed. Prints the error of the work's resistance, with each cause of error left out in turn, and
counts false alarms; about 20 ms a weld.
"""

from __future__ import annotations

import random
import sys
from dataclasses import dataclass, replace

import numpy as np

from tests.support.measured_welds import Errors, SeenGate, commissioned, cycle_errors, judged, machine, weld

CAUSES = {
    "all": Errors(),
    "no fifth harmonic": Errors(fifth_percent=0),
    "the coupler as at commissioning": Errors(aged=False),
    "coupler known": Errors(coupler=False),
    "detector exact": Errors(detector=False),
    "clamp meter exact": Errors(clamp=0),
    "none but the coupler": Errors(mains=0, fifth_percent=0, clamp=0, detector=False),
    "none but the harmonic": Errors(mains=0, coupler=False, clamp=0, detector=False),
    "none": Errors(mains=0, fifth_percent=0, coupler=False, clamp=0, detector=False),
}


@dataclass(frozen=True)
class Found:
    """Errors of the work's resistance in each cycle; `shape`: after one factor for the whole weld is taken out."""

    errors: np.ndarray
    shape: np.ndarray
    alarms: int


def healthy(welds: int, first: int, errors: Errors) -> Found:
    """Seeded welds, one on each seeded machine."""
    found: list[float] = []
    shape: list[float] = []
    alarms = 0
    for seed in range(first, first + welds):
        chance = random.Random(seed)
        made = machine(chance, errors)
        loop = commissioned(made, chance, errors)
        gates = weld(made, chance, errors)
        alarms += judged(gates)[0] != 0
        if loop is not None:
            own = cycle_errors(gates, loop)
            found += own
            middle = float(np.median(own))
            shape += [(1 + error) / (1 + middle) - 1 for error in own]
    return Found(np.array(found), np.array(shape), alarms)


def one_sided_after(seed: int) -> int:
    """Half-cycles from the first one blocked in one direction to the board's judgement."""
    chance = random.Random(seed)
    gates = weld(machine(chance, Errors()), chance, Errors())
    first = chance.randrange(0, 20)
    blocked: list[SeenGate] = [
        replace(gate, length_us=0) if n >= first and (n - first) % 2 == 0 else gate for n, gate in enumerate(gates)
    ]
    return judged(blocked)[1] - first


def main(welds: int = 1000, first: int = 0) -> None:
    """Print it all."""
    for name, errors in CAUSES.items():
        f = healthy(welds if name == "all" else min(welds, 500), first, errors)
        a, s = np.abs(f.errors), np.abs(f.shape)
        print(
            f"{name}: {len(a)} cycles, resistance typical {100 * np.median(a):.1f} %, "
            f"95 % within {100 * np.quantile(a, 0.95):.1f} %, worst {100 * a.max():.0f} %, "
            f"within 5 %: {100 * np.mean(a <= 0.05):.0f} in 100; "
            f"course within the weld typical {100 * np.median(s):.1f} %, 95 % within {100 * np.quantile(s, 0.95):.1f} %, "
            f"worst {100 * s.max():.0f} %; false alarms {f.alarms}",
            flush=True,
        )
    found = [one_sided_after(seed) for seed in range(first, first + min(welds, 500))]
    print(f"one direction blocked: judged after {max(found)} half-cycles at most")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
