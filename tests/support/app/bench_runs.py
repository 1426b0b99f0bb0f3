"""Runs of the emitted application on a quiet bench, whole or changed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from gen.boards import boards
from gen.firmware import render
from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.bench.pedal import PedalSpec, Press
from sim.bench.recording import Recording
from sim.bench.world import Bench, bench_for, simulate, without_detector_error
from tests.support.app.weakened import Change
from tests.support.machines import compiled, make_welder

WELD = {"weld": "20 cycles", "current_percent": 80}


def quiet_bench(
    welder: Welder, table: TimingTable, length_s: float, *presses: tuple[float, float], **changes: Any
) -> Bench:
    """A bench with an ideal detector and steady mains. `presses`: (start, hold) in seconds."""
    bench = without_detector_error(bench_for(welder, table), welder)
    pedal = PedalSpec(tuple(Press(start, hold) for start, hold in presses))
    return replace(bench, length_s=length_s, pedal=pedal, **changes)


def run(
    *presses: tuple[float, float],
    length_s: float = 4,
    welder: Welder | None = None,
    weld: dict[str, Any] | None = None,
    change: Change | None = None,
    **changes: Any,
) -> Recording:
    """Compile, render, change if asked, and run on the quiet bench."""
    welder = welder or make_welder()
    table = compiled(welder, weld or WELD)
    bundle = render(table, welder, boards()["pico"])
    if change is not None:
        bundle = change(bundle)
    return simulate(bundle, table, quiet_bench(welder, table, length_s, *presses, **changes))


def states(recording: Recording) -> list[str]:
    """Names of the states passed through, with the reason where locked out."""
    return [f"{c.state}: {c.reason}" if c.state == "locked out" else c.state for c in recording.states]


def gates_after(recording: Recording, time_s: float) -> int:
    """Gates that rose later than `time_s`."""
    return sum(1 for on, _ in recording.gates if on > time_s)
