"""The joint model's time and error against cells and steps: `python -m tests.bench.bench_joint`, a minute or two.

Two welds of the handbook tables: two 1 mm sheets of class A and two 5 mm rods at 15 % setdown. CPU seconds on one core, at once,
twice and half as fine as the model is used; the exponents are of the time over cells times steps.
"""

from __future__ import annotations

import math
import time

from sim.joint.contact import Contacts
from sim.joint.weld import Span, steady
from sim.joint.work import USED, Fineness, Work, one_weld, site_of

SHEETS = ("two sheets", Work("low_carbon_steel", 2224, sheets_m=(1.016e-3, 1.016e-3), face_m=6.35e-3), 9200.0, 10 / 60)
RODS = ("two rods", Work("low_carbon_steel", 1750, rods_m=(5e-3, 5e-3)), 3450.0, 0.3)
TIMES = (0.5, 0.7, 1.0, 1.4, 2.0)


def measured(work: Work, amperes: float, weld_s: float, fineness: Fineness) -> tuple[float, float, int, int]:
    """CPU seconds, nugget or setdown in mm, cells and steps of one weld."""
    cells = site_of(work, Contacts(), fineness).mesh.cells
    begun = time.process_time()
    course = one_weld(work, (Span(weld_s, steady(amperes)),), fineness=fineness)
    spent = time.process_time() - begun
    made = course.setdown_m if work.rods_m else course.nugget_m
    return spent, 1e3 * made, cells, course.steps


def main() -> None:
    print(f"{'weld':<12} {'fineness':>8} {'cells':>7} {'steps':>6} {'CPU s':>7} {'made mm':>8}")
    for name, work, amperes, weld_s in (SHEETS, RODS):
        found = []
        for times in TIMES:
            spent, made, cells, steps = measured(work, amperes, weld_s, USED.finer(times))
            found.append((spent, made, cells * steps))
            print(f"{name:<12} {times:>8g} {cells:>7} {steps:>6} {spent:>7.2f} {made:>8.3f}", flush=True)
        (first, _, small), (last, finest, large) = found[0], found[-1]
        used = found[TIMES.index(1.0)]
        exponent = math.log(last / first) / math.log(large / small)
        print(
            f"{name}: time goes by cells times steps to the power {exponent:.2f}; halving cells and steps moves what is made by "
            f"{100 * abs(finest / used[1] - 1):.1f} %"
        )


if __name__ == "__main__":
    main()
