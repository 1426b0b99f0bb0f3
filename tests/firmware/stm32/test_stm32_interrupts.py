"""What driver.py's interrupts write to timer 2, value for value, and where each of their limits lies.

Sources: as in test_stm32_registers.py.
"""

from __future__ import annotations

import random

import pytest

from tests.support.stm32.stm_board import Board
from tests.support.stm32.stm_welds import (
    DISARMED,
    EDGE_US,
    END_US,
    FIRST_US,
    HALF_US,
    LATENCY_US,
    NEVER,
    welding,
    written,
)
from tests.support.stm32.timer_model import CCER, CCMR2, CCR3, CCR4, CR1, SMCR


@pytest.mark.parametrize(("edge_us", "believed"), [(11_499, True), (11_500, True), (11_501, False)])
def test_the_first_window(edge_us: int, believed: bool) -> None:
    """11,000 us from a start at 500, the last microsecond included."""
    made = Board([float(edge_us)], latency_us=lambda: 30.0)
    driver = made.load()
    made.run(500)
    driver.start(1, HALF_US, 1)
    made.run(edge_us + 40)
    assert made.timer.registers[SMCR] == (0x56 if believed else 0)


@pytest.mark.parametrize(("after_us", "believed"), [(11_165, True), (11_166, True), (11_167, False)])
def test_a_later_window(after_us: int, believed: bool) -> None:
    """A fifth of a half-cycle after the end of the one before, counted from its edge and not from its interrupt."""
    made = Board([4_000.0, 4_000.0 + after_us], latency_us=lambda: 70.0)
    driver = made.load()
    made.run(500)
    driver.start(1, HALF_US, 1)
    made.run(4_000 + after_us + 80)
    assert made.timer.registers[SMCR] == (0x56 if believed else 0)


@pytest.mark.parametrize(
    ("delay_us", "latency_us", "asked"),
    [
        (5_000, 50, 4_800),
        (300, 50, 100),
        (300, 79, 100),
        (300, 80, 100),
        (300, 81, 101),
        (300, 94, 114),
        (-1, 94, 8_966),
    ],
)
def test_when_the_stop_is_asked(delay_us: int, latency_us: int, asked: int) -> None:
    """200 us before the gate, or before the end of one let pass; at the earliest 20 us from now. The count ends with the gate."""
    made, _ = welding([delay_us], latency_us, latency_us=lambda: float(latency_us))
    assert (made.timer.compare_4, made.timer.reload) == (asked, END_US - 1)


@pytest.mark.parametrize(("delay_us", "at_us", "loaded"), [(300, 289, True), (300, 290, True), (300, 291, False)])
def test_a_gate_is_loaded_in_time_or_not_at_all(delay_us: int, at_us: int, loaded: bool) -> None:
    """Ten microseconds before it begins is the last moment; a value that is never reached waits behind it."""
    made, driver = welding([delay_us], LATENCY_US)
    made.handlers.pop("timer")
    made.run(FIRST_US + at_us)
    driver._due(None)
    gate = [(CCMR2, 0x70), (CCR3, delay_us), (CCMR2, 0x78), (CCR3, NEVER)]
    assert written(made) == (gate if loaded else DISARMED)


def test_one_let_pass_is_never_too_late() -> None:
    """It has no gate that could be, and nothing is loaded for it."""
    made, driver = welding([-1], LATENCY_US)
    made.handlers.pop("timer")
    made.run(FIRST_US + END_US - 1)
    driver._due(None)
    assert written(made) == []
    driver._end(None)
    assert (driver.done(), driver.fired(0)) == (1, 0)


def test_a_value_left_from_the_half_cycle_before_asks_nothing() -> None:
    """A stop opened between the edge and the gate is seen, however early the gate before it was and whenever interrupts come."""
    for seed in range(60):
        dice = random.Random(seed)
        made, driver = welding(
            [300, 8_000, 8_000],
            200_000,
            latency_us=lambda dice=dice: dice.uniform(16, 94),
            call_us=dice.choice([1.0, 2.0, 5.0]),
            stop=[FIRST_US + HALF_US + 2_000.0],
        )
        assert (driver.done(), len(made.gate_edges)) == (1, 2)


