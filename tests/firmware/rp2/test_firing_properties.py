"""The five properties of the firing programs, each with the mutations of the program that must break its test.

A property is a function of a program that raises AssertionError when the program lacks it, so the same function judges the
emitted program and the mutated ones. Source: RP2040 data sheet, chapter 3 (PIO), through the package rp2040-pio-emulator.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest

from gen.pio import PioProgram, load_program
from tests.support.rp2.firing_welds import Weld, Word, worst_error_us
from tests.support.rp2.pio_bench import Steps

HALF_US = 10_000.0
FIRST_US = 4_000.0
END_US = 9_160
TOLERANCE_US = 2
FIRING = ("firing_square", "firing_pulse")


def weld(program: PioProgram, count: int = 6, first_rises: int = 1) -> Weld:
    """Fired and unfired half-cycles in turn, on steady mains that go on for twenty half-cycles after."""
    words = [Word(2_000, END_US - 2_000) if i % 3 != 2 else Word(END_US, 0) for i in range(count)]
    crossings = [FIRST_US + i * HALF_US for i in range(count + 20)]
    return Weld(program, HALF_US, words, crossings, first_rises)


def expect(weld: Weld, ended: int, until_us: float | None = None) -> None:
    """The first `ended` half-cycles fire on time and are reported in order; nothing else fires; the gate rests low."""
    bench = weld.run(until_us)
    assert worst_error_us(bench.gate_edges, weld.ideal(ended)) <= TOLERANCE_US
    assert [value & 0xFF for _, value in bench.pushed] == [0xFF if word.gate else 0 for word in weld.words[:ended]]
    assert bench.gate == 0


def edge_first_then_word(program: PioProgram) -> None:
    """Property 1: with the FIFO empty at the edge nothing fires, then or when a word comes late; a weld ends with its words."""
    for held in range(4):
        starved = weld(program, 4)
        bench = starved.bench(feed=False)
        words = [word.packed(starved.edge(i + 1)) for i, word in enumerate(starved.words)]
        bench.feed.extend(words[:held])
        bench.run(starved.crossings_us[held] + 6_900)
        bench.feed.extend(words[held:])
        bench.run(starved.crossings_us[-1])
        assert worst_error_us(bench.gate_edges, starved.ideal(held)) <= TOLERANCE_US
        assert len(bench.pushed) == held
    for first_rises in (0, 1):
        expect(weld(program, 6, first_rises), 6)


def hunt_is_bounded(program: PioProgram) -> None:
    """Property 2: a missing edge, a dropout and its return, an edge outside its window and a late first edge end it for good."""
    for position in range(6):
        for first_rises in (0, 1):
            missing = weld(program, 6, first_rises)
            missing.words = [Word(2_000, END_US - 2_000)] * 6
            # The square detector's level is then out of step with the words, as behind a lost edge.
            del missing.crossings_us[position]
            expect(missing, position)
            # Even a pair of edges, so that the level is right again, does not revive it.
            pair = weld(program, 6, first_rises)
            del pair.crossings_us[position : position + 2]
            expect(pair, position)
            if position:
                early = weld(program, 6, first_rises)
                early.crossings_us[position] -= (
                    1_500  # before the window opens: the level is there already, the pulse is over
                )
                expect(early, position)
                late = weld(program, 6, first_rises)
                late.crossings_us[position] += 1_400  # after the window has closed
                expect(late, position)
    never = weld(program)
    never.crossings_us = [FIRST_US + 60_000 + i * HALF_US for i in range(20)]
    expect(never, 0)
    # A pulse detector that is stuck high, or whose pulse stands there as the window opens.
    if program.name.endswith("pulse"):
        stuck = weld(program)
        stuck.false_us = [stuck.crossings_us[2] + 9_165.0]  # 3 us high across the opening
        expect(stuck, 3)


def false_edges_outside_the_window_do_nothing(program: PioProgram) -> None:
    """Property 3: a false edge every 0.5 ms from each crossing to the end of its gate, in fired and unfired half-cycles."""
    for first_rises in (0, 1):
        noisy = weld(program, 12, first_rises)
        noisy.false_us = [crossing + t for crossing in noisy.crossings_us for t in range(500, END_US - 10, 500)]
        expect(noisy, 12)


def stop_is_tested_before_every_gate(program: PioProgram) -> None:
    """Property 4: the stop input high as a gate is due ends the weld there, in any half-cycle, and for good when it falls."""
    for position in range(6):
        opened = weld(program).crossings_us[position] + 500
        expect(replace(weld(program), stop=Steps([opened, opened + 9_000])), position)
    # Within a gate it cannot be seen before the next half-cycle: the gate is Python's and the hardware's to cut.
    gated = weld(program)
    opened = gated.crossings_us[0] + 5_000
    gated.stop = Steps([opened, opened + HALF_US])
    expect(gated, 1)
    expect(replace(weld(program), stop=Steps([0])), 0)


def pedal_is_tested_before_every_gate(program: PioProgram) -> None:
    """Property 4, of the pin after that of the stop: the pedal, let go, ends the weld as the stop does."""
    for position in range(6):
        opened = weld(program).crossings_us[position] + 500
        expect(replace(weld(program), pedal=Steps([opened, opened + 9_000])), position)
        expect(replace(weld(program), pedal=Steps([opened])), position)
    expect(replace(weld(program), pedal=Steps([0])), 0)


def position_is_pushed_back(program: PioProgram) -> None:
    """Property 5: one report a half-cycle, at its end, that says fired or not, and none for words that only wait in the FIFO."""
    told = weld(program)
    bench = told.bench()
    for i in range(len(told.words)):
        bench.run(told.crossings_us[i] + END_US - 50)
        assert len(bench.pushed) == i
        bench.run(told.crossings_us[i] + END_US + 50)
        assert [value & 1 for _, value in bench.pushed] == [int(w.gate > 0) for w in told.words[: i + 1]]
    # Nobody reads: the state machine must not wait, nor lose step.
    unread = weld(program, 12)
    bench = unread.bench()
    bench.drain = None
    bench.run(unread.crossings_us[-1])
    assert worst_error_us(bench.gate_edges, unread.ideal()) <= TOLERANCE_US


@pytest.mark.parametrize("name", FIRING)
def test_property_1_edge_first_then_word(name: str) -> None:
    """Protects against a late word that fires out of step with the mains."""
    edge_first_then_word(load_program(name))


@pytest.mark.parametrize("name", FIRING)
def test_property_2_hunt_is_bounded(name: str) -> None:
    """Protects against words that wait for the mains to return, and against a polarity that slips."""
    hunt_is_bounded(load_program(name))


@pytest.mark.parametrize("name", FIRING)
def test_property_3_false_edges_outside_the_window_do_nothing(name: str) -> None:
    """Protects against noise, which a welder makes itself."""
    false_edges_outside_the_window_do_nothing(load_program(name))


@pytest.mark.parametrize("name", FIRING)
def test_property_4_stop_is_tested_before_every_gate(name: str) -> None:
    """Protects the operator where Python hangs; the stop contact breaks the gate supply by itself as well."""
    stop_is_tested_before_every_gate(load_program(name))
    stop_is_tested_before_every_gate(load_program(name, 1))


@pytest.mark.parametrize("name", FIRING)
def test_property_4_the_pedal_is_tested_where_it_holds_the_force(name: str) -> None:
    """Protects the operator's fingers where Python hangs. With air the lever holds no force, and nothing asks it."""
    pedal_is_tested_before_every_gate(load_program(name))
    expect(replace(weld(load_program(name, 1)), pedal=Steps([0])), 6)


