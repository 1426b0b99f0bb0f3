"""The PIO proof at length, in one command: `python -m tests.campaigns.pio_words [words] [words clock by clock]`.

Seeded words for both detectors at 47, 50, 60 and 63 Hz against an ideal gate, some of them clock by clock at full period;
then every instruction of the firing programs is taken out in turn, which the checks of tests/firmware/rp2 must notice.
Prints figures, and fails with a traceback when one is wrong.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import replace

from gen.pio import Instruction, PioProgram, load_program
from tests.firmware.rp2 import test_firing_properties as properties
from tests.support.rp2.firing_welds import FREQUENCIES_HZ, random_weld, worst_error_us

A_WELD = 50  # words
FIRING = ("firing_square", "firing_pulse")


def fire(program: PioProgram, frequency_Hz: int, words: int, seed: int, fast: bool = True) -> float:
    """Run one weld; the worst gate error in microseconds. AssertionError when a word is lost, doubled or reported wrongly."""
    weld = random_weld(program, frequency_Hz, words, seed, fast=fast)
    bench = weld.run(None if fast else weld.crossings_us[words] + 100)
    assert [value & 1 for _, value in bench.pushed] == [int(word.gate > 0) for word in weld.words]
    return worst_error_us(bench.gate_edges, weld.ideal())


def random_words(total: int, fast: bool) -> None:
    began = time.monotonic()
    size = A_WELD if fast else 10
    welds = max(total // size // len(FREQUENCIES_HZ) // len(FIRING), 1)
    worst = max(
        fire(load_program(name), frequency_Hz, size, seed, fast)
        for name in FIRING
        for frequency_Hz in FREQUENCIES_HZ
        for seed in range(1000, 1000 + welds)
    )
    run = welds * size * len(FREQUENCIES_HZ) * len(FIRING)
    how = "with loops skipped" if fast else "clock by clock"
    print(f"{run} words {how}: worst gate error {worst:.2f} us, none lost or doubled, {time.monotonic() - began:.0f} s")


def words_fire(program: PioProgram) -> None:
    assert fire(program, 50, 25, 0) <= properties.TOLERANCE_US


def missing_instructions() -> None:
    """Replace each instruction by one that does nothing; at least one check has to fail."""
    checks: list[Callable[[PioProgram], None]] = [
        words_fire,
        properties.edge_first_then_word,
        properties.hunt_is_bounded,
        properties.false_edges_outside_the_window_do_nothing,
        properties.stop_is_tested_before_every_gate,
        properties.position_is_pushed_back,
    ]
    for name in FIRING:
        program = load_program(name)
        for i, row in enumerate(program.instructions):
            idle = Instruction("mov", ("y", "y"), row.label, row.delay)
            broken = replace(program, instructions=(*program.instructions[:i], idle, *program.instructions[i + 1 :]))
            assert any(not holds(check, broken) for check in checks), (
                f"{name}: nothing notices that instruction {i} is gone"
            )
        print(f"{name}: each of its {len(program.instructions)} instructions is missed when it is gone")


def holds(check: Callable[[PioProgram], None], program: PioProgram) -> bool:
    try:
        check(program)
    except AssertionError:
        return False
    return True


if __name__ == "__main__":
    figures = [int(argument) for argument in sys.argv[1:]] + [20_000, 400][len(sys.argv) - 1 :]
    random_words(figures[0], fast=True)
    random_words(figures[1], fast=False)
    missing_instructions()
