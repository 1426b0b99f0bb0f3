"""The real driver.py on a recorded board whose state machines are the emulated PIO words.

Sources: RP2040 data sheet, chapters 2.5 (DMA) and 3 (PIO); MicroPython's rp2, machine and select documentation.
"""

from typing import Any

import pytest

from gen.pio import Instruction, PioProgram, load_program
from gen.words import CONTACTOR_OPEN, FORCE, HOT, PEDAL, STOP_OPEN, WATCHDOG
from tests.support.rp2.fake_board import DMA, PINS, WDT_RESET, Board, Restarted
from tests.support.rp2.firing_welds import LATENCY_US, worst_error_us
from tests.support.rp2.pio_bench import Steps, assemble
from tests.support.rp2.pio_text import pio_text

HALF_US = 10_000
END_US = 9_166  # 165 degrees
GATE_LOW = 0xE000
TOLERANCE_US = 2


def square_board(first_us: float = 4_000, count: int = 40, **settings: Any) -> Board:
    """A detector that rises first at `first_us` and then toggles every half-cycle."""
    return Board(detector=Steps([first_us + i * HALF_US for i in range(count)]), **settings)


def prepare(driver: Any, delays: list[int], positive: int = 1) -> None:
    for i, delay in enumerate(delays):
        driver.set_half_cycle(i, delay, END_US, positive ^ (i & 1))


def ideal(delays: list[int], first_us: float) -> list[tuple[float, int]]:
    """Gate edges from the true crossings: nothing of the driver's arithmetic is in it."""
    edges = []
    for i, delay in enumerate(delays):
        if delay >= 0:
            edges += [(first_us + i * HALF_US + delay, 1), (first_us + i * HALF_US + END_US, 0)]
    return edges


def test_latency_is_the_one_constant() -> None:
    """The proof in test_firing_words.py and the driver must speak of the same latency."""
    assert Board().constant("LATENCY_US") == LATENCY_US


def test_opcodes_are_what_the_assembler_makes_of_them() -> None:
    """The driver executes instructions as numbers; a wrong one would load a wrong window."""
    rows = (("pull", ("noblock",)), ("out", ("y", 14)), ("out", ("isr", 14)), ("set", ("pins", 0)))
    program = PioProgram(
        "four", "", "a", 1, "none", tuple(Instruction(op, args, "a" if op == "pull" else "") for op, args in rows)
    )
    names = ("_PULL_NOBLOCK", "_OUT_Y_14", "_OUT_ISR_14", "_GATE_LOW")
    assert [Board().constant(name) for name in names] == assemble(program), pio_text(program)
    assert len(load_program("firing_square").instructions) <= 32


def test_gate_is_low_before_the_state_machine_has_it() -> None:
    """Protects the start-up: the first thing done to the hardware is to drive the gate low."""
    board = square_board()
    board.load()
    assert board.calls[0] == ("pin", PINS["GATE"], "out", None, 0)
    settings = next(call for call in board.calls if call[:2] == ("sm", 0))
    assert settings[2:] == (4_000_000, {"in_base": PINS["STOP"], "set_base": PINS["GATE"], "jmp_pin": PINS["DETECTOR"]})


@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize("begin_us", [500, 5_500])
@pytest.mark.parametrize("call_us", [0, 10])
def test_full_weld_on_either_polarity(positive: int, begin_us: int, call_us: int) -> None:
    """Protects timing and polarity: each gate within 2 us of crossing + delay, the lead-in unfired and uncounted."""
    board = square_board(call_us=call_us, config={"OFFSET_RISE_US": 130, "OFFSET_FALL_US": -70})
    offsets = {1: 130, 0: -70}
    # True crossings, and the detector's edges beside them.
    crossings = [4_000 + i * HALF_US for i in range(40)]
    board.detector = Steps([crossing + offsets[1 - i % 2] for i, crossing in enumerate(crossings)])
    driver = board.load()
    delays = [4_833, 2_000, -1, -1, 300, 8_500, 4_000, 4_000]
    prepare(driver, delays, positive)
    board.run(begin_us)
    assert driver.start(len(delays), HALF_US, positive) == 1
    first = next(t for t in crossings if t > begin_us)  # let pass, as one that may be false
    began = next(t for i, t in enumerate(crossings) if t > first and 1 - i % 2 == positive)
    board.run(began + 3 * HALF_US - 500)
    assert driver.done() == 3
    board.run(began + 12 * HALF_US)
    assert worst_error_us(board.fire.gate_edges, ideal(delays, began)) <= TOLERANCE_US
    assert driver.done() == len(delays)
    assert [driver.fired(i) for i in range(len(delays))] == [int(delay >= 0) for delay in delays]
    assert driver.off() == 1
    assert driver.done() == len(delays)
    assert [driver.fired(i) for i in range(len(delays))] == [int(delay >= 0) for delay in delays]


