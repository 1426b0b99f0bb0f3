"""Every number of every file by hostile ones, through every command that computes: `python -m tests.campaigns.hostile_numbers`.

Prints each complaint and how many there were; exit 1 when there was one. `[every]`: only each so manieth case.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from tests.support.hostile_numbers import complaints, spoilt


def main(every: int = 1) -> int:
    cases = list(spoilt())[::every]
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        for case in cases:
            for complaint in complaints(case, Path(folder), dear=True):
                wrong += 1
                print(complaint)
        os.chdir("/")
    print(f"{len(cases)} files, {wrong} complaints")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
