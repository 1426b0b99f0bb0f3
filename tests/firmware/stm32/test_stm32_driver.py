"""The rest of the stm32 driver: period meter, restart, watchdog, inputs; and under MicroPython with the heap locked.

Sources: MicroPython's machine documentation; RM0090 for the backup registers; micropython.heap_lock; mpy-cross.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from gen.words import CONTACTOR_OPEN, FORCE, HOT, PEDAL, STOP_OPEN, WATCHDOG
from tests.support.armed_runs import allocation, run_armed
from tests.support.stm32.stm_board import DRIVER, WDT_RESET, Board, Restarted

ARMED = Path(__file__).parents[2] / "support" / "stm32" / "stm_armed_path.py"
HALF_US = 10_000


def square(count: int = 40, **settings: object) -> Board:
    return Board([4_000 + i * HALF_US for i in range(count)], **settings)  # type: ignore[arg-type]


def test_crossings_are_a_queue() -> None:
    """Four half-cycles and more are kept, oldest first, and 0 is none; armed or not."""
    board = square()
    driver = board.load()
    board.run(4_000 + 2 * HALF_US + 500)
    assert [driver.crossing_us() for _ in range(3)] == [HALF_US, HALF_US, 0]
    board.run(4_000 + 20 * HALF_US + 500)
    assert [driver.crossing_us() for _ in range(8)] == [HALF_US] * 7 + [0]
    for i in range(4):
        driver.set_half_cycle(i, 3_000, 9_166, i & 1)
    driver.start(4, HALF_US, 0)
    board.run(4_000 + 23 * HALF_US + 500)
    assert [driver.crossing_us() for _ in range(4)] == pytest.approx([HALF_US] * 3 + [0], abs=60)


def test_a_second_without_edges_ends_nothing() -> None:
    """The first edge after a dropout tells no length; the microseconds' own wrap would make one up."""
    board = Board([4_000, 14_000, 3_014_000, 3_024_000])
    driver = board.load()
    board.run(2_000_000)
    assert [driver.crossing_us() for _ in range(2)] == [HALF_US, 0]
    board.run(3_025_000)
    assert [driver.crossing_us() for _ in range(2)] == [HALF_US, 0]


def test_a_start_for_maintenance_comes_once() -> None:
    """The word outlasts the reset, and is forgotten once read."""
    board = square()
    with pytest.raises(Restarted):
        board.load().restart(1)
    kept = square(backup=board.backup)
    maintenance = kept.module()["maintenance"]
    assert (maintenance(), maintenance()) == (1, 0)


def test_a_restart_after_an_error_shows_as_a_bite() -> None:
    """Though this chip's reset has a cause of its own: the next start locks out, and the one after it does not."""
    board = square()
    with pytest.raises(Restarted):
        board.load().restart(0)
    after = square(backup=board.backup)
    assert after.module()["maintenance"]() == 0
    assert after.load().inputs() & WATCHDOG
    assert not square(backup=after.backup).load().inputs() & WATCHDOG


def test_a_bite_is_reported() -> None:
    """Only the watchdog gives this reset cause on this chip."""
    assert square(reset_cause=WDT_RESET).load().inputs() & WATCHDOG
    assert not square().load().inputs() & WATCHDOG


def test_inputs_and_signs_of_life() -> None:
    """Contacts to ground; what is not fitted reads as safe; the contactor's pulse train."""
    board = square(stop=[0.0])
    driver = board.load()
    assert driver.inputs() == PEDAL | FORCE | STOP_OPEN | CONTACTOR_OPEN
    board.levels |= {"A3": 1, "C2": 1, "C3": 1, "C5": 1}
    assert driver.inputs() == HOT | STOP_OPEN
    levels = []
    for contactor in (1, 1, 0, 0, 1):
        driver.alive(contactor)
        levels.append(board.outputs["C6"])
    assert levels == [1, 0, 0, 0, 1]
    board.received.extend(b"a")
    assert [driver.read_byte() for _ in range(2)] == [97, -1]


def test_interrupts_and_armed_path_allocate_nothing() -> None:
    """An allocation in a hard interrupt ends it with an error: every handler on every way, with the heap locked."""
    assert run_armed(DRIVER.read_text(encoding="utf-8"), ARMED).startswith("nothing allocated, 3 half-cycles")


def test_an_allocation_is_noticed() -> None:
    """Protects the test above: a product above 2**30 in an interrupt must fail it."""
    driver = DRIVER.read_text(encoding="utf-8")
    assert "end + self._window_us" in driver
    with pytest.raises(allocation()):
        run_armed(driver.replace("end + self._window_us", "end * 1000000 // 1000000 + self._window_us"), ARMED)
