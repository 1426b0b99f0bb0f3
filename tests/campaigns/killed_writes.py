"""Every write killed, and failing, at each of its system calls: `python -m tests.campaigns.killed_writes [every]`.

Needs `strace` (Debian: apt install strace). Some 500 strikes of a tenth of a second each; `every`: only each so manieth.
Prints for each kind of write what was there afterwards, and each complaint; exit 1 when there was one.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.support.killed_writes import STRACE, complaint, strikes
from tests.support.one_write import WRITES


def main(every: int = 1) -> int:
    if STRACE is None:
        print("strace is not there: apt install strace")
        return 2
    wrong, total = 0, 0
    with tempfile.TemporaryDirectory() as scratch:
        for kind in WRITES:
            counts: Counter[str] = Counter()
            for number, strike in enumerate(strikes(kind, Path(scratch, f"{kind}-traced"))):
                if number % every:
                    continue
                came, found = complaint(strike, Path(scratch, f"{kind}-{number}"))
                counts[f"{'killed' if strike.error is None else 'failed'}: {came}"] += 1
                total += 1
                if found is not None:
                    wrong += 1
                    print(f"{strike.what}: {found}", flush=True)
            print(f"{kind:<14}" + ", ".join(f"{what} {count}" for what, count in sorted(counts.items())), flush=True)
    print(f"{total} strikes, {wrong} complaints")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
