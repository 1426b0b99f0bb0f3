"""A stop in every half-cycle of a weld of 200, by circuit and by line: `python -m tests.campaigns.stops`, some 20 s.

What must hold is in tests/support/app/stops.py. Prints each that does not hold, and figures; exit 1 when there was one.
"""

from __future__ import annotations

import sys

from tests.support.app.stops import HALF_CYCLES, WAYS, stop_is_heeded


def main() -> int:
    amiss = 0
    for how in WAYS:
        for n in range(HALF_CYCLES):
            try:
                stop_is_heeded(n, how)
            except AssertionError as error:
                amiss += 1
                print(f"half-cycle {n}, by {how}: {error}")
    print(f"{len(WAYS) * HALF_CYCLES} stops, {amiss} not heeded")
    return 1 if amiss else 0


if __name__ == "__main__":
    sys.exit(main())
