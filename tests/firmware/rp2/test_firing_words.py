"""The emitted PIO words, run in an independent emulator against what an ideal gate would do.

Sources: RP2040 data sheet, chapter 3 (PIO); the emulator rp2040-pio-emulator, the assembler adafruit-circuitpython-pioasm.
"""

import adafruit_pioasm
import pytest

from gen.pio import load_program, pio_module
from tests.support.rp2.asm_recorder import run_source
from tests.support.rp2.firing_welds import FREQUENCIES_HZ, random_weld, worst_error_us
from tests.support.rp2.pio_bench import PioBench, Steps, assemble
from tests.support.rp2.pio_text import pio_text

FIRING = ("firing_square", "firing_pulse")
TOLERANCE_US = 2  # boards/pico.toml, timing_error_us


@pytest.mark.parametrize("tested", [1, 2])
@pytest.mark.parametrize("kind", ["square", "pulse"])
@pytest.mark.parametrize("function", ["firing", "meter"])
def test_both_assemblers_give_the_same_words(kind: str, function: str, tested: int) -> None:
    """Protects against a board that runs other words than those proven here: MicroPython's source and the text must agree."""
    emitted = run_source(pio_module(kind == "square", tested == 2))[function]
    independent = adafruit_pioasm.Program(pio_text(load_program(f"{function}_{kind}", tested)))
    assert emitted.words == list(independent.assembled)
    assert len(emitted.words) <= 32
    assert (emitted.wrap_target, emitted.wrap) == (
        independent.pio_kwargs["wrap_target"],
        independent.pio_kwargs["wrap"],
    )
    settings = independent.pio_kwargs
    assert (settings["in_shift_right"], settings["out_shift_right"]) == (False, True)
    assert (emitted.settings["in_shiftdir"], emitted.settings["out_shiftdir"]) == (0, 1)
    assert ("fifo_join" in emitted.settings) == ("fifo_type" in settings) == (function == "meter")
    assert ("set_init" in emitted.settings) == (function == "firing")


@pytest.mark.parametrize("frequency_Hz", FREQUENCIES_HZ)
@pytest.mark.parametrize("name", FIRING)
def test_every_word_fires_once_and_on_time(name: str, frequency_Hz: int) -> None:
    """1,000 seeded words at full period, 125 a detector and frequency, with false edges: none lost, none twice, none late."""
    program = load_program(name)
    for seed in range(5):
        weld = random_weld(program, frequency_Hz, 25, seed)
        bench = weld.run()
        assert worst_error_us(bench.gate_edges, weld.ideal()) <= TOLERANCE_US
        assert [value & 1 for _, value in bench.pushed] == [int(word.gate > 0) for word in weld.words]


@pytest.mark.parametrize("frequency_Hz", FREQUENCIES_HZ)
@pytest.mark.parametrize("name", FIRING)
def test_skipping_loops_changes_nothing_at_a_full_period(name: str, frequency_Hz: int) -> None:
    """24 of those words clock by clock: the same edges and reports to the clock, so the faster harness may be believed."""
    program = load_program(name)
    fast = random_weld(program, frequency_Hz, 3, 1)
    until_us = fast.crossings_us[3] + 100
    slow = random_weld(program, frequency_Hz, 3, 1, fast=False).run(until_us)
    quick = fast.run(until_us)
    assert slow.gate_edges == quick.gate_edges
    assert slow.pushed == quick.pushed
    assert len(slow.pushed) == 3
    assert worst_error_us(slow.gate_edges, fast.ideal()) <= TOLERANCE_US


@pytest.mark.parametrize("name", FIRING)
def test_skipping_loops_changes_nothing_at_a_short_period(name: str) -> None:
    """80 words clock by clock at a twelfth of the period, through to the dead loop and on."""
    program = load_program(name)
    for seed in range(2):
        fast = random_weld(program, 50, 20, seed, scale=1 / 12)
        until_us = fast.crossings_us[21]
        slow = random_weld(program, 50, 20, seed, scale=1 / 12, fast=False).run(until_us)
        quick = fast.run(until_us)
        assert (slow.gate_edges, slow.pushed) == (quick.gate_edges, quick.pushed)
        assert worst_error_us(slow.gate_edges, fast.ideal()) <= TOLERANCE_US


@pytest.mark.parametrize("fast", [True, False])
@pytest.mark.parametrize("name", ["meter_square", "meter_pulse"])
def test_meter_reports_every_half_cycle(name: str, fast: bool) -> None:
    """Lengths within a microsecond; a false edge gives short ones; a dropout of a second and more gives no length at all."""
    square = name == "meter_square"
    program = load_program(name)
    scale = 1 if fast else 0.1
    starts = [7000, 17000, 26900, 37100, 39000, 47000, 57000]
    if fast:
        starts += [3_000_000, 3_010_000, 3_020_000]
    toggles = starts if square else [t for start in starts for t in (start, start + 400)]
    bench = PioBench(assemble(program), 2, Steps([t * scale for t in toggles]), fast=fast)
    # The meter's IN base is the detector, not the stop circuit.
    bench.pins = lambda state: 5 * bench.detector.level(state.clock)  # type: ignore[method-assign]
    bench.drain = bench.discard
    bench.run(3_025_000 if fast else 6_500)
    got = [value + 2 for _, value in bench.pushed]
    expected = [10_000, 9_900, 10_200, 1_900, 8_000, 10_000]
    if fast:
        # A square detector synchronises on the rising edge: 57 s is one, so 3 s is a falling one and passes.
        expected += [10_000] if square else [10_000, 10_000]
    assert len(got) == len(expected)
    assert max(abs(a - b * scale) for a, b in zip(got, expected, strict=True)) <= 1, got
