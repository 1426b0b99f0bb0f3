"""What an answer about heat costs, in one command: `python -m tests.bench.bench_thermal`.

A day's work: 1000 welds of 200 half-cycles, on the switch and on an electrode. Best and median of 15 runs.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

begun = time.perf_counter()
from sim.thermal import (  # noqa: E402
    COPPER,
    Cooling,
    Electrode,
    FosterTerm,
    PowerProfile,
    Segment,
    alternating,
    at_its_own_mean,
    electrode_network,
    equilibrium,
    fastest_safe_pace,
    nth_cycle,
    rest_after_burst_s,
    switch_network,
    time_to_limit_s,
)

IMPORT_MS = 1000 * (time.perf_counter() - begun)
PERIOD_S, WELDS = 10.0, 1000
LADDER = (FosterTerm(0.02, 0.0015), FosterTerm(0.1, 0.02), FosterTerm(0.2, 0.25), FosterTerm(0.13, 1.5))


def measure(name: str, call: Callable[[], object]) -> None:
    """Print best and median of the call, whole: the network and the profile are made anew in it where it makes them."""
    call()
    times = []
    for _ in range(15):
        start = time.perf_counter()
        call()
        times.append(1000 * (time.perf_counter() - start))
    print(f"{name:58} {min(times):7.2f} {statistics.median(times):7.2f}")


def main() -> None:
    switch = switch_network(LADDER, Cooling(0.1, 0.8, 300, 30))
    weld = alternating(0.2, 0.01, [120.0] * 200)
    rod = Electrode(COPPER, 0.012, 0.05, 0.006, 0.004)
    network = electrode_network(rod)
    joint = PowerProfile(tuple(Segment(0.2 + n * 0.01, 0.01, (300.0, 2500.0**2)) for n in range(200)))
    print(f"import {IMPORT_MS:.0f} ms\n{'':58} {'best':>7} {'median':>7}  ms")
    measure("switch: equilibrium of a day", lambda: equilibrium(switch, weld, PERIOD_S, "junction_2"))
    measure("switch: weld 1000 from cold", lambda: nth_cycle(switch, weld, PERIOD_S, WELDS, "junction_2"))
    measure("switch: fastest safe pace", lambda: fastest_safe_pace(switch, weld, 110, "junction_2"))
    measure("switch: rest after 20 welds", lambda: rest_after_burst_s(switch, weld, 3, 20, 90, "junction_2"))
    measure("switch: time to 90 degC", lambda: time_to_limit_s(switch, weld, 3, 90, "junction_2"))
    measure("electrode: its network", lambda: electrode_network(rod))
    measure("electrode: equilibrium of a day", lambda: equilibrium(network, joint, PERIOD_S, "face"))
    measure("electrode: fastest safe pace", lambda: fastest_safe_pace(network, joint, 300, "face"))
    measure("electrode: resistivity at its own mean", lambda: at_its_own_mean(rod, joint, PERIOD_S))


if __name__ == "__main__":
    main()
