"""False alarms of both senses in healthy welds: `python -m tests.campaigns.healthy_welds [welds] [state file] [workers]`.

100 000 welds unless told otherwise, 0.03 s each. With a state file it goes on where it was left, unless the file counts welds
of other machines. Exit 1 for a false alarm: any lockout, and any weld that is not whole.

Each is a weld of the real application on a bench of its own: mains of +-10 % with a fifth harmonic, a joint whose resistance
dips, rises and falls, a coupler 5 to 60 us late that drifts, a current transformer 3 % off. A weld that throws out metal would
be ended. `WELDS` of them in a row are welds of one machine, whose firmware is made once.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import re
import sys
import time
from dataclasses import dataclass, field, replace
from functools import lru_cache
from hashlib import sha256
from inspect import getsource
from pathlib import Path
from typing import Any

from gen.boards import boards
from gen.firmware import FirmwareBundle, render
from gen.machine.welder import Welder
from gen.schedule import Schedule
from gen.table import TimingTable
from gen.timing import compile_schedule
from gen.wiring.current_part import current_transformer
from sim.bench.circuit import JointCurve, SeriesLoad
from sim.bench.sense import SenseSpec
from sim.bench.world import Bench, bench_for, simulate
from tests.support.machines import make_welder

WELDS = 10  # of one machine
BATCH = 100  # welds that a worker makes at a time
EVERY_S = 10  # a line of progress, and a save
AFTER_S = 0.15  # from the end of the off time to the end of the run


@dataclass(frozen=True)
class Machine:
    """One machine with its firmware."""

    welder: Welder
    bundle: FirmwareBundle
    table: TimingTable


@lru_cache(maxsize=1)
def machine(number: int) -> Machine:
    """Drawn by its number: 10 to 60 A, a load angle known to 5 to 20 degrees, its own current transformer and schedule."""
    chance = random.Random(f"machine {number}")
    low_deg = round(chance.uniform(35, 55))
    known: dict[str, Any] = {
        "mains": {"frequency_Hz": chance.choice((50, 60))},
        "transformer": {
            "rating_kVA": 15,
            "working_current_A": round(chance.uniform(10, 60), 1),
            "load_angle_min_deg": low_deg,
            "load_angle_max_deg": low_deg + chance.randrange(5, 21),
        },
    }
    pico = boards()["pico"]
    fit = current_transformer(make_welder(**known), pico).fit
    turns, burden = (float(text) for text in re.findall(r"1 to (\d+) .* (\S+) ohm burden", fit)[0])
    sense = {"turns": turns, "burden_ohm": burden, "end_at_expulsion": True}
    welder = make_welder(**known, current_sense=sense, board={"conduction_sense": True})
    weld = {"weld": f"{chance.randrange(6, 16)} cycles", "current_percent": chance.randrange(50, 101)}
    pulses = {"pulse": "2 cycles", "current_percent": chance.randrange(50, 90), "repeat": 2, "cool": "3 cycles"}
    phases = ({"squeeze": "0.1 s"}, *([pulses] if chance.random() < 0.4 else []), weld)
    schedule = Schedule.model_validate(
        {
            "name": "healthy",
            "frequency_Hz": welder.mains.frequency_Hz,
            "phases": (*phases, {"hold": "3 cycles"}, {"off": "0.1 s"}),
        }
    )
    table = compile_schedule(schedule, welder, pico, Path("healthy.toml"))
    return Machine(welder, render(table, welder, pico), table)


def bench_of(made: Machine, number: int) -> Bench:
    """The bench of one weld, drawn by its number."""
    chance = random.Random(f"weld {number}")
    t, frequency_Hz = made.welder.transformer, made.welder.mains.frequency_Hz
    angle_deg = chance.uniform(t.load_angle_min_deg, t.load_angle_max_deg)
    load = SeriesLoad.from_working_point(230, t.working_current_A, angle_deg, frequency_Hz)
    work = load.resistance_ohm * chance.uniform(0.2, 0.45)
    bench = bench_for(made.welder, made.table, minutes=0.001, seed=number)
    press = bench.pedal.presses[0]
    harmonics = ((5, chance.uniform(0, 5), chance.uniform(0, 360)),)
    ammeter = replace(bench.board.ammeter, error=chance.uniform(-0.03, 0.03), noise_counts=2.0)
    return replace(
        bench.with_board(ammeter=ammeter),
        load=replace(load, resistance_ohm=load.resistance_ohm - work),
        joint=JointCurve(((0.0, 1.3 * work), (0.03, 0.85 * work), (0.15, 1.1 * work), (0.4, 0.75 * work))),
        mains=replace(bench.mains, voltage_V=230 * chance.uniform(0.9, 1.1), harmonics=harmonics),
        sense=SenseSpec(
            chance.uniform(5, 30), chance.uniform(5, 60), chance.uniform(-10, 10), threshold_V=chance.uniform(5, 20)
        ),
        length_s=press.start_s + made.table.half_cycles * 0.5 / frequency_Hz + AFTER_S,
    )


def what_came_of(number: int) -> str:
    """ "" for a whole weld, else the reason of the lockout, or the ending."""
    made = machine(number // WELDS)
    recording = simulate(made.bundle, made.table, bench_of(made, number))
    reasons = [change.reason for change in recording.states if change.state == "locked out"]
    endings = [one.ending for one in recording.welds if one.ending != "completed"]
    if len(recording.welds) != 1:
        endings.append(f"{len(recording.welds)} welds")
    return (reasons + endings + [""])[0]


def batch(first: int) -> list[str]:
    """The false alarms of `BATCH` welds from number `first` on."""
    told = ((number, what_came_of(number)) for number in range(first, first + BATCH))
    return [f"weld {number}: {what}" for number, what in told if what]


def drawn_from() -> str:
    """A sum over what the numbered welds are drawn from: another one, and a number is another weld."""
    return sha256((getsource(machine.__wrapped__) + getsource(bench_of)).encode()).hexdigest()[:16]


@dataclass
class Tally:
    """The welds from 0 to `next`. `of`: `drawn_from` then."""

    next: int = 0
    of: str = field(default_factory=drawn_from)
    alarms: list[str] = field(default_factory=list)
    seconds: float = 0.0


def main(wanted: int = 100_000, state: str = "", workers: int = 0) -> int:
    """Print each false alarm, and how many there were."""
    path = Path(state) if state else None
    tally = Tally(**json.loads(path.read_text())) if path is not None and path.exists() else Tally()
    if tally.of != drawn_from():
        raise SystemExit(f"{path}: counts welds of other machines; allowed: a file of this campaign, or a new one")
    workers = workers or os.cpu_count() or 1
    spent, began, told = tally.seconds, time.monotonic(), time.monotonic()
    with multiprocessing.Pool(workers) as pool:
        while tally.next < wanted:
            for alarms in pool.imap(batch, range(tally.next, min(tally.next + 2 * workers * BATCH, wanted), BATCH)):
                tally.alarms += alarms
                tally.next += BATCH
                print(*alarms, sep="\n", end="\n" if alarms else "", flush=True)
            tally.seconds = spent + time.monotonic() - began
            if time.monotonic() - told > EVERY_S or tally.next >= wanted:
                told = time.monotonic()
                print(
                    f"{tally.next} of {wanted} welds, {len(tally.alarms)} false alarms, {tally.seconds:.0f} s",
                    flush=True,
                )
                if path is not None:
                    part = path.with_suffix(".part")
                    part.write_text(json.dumps(vars(tally)))
                    os.replace(part, path)
    return int(bool(tally.alarms))


if __name__ == "__main__":
    sys.exit(main(*(kind(text) for kind, text in zip((int, str, int), sys.argv[1:], strict=False))))
