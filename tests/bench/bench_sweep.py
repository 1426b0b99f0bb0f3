"""What a sweep costs: `python -m tests.bench.bench_sweep [machines]`.

The demonstration's schedule and machine, on one core and on two, each from a cold start of its workers.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from gen.begin import DEMO_SCHEDULE, demo_files
from gen.job import Job, read_job
from gen.machine.welder import WELDER_FILE
from sim.sweep import SweepPlan, sweep


def demonstration() -> Job:
    """The job that `weldbeat demo` writes."""
    with TemporaryDirectory() as scratch:
        for name, text in demo_files().items():
            Path(scratch, name).write_text(text, encoding="utf-8")
        return read_job(Path(scratch, DEMO_SCHEDULE), Path(scratch, WELDER_FILE))


def main() -> None:
    machines = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    job = demonstration()
    plan = SweepPlan(job, 4.0, 0)
    taken, used, found = {}, {}, {}
    print(f"{machines} machines, {job.table.fired_half_cycles} half-cycles each; load before: {os.getloadavg()[0]:.1f}")
    for workers in (1, 2):
        start, cpu = time.perf_counter(), os.times()
        found[workers] = sweep(plan, machines, workers)
        taken[workers] = time.perf_counter() - start
        used[workers] = sum(os.times()[:4]) - sum(cpu[:4])
        plural = "s" if workers > 1 else " "
        print(f"{workers} core{plural}: {taken[workers]:6.1f} s, of processor {used[workers]:6.1f} s")
    print(f"two cores over one: {taken[1] / taken[2]:.2f} times; the same result: {found[1] == found[2]}")
    print(f"where nothing else runs, by processor time: up to {2 * used[1] / used[2]:.2f} times")


if __name__ == "__main__":
    main()
