"""Machines drawn from drawn welder files, each judged as `weldbeat sweep` judges: none may stop the judging.

    python -m tests.campaigns.sweep_machines 10000

A file is drawn for every ten machines: voltage, rating, load angle, supply, breaker and schedule, all invented. What is
looked for is an error where a valid machine must have a verdict, so the only check is that there is one, of figures. A file
whose readings hardly any machine has together is counted apart: the command says so in one line.
"""

from __future__ import annotations

import math
import random
import sys
from typing import Any

from gen.errors import InputError
from gen.user_files import Wrong
from sim.sweep import NoMachine, SweepPlan
from tests.support.machines import job_of, known_welder

MACHINES_A_FILE = 10


def drawn_plan(seed: int) -> SweepPlan:
    """A valid welder file and schedule of this seed, ready to draw machines from."""
    r = random.Random(seed)
    while True:
        try:
            plan = _plan(r, seed)
            plan.judged(0)
            return plan
        except (Wrong, InputError, ValueError, NoMachine):  # figures that hardly any machine has together
            continue


def _plan(r: random.Random, seed: int) -> SweepPlan:
    voltage_V, frequency_Hz = r.choice((120, 230, 230, 400)), r.choice((50, 60))
    kVA = r.choice((1.5, 3.0, 3.0, 16.0))
    angle_deg = r.uniform(25, 65)
    transformer: dict[str, Any] = {
        "rating_kVA": kVA,
        "working_current_A": kVA * 1000 / voltage_V * r.uniform(1, 2),
        "load_angle_min_deg": angle_deg,
        "load_angle_max_deg": angle_deg + r.uniform(1, 14),
        "open_secondary_V": r.uniform(1, 3) * math.sqrt(kVA),
    }
    if r.random() < 0.5:
        transformer["shorted_current_A"] = transformer["working_current_A"] * r.uniform(1.1, 1.6)
    welder = known_welder(
        mains={"voltage_V": voltage_V, "frequency_Hz": frequency_Hz},
        transformer=transformer,
        breaker={"characteristic": r.choice("BCD"), "rating_A": r.choice((10, 16, 20, 32, 63))},
    )
    weld = {"weld": f"{r.randint(1, 60)} cycles", "current_percent": r.choice((100, 100, r.uniform(45, 99)))}
    return SweepPlan(job_of(welder, weld), r.uniform(0.2, 10), seed)


def judged(seed: int) -> int:
    """Judge one file's machines; how many findings there were. Raises what the judging raises."""
    plan = drawn_plan(seed)
    found = [plan.judged(number) for number in range(MACHINES_A_FILE)]
    assert all(math.isfinite(figure) for machine in found for _, figure, _, _ in machine.findings.values())
    return sum(len(machine.findings) for machine in found)


def main(machines: int) -> int:
    """Judge so many machines; the number of files that could not be judged."""
    failed = unlikely = 0
    for seed in range(machines // MACHINES_A_FILE):
        try:
            judged(seed)
        except NoMachine:
            unlikely += 1
        except Exception as error:  # every kind is a failure, and the next file is tried all the same
            failed += 1
            print(f"seed {seed}: {type(error).__name__}: {error}")
    print(f"{machines} machines of {machines // MACHINES_A_FILE} files, {unlikely} of no machine, {failed} failed")
    return failed


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1])) else 0)