@pytest.mark.parametrize("name", FIRING)
def test_property_5_position_is_pushed_back(name: str) -> None:
    """Protects the count of half-cycles, and with it the polarity of the next weld."""
    position_is_pushed_back(load_program(name))


# Property, program, the instruction as `op args`, which of its occurrences, and what it becomes.
MUTATIONS: list[tuple[Callable[[PioProgram], None], str, str, int, str]] = [
    (edge_first_then_word, "both", "pull noblock", 0, "pull block"),  # a late word fires
    (edge_first_then_word, "square", "mov x null", 0, "mov x y"),  # an empty FIFO gives another number than 0
    (edge_first_then_word, "both", "jmp not_x dead", 0, "jmp not_x rest"),  # a zero word is a half-cycle like another
    (hunt_is_bounded, "both", "jmp y_dec high", 0, "jmp high"),  # waits for ever
    (hunt_is_bounded, "square", "jmp y_dec low", 0, "jmp low"),
    (hunt_is_bounded, "square", "jmp pin dead", 0, "jmp pin edge"),  # takes a level for an edge
    (hunt_is_bounded, "square", "jmp dead", 1, "jmp edge"),
    (hunt_is_bounded, "pulse", "jmp pin dead", 0, "jmp pin edge"),
    (hunt_is_bounded, "square", "jmp dead", 2, "jmp want_low"),  # hunts again
    (hunt_is_bounded, "both", "mov isr y", 0, "mov isr null"),  # no window for the next edge
    (hunt_is_bounded, "both", "jmp dead", 0, "jmp next"),  # the dead loop leads out
    (false_edges_outside_the_window_do_nothing, "both", "jmp x_dec delay", 0, "jmp not_x delay"),  # no blanking
    (false_edges_outside_the_window_do_nothing, "both", "jmp x_dec hold", 0, "jmp not_x hold"),
    (stop_is_tested_before_every_gate, "both", "in_ pins 2", 0, "in_ null 2"),  # not tested
    (pedal_is_tested_before_every_gate, "both", "in_ pins 2", 0, "in_ pins 1"),
    (stop_is_tested_before_every_gate, "both", "jmp not_x go", 0, "jmp go"),
    (stop_is_tested_before_every_gate, "both", "set pins 0", 0, "set pins 1"),  # high in the dead loop
    (position_is_pushed_back, "both", "mov isr x", 0, "mov isr null"),  # does not say fired
    (position_is_pushed_back, "both", "push noblock", 0, "mov isr null"),  # does not say anything
    (position_is_pushed_back, "both", "push noblock", 0, "push block"),  # waits for a reader
]
CASES = [
    pytest.param(row[0], name, *row[2:], id=f"{row[0].__name__}-{name}-{row[2]}-{row[3]}-{row[4]}".replace(" ", "_"))
    for row in MUTATIONS
    for name in FIRING
    if row[1] in ("both", name.removeprefix("firing_"))
]


@pytest.mark.parametrize(("holds", "name", "before", "occurrence", "after"), CASES)
def test_each_property_fails_when_the_program_is_broken(
    holds: Callable[[PioProgram], None], name: str, before: str, occurrence: int, after: str
) -> None:
    """Protects the tests above: each must notice the loss of what it stands for."""
    program = load_program(name)
    listed = list(program.instructions)
    matches = [i for i, row in enumerate(listed) if " ".join([row.op, *map(str, row.args)]) == before]
    place = matches[occurrence]
    op, *args = after.split()
    listed[place] = replace(listed[place], op=op, args=tuple(int(arg) if arg.isdigit() else arg for arg in args))
    broken = replace(program, instructions=tuple(listed))
    with pytest.raises(AssertionError):
        holds(broken)