@pytest.mark.parametrize("square", [True, False])
def test_the_end_of_each_half_cycle(square: bool) -> None:
    """Compare value out of reach, then the other edge of a square detector and the same of a pulse; after the last, disarmed."""
    toggles = [EDGE_US + n * HALF_US + pulse for n in range(9) for pulse in ((0,) if square else (0, 400))]
    made = Board([float(toggle) for toggle in toggles], latency_us=lambda: float(LATENCY_US), square=square)
    driver = made.load()
    for index, delay in enumerate([4_000, -1, 4_000]):
        driver.set_half_cycle(index, delay, END_US, 1 - index % 2)
    made.run(500)
    driver.start(3, HALF_US, 1)
    passed = 2 if square else 1
    for ended in range(1, passed + 4):
        made.run(EDGE_US + (ended - 1) * HALF_US + END_US)
        made.calls.clear()
        made.run(made.now_us + LATENCY_US)
        falling = square and ended % 2
        goes_on = [(CCR4, NEVER), (CCER, 0x102 if falling else 0x100)]
        assert written(made) == (goes_on if ended < passed + 3 else DISARMED)
        assert driver.done() == max(ended - passed, 0)
    assert [driver.fired(index) for index in range(3)] == [1, 0, 1]


def test_each_half_cycle_is_reported_in_its_place() -> None:
    """Fired or let pass, one after another, as it was given."""
    given = [1, 0, 0, 1, 0, 1, 1, 0, 0, 0, 1]
    made, driver = welding([4_000 if gate else -1 for gate in given], 12 * HALF_US)
    assert [driver.fired(index) for index in range(driver.done())] == given
    assert len(made.gate_edges) == 2 * sum(given)


def test_a_count_that_began_before_the_end_was_reported_ends_the_weld() -> None:
    """A spike just behind the gate starts the timer by the edge of before; the next half-cycle cannot be in step then."""
    end = FIRST_US + END_US
    for noise, done in ((), 2), ((end + 5.0, end + 10.0), 1):
        made, driver = welding([4_000, 4_000], END_US + LATENCY_US + 1, noise=noise)
        assert made.timer.registers[SMCR] == (0x56 if done == 2 else 0)
        made.run(100_000)
        assert driver.done() == done
        assert len(made.gate_edges) == 2 * done


def test_interrupts_out_of_turn_change_nothing() -> None:
    """A second line of defence: whatever timer and pin show, a handler acts in its own turn and while armed alone."""
    made, driver = welding([4_000, 4_000], -500)  # hunting
    driver._due(None)
    assert made.calls == []
    driver._changed(None)  # an edge that the hardware did not take
    assert written(made) == []
    assert driver._phase == 1
    made, driver = welding([4_000, 4_000], LATENCY_US)  # counting, nothing loaded
    made.handlers.clear()
    driver._changed(None)
    assert written(made) == []
    for handler in (driver._due, driver._end):  # in the middle of off(), which has no more than begun
        driver._armed = 0
        handler(None)
        assert written(made) == []
    driver._phase, driver._armed = 1, 0  # hunting, off() begun, the edge taken
    driver._changed(None)
    assert written(made) == []
    made, driver = welding([4_000, 4_000], 3_900)  # counting, loaded
    made.handlers.clear()
    driver._due(None)
    driver._changed(None)
    assert written(made) == []
    made, driver = welding([4_000, 4_000], LATENCY_US)
    made.handlers.clear()
    driver._end(None)  # nobody has asked the stop circuit
    assert written(made) == DISARMED
    assert driver.done() == 0
    made.timer.write(CR1, 0x0D)  # a count that nobody let in
    made.calls.clear()
    driver._changed(None)
    driver._due(None)
    assert written(made) == []
    driver.off()
    made.calls.clear()
    driver._end(None)  # it was due before off()
    assert made.calls == []


def test_the_meter_tells_edges_and_not_interrupts() -> None:
    """While armed the count says how long ago the edge was; the half-cycles let pass included."""
    dice = random.Random(3)
    _, driver = welding([4_000] * 4, 3 * HALF_US + 200, latency_us=lambda: float(dice.randint(16, 94)))
    lengths = [driver.crossing_us() for _ in range(6)]
    assert lengths == [HALF_US] * 5 + [0]
