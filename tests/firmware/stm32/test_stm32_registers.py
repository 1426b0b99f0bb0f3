"""What driver.py writes to timer 2 and the backup registers, value for value, and where each of its limits lies.

The properties (test_stm32_properties.py) say what a weld must never do; here a difference of a microsecond is found.
Sources: RM0090 (STM32F405 reference manual), chapters 18 (TIM2 to TIM5), 5 (PWR) and 26 (RTC); MicroPython's documentation of
machine, pyb and micropython. Interrupts begin when a test says so, and an access takes no time.
"""

from __future__ import annotations

import pytest

from gen.words import WATCHDOG
from tests.support.stm32.stm_board import PINS, PWR, TIM2, WDT_RESET, Board, Restarted
from tests.support.stm32.stm_welds import (
    BACKUP18,
    BACKUP19,
    DISARMED,
    EDGE_US,
    END_US,
    HALF_US,
    LONGEST,
    NEVER,
    OFFSETS,
    board,
    welding,
    written,
)
from tests.support.stm32.timer_model import ARR, CCER, CCMR1, CCMR2, CCR3, CNT, COMPARE_4, DIER, SMCR, UPDATE

# -- the set-up ------------------------------------------------------------------------------------------------------------


def test_pins_and_timer() -> None:
    """Which pin is what, with its pull; the timer ends no count and compares with nothing until a weld has begun."""
    made = board()
    made.load()
    pins = [call[1:] for call in made.calls if call[0] == "pin"]
    assert pins == [
        (PINS["GATE"], "out", None, 0),
        (PINS["CONTACTOR"], "out", None, 0),
        *[(PINS[name], "in", "up", None) for name in ("STOP", "PEDAL", "FORCE", "OVER_TEMPERATURE", "MIRROR")],
        (PINS["CONDUCTION"], "in", "up", None),
        (PINS["DETECTOR"], "in", "down", None),
        (PINS["DETECTOR"], "alt", "down", None),
        (PINS["CONDUCTION"], "alt", "up", None),
    ]
    assert [call for call in made.calls if call[0] in ("timer", "channel")] == [("timer", LONGEST), ("channel", NEVER)]
    assert made.emergency_bytes == 100  # as MicroPython's documentation has it
    # Timer 3 stands 0x400 above timer 2: captures off, both of channel 2's pin, on; reset by timer 2, which tells channel 3.
    sense = [(0x420, 0), (0x418, 0x0102), (0x420, 0x31), (0x408, 0x14), (0x04, 0x60)]
    assert written(made) == [*DISARMED, (CCMR1, 1), *sense]
    assert made.timer.registers[DIER] == UPDATE | COMPARE_4


@pytest.mark.parametrize("square", [True, False])
def test_which_edges_are_metered(square: bool) -> None:
    """Both of a square detector, only the rising one of a pulse."""
    made = board(square=square)
    driver = made.load()
    assert made.rising_only is not square
    made.run(EDGE_US + 4 * HALF_US + 100)
    lengths = [driver.crossing_us() for _ in range(5)]
    assert lengths == ([HALF_US] * 4 + [0] if square else [2 * HALF_US] * 2 + [0] * 3)


def test_before_the_first_start_nothing_is_done() -> None:
    """And off() is as safe then as ever."""
    made = board()
    driver = made.load()
    assert [driver.done(), driver.off(), driver.done(), driver.crossing_us()] == [0, 1, 0, 0]
    made.run(EDGE_US + HALF_US + 100)
    assert [driver.done(), driver.off(), driver.done()] == [0, 1, 0]
    assert made.gate_edges == []


@pytest.mark.parametrize(("cause", "bit"), [(0, 0), (1, 0), (2, 0), (WDT_RESET, 16), (4, 0)])
def test_only_the_watchdog_bites(cause: int, bit: int) -> None:
    """Soft reset, power, reset pin and deep sleep (0, 1, 2, 4 of MicroPython's machine on this port) are no bite."""
    made = board(reset_cause=cause)
    made.levels |= {PINS["PEDAL"]: 1, PINS["FORCE"]: 1, PINS["MIRROR"]: 1}
    assert made.load().inputs() == bit


