"""The contract of the gates for the stm32 board: sim/bench/gate.py against the real driver.py on the registers of timer 2.

Interrupts come 16 to 94 us late, as MicroPython's hard interrupts were measured to.
"""

import random

import pytest

from gen.boards import boards
from tests.support.gate_cases import (
    TOLERANCE_US,
    Case,
    Outcome,
    agree,
    contract,
    false_first_edges,
    never_fired_from,
    prepare,
)
from tests.support.stm32.stm_board import Board

PYBOARD = boards()["pyboard"]
CONTRACT = contract(PYBOARD.limits.least_blank_us)


def on_the_board(case: Case, seed: int = 1, call_us: float = 0.5) -> Outcome:
    dice = random.Random(seed)
    offsets: dict[str, int | str | None] = {"OFFSET_RISE_US": case.rise_us, "OFFSET_FALL_US": case.fall_us}
    latency = lambda: dice.uniform(16, 94)  # noqa: E731
    board = Board(list(case.toggles_us), list(case.stop_us), case.square, latency, call_us, config=offsets)
    board.pedal, board.release_stops = list(case.let_go_us), case.release_stops
    driver = board.load()
    prepare(driver, case, len(case.delays))
    board.run(case.start_us)
    started = driver.start(len(case.delays), case.half_us, case.positive)
    board.run(case.last_us)
    off = driver.off()
    board.run(case.end_us)
    done = driver.done()
    return Outcome(started, board.gate_edges, done, [driver.fired(i) for i in range(done)], off)


def test_the_boards_timing_error_is_that_of_the_contract() -> None:
    assert PYBOARD.limits.timing_error_us == TOLERANCE_US


@pytest.mark.parametrize("name", CONTRACT)
def test_contract(name: str) -> None:
    """Whole welds, missing edges, dropouts, the stop circuit, seeded welds with false edges, and `off` at any moment."""
    case, done = CONTRACT[name]
    outcome = agree(case, on_the_board(case))
    if done is not None:
        assert outcome.done == done
    assert outcome.started == int(done != 0 or case.square or case.start_us != 14_050)
    assert outcome.off == 1


@pytest.mark.parametrize("square", [True, False])
@pytest.mark.parametrize("positive", [0, 1])
def test_a_false_first_edge(positive: int, square: bool) -> None:
    """Noise in the first window is never fired from; just before the true edge it does no harm."""
    assert sum(never_fired_from(case, agree(case, on_the_board(case))) for case in false_first_edges(positive, square))
