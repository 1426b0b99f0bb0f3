"""What makes the stm32 board safe to fire with, each as a run on timer 2's registers, and the edit of driver.py that breaks it.

A property whose run still holds after the edit would be proven by nothing. Source of the timer's behaviour: RM0090, chapter 18.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from tests.support.stm32.stm_board import PINS, Board

HALF_US = 10_000
END_US = 9_166  # 165 degrees
EDGE_US = 4_000  # the first rising edge; the weld starts two half-cycles later, since the first edge may be false
FIRST_US = EDGE_US + 2 * HALF_US
DELAYS = [5_000, 2_000, 300, 8_500, 4_000, 4_000, 2_500, 2_500]
TOLERANCE_US = 2
Edit = tuple[str, str]


def mains(count: int = 60) -> list[float]:
    return [EDGE_US + i * HALF_US for i in range(count)]


def weld(edit: Edit, toggles: list[float] | None = None, run_us: float = 400_000, **settings: Any) -> tuple[Board, Any]:
    """A weld of DELAYS, started on the rising edge; after the start nobody but the interrupts does anything."""
    dice = random.Random(1)
    settings = {"latency_us": lambda: dice.uniform(16, 94), "call_us": 1.0} | settings
    board = Board(toggles if toggles is not None else mains(), **settings)
    driver = board.load(edit)
    for i in range(100):  # behind this weld's half-cycles stand those of an earlier, longer one
        driver.set_half_cycle(i, DELAYS[i % len(DELAYS)], END_US, 1 - i % 2)
    board.run(500)
    assert driver.start(len(DELAYS), HALF_US, 1) == 1
    board.run(run_us)
    return board, driver


def pulses(board: Board, first_us: float = FIRST_US) -> list[tuple[float, float]]:
    """When the gate rose and fell, in microseconds after the weld's first crossing."""
    edges = [*board.gate_edges, (float("inf"), 0)] if board.gate_edges and board.gate_edges[-1][1] else board.gate_edges
    return [(up - first_us, down - first_us) for (up, _), (down, _) in zip(edges[::2], edges[1::2], strict=True)]


