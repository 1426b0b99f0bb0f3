"""Every damage to every page and value of `records.sqlite`: `python -m tests.campaigns.damaged_records [seed]`.

Prints each that ended in anything but one clear sentence or a use as if whole, and how many there were; exit 1 for one.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
from pathlib import Path

from tests.support.record_damage import complaint, damaged_pages, damaged_values, full


def main(seed: int = 1) -> int:
    number, wrong = 0, 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        good = folder / "good.sqlite"
        full(good)
        for damage in itertools.chain(
            damaged_pages(good.read_bytes(), seed), damaged_values(good, folder / "scratch.sqlite")
        ):
            number += 1
            found = complaint(damage, folder)
            if found is not None:
                wrong += 1
                print(found)
    print(f"{number} damages, {wrong} wrong")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
