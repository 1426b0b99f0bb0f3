"""Dialling in, at length: `python -m tests.campaigns.dial_in FILE.jsonl [joints a cell] [first seed] [workers]`.

It writes one line a joint, so that it goes on where it was left, and prints its table from all lines in the file; with 0
joints it only prints. A thousand joints of each of the 19 cells take about forty minutes of one core.

Simulated joints of each law (dial_laws.py of tests/support/outside), no two alike, whose heat scatters from weld to weld by 5,
10, 20 and 30 %, from a suggestion that is right, half or double, with one outcome and one expulsion in twenty written down
wrongly. The force is said to be held as HELD of dial_methods.py there has it. How the methods are judged alike stands there too.

Then joints of the law "assumed", a cell for each way to hold the force: all of them, scatter and suggestion too, are drawn from
what the estimate assumes. Over these it must be right, whatever it is: what the other cells differ by comes of their law, their
scatter and their suggestion being other than assumed, and not of how it sums, chooses the next weld or stops.

Prints for each cell, with the standard error of what is a share,

- how often our 95 % held each true edge, over all joints (wanted: 93 to 97 %);
- of the joints whose best setting is good nine times in ten the share settled, after how many welds, and how many of these inside
  the true window (wanted: 90 % at least);
- the chance of a good weld at the setting last offered, as printed and as it is (wanted: within 5 points), over all joints and
  over those settled; and of those settled how often it is below the lower limit printed (one in ten is meant);

and then, by what holds the force, all three methods over the joints that can be welded, and what is printed over all settled.
"""

from __future__ import annotations

import json
import math
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")  # more threads than processes would only get in the way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from tests.support.outside.dial_laws import LAWS
from tests.support.outside.dial_methods import (
    HELD,
    METHODS,
    MOST_TRIALS,
    SCATTERS,
    Cell,
    Run,
    Trial,
    coverage,
    figures,
    promised,
    try_out,
)

CELLS = (
    *(Cell(law, scatter, HELD[scatter]) for law in LAWS for scatter in SCATTERS),
    *(Cell("assumed", None, held) for held in dict.fromkeys(HELD.values())),
)
Key = tuple[Cell, int]


def kept(path: Path) -> dict[Key, Trial]:
    """What the file holds; a line that was cut short is left out."""
    found = {}
    for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        try:
            one: dict[str, Any] = json.loads(line)
        except json.JSONDecodeError:
            continue
        trial = one["trial"]
        runs = tuple(Run(**run) for run in trial["runs"])
        fields = trial | {"runs": runs, "covered": tuple(trial["covered"])}
        found[Cell(**one["cell"]), int(one["seed"])] = Trial(**fields)
    return found


def made(key: Key) -> str:
    """One line of the file."""
    cell, seed = key
    return json.dumps({"cell": asdict(cell), "seed": seed, "trial": asdict(try_out(cell, seed))})


def row(cell: Cell, trials: list[Trial]) -> str:
    """One line for a law and a scatter."""
    settled = [trial for trial in trials if trial.settled]
    weldable = [trial for trial in trials if trial.weldable]
    both = [trial for trial in weldable if trial.settled]
    (low, high), count = coverage(trials), len(trials)
    errors = [100 * math.sqrt(share * (1 - share) / count) for share in (low, high)]
    scatter = "drawn" if cell.scatter is None else f"{cell.scatter:.0%}"
    line = f"{cell.law:9} {scatter:>5} {cell.held:6} {count:4}: 95 % holds {low:6.1%} +- {errors[0]:.1f}"
    line += f" {high:6.1%} +- {errors[1]:.1f}; can be welded {len(weldable) / count:4.0%}"
    if both:
        welds = sum(trial.runs[0].trials for trial in both) / len(both)
        inside = sum(trial.runs[0].found for trial in both) / len(both)
        line += f", settled {len(both) / len(weldable):4.0%} after {welds:4.1f}, inside {inside:6.1%}"
    predicted, true = promised(trials)
    line += f"; of all printed {predicted:.3f}, true {true:.3f} ({predicted - true:+.3f})"
    if settled:
        predicted, true = promised(settled)
        below = sum(trial.true < trial.least for trial in settled) / len(settled)
        line += (
            f"; settled {len(settled) / count:4.0%}, printed {predicted:.3f}, true {true:.3f} ({predicted - true:+.3f})"
        )
        line += f", below limit {below:3.0%}"
    return line


def compared(held: str, trials: list[Trial]) -> list[str]:
    """A line for all settled, and one for each method."""
    weldable = sum(trial.weldable for trial in trials)
    settled = [trial for trial in trials if trial.settled]
    predicted, true = promised(settled)
    of_settled = f"{len(settled)} settled: printed {predicted:.3f}, true {true:.3f}"
    lines = [f"{held}: {len(trials)} joints, {of_settled}; {weldable} can be welded"]
    for number, method in enumerate(METHODS if weldable else ()):
        f = figures(trials, number)
        lines.append(
            f"  {method:12}  median {f.median:3.0f}, 90th percentile {f.ninetieth:3.0f}, mean {f.mean:4.1f}, "
            f"found within {MOST_TRIALS}: {f.found:4.0%}, held outside: {f.wrong:4.0%}, good where held: {f.good:.2f}"
        )
    return lines


def main(path: Path, joints: int = 1000, first: int = 1, workers: int = 1) -> None:
    """Make what is missing in the file, all cells abreast, and print."""
    began = time.monotonic()
    have = kept(path)
    missing = [(cell, seed) for seed in range(first, first + joints) for cell in CELLS if (cell, seed) not in have]
    with ProcessPoolExecutor(workers) as pool, path.open("a", encoding="utf-8") as file:
        for line in pool.map(made, missing, chunksize=4):
            file.write(f"{line}\n")
            file.flush()
    have = kept(path)
    seeds = [seed for _, seed in have]
    print(f"{len(have)} joints, seeds {min(seeds)} to {max(seeds)}")
    by_force: dict[str, list[Trial]] = {}
    for cell in CELLS:
        trials = [trial for (of, _), trial in have.items() if of == cell]
        if trials:
            print(row(cell, trials))
            if cell.scatter is not None:
                by_force.setdefault(cell.held, []).extend(trials)
    for held, trials in by_force.items():
        print("\n".join(compared(held, trials)))
    print(f"{len(missing)} joints in {time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *(int(a) for a in sys.argv[2:5]))
