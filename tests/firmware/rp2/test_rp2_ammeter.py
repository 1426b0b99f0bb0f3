"""The RP2 driver's sampling of the primary current: converter, DMA round a ring, and the sample at which each gate came.

Source: RP2040 data sheet, chapters 4.9 (ADC) and 2.5 (DMA), as tests/support/rp2/converter.py models them.
"""

from __future__ import annotations

from typing import Any

import pytest

from gen.words import CURRENT_RING, GATES_STAMPED, SAMPLE_US
from tests.support.rp2.fake_board import CURRENT_PIN, PINS, Board
from tests.support.rp2.pio_bench import Steps

HALF_US = 10_000
FIRST_US = 24_000  # half-cycle 0 begins there: two are let pass


def ramp(us: float) -> int:
    """A signal that tells its time."""
    return int(us / SAMPLE_US) % 4096


def sampling(stamp_us: float = 16.0) -> tuple[Board, Any]:
    board = Board(
        detector=Steps([4_000 + i * HALF_US for i in range(60)]),
        config={"PIN_PRIMARY_CURRENT": CURRENT_PIN},
        stamp_us=stamp_us,
    )
    board.converter.signal = ramp
    return board, board.load()


def test_samples_come_round_the_ring() -> None:
    """One every 120 us, each at its number modulo the ring's length, and none of an earlier run's."""
    board, driver = sampling()
    ring = driver.current_ring()
    assert len(ring) == CURRENT_RING
    for begin_us in (1_000.0, 210_000.0):
        board.run(begin_us)
        began_us = board.now_us
        driver.sample()
        first = board.converter.signal(board.now_us)
        board.run(began_us + 200_000)
        taken = driver.sampled()
        assert taken == pytest.approx(200_000 / SAMPLE_US, abs=1)
        newest = [ring[n % CURRENT_RING] for n in range(taken - CURRENT_RING, taken)]
        assert newest == pytest.approx([first + n for n in range(taken - CURRENT_RING, taken)], abs=1)
    assert board.converter.pin == CURRENT_PIN


@pytest.mark.parametrize("stamp_us", [16.0, 94.0])
def test_each_gate_is_reported_at_its_sample(stamp_us: float) -> None:
    """Of the newest gates, to a sample; of none that has not come, and of no earlier weld's."""
    board, driver = sampling(stamp_us)
    driver.sample()
    began_us = board.now_us
    assert driver.gate_sample(0) == -1
    delays = [4_833, *[3_000] * 11]
    for i, delay in enumerate(delays):
        driver.set_half_cycle(i, delay, 9_166, 1 ^ (i & 1))
    assert driver.start(len(delays), HALF_US, 1) == 1
    for i, delay in enumerate(delays):
        gate_us = FIRST_US + i * HALF_US + delay
        board.run(gate_us)
        assert driver.gate_sample(i) == -1
        board.run(gate_us + 120)
        assert 0 <= driver.gate_sample(i) - (gate_us - began_us) / SAMPLE_US <= 2
    assert [driver.gate_sample(i) >= 0 for i in range(len(delays) + 1)] == [
        len(delays) - GATES_STAMPED <= i < len(delays) for i in range(len(delays) + 1)
    ]
    driver.off()
    driver.start(2, HALF_US, 1)
    assert driver.gate_sample(0) == -1


def test_without_a_transformer_nothing_is_sampled() -> None:
    """The converter sleeps, the gate has no interrupt, and there is no ring."""
    board = Board(detector=Steps([]))
    driver = board.load()
    assert len(driver.current_ring()) == 0
    assert board.converter.pin is None
    assert PINS["GATE"] not in board.handlers
