"""A stop in a half-cycle of a weld of 200, by stop circuit or stop line, on the bench in virtual time."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from gen.boards import boards
from gen.firmware import STOP_REQUEST, FirmwareBundle, render, with_crc
from gen.table import TimingTable
from sim.bench.driver import CALL_INTS, READ
from sim.bench.host import LATEST_S
from sim.bench.pedal import PedalSpec, Press
from sim.bench.recording import Recording
from sim.bench.world import simulate
from tests.support.app.bench_runs import gates_after, quiet_bench, states
from tests.support.machines import compiled, make_welder

HALF_CYCLES = 200
HALF_S = 0.010
PRESS_S = 0.5
WAYS = ("circuit", "line")
STOP_LINE = with_crc(STOP_REQUEST).encode() + b"\n"


@cache
def built() -> tuple[FirmwareBundle, TimingTable]:
    welder = make_welder()
    table = compiled(welder, {"weld": f"{HALF_CYCLES} half-cycles", "current_percent": 80})
    return render(table, welder, boards()["pico"]), table


@cache
def first_gate_s() -> float:
    """When the weld begins that nothing stops: every run goes the same way until its stop."""
    return stopped_at(None, "").gates[0][0]


def stopped_at(stop_s: float | None, how: str) -> Recording:
    bundle, table = built()
    bench = quiet_bench(make_welder(), table, PRESS_S + 1)
    if stop_s is not None:
        # Off time is 0.5 s; then the pedal is pressed again and let go after some half-cycles.
        again_s = stop_s + 0.9
        presses = (Press(PRESS_S, stop_s + 0.1 - PRESS_S), Press(again_s, 0.40))
        bench = replace(bench, pedal=PedalSpec(presses), length_s=again_s + 0.5)
        bench = replace(
            bench, **({"stops": ((stop_s, 0.1),)} if how == "circuit" else {"serial": ((stop_s, STOP_LINE),)})
        )
    else:
        bench = replace(bench, pedal=PedalSpec((Press(PRESS_S, 1),)))
    return simulate(bundle, table, bench)


def stop_is_heeded(n: int, how: str) -> None:
    """Stop before, in or after the gate of half-cycle `n`: no new gate comes, and the next weld has its polarities in turn.

    The circuit stops the firing hardware itself, the line takes one step of Python. AssertionError where it is otherwise.
    """
    stop_s = first_gate_s() + (n + n * 7 % 10 / 10 - 0.3) * HALF_S
    recording = stopped_at(stop_s, how)
    heeded_s = stop_s if how == "circuit" else stop_line_read_s(recording)
    assert stop_s <= heeded_s <= stop_s + LATEST_S
    first = [on for on, _ in recording.gates if on < stop_s + 0.5]
    assert all(on <= heeded_s for on in first), n
    assert n - 1 <= len(first) <= n + (1 if how == "circuit" else 1 + LATEST_S / HALF_S), n
    assert gates_after(recording, stop_s + 0.5) > 5, (n, states(recording))
    sides = [c.positive for c in recording.conductions]
    assert all(a != b for a, b in zip(sides, sides[1:], strict=False)), n


def stop_line_read_s(recording: Recording) -> float:
    """When the last byte of the stop line was read."""
    calls, last = recording.calls, STOP_LINE[-1]
    return next(
        recording.call_times[n // CALL_INTS]
        for n in range(0, len(calls), CALL_INTS)
        if calls[n] == READ and calls[n + 5] == last
    )
