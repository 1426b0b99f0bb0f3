"""Faults at a weld under way, at length.

`python -m tests.campaigns.faults [welds under way] [state file] [workers]`: 100 000 unless told otherwise, on every core.
With a state file it goes on where it was left; the number of a run is its seed, and a file of other machines or faults is not
gone on with. Prints progress, each violation with the number of its run, the matrix of
fault by state, the pairs, the worst over-runs and figures; exit 1 when anything was amiss.
`... replay NUMBER` prints one run and writes its waveforms. `... rate [runs]` measures one core against two.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import sys
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from gen.words import ARMED_STATES, STATE_NAMES
from sim.bench.world import simulate
from sim.faults.catalogue import FAULTS
from sim.faults.runs import case_of, run_case
from sim.faults.text import recording_text
from sim.vcd import vcd_text
from tests.support.faults.fault_grounds import MACHINES, SEEDS, WELD, ground, numbered, pairs, why_empty

BATCH = 60  # runs that a worker makes at a time
EVERY_S = 10  # a line of progress, and a save
SHOWN = 40  # violations printed, at most


@dataclass
class Tally:
    """What has been counted so far, of the runs from 0 to `next`. `of`: a sum over what they are drawn from.

    `cells`: fault and state, `pairs`: fault and fault; `worst`: half-cycles by fault, `flux`: its greatest by fault.
    """

    next: int = 0
    of: str = ""
    runs: int = 0
    under_way: int = 0
    in_weld: int = 0
    not_reached: int = 0
    by_hand: int = 0
    seconds: float = 0.0
    cells: Counter[str] = field(default_factory=Counter)
    pairs: Counter[str] = field(default_factory=Counter)
    worst: dict[str, int] = field(default_factory=dict)
    flux: dict[str, float] = field(default_factory=dict)
    amiss: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Count `other` in."""
        for name in ("runs", "under_way", "in_weld", "not_reached", "by_hand"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.cells += other.cells
        self.pairs += other.pairs
        self.amiss += other.amiss
        for name, most in other.worst.items():
            self.worst[name] = max(self.worst.get(name, 0), most)
        for name, flux in other.flux.items():
            self.flux[name] = max(self.flux.get(name, 0.0), flux)

    def save(self, path: Path) -> None:
        """Whole or not at all."""
        part = path.with_suffix(".part")
        part.write_text(json.dumps(self.__dict__))
        os.replace(part, path)

    @classmethod
    def load(cls, path: Path) -> Tally:
        """What `save` wrote."""
        kept: dict[str, Any] = json.loads(path.read_text())
        return cls(**kept | {"cells": Counter(kept["cells"]), "pairs": Counter(kept["pairs"])})


def batch(first: int) -> Tally:
    """`BATCH` runs from number `first` on."""
    tally = Tally()
    for number in range(first, first + BATCH):
        made = numbered(number)
        if made is None:
            tally.not_reached += 1
            continue
        ground, case = made
        outcome = run_case(ground, case)
        tally.runs += 1
        tally.under_way += outcome.state in ARMED_STATES
        tally.in_weld += outcome.state == "weld"
        tally.by_hand += outcome.by_hand
        if len(case.faults) == 2:
            tally.pairs[" + ".join(case.faults)] += 1
        else:
            tally.cells[f"{case.faults[0]}|{outcome.state}"] += 1
            name = case.faults[0]
            tally.worst[name] = max(tally.worst.get(name, 0), outcome.unwanted)
            tally.flux[name] = max(tally.flux.get(name, 0.0), outcome.flux)
        what = [f"{v.invariant} at {v.time_s:.4f} s: {v.what}" for v in outcome.violations]
        if outcome.lasts:
            what.append("the current does not end")
        tally.amiss += [f"run {number} ({' + '.join(case.faults)} in {outcome.state}): {text}" for text in what]
    return tally


def drawn_from() -> str:
    """A sum over what the numbered runs are drawn from: another one, and a number is another run."""
    drawn = (MACHINES, WELD, SEEDS, list(FAULTS))
    return sha256(repr(drawn).encode()).hexdigest()[:16]


def campaign(wanted: int, path: Path | None, workers: int) -> int:
    tally = Tally.load(path) if path is not None and path.exists() else Tally(of=drawn_from())
    if tally.of != drawn_from():
        raise SystemExit(
            f"{path}: counts runs of other machines or faults; allowed: a file of this campaign, or a new one"
        )
    began = told = time.monotonic()
    before = tally.runs
    spent = tally.seconds
    with multiprocessing.Pool(workers) as pool:
        while tally.under_way < wanted:
            firsts = range(tally.next, tally.next + 4 * workers * BATCH, BATCH)
            for part in pool.imap(batch, firsts):
                tally.add(part)
                tally.next += BATCH
            tally.seconds = spent + time.monotonic() - began
            if time.monotonic() - told > EVERY_S or tally.under_way >= wanted:
                told = time.monotonic()
                rate = (tally.runs - before) / (told - began)
                print(
                    f"{tally.under_way} of {wanted} welds under way, {tally.runs} runs, {len(tally.amiss)} amiss, "
                    f"{rate:.0f} runs a second",
                    flush=True,
                )
                if path is not None:
                    tally.save(path)
    report(tally, workers)
    return int(bool(tally.amiss) or not hour_in_full())


def hour_in_full() -> bool:
    """The hour's dropout counted out, step by step: the board must do what it did when its clock was moved on instead."""
    machine = ground(0)
    case = case_of(machine, ("dropout of an hour",), "weld", 2, random.Random(0), 0.3)
    assert case is not None
    at_s, _, left = case.bench.mains.sags[0]
    longer_s = 3600 - case.bench.mains.sags[0][1]
    first, second = case.bench.pedal.presses
    presses = (first, replace(second, start_s=second.start_s + longer_s))
    whole = replace(
        case.bench.with_board(faults=()),
        pedal=replace(case.bench.pedal, presses=presses),
        mains=replace(case.bench.mains, sags=((at_s, 3600.0, left),)),
        length_s=case.bench.length_s + longer_s,
    )
    recordings = [simulate(machine.bundle, machine.table, bench) for bench in (case.bench, whole)]
    told = [[(change.state, change.reason) for change in recording.states] for recording in recordings]
    gates = [len(recording.gates) for recording in recordings]
    print(f"an hour without mains, counted out: {gates[1]} gates, {'the same' if told[0] == told[1] else told}")
    return told[0] == told[1] and gates[0] == gates[1]


def report(tally: Tally, workers: int) -> None:
    """Figures, matrix, pairs."""
    for line in tally.amiss[:SHOWN]:
        print(line)
    print(f"\n{'fault':<25}" + "".join(f"{state.split()[0]:>10}" for state in STATE_NAMES) + "  over-run  flux")
    reasons: dict[str, list[str]] = {}
    for name in FAULTS:
        counts = [tally.cells[f"{name}|{state}"] for state in STATE_NAMES]
        shown = "".join(f"{count or '-':>10}" for count in counts)
        print(f"{name:<25}{shown}{tally.worst.get(name, 0):>10}{tally.flux.get(name, 0.0):>6.2f}")
        for state, count in zip(STATE_NAMES, counts, strict=True):
            if not count:
                why = why_empty(name, state) or "not yet: let it run longer"
                reasons.setdefault(why, []).append(f"{name} in {state}")
    for why, cells in reasons.items():
        print(f"empty: {why}: {'; '.join(cells)}")
    run, left_out = pairs()
    print(
        f"\n{len(run)} pairs are run, {len(left_out)} left out; {sum(1 for p in run if not tally.pairs[' + '.join(p)])} not yet"
    )
    for pair in run:
        print(f"  {tally.pairs[' + '.join(pair)]:>6}  {' + '.join(pair)}")
    for one, other, why in left_out:
        print(f"  out     {one} + {other}: {why}")
    rate = tally.runs / tally.seconds if tally.seconds else 0
    print(
        f"\n{tally.runs} runs, {tally.under_way} with a weld under way ({tally.in_weld} of them under current), "
        f"{tally.not_reached} that do not come through their state"
    )
    print(f"{tally.by_hand} ended by the person: stop or isolator")
    print(f"{tally.seconds:.0f} s, {rate:.0f} runs a second on {workers} cores, {len(tally.amiss)} violations")


def rate(runs: int = 1200) -> int:
    """Runs a second on one core and on two."""
    found = []
    for workers in (1, 2):
        with multiprocessing.Pool(workers) as pool:
            pool.map(batch, range(0, 4 * workers * BATCH, BATCH))  # the plain runs, once a worker
            began = time.monotonic()
            made = sum(part.runs for part in pool.map(batch, range(0, runs, BATCH), chunksize=1))
            found.append(made / (time.monotonic() - began))
    print(f"{found[0]:.1f} runs a second on one core, {found[1]:.1f} on two: {found[1] / found[0]:.2f} times")
    return 0


def replay(number: int) -> int:
    """One run in words, and its waveforms in the current folder."""
    made = numbered(number)
    if made is None:
        print(f"run {number} does not come through its state")
        return 1
    outcome = run_case(*made)
    print(f"run {number}: {' + '.join(outcome.case.faults)} in {outcome.state}")
    print(recording_text(outcome))
    target = Path(f"fault-{number}.vcd")
    target.write_text(vcd_text(outcome.recording))
    print(f"Written: {target}")
    return int(not outcome.safe)


def main(arguments: list[str]) -> int:
    if arguments[:1] == ["replay"]:
        return replay(int(arguments[1]))
    if arguments[:1] == ["rate"]:
        return rate(*(int(argument) for argument in arguments[1:]))
    wanted = int(arguments[0]) if arguments else 100_000
    path = Path(arguments[1]) if len(arguments) > 1 else None
    return campaign(wanted, path, int(arguments[2]) if len(arguments) > 2 else os.cpu_count() or 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
