"""The pyboard's timing of each gate's current: the real driver over a model of timers 2 and 3 (RM0090, chapter 18)."""

from __future__ import annotations

import random

import pytest

from gen.words import CURVE_KEPT, RUNS_ON_US
from tests.support.rp2.timed_gates import DARK_US, TimedGate
from tests.support.stm32.stm_board import Board
from tests.support.stm32.stm_welds import END_US, FIRST_US, HALF_US, board, welding

NEAR_US = 2


def sensed(gates: list[TimedGate], delays: list[int]) -> list[float]:
    """Toggles of the sense, from low: dark around each crossing, and while a gate's current flows."""
    spans = [(FIRST_US + n * HALF_US - DARK_US, FIRST_US + n * HALF_US + DARK_US) for n in range(-2, len(delays) + 4)]
    fired = [n for n, delay in enumerate(delays) if delay >= 0]
    for n, gate in zip(fired, gates, strict=True):
        begins = FIRST_US + n * HALF_US + gate.delay_us
        if gate.flows_us:
            spans.append((begins + 80, begins + gate.flows_us))
    merged: list[list[float]] = []
    for low, high in sorted(spans):
        if merged and low <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], high)
        else:
            merged.append([low, high])
    return [time for span in merged for time in span]


def welded(delays: list[int], flows: list[float], **settings: object) -> tuple[Board, list[int]]:
    """The driver's report of a weld's gates, some time after its end."""
    gates = [TimedGate(delay, us) for delay, us in zip([d for d in delays if d >= 0], flows, strict=True)]
    made = board(sense=sensed(gates, delays), **settings)
    driver = made.load()
    for index, delay in enumerate(delays):
        driver.set_half_cycle(index, delay, END_US, 1 - index % 2)
    made.run(500)
    assert driver.start(len(delays), HALF_US, 1) == 1
    assert driver.conduction_us(0) == -1
    made.run(FIRST_US + (len(delays) + 2) * HALF_US)
    driver.off()
    return made, [driver.conduction_us(n) for n in range(len(flows))]


@pytest.mark.parametrize("latency_us", [16, 94])
@pytest.mark.parametrize("seed", range(4))
def test_every_current_is_timed(seed: int, latency_us: int) -> None:
    """Seeded firing and lengths, half-cycles without a gate between them, gates that block: to 2 us, at any latency."""
    chance = random.Random(seed)
    delays = [-1 if n % 10 in (6, 7) else chance.randrange(3_000, 7_500) for n in range(20)]
    flows = [
        0.0 if chance.random() < 0.2 else chance.uniform(HALF_US + DARK_US + 50, HALF_US + 2_500) - delay
        for delay in delays
        if delay >= 0
    ]
    _, told = welded(delays, flows, latency_us=lambda: float(latency_us))
    assert max(abs(a - b) for a, b in zip(told, flows, strict=True)) <= NEAR_US, (told, flows)


def test_a_current_that_runs_into_the_next_gate_is_reported_so() -> None:
    """The end that comes belongs to the later gate."""
    _, told = welded([4_000] * 4, [7_000, HALF_US + 50, 7_500, 7_000])
    assert (told[0], told[1], told[3]) == (7_000, RUNS_ON_US, 7_000)
    assert told[2] == pytest.approx(7_500, abs=NEAR_US)


def test_a_current_that_ends_while_the_next_gate_is_loaded_is_the_earlier_ones() -> None:
    """Between the interrupt and the gate, 200 us later, the earlier current may still end."""
    delays, flows = [5_000, 5_000], [9_900.0, 7_000.0]
    _, told = welded(delays, flows)
    assert told == pytest.approx(flows, abs=NEAR_US)


def test_a_second_weld_begins_anew() -> None:
    """What an earlier weld left is not taken for the next one's; beyond the last gate nothing is reported."""
    made, driver = welding([4_000] * 2, 4 * HALF_US, sense=sensed([TimedGate(4_000, 7_000)] * 2, [4_000] * 2))
    assert [driver.conduction_us(n) for n in range(2)] == pytest.approx([7_000, 7_000], abs=NEAR_US)
    assert driver.conduction_us(2) == driver.conduction_us(CURVE_KEPT) == -1
    made.run(FIRST_US + 5.4 * HALF_US)
    driver.start(2, HALF_US, 1)
    assert driver.conduction_us(0) == -1


def test_without_a_sense_nothing_is_timed() -> None:
    """Timer 3 is left alone."""
    made, driver = welding([4_000] * 2, 4 * HALF_US, config={"PIN_CONDUCTION": None})
    assert driver.conduction_us(0) == -1
    assert not made.sense_timer.told_of_gates


@pytest.mark.parametrize(
    "edit",
    [
        ("mem16[_TRIGGER_OUT] = _GATE_OUT", "pass"),
        ("mem16[_SENSE_SMCR] = _ZERO_AT_GATE", "pass"),
        ("mem16[_SENSE_CCMR1] = _BOTH_OF_ONE_PIN", "pass"),
        ("            gate -= 1  #", "            gate -= 0  #"),
        ("rose and dark_us > _SETTLED_US", "False"),
        ("self._gates += 1", "pass"),
    ],
)
def test_each_step_is_needed(edit: tuple[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without any one of these a current is reported wrongly."""
    load = Board.load
    delays, flows = [5_000, 5_000, 4_000, 4_000, 4_000], [9_900.0, 7_000.0, 0.0, 7_200.0, 7_100.0]
    _, told = welded(delays, flows)
    assert told == pytest.approx(flows, abs=NEAR_US)
    monkeypatch.setattr(Board, "load", lambda self: load(self, edit))
    _, told = welded(delays, flows)
    assert told != pytest.approx(flows, abs=NEAR_US)