# -- what a weld is made of ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("delay_us", "end_us", "positive", "begin", "end"),
    [
        (4_000, 9_166, 1, 3_870, 9_036),
        (4_000, 9_166, 0, 4_070, 9_236),
        (-1, 9_166, 1, 0, 9_036),
        (-1, 9_166, 0, 0, 9_236),
        (0, 9_166, 0, 70, 9_236),
        (0, 9_166, 1, 1, 9_036),
        (130, 9_166, 1, 1, 9_036),
        (131, 9_166, 1, 1, 9_036),
        (132, 9_166, 1, 2, 9_036),
        (9_163, 9_166, 1, 9_033, 9_036),
        (9_164, 9_166, 1, 9_034, 9_036),
        (9_165, 9_166, 1, 9_035, 9_037),
        (9_166, 9_166, 1, 9_036, 9_038),
        (0, 100, 1, 1, 3),
        (-1, 100, 1, 0, 2),
    ],
)
def test_each_half_cycle(delay_us: int, end_us: int, positive: int, begin: int, end: int) -> None:
    """The offset of its own edge off both ends; a fired one never 0, which would be unfired; a gate of two counts at least."""
    driver = board(config=OFFSETS).load()
    for index in (0, 1, 99):
        before = list(driver._begins), list(driver._ends)
        driver.set_half_cycle(index, delay_us, end_us, positive)
        assert (driver._begins[index + 2], driver._ends[index + 2]) == (begin, end)
        for now, then in zip((driver._begins, driver._ends), before, strict=True):
            assert [*now[: index + 2], *now[index + 3 :]] == [*then[: index + 2], *then[index + 3 :]]


@pytest.mark.parametrize(
    ("count", "most", "done"), [(3, 4, 3), (4, 4, 4), (5, 4, 4), (400, 4, 4), (4, 3, 3), (1, 1500, 1)]
)
def test_no_more_half_cycles_than_there_are(count: int, most: int, done: int) -> None:
    """Whatever is asked for, a weld ends with the table."""
    made = board(config={"MAX_HALF_CYCLES": most})
    driver = made.load()
    assert [len(kept) for kept in (driver._begins, driver._ends, driver._results)] == [most + 2] * 3
    for index in range(min(count, most)):
        driver.set_half_cycle(index, 4_000, END_US, 1 - index % 2)
    driver.start(count, HALF_US, 1)
    made.run(300_000)
    assert driver.done() == done
    assert len(made.gate_edges) == 2 * done


@pytest.mark.parametrize("half_us", [7_936, 8_333, 9_523, 10_000, 10_639])
@pytest.mark.parametrize(("level", "square"), [(0, True), (1, True), (0, False)])
@pytest.mark.parametrize("positive", [0, 1])
def test_a_start(half_us: int, level: int, square: bool, positive: int) -> None:
    """All values before the edge is let in; the first window a tenth more than a half-cycle, later ones a fifth."""
    made = board(config=OFFSETS, square=square)
    driver = made.load()
    made.run(5_000 if level else 1_000)
    made.calls.clear()
    assert driver.start(4, half_us, positive) == 1
    edge = 1 - level if square else 1
    assert written(made) == [
        *DISARMED,
        (CNT, 0),
        (ARR, LONGEST),
        (CCMR2, 0x70),
        (CCR3, NEVER),
        (CCMR2, 0x78),
        (CCER, 0x100 if edge else 0x102),
        (SMCR, 0x56),
    ]
    modes = [n for n, call in enumerate(made.calls) if call[:2] == ("pin", PINS["GATE"])]
    assert [made.calls[n][2:] for n in modes] == [("out", None, 0), ("alt", None, None)]
    assert modes[1] < made.calls.index(("write", TIM2 + SMCR, 0x56))
    passed = 2 if square and edge == positive else 1
    assert (driver._edge, driver._at, driver._last) == (edge, 2 - passed, 5)
    assert list(driver._begins[:2]) == [0, 0]
    end = half_us * 11 // 12
    rise, fall = end - 130, end + 70
    assert list(driver._ends[:2]) == ([rise, fall] if positive else [fall, rise])
    assert driver._deadline_us == made.now_us + half_us * 11 // 10
    assert driver._window_us == half_us // 5


def test_a_start_in_the_middle_of_a_pulse_is_refused() -> None:
    """The hunt for its rising edge would begin with the pin in its end state."""
    made = board(square=False)
    driver = made.load()
    made.run(EDGE_US + 100)
    made.calls.clear()
    assert driver.start(1, HALF_US, 1) == 0
    assert written(made) == DISARMED


@pytest.mark.parametrize("level", [0, 1])
def test_an_edge_during_the_start_starts_it_or_ends_it(level: int) -> None:
    """Before the trigger is set, the weld ends at once; after it, nothing is lost. Never is the wrong edge hunted."""
    for taken_us in range(0, 260, 3):
        made = board(call_us=10.0)
        driver = made.load()
        for index in range(3):
            driver.set_half_cycle(index, 4_000, END_US, 1 - index % 2)
        made.run(EDGE_US + level * HALF_US - taken_us)
        made.calls.clear()
        assert driver.start(3, HALF_US, 1) == 1
        started = made.calls.index(("write", TIM2 + SMCR, 0x56))
        looked = made.calls.index(("pin.value", PINS["DETECTOR"], None))
        # Each of the calls takes ten microseconds, and does what it does at their end.
        if 10 * (looked + 1) < taken_us <= 10 * (started + 1):
            assert made.timer.registers[SMCR] == 0
            done = 0
        else:
            assert made.timer.registers[SMCR] == 0x56
            done = 3
        made.run(200_000)
        assert driver.done() == done
        assert driver.off() == 1


