"""False alarms of both senses in healthy welds: `python -m tests.campaigns.healthy_welds 1000 [first seed]`; 0.2 s a weld.

Each is a weld of the real application on a bench of its own: machine, mains of +-10 % with a fifth harmonic, a joint whose
resistance dips, rises and falls, a coupler 5 to 60 us late that drifts, a current transformer 3 % off. A weld that throws out
metal would be ended. Any lockout, and any weld that is not whole, is a false alarm.
"""

from __future__ import annotations

import random
import re
import sys
from dataclasses import replace
from typing import Any

from gen.boards import boards
from gen.wiring.current_part import current_transformer
from sim.bench.circuit import JointCurve, SeriesLoad
from sim.bench.sense import SenseSpec
from sim.bench.world import bench_for, simulate
from tests.support.machines import firmware, make_welder


def what_came_of(seed: int) -> str:
    """ "" for a whole weld, else the reason of the lockout, or the ending."""
    chance = random.Random(seed)
    frequency_Hz, working_A = chance.choice((50, 60)), round(chance.uniform(10, 60), 1)
    low_deg = round(chance.uniform(35, 55))
    high_deg = low_deg + chance.randrange(5, 21)
    known: dict[str, Any] = {
        "mains": {"frequency_Hz": frequency_Hz},
        "transformer": {
            "rating_kVA": 15,
            "working_current_A": working_A,
            "load_angle_min_deg": low_deg,
            "load_angle_max_deg": high_deg,
        },
    }
    fit = current_transformer(make_welder(**known), boards()["pico"]).fit
    turns, burden = (float(text) for text in re.findall(r"1 to (\d+) .* (\S+) ohm burden", fit)[0])
    sense = {"turns": turns, "burden_ohm": burden, "end_at_expulsion": True}
    welder = make_welder(**known, current_sense=sense, board={"conduction_sense": True})
    weld = {"weld": f"{chance.randrange(6, 16)} cycles", "current_percent": chance.randrange(50, 101)}
    pulses = {"pulse": "2 cycles", "current_percent": chance.randrange(50, 90), "repeat": 2, "cool": "3 cycles"}
    bundle, table = firmware(welder, *([pulses] if chance.random() < 0.4 else []), weld)
    load = SeriesLoad.from_working_point(230, working_A, chance.uniform(low_deg, high_deg), frequency_Hz)
    work = load.resistance_ohm * chance.uniform(0.2, 0.45)
    bench = bench_for(welder, table, minutes=0.001, seed=seed)
    harmonics = ((5, chance.uniform(0, 5), chance.uniform(0, 360)),)
    ammeter = replace(bench.board.ammeter, error=chance.uniform(-0.03, 0.03), noise_counts=2.0)
    bench = replace(
        bench.with_board(ammeter=ammeter),
        load=replace(load, resistance_ohm=load.resistance_ohm - work),
        joint=JointCurve(((0.0, 1.3 * work), (0.03, 0.85 * work), (0.15, 1.1 * work), (0.4, 0.75 * work))),
        mains=replace(bench.mains, voltage_V=230 * chance.uniform(0.9, 1.1), harmonics=harmonics),
        sense=SenseSpec(
            chance.uniform(5, 30), chance.uniform(5, 60), chance.uniform(-10, 10), threshold_V=chance.uniform(5, 20)
        ),
    )
    recording = simulate(bundle, table, bench)
    reasons = [change.reason for change in recording.states if change.state == "locked out"]
    endings = [one.ending for one in recording.welds if one.ending != "completed"]
    return (reasons + endings + [""])[0]


def main(welds: int = 1000, first: int = 0) -> None:
    """Print each false alarm, and how many there were."""
    alarms = 0
    for seed in range(first, first + welds):
        if told := what_came_of(seed):
            alarms += 1
            print(f"seed {seed}: {told}", flush=True)
    print(f"{welds} healthy welds, {alarms} false alarms")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
