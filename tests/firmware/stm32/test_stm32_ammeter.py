"""The pyboard's sampling of the primary current: converter, DMA round a ring, and the sample at which each gate came.

Source: RM0090, as tests/support/stm32/sampler.py models it.
"""

from __future__ import annotations

from typing import Any

import pytest

from gen.words import CURRENT_RING, GATES_STAMPED, SAMPLE_US
from tests.support.stm32.stm_board import Board
from tests.support.stm32.stm_welds import END_US, FIRST_US, HALF_US, board

FITTED = {"PIN_PRIMARY_CURRENT": "B1"}


def ramp(us: float) -> int:
    """A signal that tells its time."""
    return int(us / SAMPLE_US) % 4096


def sampling(**settings: Any) -> tuple[Board, Any]:
    made = board(config=FITTED, **settings)
    made.sampler.signal = ramp
    return made, made.load()


def test_samples_come_round_the_ring() -> None:
    """One every 120 us, each at its number modulo the ring's length, counted on where the program looks often enough."""
    made, driver = sampling()
    ring = driver.current_ring()
    assert len(ring) == CURRENT_RING
    for begin_us in (1_000.0, 210_000.0):
        made.run(begin_us)
        driver.sample()
        began_us = made.now_us
        for n in range(1, 41):
            made.run(began_us + 5_000 * n)
            assert driver.sampled() == pytest.approx(5_000 * n / SAMPLE_US, abs=1)
        taken = driver.sampled()
        newest = [ring[n % CURRENT_RING] for n in range(taken - CURRENT_RING, taken)]
        first = ramp(began_us)
        assert newest == pytest.approx([first + n for n in range(taken - CURRENT_RING, taken)], abs=1)
    assert made.sampler.pin == "B1"


@pytest.mark.parametrize("latency_us", [16.0, 94.0])
def test_each_gate_is_reported_at_its_sample(latency_us: float) -> None:
    """Of the newest gates, to two samples, before and after it comes; of no earlier weld's."""
    made, driver = sampling(latency_us=lambda: latency_us)
    driver.sample()
    began_us = made.now_us
    delays = [4_833, *[3_000] * 11]
    for i, delay in enumerate(delays):
        driver.set_half_cycle(i, delay, END_US, 1 ^ (i & 1))
    made.run(500)
    assert driver.start(len(delays), HALF_US, 1) == 1
    driver.sampled()
    assert driver.gate_sample(0) == -1
    for i, delay in enumerate(delays):
        gate_us = FIRST_US + i * HALF_US + delay
        made.run(gate_us - 2_000)
        driver.sampled()
        assert driver.gate_sample(i) == -1
        for us in (gate_us - 60, gate_us + 100, gate_us + 4_000):
            made.run(us)
            driver.sampled()
            assert -0.01 <= driver.gate_sample(i) - (gate_us - began_us) / SAMPLE_US <= 2
    assert [driver.gate_sample(i) >= 0 for i in range(len(delays) + 1)] == [
        len(delays) - GATES_STAMPED <= i < len(delays) for i in range(len(delays) + 1)
    ]
    driver.start(2, HALF_US, 1)
    driver.sampled()
    assert driver.gate_sample(0) == -1


def test_without_a_transformer_nothing_is_sampled() -> None:
    """The converter sleeps, and there is no ring."""
    made = board()
    driver = made.load()
    assert len(driver.current_ring()) == 0
    assert made.sampler.pin is None
