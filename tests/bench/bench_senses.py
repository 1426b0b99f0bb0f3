"""How soon each fault of senses and switch ends a weld: `python -m tests.bench.bench_senses`.

Half-cycles under gate and milliseconds to the lockout, from the first gate or from the fault of the switch; the whole weld has 40
half-cycles. For machines with both senses and with either alone. Gates and states are the bench's own, with its usual errors of
mains, detector and parts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from gen.job import Job
from sim.bench.world import Bench, bench_for, simulate
from sim.faults.senses import SENSE_FAULTS
from tests.support.machines import job_of, make_welder

CURRENT: dict[str, Any] = {"turns": 1000, "burden_ohm": 22}
FITTED = {"both senses": (CURRENT, True), "the current alone": (CURRENT, False), "the switch alone": (None, True)}
AFTER_S = 0.2  # from the pedal until a fault of the switch begins: amid the weld


def _switch(fault: str) -> Callable[[Bench], Bench]:
    def struck(bench: Bench) -> Bench:
        fault_s = bench.pedal.presses[0].start_s + 0.2 + AFTER_S
        return replace(bench, switch=replace(bench.switch, fault=fault, fault_s=fault_s))

    return struck


def told(job: Job, apply: Callable[[Bench], Bench]) -> str:
    """What came of one weld with this fault."""
    bench = apply(bench_for(job.welder, job.table, minutes=0.001, seed=2))
    found = simulate(job.bundle, job.table, bench)
    locked = [change for change in found.states if change.state == "locked out"]
    if not locked:
        return f"{len(found.gates):3} half-cycles, went on"
    first_s = found.gates[0][0] if found.gates else locked[0].time_s
    fault_s = bench.switch.fault_s or first_s
    flows_s = max((one.end_s for one in found.conductions), default=fault_s) - fault_s
    line = f"{len(found.gates):3} half-cycles, {1e3 * (locked[0].time_s - fault_s):6.1f} ms to {locked[0].reason!r}"
    return f"{line}, current ends {1e3 * flows_s:.0f} ms after it" if bench.switch.fault else line


def main() -> None:
    """Print them all."""
    for name, (current, switch) in FITTED.items():
        tables = {"current_sense": current} if current else {}
        welder = make_welder(board={"conduction_sense": switch}, **tables)
        job = job_of(welder, {"weld": "20 cycles", "current_percent": 80})
        print(f"-- {name}")
        for fault in SENSE_FAULTS:
            if fault.fitted(welder):
                print(f"{fault.name:42}{told(job, fault.apply)}")
        for kind in ("half_wave", "gate_open", "shorted"):
            print(f"{'switch: ' + kind:42}{told(job, _switch(kind))}")


if __name__ == "__main__":
    main()
