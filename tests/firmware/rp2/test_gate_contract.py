"""One contract for the two gates: the simulator's sim/bench/gate.py, and the real driver.py on the emulated PIO words.

Both get the same half-cycles, detector edges, stop levels, underruns and moment of `off` (gate_cases.py); gate edges,
position and results must be equal.
"""

import pytest

from tests.support.gate_cases import (
    DELAYS,
    TOLERANCE_US,
    Case,
    Outcome,
    agree,
    contract,
    false_first_edges,
    mains,
    never_fired_from,
    prepare,
)
from tests.support.rp2.fake_board import DMA, Board
from tests.support.rp2.pio_bench import Steps

CONTRACT = contract(earliest_us=10)


def on_the_board(case: Case, monkeypatch: pytest.MonkeyPatch) -> Outcome:
    # The lead-in is words too.
    monkeypatch.setattr(DMA, "starved_after", None if case.words is None else case.words + case.lead_in)
    offsets: dict[str, int | None] = {"OFFSET_RISE_US": case.rise_us, "OFFSET_FALL_US": case.fall_us}
    board = Board(Steps(case.toggles_us), Steps(case.stop_us), case.square, Steps(case.let_go_us), config=offsets)
    board.release_stops = case.release_stops
    driver = board.load()
    prepare(driver, case, len(case.delays))
    board.run(case.start_us)
    started = driver.start(len(case.delays), case.half_us, case.positive)
    board.run(case.last_us)
    off = driver.off()
    board.run(case.end_us)
    done = driver.done()
    return Outcome(started, board.fire.gate_edges, done, [driver.fired(i) for i in range(done)], off)


@pytest.mark.parametrize("name", CONTRACT)
def test_contract(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whole welds, missing edges, dropouts, the stop circuit, seeded welds with false edges, and `off` at any moment."""
    case, done = CONTRACT[name]
    outcome = agree(case, on_the_board(case, monkeypatch))
    if done is not None:
        assert outcome.done == done
    assert outcome.started == int(done != 0 or case.square or case.start_us != 14_050)
    assert outcome.off == 1
    assert all(time <= case.last_us + TOLERANCE_US for time, _ in outcome.edges)


@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize("words", range(1, 8))
def test_underrun(words: int, positive: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The feeding channel stops early: the weld ends with the last word that came."""
    case = Case(mains(25), DELAYS, words=words, positive=positive)
    assert agree(case, on_the_board(case, monkeypatch)).done == words


@pytest.mark.parametrize("square", [True, False])
@pytest.mark.parametrize("positive", [0, 1])
def test_a_false_first_edge(positive: int, square: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Noise in the first window is never fired from; just before the true edge it does no harm."""
    cases = false_first_edges(positive, square)
    assert sum(never_fired_from(case, agree(case, on_the_board(case, monkeypatch))) for case in cases)