# -- the interface ------------------------------------------------------------------------------------------------------------


def test_seven_lengths_are_kept_in_their_order() -> None:
    """The oldest first; what came while the queue was full is lost, and what comes after it is reported again."""
    times = [4_000.0]
    for n in range(40):
        times.append(times[-1] + 9_000 + n)
    made = Board(times, latency_us=lambda: 1.0)
    driver = made.load()
    assert len(driver._lengths) == 8
    told = []
    for edges, asked in ((13, 8), (16, 2), (18, 8), (30, 8), (33, 8), (41, 8)):
        made.run(times[edges - 1] + 2)
        told.append([driver.crossing_us() for _ in range(asked)])
    # Which lengths were in the queue each time: never more than seven, and none of those that found it full.
    expected = [
        [*range(7), None],
        [12, 13],
        [14, 15, 16, *[None] * 5],
        [*range(17, 24), None],
        [29, 30, 31, *[None] * 5],
        [*range(32, 39), None],
    ]
    assert told == [[0 if n is None else 9_000 + n for n in row] for row in expected]


@pytest.mark.parametrize(("asked_us", "told"), [(999_999, 1_500_000), (1_000_000, 1_500_000), (1_000_001, 0)])
def test_after_a_second_the_next_edge_ends_nothing(asked_us: int, told: int) -> None:
    """A second without an edge is no half-cycle that could be reported; one that was not asked for meanwhile is."""
    made = Board([4_000.0, 1_504_000.0], latency_us=lambda: 1.0)
    driver = made.load()
    made.run(4_001 + asked_us)  # metered at 4,001, one after the edge
    assert driver.crossing_us() == 0
    made.run(1_504_002)
    assert driver.crossing_us() == told


@pytest.mark.parametrize(
    ("delay_us", "off_us", "done", "fired"),
    [
        (5_000, 4_790, 0, []),
        (5_000, 4_999, 0, []),
        (5_000, 5_000, 1, [1]),
        (5_000, 9_165, 1, [1]),
        (5_000, 9_166, 1, [1]),  # ended, and its interrupt is still to come
        (5_000, 9_217, 1, [1]),
        (-1, 9_100, 0, []),
        (-1, 9_166, 1, [0]),
        (-1, 9_217, 1, [0]),
    ],
)
def test_off_reports_a_half_cycle_whose_gate_had_begun(delay_us: int, off_us: int, done: int, fired: list[int]) -> None:
    """And of one whose count had ended; of none that off() itself prevented. Once."""
    made, driver = welding([delay_us, 5_000], off_us)
    for _ in range(2):
        assert driver.off() == 1
        assert driver.done() == done
        assert [driver.fired(index) for index in range(done)] == fired
    assert written(made) == 2 * DISARMED


def test_the_backup_registers_hold_a_word_and_its_complement() -> None:
    """In registers 18 and 19, of a start for maintenance and of an error; anything else means nothing. Both are wiped."""
    words = []
    for maintain in (0, 1):
        made = board()
        with pytest.raises(Restarted):
            made.load().restart(maintain)
        low, high = made.backup[BACKUP18], made.backup[BACKUP19]
        words.append((low, high))
        assert set(made.backup) == {BACKUP18, BACKUP19, PWR}
        assert low ^ high == 2**30 - 1
        asked = [(low, high, 1), (0, 0, 0), (low, 0, 0), (0, high, 0), (high, low, 0)]
        asked += [(low + change, high, 0) for change in (1, -1)] + [(low, high + change, 0) for change in (1, -1)]
        for word, check, answer in asked:
            again = board(backup={BACKUP18: word, BACKUP19: check})
            assert again.module()["maintenance"]() == (answer and maintain)
            failed = again.load().inputs() & WATCHDOG
            assert failed == (WATCHDOG if answer and not maintain else 0)
            assert (again.backup[BACKUP18], again.backup[BACKUP19]) == (0, 0)
    assert words[0] != words[1]


@pytest.mark.parametrize(("before", "after"), [(0, 0x100), (0x100, 0x100), (0x4000, 0x4100), (0x4100, 0x4100)])
def test_the_power_control_keeps_its_other_bits(before: int, after: int) -> None:
    """DBP (bit 8) opens the backup registers; the regulator's scaling (bit 14) stays. Chapter 5.4.1."""
    made = board(backup={PWR: before})
    made.load()
    assert made.backup[PWR] == after


def test_a_restart_waits_for_the_last_answer() -> None:
    """A tenth of a second, and then it resets; the word that an error leaves is written just before."""
    made = board()
    driver = made.load()
    begin = made.now_us
    made.calls.clear()
    with pytest.raises(Restarted):
        driver.restart(0)
    assert made.now_us - begin == 100_000
    assert made.calls[-1] == ("reset",)
