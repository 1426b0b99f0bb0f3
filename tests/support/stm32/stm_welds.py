"""Welds on the pyboard's model for the tests of its registers: crossings each 10 ms, and an interrupt 50 us after each edge."""

from __future__ import annotations

from typing import Any

from tests.support.stm32.stm_board import RTC, TIM2, Board
from tests.support.stm32.timer_model import CCMR2, CR1, SMCR

HALF_US = 10_000
END_US = 9_166
EDGE_US = 4_000
FIRST_US = EDGE_US + 2 * HALF_US  # the crossing of a positive weld started before the first edge
LATENCY_US = 50
NEVER, LONGEST = 0xFFFFF, 0xFFFF
OFFSETS = {"OFFSET_RISE_US": 130, "OFFSET_FALL_US": -70}
# What _disarm writes: no trigger; one-pulse mode, stopped; channel 3 forced low.
DISARMED = [(SMCR, 0), (CR1, 0x0C), (CCMR2, 0x40)]
# Chapter 26.6.20: RTC_BKP0R at 0x50, so that registers 18 and 19 stand at 0x98 and 0x9c.
BACKUP18, BACKUP19 = RTC + 0x98, RTC + 0x9C


def board(noise: tuple[float, ...] = (), **settings: Any) -> Board:
    settings = {"latency_us": lambda: float(LATENCY_US)} | settings
    return Board(sorted([*(float(EDGE_US + n * HALF_US) for n in range(40)), *noise]), **settings)


def welding(delays: list[int], run_us: float, **settings: Any) -> tuple[Board, Any]:
    """A weld from the first rising edge on, left at `run_us` after the crossing of its first half-cycle."""
    made = board(**settings)
    driver = made.load()
    for index, delay in enumerate(delays):
        driver.set_half_cycle(index, delay, END_US, 1 - index % 2)
    made.run(500)
    assert driver.start(len(delays), HALF_US, 1) == 1
    made.run(FIRST_US + run_us)
    made.calls.clear()
    return made, driver


def written(made: Board) -> list[tuple[int, int]]:
    """Registers of timer 2 and what was written to them, in order."""
    return [(call[1] - TIM2, call[2]) for call in made.calls if call[0] == "write" and call[1] < RTC]