def test_pulse_detector_refuses_to_start_in_a_pulse() -> None:
    """Without polarity a pulse under way would be taken for a missed edge; the caller is told to ask again."""
    pulses = [t for i in range(20) for t in (4_000 + i * HALF_US, 4_400 + i * HALF_US)]
    board = Board(detector=Steps(pulses), square=False, config={"OFFSET_RISE_US": -200, "OFFSET_FALL_US": -200})
    driver = board.load()
    delays = [4_833, -1, 2_000, 2_000]
    prepare(driver, delays)
    board.run(4_100)
    assert driver.start(4, HALF_US, 1) == 0
    board.run(4_500)
    assert driver.start(4, HALF_US, 0) == 1
    board.run(80_000)
    assert worst_error_us(board.fire.gate_edges, ideal(delays, 24_200)) <= TOLERANCE_US
    assert driver.done() == 4


@pytest.mark.parametrize("call_us", [0, 10])
def test_off_in_mid_gate(call_us: int) -> None:
    """Pin low within a few calls, nothing fires on later edges, and the half-cycle cut short counts as ended and fired."""
    board = square_board(call_us=call_us)
    driver = board.load()
    prepare(driver, [2_000] * 8)
    assert driver.start(8, HALF_US, 1) == 1
    board.run(48_000)  # third half-cycle after two let pass, gate high
    assert board.fire.gate == 1
    assert driver.off() == 1
    assert board.fire.gate == 0
    assert board.fire.gate_edges[-1][0] <= 48_002 + 5 * call_us
    board.run(300_000)
    assert len(board.fire.gate_edges) == 6
    assert (driver.done(), driver.fired(2)) == (3, 1)


def test_off_calls_in_order() -> None:
    """DMA first, or it refills the FIFO; then stop and lower the gate with nothing but the read of the pin in between."""
    board = square_board()
    driver = board.load()
    prepare(driver, [2_000] * 8)
    driver.start(8, HALF_US, 1)
    board.run(28_000)
    board.calls.clear()
    driver.off()
    assert board.calls[:4] == [
        ("feed.abort",),
        ("sm0.active", 0),
        ("pin.value", PINS["GATE"], None),
        ("sm0.exec", GATE_LOW),
    ]
    names = [call[0] for call in board.calls]
    assert names.index("report.abort") < names.index("sm0.restart")
    assert board.calls[-1] == ("pin.value", PINS["GATE"], None)
    assert board.machines[0].tx_fifo() == 0
    assert board.machines[0].rx_fifo() == 0


@pytest.mark.parametrize("off_us", range(3_990, 14_200, 97))
def test_off_never_leaves_the_pin_high(off_us: int) -> None:
    """At any moment of a half-cycle, time passing between the calls: low afterwards and for good, and ready for the next weld."""
    board = square_board(call_us=7)
    driver = board.load()
    prepare(driver, [0, 0, 500, 500])
    driver.start(4, HALF_US, 1)
    board.run(off_us)
    assert driver.off() == 1
    edges = len(board.fire.gate_edges)
    fired = sum(level for _, level in board.fire.gate_edges)
    assert sum(driver.fired(i) for i in range(driver.done())) == fired
    board.run(71_000)
    assert len(board.fire.gate_edges) == edges
    assert driver.start(4, HALF_US, 1) == 1
    board.run(150_000)
    assert driver.done() == 4
    assert len(board.fire.gate_edges) == edges + 8


