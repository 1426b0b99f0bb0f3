"""The program that times currents, in the emulator: gates, and what a sense across the switch shows of their currents."""

from __future__ import annotations

import random
from bisect import bisect_right
from dataclasses import dataclass

from gen.pio import PioProgram
from gen.words import RUNS_ON_US
from tests.support.rp2.pio_bench import CLOCKS_PER_US, NEVER, PioBench, Steps, assemble

HALF_US = 10_000
DARK_US = 400  # before and after each crossing there is no voltage to see
BEGINS_US = 513
LONGEST_US = HALF_US * 99 // 100 - BEGINS_US
BLOCKED = 0xFFFF_FFFF


class GateEdges:
    """The gate of a firing state machine, as a signal for another one."""

    def __init__(self, fire: PioBench) -> None:
        self.fire = fire
        self._known: list[int] = []

    def _clocks(self) -> list[int]:
        new = self.fire.gate_edges[len(self._known) :]
        self._known += [round(time_us * CLOCKS_PER_US) for time_us, _ in new]
        return self._known

    def level(self, clock: int) -> int:
        return bisect_right(self._clocks(), clock) & 1

    def next_change(self, clock: int) -> int:
        clocks = self._clocks()
        place = bisect_right(clocks, clock)
        return clocks[place] if place < len(clocks) else NEVER


def watch_the_gate(bench: PioBench, sense: Steps, gate: Steps | GateEdges) -> None:
    """Wire a bench to a gate (first IN pin) and a sense (JMP pin, whichever of the others it is)."""
    bench.stop, bench.detector = gate, sense  # type: ignore[assignment]
    bench.pins = (  # type: ignore[method-assign]
        lambda state: gate.level(state.clock) | 6 * sense.level(state.clock)
    )


@dataclass(frozen=True)
class TimedGate:
    """A gate at `delay_us` of its half-cycle, and how long current flows after it: 0 none."""

    delay_us: float
    flows_us: float

    def told_us(self) -> float:
        """What should come of it."""
        if not self.flows_us:
            return 0
        return self.flows_us if self.flows_us < LONGEST_US + BEGINS_US else RUNS_ON_US


def gate_signal(gates: list[TimedGate]) -> Steps:
    edges: list[float] = []
    for i, gate in enumerate(gates):
        edges += [(i + 1) * HALF_US + gate.delay_us, (i + 1) * HALF_US + HALF_US * 165 / 180]
    return Steps(edges)


def sense_signal(gates: list[TimedGate], late_us: float = 0.0) -> Steps:
    """High while current flows, `late_us` after it ends, and in the dark of each crossing."""
    spans: list[tuple[float, float]] = []
    for i in range(len(gates) + 3):
        spans.append((i * HALF_US - DARK_US, i * HALF_US + DARK_US))
    for i, gate in enumerate(gates):
        if gate.flows_us:
            begins = (i + 1) * HALF_US + gate.delay_us
            spans.append((begins + 80, begins + gate.flows_us + late_us))
    spans.sort()
    merged: list[list[float]] = []
    for low, high in spans:
        if merged and low <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], high)
        else:
            merged.append([low, high])
    flat = [time for span in merged for time in span]
    return Steps(flat[1:], start_level=1) if flat[0] < 0 else Steps(flat)


def random_gates(count: int, seed: int) -> list[TimedGate]:
    """Seeded gates with currents that end beyond the dark, some that block, and some that run on to the next gate's current."""
    chance = random.Random(seed)
    gates: list[TimedGate] = []
    delay = chance.uniform(1_500, 8_300)
    for n in range(count):
        ends = chance.uniform(HALF_US + DARK_US + 5, min(HALF_US + 4_000, delay + HALF_US - 150))
        kind = 1.0 if n and gates[-1].flows_us > HALF_US else chance.random()  # one that runs on does not block later
        flows = 0.0 if kind < 0.15 else ends - delay
        gates.append(TimedGate(delay, HALF_US + 50 if 0.15 <= kind < 0.25 else flows))
    return gates


def timed(program: PioProgram, gates: list[TimedGate], *, fast: bool = True) -> list[float]:
    """The program's report of these gates, in microseconds as the driver computes them."""
    opcodes = assemble(program)
    wrap = next(i for i, row in enumerate(program.instructions) if row.label == program.wrap_target)
    bench = PioBench(opcodes, wrap, Steps([]), fast=fast)
    watch_the_gate(bench, sense_signal(gates), gate_signal(gates))
    bench.state.transmit_fifo.append(LONGEST_US)
    for opcode in (0x8080, 0xA047):  # pull(noblock), mov(y, osr)
        bench.execute(opcode)
    bench.drain = bench.discard
    bench.run((len(gates) + 3) * HALF_US)
    told: list[float] = []
    for _, value in bench.pushed:
        left = value & 0xFFFF
        told.append(0 if left == BLOCKED & 0xFFFF else BEGINS_US + LONGEST_US - left if left else RUNS_ON_US)
    return told
