"""What a weld leaves to the next, and what a write to flash leaves, on a board that is stepped by hand."""

from __future__ import annotations

import pytest

from tests.support.app.application_machine import loaded
from tests.support.app.by_hand import FOOT, SQUEEZE_MS, holding, ready, welding
from tests.support.app.watched_board import WatchedBoard

# -- polarity ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cut", [(1, 1), (1, 2), (2, 1), (2, 2), (3, 4), (4, 3), (1, 6), (6, 1)])
def test_each_weld_begins_on_the_other_polarity(cut: tuple[int, int]) -> None:
    """Wherever the two before were cut, in so many gates; a squeeze between them changes nothing. The board watches it."""
    board = ready()
    for gates in cut:
        board.pedal = True
        board.run(SQUEEZE_MS + 30)
        for _ in range(200):
            if board.press_starts and board.press_fired == gates:
                break
            board.at(1)
        board.pedal = False
        board.at(1)
        assert board.press_fired == gates
        board.run(700)
        board.pedal = True
        board.run(100)
        board.pedal = False
        board.run(700)
        board.press_fired = 0
    last = board.last_sign
    board.pedal = True
    board.run(800)
    assert board.completed == 1
    assert board.first_positive == 1 - (last or 0)


def test_a_weld_ended_before_its_first_gate_changes_no_polarity() -> None:
    """Let go while the first half-cycle is let pass; the next weld begins as that one would have. The board watches it."""
    board = holding()
    board.pedal = False
    board.run(800)
    board.pedal = True
    board.run(SQUEEZE_MS + 15)
    for _ in range(30):
        if board.at(1) == "weld":
            break
    board.pedal = False
    assert board.at(1) == "off"
    assert (board.press_starts, board.press_fired) == (1, 0)
    board.run(800)
    board.pedal = True
    board.run(SQUEEZE_MS + 700)
    assert board.completed == 2


@pytest.mark.parametrize("gates", [0, 1, 2, 7])
def test_the_half_cycles_told_are_those_that_were_fired(gates: int) -> None:
    """Of a weld that was cut short; the one under way counts."""
    board = welding()
    while board.press_fired < gates:
        board.at(1)
    board.pedal = False
    board.at(1)
    assert board.state == "off"
    assert board.supervisor.fired == board.press_fired == gates
    assert board.supervisor.welds == 1


# -- the meter after a write ---------------------------------------------------------------------------------------------


def test_after_a_write_the_meters_queue_is_thrown_away() -> None:
    """All eight that it holds are from before; only the eighth crossing after them makes ready."""
    board = ready()
    number = board.send("select", name="test")
    while board.answer(number) is None:
        board.at(5)
    assert len(board.meter) == 8
    board.at(1)
    crossings = board.crossing_us_at
    while board.state != "ready":
        board.at(1)
    assert (board.crossing_us_at - crossings) // 10_000 == 8


def test_the_first_start_throws_the_meters_queue_away_too() -> None:
    """The first copies of the settings were written meanwhile: only the eighth crossing after that makes ready."""
    firmware, shapes, _ = loaded(FOOT)
    board = WatchedBoard(firmware, shapes, "test", 0, 0)
    board.step()
    assert len(board.meter) == 8
    board.at(1)
    crossings = board.crossing_us_at
    while board.state != "ready":
        board.at(1)
    assert (board.crossing_us_at - crossings) // 10_000 == 8


def test_a_weld_let_go_over_a_gate_that_sticks_locks_out() -> None:
    """No off time follows it, and no other weld."""
    board = welding()
    board.run(100)
    board.stuck_gate = True
    board.pedal = False
    board.at(1)
    assert (board.state, board.reason) == ("locked out", "gate pin does not go low")
    board.run(1_000)
    assert board.state == "locked out"
