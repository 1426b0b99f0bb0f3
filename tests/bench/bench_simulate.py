"""Speed of a simulated minute, beside a bare SimPy loop of as many events; cost against half-cycles; start-up times.

One command, `python -m tests.bench.bench_simulate`. Ratios are of one run on one machine.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace

import simpy

from gen.firmware import FirmwareBundle
from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.bench.pedal import PedalSpec
from sim.bench.world import Bench, bench_for, simulate
from tests.support.machines import firmware, make_welder

WELD = {"weld": "20 cycles", "current_percent": 80}


def best_of(times: int, work: Callable[[], object]) -> float:
    """Least seconds of several runs."""
    best = math.inf
    for _ in range(times):
        begun = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begun)
    return best


class Counted(simpy.Environment):
    """An environment that counts its events."""

    events = 0

    def step(self) -> None:
        Counted.events += 1
        super().step()


def events_of(bundle: FirmwareBundle, table: TimingTable, bench: Bench) -> int:
    """Number of SimPy events in one simulated run."""
    plain, Counted.events = simpy.Environment, 0
    simpy.Environment = Counted  # type: ignore[misc]
    try:
        simulate(bundle, table, bench)
    finally:
        simpy.Environment = plain  # type: ignore[misc]
    return Counted.events


def bare_loop(events: int) -> None:
    """As many time-outs, and nothing else."""
    env = simpy.Environment()

    def ticks():  # type: ignore[no-untyped-def]
        for _ in range(events):
            yield env.timeout(1)

    env.process(ticks())
    env.run()


def minute(welder: Welder) -> None:
    bundle, table = firmware(welder, WELD)
    bench = bench_for(welder, table, minutes=1, welds_per_minute=20)
    seconds = best_of(5, lambda: simulate(bundle, table, bench))
    welds = len(simulate(bundle, table, bench).welds)
    events = events_of(bundle, table, bench)
    bare = best_of(5, lambda: bare_loop(events))
    print(f"60 s, {welds} welds of 20 cycles: {seconds:.3f} s, {60 / seconds:.0f} times real time")
    print(f"bare SimPy loop of {events} events: {bare:.3f} s; ratio {seconds / bare:.1f}")


def scaling() -> None:
    sizes, costs = (10, 100, 1000), []
    for fired in sizes:
        long = make_welder(limits={"longest_weld": "1000 half-cycles"}, transformer={"rating_kVA": 400})
        bundle, table = firmware(long, {"weld": f"{fired} half-cycles", "current_percent": 80})
        bench = bench_for(long, table, minutes=0.01, welds_per_minute=1)
        whole = best_of(5, lambda b=bundle, t=table, n=bench: simulate(b, t, n))
        unpressed = replace(bench, pedal=PedalSpec())
        rest = best_of(5, lambda b=bundle, t=table, n=unpressed: simulate(b, t, n))
        costs.append(whole - rest)
        print(f"{fired:>5} fired half-cycles: {1000 * whole:.1f} ms, of which the idle bench {1000 * rest:.1f} ms")
    exponent = math.log(costs[2] / costs[1]) / math.log(sizes[2] / sizes[1])
    print(f"exponent of the cost of firing, 100 to 1000 half-cycles: {exponent:.2f}")


def start_up(welder: Welder) -> None:
    command = [sys.executable, "-c", "from gen.cli import main; main()"]
    help_s = best_of(5, lambda: subprocess.run([*command, "--help"], capture_output=True, check=True))
    print(f"weldbeat --help: {help_s:.3f} s")
    with tempfile.TemporaryDirectory() as folder:
        demo = best_of(2, lambda: subprocess.run([*command, "demo", f"{folder}/demo"], capture_output=True, check=True))
        print(f"weldbeat demo: {demo:.2f} s")
        table = [*command, "table", f"{folder}/demo/boot-scraper.toml", "--welder", f"{folder}/demo/welder.toml"]
        table_s = best_of(3, lambda: subprocess.run(table, capture_output=True, check=True))
    render_s = best_of(5, lambda: firmware(welder, WELD))
    print(f"weldbeat table: {table_s:.3f} s; compile and render in-process: {render_s:.3f} s")


if __name__ == "__main__":
    welder = make_welder(transformer={"rating_kVA": 400})
    minute(welder)
    scaling()
    start_up(welder)