def in_step(board: Board, first_us: float = FIRST_US) -> bool:
    """Every gate begins and ends where its half-cycle has it, and is of this weld."""
    ideal = {i: (i * HALF_US + delay, i * HALF_US + END_US) for i, delay in enumerate(DELAYS)}
    for up, down in pulses(board, first_us):
        begin, end = ideal.get(int(up // HALF_US), (-1.0, -1.0))
        if abs(up - begin) > TOLERANCE_US or abs(down - end) > TOLERANCE_US:
            return False
    return True


def fires_what_was_loaded(edit: Edit) -> bool:
    board, driver = weld(edit)
    return in_step(board) and len(pulses(board)) == driver.done() == len(DELAYS)


def a_hung_processor_fires_no_more(edit: Edit) -> bool:
    """At whatever moment interrupts are no longer served, at most the gate under way is finished."""
    for hung_us in range(3_000, 64_000, 997):
        board, _ = weld(edit, hung_from_us=hung_us)
        begun = [up for up, _ in pulses(board) if up + FIRST_US > hung_us + 300]
        if begun or not in_step(board):
            return False
    return True


def the_count_needs_no_main_loop(edit: Edit) -> bool:
    board, driver = weld(edit, run_us=590_000)
    return len(pulses(board)) == len(DELAYS) and driver.off() == 1


def a_missed_edge_ends_it(edit: Edit) -> bool:
    """The pin stands in its end state as the count ends: of a square detector, and of pulses where a false one stands there."""
    for position in range(1, 8):
        early, missing = mains(), mains()
        early[position + 2] -= 1_500
        del missing[position + 2]
        crossings = mains()
        pulses_us = [t for crossing in crossings for t in (crossing, crossing + 400)]
        false = [crossings[position + 1] - 900, crossings[position + 1] - 700]
        runs = [(early, True), (missing, True), (sorted(pulses_us + false), False)]
        for toggles, square in runs:
            board, driver = weld(edit, toggles, square=square)
            if driver.done() != position or not in_step(board, FIRST_US if square else FIRST_US - HALF_US):
                return False
    return True


def nothing_fires_after_a_dropout(edit: Edit) -> bool:
    for gone in (2, 3, 7):
        toggles = mains()
        del toggles[5 : 5 + gone]
        board, driver = weld(edit, toggles)
        if driver.done() != 3 or any(up > 3 * HALF_US for up, _ in pulses(board)):
            return False
    return True


def false_edges_do_nothing(edit: Edit) -> bool:
    noise = [crossing + t for crossing in mains() for t in (700, 704, 3_000, 3_004, 7_000, 7_100)]
    board, driver = weld(edit, sorted([*mains(), *noise]))
    return in_step(board) and driver.done() == len(DELAYS)


def stop_is_asked_before_each_gate(edit: Edit) -> bool:
    """Opened as late as a lead before the gate, and closed again after it: that gate does not come, nor a later one."""
    for position, delay in enumerate(DELAYS):
        due = FIRST_US + position * HALF_US + delay
        board, driver = weld(edit, stop=[due - 300.0, due + 100.0])
        if driver.done() != position or len(pulses(board)) != position:
            return False
    return True


def pedal_is_asked_before_each_gate(edit: Edit) -> bool:
    """Let go as late as a lead before the gate, and pressed again after it: that gate does not come, nor a later one."""
    for position, delay in enumerate(DELAYS):
        due = FIRST_US + position * HALF_US + delay
        board, driver = weld(edit, pedal=[due - 300.0, due + 100.0])
        if driver.done() != position or len(pulses(board)) != position:
            return False
    _, driver = weld(edit, pedal=[5_000.0], release_stops=False)  # with air the lever holds no force
    return bool(driver.done() == len(DELAYS))


def a_late_interrupt_fires_nothing_late(edit: Edit) -> bool:
    """One interrupt is held up for milliseconds: its gate comes in time or not at all."""
    for held_up in range(1, 34):
        served = iter(range(1000))
        board, _ = weld(edit, latency_us=lambda n=served, at=held_up: 4_500.0 if next(n) == at else 50.0)
        if not in_step(board):
            return False
    return True


def off_leaves_the_pin_low(edit: Edit) -> bool:
    """At any moment, with interrupts in between: low, for good, and ready for the next weld."""
    for off_us in range(3_990, 54_200, 1_597):
        board, driver = weld(edit, run_us=off_us, call_us=7.0)
        if driver.off() != 1:
            return False
        fired = [level for _, level in board.gate_edges]
        if sum(driver.fired(i) for i in range(driver.done())) != sum(fired):
            return False
        board.run(150_000)
        if [level for _, level in board.gate_edges] != fired:
            return False
        driver.start(4, HALF_US, 1)
        board.run(300_000)
        if driver.done() != 4:
            return False
    return True


@dataclass(frozen=True)
class Property:
    holds: Callable[[Edit], bool]
    broken_by: Edit


_NEXT_POLARITY = "mem16[_CCER] = _OUT_RISING if self._edge else _OUT_RISING | _FALLING\n        self._phase"
PROPERTIES = [
    Property(fires_what_was_loaded, (_NEXT_POLARITY, "self._phase")),
    Property(a_hung_processor_fires_no_more, ("_PWM_NEXT\n            mem32[_CCR3] = _NEVER", "_PWM_NEXT")),
    Property(the_count_needs_no_main_loop, ("self._at > self._last or missed", "missed")),
    Property(a_missed_edge_ends_it, ("self._at > self._last or missed", "self._at > self._last")),
    Property(nothing_fires_after_a_dropout, ("time.ticks_diff(edge_us, self._deadline_us) > 0", "False")),
    Property(false_edges_do_nothing, ("self._phase == _HUNT and mem16", "self._phase != _OFF and mem16")),
    Property(stop_is_asked_before_each_gate, ("self._stop.value() or ", "")),
    Property(pedal_is_asked_before_each_gate, ("let_go or ", "")),
    Property(pedal_is_asked_before_each_gate, ("config.RELEASE_STOPS and ", "")),
    Property(a_late_interrupt_fires_nothing_late, ("(begin and mem32[_CNT] + _TOO_LATE_US > begin)", "False")),
    Property(
        off_leaves_the_pin_low, ("self._disarm()\n        self._gate.init(Pin.OUT, value=0)", "self._phase = _OFF")
    ),
    Property(off_leaves_the_pin_low, ("self._ended += 1\n        low", "pass\n        low")),
]


@pytest.mark.parametrize("case", PROPERTIES, ids=lambda case: case.holds.__name__)
def test_property(case: Property) -> None:
    """Holds for the driver as it is, and no longer once the lines that it rests on are taken out."""
    assert case.holds(("", ""))
    assert not case.holds(case.broken_by)


def test_the_gate_is_the_first_thing_and_the_timers_only_in_a_weld() -> None:
    """Low before anything else; an output of the processor, not of the timer, between welds."""
    board = Board(mains())
    driver = board.load()
    assert board.calls[0] == ("pin", PINS["GATE"], "out", None, 0)
    assert board.modes[PINS["GATE"]] == "out"
    driver.set_half_cycle(0, 2_000, END_US, 1)
    driver.start(1, HALF_US, 1)
    assert board.modes[PINS["GATE"]] == "alt"
    driver.off()
    assert board.modes[PINS["GATE"]] == "out"


def test_off_reports_a_pin_that_stays_high() -> None:
    """A shorted pin reads back high whatever the driver does."""
    board = Board(mains())
    driver = board.load()
    board.level = lambda name: 1  # type: ignore[method-assign]
    assert driver.off() == 0
