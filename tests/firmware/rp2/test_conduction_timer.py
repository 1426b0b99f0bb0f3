"""The PIO program that times the current of each gate, in an independent emulator and behind the real driver.

Sources: RP2040 data sheet, chapters 2.5 (DMA) and 3 (PIO); rp2040-pio-emulator, adafruit-circuitpython-pioasm.
"""

from collections.abc import Generator
from dataclasses import replace

import adafruit_pioasm
import pytest
import simpy

from gen.pio import MEMORY, PioProgram, load_program, pio_module
from gen.words import CURVE_KEPT, RUNS_ON_US
from sim.bench.chip import Clock
from sim.bench.pin import Pin
from sim.bench.sense import ConductionTimer
from tests.support.rp2.asm_recorder import run_source
from tests.support.rp2.fake_board import Board
from tests.support.rp2.pio_bench import CLOCKS_PER_US, Steps, assemble
from tests.support.rp2.pio_text import pio_text
from tests.support.rp2.timed_gates import BEGINS_US, HALF_US, TimedGate, gate_signal, random_gates, sense_signal, timed

PROGRAM = load_program("conduction")
NEAR_US = 1.0


def right(program: PioProgram, gates: list[TimedGate]) -> bool:
    """Whether every gate is reported once, and within a microsecond."""
    told = timed(program, gates)
    return len(told) == len(gates) and all(
        abs(value - gate.told_us()) <= NEAR_US for value, gate in zip(told, gates, strict=True)
    )


def keeps_its_place(program: PioProgram) -> bool:
    """Whether a current that runs over the next, earlier gate costs that one some of its length and no gate its place."""
    told = timed(program, [TimedGate(4_800, HALF_US + 50), TimedGate(4_000, 7_500), TimedGate(4_000, 7_000)])
    return len(told) == 3 and told[0] == RUNS_ON_US and 6_000 < told[1] < 7_500 and abs(told[2] - 7_000) <= NEAR_US


def test_both_assemblers_give_the_same_words() -> None:
    """The board runs the words that are proven here, with either detector."""
    independent = adafruit_pioasm.Program(pio_text(PROGRAM))
    for square in (True, False):
        emitted = run_source(pio_module(square, True))["conduction"]
        assert emitted.words == list(independent.assembled)
        assert (emitted.wrap_target, emitted.wrap) == (
            independent.pio_kwargs.get("wrap_target", 0),
            independent.pio_kwargs["wrap"],
        )


@pytest.mark.parametrize("kind", ["square", "pulse"])
def test_it_shares_a_block_with_the_meter(kind: str) -> None:
    """State machines 4 and 5 are of one PIO block, which holds 32 instructions."""
    used = len(PROGRAM.instructions) + len(load_program(f"meter_{kind}").instructions)
    assert used == 29
    assert used <= MEMORY


def test_every_current_is_timed_to_a_microsecond() -> None:
    """Seeded gates: those that block, those that run on, and the dark around each crossing mistaken for none of them."""
    for seed in range(6):
        assert right(PROGRAM, random_gates(20, seed))


def test_skipping_loops_changes_nothing() -> None:
    """The fast harness against every clock."""
    gates = random_gates(4, 9)
    assert timed(PROGRAM, gates, fast=False) == timed(PROGRAM, gates)


@pytest.mark.parametrize("place", range(len(PROGRAM.instructions)))
def test_each_instruction_is_needed(place: int) -> None:
    """Any one taken out, its label moved to the next, and some gate is reported wrongly or not at all."""
    rows = list(PROGRAM.instructions)
    gone = rows.pop(place)
    moved = {gone.label: rows[place].label if place < len(rows) else rows[0].label} if gone.label else {}
    if gone.label and place < len(rows) and not rows[place].label:
        rows[place] = replace(rows[place], label=gone.label)
        moved = {}
    rows = [replace(row, args=tuple(moved.get(str(arg), arg) for arg in row.args)) for row in rows]
    wrap = moved.get(PROGRAM.wrap_target, PROGRAM.wrap_target)
    without = replace(PROGRAM, instructions=tuple(rows), wrap_target=wrap)
    gates = [
        TimedGate(4_000, 7_500),
        TimedGate(4_000, 0),
        TimedGate(4_000, 6_600),
        TimedGate(4_000, HALF_US + 50),
        TimedGate(4_000, 7_000),
    ]
    assert right(PROGRAM, gates)
    assert keeps_its_place(PROGRAM)
    assert not (right(without, gates) and keeps_its_place(without))