def test_an_edge_between_the_look_and_the_start_fires_nothing() -> None:
    """The pin changes while Python prepares the start: the PIO ends dead, and a retry works."""
    board = square_board(call_us=10)
    driver = board.load()
    prepare(driver, [2_000] * 4)
    board.run(3_890)
    assert driver.start(4, HALF_US, 1) == 1
    board.run(60_000)
    assert board.fire.gate_edges == []
    assert driver.done() == 0
    assert driver.off() == 1
    assert driver.start(4, HALF_US, 1) == 1
    board.run(140_000)
    assert driver.done() == 4


def test_a_second_start_replaces_the_first() -> None:
    """Words left of an earlier start must neither block the header nor be fired."""
    board = square_board()
    driver = board.load()
    prepare(driver, [300] * 6)
    driver.start(6, HALF_US, 1)
    board.run(16_000)
    prepare(driver, [5_000] * 2)
    assert driver.start(2, HALF_US, 1) == 1
    edges = len(board.fire.gate_edges)
    board.run(100_000)
    assert driver.done() == 2
    assert worst_error_us(board.fire.gate_edges[edges:], ideal([5_000] * 2, 44_000)) <= TOLERANCE_US


def test_position_comes_from_the_pio(monkeypatch: pytest.MonkeyPatch) -> None:
    """The feeding channel has read all words by the first half-cycle; `done` must not believe it. Starved, the weld ends."""
    monkeypatch.setattr(DMA, "starved_after", 4)  # two are the lead-in
    board = square_board()
    driver = board.load()
    prepare(driver, [2_000] * 4)
    driver.start(4, HALF_US, 1)
    board.run(5_000)
    assert not board.fire.feed
    assert driver.done() == 0
    board.run(100_000)
    assert driver.done() == 2
    assert len(board.fire.gate_edges) == 4


def test_words_never_wrap_or_vanish() -> None:
    """A delay inside the detector's offset clamps to the shortest blank; a fired word never looks unfired; all below 2**30."""
    board = square_board(config={"OFFSET_RISE_US": 300})
    driver = board.load()
    for delay, end in ((-1, END_US), (0, END_US), (END_US - 1, END_US), (END_US, END_US), (0, 30_000), (-1, 30_000)):
        driver.set_half_cycle(0, delay, end, 1)
        word = driver._words[2]
        assert 0 < word < 2**30
        assert word & 0x3FFF
        assert (word >> 14 & 0x3FFF > 0) == (delay >= 0)
        assert word >> 28 == 0
    assert driver._words[2] & 0x3FFF == 0x3FFF


def test_dma_never_reads_past_the_words() -> None:
    """DMA knows no bounds: what lies behind the array would be taken for gate words."""
    board = square_board(count=60, config={"MAX_HALF_CYCLES": 6})
    driver = board.load()
    prepare(driver, [2_000] * 6, positive=0)
    driver.start(20, HALF_US, 0)
    board.run(300_000)
    assert driver.done() == 6
    assert len(board.fire.gate_edges) == 12


def test_inputs() -> None:
    """Contacts to ground with pull-ups: low is closed; a broken stop wire is open; what is not fitted reads as safe.

    A mirror contact whose wire is broken reads as a contactor that is not open.
    """
    board = square_board()
    driver = board.load()
    pulled_up = {call[1] for call in board.calls if call[0] == "pin" and call[3] == "up"}
    assert pulled_up == {PINS[name] for name in ("STOP", "PEDAL", "FORCE", "OVER_TEMPERATURE", "CONDUCTION", "MIRROR")}
    assert driver.inputs() == PEDAL | FORCE | CONTACTOR_OPEN
    board.levels |= {PINS["PEDAL"]: 1, PINS["FORCE"]: 1, PINS["OVER_TEMPERATURE"]: 1, PINS["MIRROR"]: 1}
    board.stop = Steps([0])
    assert driver.inputs() == STOP_OPEN | HOT
    not_there = ("FORCE", "OVER_TEMPERATURE", "CONDUCTION", "MIRROR")
    bare = square_board(config={f"PIN_{name}": None for name in not_there}).load()
    assert bare.inputs() == PEDAL | FORCE
    assert (bare.conduction(), bare.current_ring()) == (0, ())
    assert driver.conduction() == 1
    board.levels[PINS["CONDUCTION"]] = 1
    assert driver.conduction() == 2


