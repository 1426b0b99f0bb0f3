"""Seeded runs of what cuts the current off: the contactor, its mirror contact, and lockouts that outlast a power cut.

What happens goes round with the seed (CUT_OFF); when, and on which machine, is drawn.
"""

from __future__ import annotations

import random
from dataclasses import replace

from gen.words import CONTACTOR_SHUT, LASTING, ONE_SIDED, REASON_NAMES, SWITCH_SHORTED
from sim.bench.world import Bench, simulate
from tests.support.replay.seeded_runs import Run, request, run_of

CUT_OFF = (
    "contactor welds",
    "contactor does not close",
    "contactor opens under current",
    "mirror contact stuck",
    "locked out and cleared",
    "locked out and not cleared",
    "cleared at any time",
)
BROKEN = {CONTACTOR_SHUT: "contactor", SWITCH_SHORTED: "shorted", ONE_SIDED: "half_wave"}
assert BROKEN.keys() == set(LASTING)


def cut_off_run(seed: int) -> Run:
    """The run of `seed`. Same seed, same run."""
    happens, chance = CUT_OFF[seed % len(CUT_OFF)], random.Random(f"cut off {seed}")
    run = run_of("gate open" if "clear" in happens else "nothing", seed)  # the first has a sense across the switch
    bench = replace(run.bench, stops=(), switch=replace(run.bench.switch, fault=""))
    return replace(run, happens=happens, bench=_bench(replace(run, bench=bench), happens, chance))


def _bench(run: Run, happens: str, chance: random.Random) -> Bench:
    press = run.bench.pedal.presses[0]
    under_way = press.start_s + chance.uniform(0.05, press.hold_s)
    fitted = run.bench.protection
    if happens == "contactor welds":
        return replace(run.bench, protection=replace(fitted, welded_s=under_way))
    if happens == "contactor does not close":
        return replace(run.bench, protection=replace(fitted, coil_open_s=chance.uniform(0, press.start_s)))
    if happens == "contactor opens under current":
        return replace(run.bench, protection=replace(fitted, coil_open_s=under_way))
    if happens == "mirror contact stuck":
        stuck = chance.uniform(0, run.bench.length_s), chance.randrange(2)
        return replace(run.bench, protection=replace(fitted, mirror_stuck=stuck))
    reason = chance.choice(LASTING)
    bench = replace(run.bench, serial=_lines(run.bench, reason, happens, chance))
    return bench.with_board(files=_locked_out(run, reason, under_way))


def _locked_out(run: Run, reason: int, at_s: float) -> tuple[tuple[str, bytes], ...]:
    """The files of this board after a run in which it was locked out for good."""
    bench = replace(run.bench, serial=())
    if reason == CONTACTOR_SHUT:
        bench = replace(bench, protection=replace(bench.protection, welded_s=at_s))
    else:
        bench = replace(bench, switch=replace(bench.switch, fault=BROKEN[reason]))
    return simulate(run.bundle, run.table, bench).files


def _lines(bench: Bench, reason: int, happens: str, chance: random.Random) -> tuple[tuple[float, bytes], ...]:
    """Lines that clear the lockout before the pedal is pressed, that fail to, or that come at any time."""
    other = chance.choice([REASON_NAMES[one] for one in LASTING if one != reason])
    wrong = [
        request("clear", n, params)
        for n, params in enumerate(({"reason": other}, {"reason": "none"}, {"reason": 7}, {}, None))
    ]
    right = request("clear", 9, {"reason": REASON_NAMES[reason]})
    if happens == "locked out and not cleared":
        return tuple((0.2 + 0.1 * n, line) for n, line in enumerate((*wrong, request("status", 10))))
    if happens == "locked out and cleared":
        return ((0.1, chance.choice(wrong)), (0.25, right), (0.4, request("status", 10)), (bench.length_s - 0.3, right))
    return tuple(sorted((chance.uniform(0, bench.length_s), line) for line in (right, chance.choice(wrong), right)))
