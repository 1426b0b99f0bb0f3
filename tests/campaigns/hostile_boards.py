"""Faulty and hostile boards on a pseudo-terminal, at length: `python -m tests.campaigns.hostile_boards [number] [first seed]`.

Three thousand sessions of ten requests unless told otherwise, some 0.3 s each. Prints how the requests ended, the memory that
the process gained after the first hundred sessions, and each complaint; exit 1 when there was one.
"""

from __future__ import annotations

import resource
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.support.link.hostile_sessions import session

MOST_KB = 40_000


def main(number: int = 3000, first: int = 0) -> int:
    ends: Counter[str] = Counter()
    wrong, at_first = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + number):
            came, complaints = session(seed, Path(folder))
            ends += came
            wrong += len(complaints)
            for complaint in complaints:
                print(complaint, flush=True)
            if seed - first == min(99, number // 2):
                at_first = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    gained = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - at_first
    if gained > MOST_KB:
        wrong += 1
    for end, count in ends.most_common():
        print(f"{end:<28}{count:>7}")
    print(f"{number} sessions, {ends.total()} requests, {gained} kB gained, {wrong} complaints")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