def test_a_restart_after_an_error_shows_as_a_bite() -> None:
    """Nobody asked for it: the next start locks out, whether or not the words of the error could be stored."""
    board = square_board()
    with pytest.raises(Restarted):
        board.load().restart(0)
    assert board.calls[-1] == ("reset",)
    assert square_board(scratch=board.scratch, reset_cause=WDT_RESET).load().inputs() & WATCHDOG
    assert not square_board().load().inputs() & WATCHDOG


def test_a_start_for_maintenance_comes_once() -> None:
    """Neither application nor watchdog in it; the reset that ends it is meant, and a bite is never taken for it."""
    board = square_board()
    with pytest.raises(Restarted):
        board.load().restart(1)
    kept = square_board(scratch=board.scratch, reset_cause=WDT_RESET)
    maintenance = kept.module()["maintenance"]
    kept.calls.clear()
    assert maintenance() == 1
    assert {call[0] for call in kept.calls} == {"mem32"}
    after = square_board(scratch=kept.scratch, reset_cause=WDT_RESET)
    assert after.module()["maintenance"]() == 0
    assert not after.load().inputs() & WATCHDOG
    bitten = square_board(scratch=after.scratch, reset_cause=WDT_RESET)
    assert bitten.module()["maintenance"]() == 0
    assert bitten.load().inputs() & WATCHDOG


def test_the_words_of_a_restart_are_complements() -> None:
    """A register that holds chance cannot look like either: each word stands beside its complement in 30 bits."""
    for word in ("_INTENT", "_MAINTAIN"):
        assert Board().constant(word) ^ Board().constant(word + "_CHECK") == 2**30 - 1
    assert Board().constant("_INTENT") != Board().constant("_MAINTAIN")


def test_files() -> None:
    """Written, flushed and synced before the report, the watchdog fed between sectors; absent, unreadable and full differ."""
    board = square_board()
    driver = board.load()
    driver.alive(0)
    assert driver.read_file("settings.a") is None
    data = bytes(range(256)) * 40
    board.calls.clear()
    assert driver.write_file("settings.a", data) == 1
    assert board.files == {"settings.a": data}
    kinds = [call[0] for call in board.calls]
    assert kinds == ["open", *["write", "wdt.feed"] * 3, "flush", "flush", "sync"]
    assert driver.read_file("settings.a") == data
    board.files["settings.a"] = b"unreadable"
    assert driver.read_file("settings.a") == b""
    board.full = True
    assert driver.write_file("settings.b", b"x") == 0


def test_watchdog_and_contactor() -> None:
    """The watchdog starts with the first sign of life, not before; the contactor gets edges only when asked for."""
    board = square_board()
    driver = board.load()
    assert not any(call[0] == "wdt" for call in board.calls)
    levels = []
    for contactor in (1, 1, 1, 0, 0, 1):
        driver.alive(contactor)
        levels.append(board.levels[PINS["CONTACTOR"]])
    assert levels == [1, 0, 1, 0, 0, 1]
    assert [call for call in board.calls if call[0] == "wdt"] == [("wdt", 2000)]
    assert board.calls.count(("wdt.feed",)) == 6


def test_crossings_are_a_queue() -> None:
    """Four half-cycles and more are kept, oldest first, and 0 is none."""
    board = square_board(first_us=4_000)
    driver = board.load()
    board.run(4_000 + 2 * HALF_US + 500)
    assert [driver.crossing_us() for _ in range(3)] == [10_000, 10_000, 0]
    board.run(4_000 + 6 * HALF_US + 500)
    assert [driver.crossing_us() for _ in range(5)] == [10_000] * 4 + [0]


def test_serial_line_and_waiting() -> None:
    """A byte or an input ends the wait; else it ends at its time, across the wrap of the clock too."""
    board = square_board(levels={PINS["PEDAL"]: 1})
    driver = board.load()
    assert driver.read_byte() == -1
    driver.wait_until(5)
    assert driver.now_ms() == 5
    board.received.extend(b"ab")
    driver.wait_until(50)
    assert driver.now_ms() == 5
    assert [driver.read_byte() for _ in range(3)] == [97, 98, -1]
    driver.write(b"ok\n")
    assert board.sent == b"ok\n"
    board.now_us = (2**30 - 2) * 1000.0
    board.machines.clear()
    driver.wait_until(3)
    assert driver.now_ms() == 3
    assert driver.rested_ms() == 0
