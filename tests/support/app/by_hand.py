"""Boards that are stepped by hand, at the beginning of each part of a weld."""

from __future__ import annotations

from tests.support.app.application_machine import loaded
from tests.support.app.watched_board import WatchedBoard

FOOT, AIR = 0, 1  # kinds of machine: the second with a force switch and a conduction sense
SQUEEZE_MS, HOLD_MS, OFF_MS = 200, 100, 500
HALF_CYCLES = 32


def ready(kind: int = FOOT, clock_ms: int = 0) -> WatchedBoard:
    """A board that has been ready for a while."""
    firmware, shapes, _ = loaded(kind)
    board = WatchedBoard(firmware, shapes, "test", clock_ms, 0)
    board.latest_ms = 0
    board.run(500)
    assert board.state == "ready"
    return board


def pressed(kind: int = FOOT, clock_ms: int = 0) -> WatchedBoard:
    """A board whose squeeze begins in this very step."""
    board = ready(kind, clock_ms)
    board.pedal = True
    board.at(1)
    assert board.at(20) == "squeeze"
    return board


def welding(kind: int = FOOT) -> WatchedBoard:
    """A board that has started its firing hardware in this very step."""
    board = pressed(kind)
    for _ in range(SQUEEZE_MS // 10 - 1):
        assert board.at(10) == "squeeze"
    assert board.at(10) == "weld"
    assert board.running
    return board


def holding(kind: int = FOOT) -> WatchedBoard:
    """A board whose hold begins in this very step."""
    board = welding(kind)
    while board.at(1) == "weld":
        pass
    assert board.state == "hold"
    return board


def stood_upon() -> WatchedBoard:
    """A board whose pedal has been down for 29.99 s since its weld."""
    board = holding()
    board.run(HOLD_MS + OFF_MS + 10)
    while board.time_ms - board.pedal_since_ms < 29_900:
        board.at(20)
    board.at(29_990 - (board.time_ms - board.pedal_since_ms))
    return board
