"""Hostile welder, schedule, joint and board files, at length: `python -m tests.campaigns.hostile_files [number] [seed]`.

Ten thousand unless told otherwise, some 10 ms each, in this process. Prints each complaint, and for each file how many were
taken, refused in one clear line, and broken; exit 1 when there was a complaint.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.support.hostile_files import hostile, judged

LONGEST_S = 60.0


def main(number: int = 10_000, seed: int = 1) -> int:
    counts: Counter[tuple[str, str]] = Counter()
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        for case in hostile(number, seed):
            began = time.monotonic()
            came, complaint = judged(case, Path(folder))
            taken_s = time.monotonic() - began
            if taken_s > LONGEST_S:
                complaint = f"{complaint or ''} took {taken_s:.0f} s"
            counts[case.file, came] += 1
            if complaint is not None:
                wrong += 1
                print(f"{case.file}, {case.what}: {complaint}", flush=True)
        os.chdir("/")
    for (file, came), count in sorted(counts.items()):
        print(f"{file:<14}{came:<9}{count:>7}")
    print(f"{number} files, {wrong} complaints")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
