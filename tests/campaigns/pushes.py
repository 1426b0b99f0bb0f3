"""Pushes that are well-formed and dangerous: `python -m tests.campaigns.pushes [pushes] [seed]`, 100 000 unless told otherwise.

Random ones and, from the worst that was taken, ones that climb: by true heat against the minute's duty, volt-seconds that one
polarity gets more, first delay, gap, half-cycles under current, odd impulses and gaps. The real MicroPython takes or refuses
each. Prints counts, refusals and the worst taken against the burnt-in limits; exit 1 where one goes beyond them.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.support.app.dangerous_pushes import AIMS, MACHINES, Judge, allowed, overshoots, search, target


def main(pushes: int = 100_000, seed: int = 1) -> int:
    began, beyond, tried, taken = time.monotonic(), [], 0, 0
    for number in range(len(MACHINES)):
        with tempfile.TemporaryDirectory() as folder, Judge(target(number).bundle, Path(folder)) as judge:
            found = search(number, pushes // len(MACHINES), seed, judge)
        tried, taken = tried + found.tried, taken + found.taken
        print(f"machine {number}: {found.tried} tried, {found.taken} taken", flush=True)
        for aim in AIMS:
            far, rows = found.worst.get(aim, (0.0, []))
            print(f"  {aim:<14} {far:7.4f} of the limit ({allowed(aim):.3f} allowed), {len(rows)} rows: {rows[:6]}")
        for refusal, count in found.refusals.most_common():
            print(f"  {count:>7} refused: {' '.join(refusal.split())}")
        beyond += [f"machine {number}: {text}" for text in overshoots(found)]
    for text in beyond:
        print(text)
    print(f"{tried} tried, {taken} taken, {len(beyond)} beyond, {time.monotonic() - began:.0f} s")
    return int(bool(beyond))


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