def test_the_driver_tells_each_current() -> None:
    """The real driver on a recorded board: firing, timing and both of its transfers together."""
    delays = [4_833, 2_500, -1, -1, 3_000, 5_000]
    first = 24_000  # half-cycle 0 begins there: two are let pass
    flows = [6_400.0, 8_200.0, 0.0, 6_000.0]
    fired = [i for i, delay in enumerate(delays) if delay >= 0]
    spans = [
        (first + i * HALF_US + delays[i] + 50, first + i * HALF_US + delays[i] + us)
        for i, us in zip(fired, flows, strict=True)
        if us
    ]
    sense = Steps([time for span in spans for time in span])
    board = Board(detector=Steps([4_000 + i * HALF_US for i in range(40)]), sense=sense)
    driver = board.load()
    assert driver.conduction_us(0) == -1
    for i, delay in enumerate(delays):
        driver.set_half_cycle(i, delay, 9_166, 1 ^ (i & 1))
    assert driver.start(len(delays), HALF_US, 1) == 1
    board.run(first + 5_000)
    assert driver.conduction_us(0) == -1
    board.run(first + 12_300)
    assert abs(driver.conduction_us(0) - flows[0]) <= 2
    assert driver.conduction_us(1) == -1
    board.run(first + 7 * HALF_US)
    driver.off()
    told = [driver.conduction_us(gate) for gate in range(4)]
    assert max(abs(a - b) for a, b in zip(told, flows, strict=True)) <= 2, told
    assert told[2] == 0
    assert [driver.conduction_us(gate) for gate in (4, CURVE_KEPT, CURVE_KEPT + 1)] == [-1, -1, -1]


def test_a_second_weld_begins_anew() -> None:
    """What an earlier weld left, timed or not, is not taken for the next one's; a current without end is reported as such."""
    board = Board(detector=Steps([4_000 + i * HALF_US for i in range(60)]), sense=Steps([24_000 + 4_833 + 50, 400_000]))
    driver = board.load()
    for begin_us in (0, 100_000):
        for i in range(2):
            driver.set_half_cycle(i, 4_833, 9_166, 1 ^ (i & 1))
        board.run(begin_us)
        assert driver.start(2, HALF_US, 1) == 1
        assert driver.conduction_us(0) == -1
        board.run(begin_us + 70_000)
        assert [driver.conduction_us(gate) for gate in (0, 1)] == [RUNS_ON_US, RUNS_ON_US]
        driver.off()


def test_without_a_sense_nothing_is_timed() -> None:
    """No third state machine, and no answer."""
    board = Board(detector=Steps([4_000 + i * HALF_US for i in range(20)]), config={"PIN_CONDUCTION": None})
    driver = board.load()
    driver.set_half_cycle(0, 4_833, 9_166, 1)
    assert driver.start(1, HALF_US, 1) == 1
    board.run(60_000)
    assert driver.conduction_us(0) == -1
    assert 5 not in board.machines


def test_the_drivers_figures_are_the_programs() -> None:
    """The time before the count and the instruction that loads its length."""
    assert Board().constant("CONDUCTION_BEGINS_US") == BEGINS_US
    mov = replace(PROGRAM.instructions[0], label="a", op="mov", args=("y", "osr"))
    assert assemble(PioProgram("one", "", "a", 0, "none", (mov,))) == [Board().constant("_MOV_Y_OSR")]
    assert sense_signal([]).level(0) == 1


def test_the_simulators_timer_tells_the_same() -> None:
    """sim/bench/sense.py against the emitted words, on the same gates and senses: equal to a microsecond."""
    for seed in range(4):
        gates = random_gates(20, seed)
        env = simpy.Environment()
        gate, sense = Pin(env), Pin(env)
        timer = ConductionTimer(Clock(env), gate, sense)
        for pin, signal in ((gate, gate_signal(gates)), (sense, sense_signal(gates))):
            pin.level = signal.start_level
            env.process(toggled(env, pin, [clock / CLOCKS_PER_US * 1e-6 for clock in signal.clocks]))
        timer.start(HALF_US)
        env.run(until=(len(gates) + 3) * HALF_US * 1e-6)
        told = [timer.length_us(n) for n in range(len(gates))]
        words = timed(PROGRAM, gates)
        assert max(abs(a - b) for a, b in zip(told, words, strict=True)) <= NEAR_US
        assert timer.length_us(len(gates)) == -1


def toggled(env: simpy.Environment, pin: Pin, times_s: list[float]) -> Generator[simpy.Event, None, None]:
    for time_s in times_s:
        yield env.timeout(time_s - env.now)
        pin.toggle()
