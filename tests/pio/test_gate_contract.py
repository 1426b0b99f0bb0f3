"""One contract for the two gates: the simulator's sim/gate.py, and the real driver.py on the emulated PIO words.

Both get the same half-cycles, detector edges, stop levels, underruns and moment of `off`; gate edges, position and results must
be equal.
"""

import random
from dataclasses import dataclass, field
from typing import Any

import pytest
import simpy
from fake_board import DMA, Board
from pio_bench import Steps

from sim.gate import GateUnit
from sim.pin import Pin

TOLERANCE_US = 2
PULSE_US = 400


@dataclass
class Case:
    """Toggles in microseconds; `delays` from the true crossing, -1 not fired; the queue runs dry after `words`."""

    toggles_us: list[float]
    delays: list[int]
    half_us: int = 10_000
    start_us: int = 500
    positive: int = 1
    square: bool = True
    rise_us: int = 0
    fall_us: int = 0
    stop_us: list[float] = field(default_factory=list)
    words: int | None = None
    off_us: int | None = None
    end_us: int = 300_000

    @property
    def gate_end_us(self) -> int:
        return self.half_us * 11 // 12

    @property
    def lead_in(self) -> int:
        """Half-cycles that pass unfired before the first of the weld."""
        level = Steps(self.toggles_us).level(self.start_us * 4)
        return 2 if self.square and 1 - level == self.positive else 1

    @property
    def last_us(self) -> int:
        return self.end_us if self.off_us is None else self.off_us


@dataclass(frozen=True)
class Outcome:
    started: int
    edges: list[tuple[float, int]]
    done: int
    fired: list[int]
    off: int


def mains(count: int, first_us: float = 4_000, half_us: float = 10_000, square: bool = True) -> list[float]:
    """Toggles of a steady detector without offsets."""
    starts = [first_us + i * half_us for i in range(count)]
    return starts if square else [t for start in starts for t in (start, start + PULSE_US)]


def on_the_board(case: Case, monkeypatch: pytest.MonkeyPatch) -> Outcome:
    # The lead-in is words too.
    monkeypatch.setattr(DMA, "starved_after", None if case.words is None else case.words + case.lead_in)
    offsets: dict[str, int | None] = {"OFFSET_RISE_US": case.rise_us, "OFFSET_FALL_US": case.fall_us}
    board = Board(Steps(case.toggles_us), Steps(case.stop_us), case.square, config=offsets)
    driver = board.load()
    _prepare(driver, case, len(case.delays))
    board.run(case.start_us)
    started = driver.start(len(case.delays), case.half_us, case.positive)
    board.run(case.last_us)
    off = driver.off()
    board.run(case.end_us)
    done = driver.done()
    return Outcome(started, board.fire.gate_edges, done, [driver.fired(i) for i in range(done)], off)


def in_the_simulator(case: Case) -> Outcome:
    env = simpy.Environment()
    detector, stop = Pin(env), Pin(env)
    edges: list[tuple[float, int]] = []
    unit = GateUnit(
        env, detector, stop, lambda level: edges.append((env.now * 1e6, level)), case.square, case.rise_us, case.fall_us
    )

    def toggle(pin: Pin, times: list[float]) -> Any:
        for time in times:
            yield env.timeout(max(time * 1e-6 - env.now, 0))
            pin.set(1 - pin.level)

    env.process(toggle(detector, case.toggles_us))
    env.process(toggle(stop, case.stop_us))
    count = len(case.delays) if case.words is None else case.words
    _prepare(unit, case, count)
    env.run(case.start_us * 1e-6)
    started = unit.start(count, case.half_us, case.positive)
    env.run(case.last_us * 1e-6)
    off = unit.off()
    if case.last_us < case.end_us:
        env.run(case.end_us * 1e-6)
    done = unit.done()
    return Outcome(started, edges, done, [unit.fired(i) for i in range(done)], off)


def _prepare(gate: Any, case: Case, count: int) -> None:
    for i, delay in enumerate(case.delays[:count]):
        gate.set_half_cycle(i, delay, case.gate_end_us, case.positive ^ (i & 1))


def check(case: Case, monkeypatch: pytest.MonkeyPatch) -> Outcome:
    board, simulated = on_the_board(case, monkeypatch), in_the_simulator(case)
    assert [level for _, level in board.edges] == [level for _, level in simulated.edges]
    assert all(abs(a - b) <= TOLERANCE_US for (a, _), (b, _) in zip(board.edges, simulated.edges, strict=True))
    assert (board.started, board.done, board.fired, board.off) == (
        simulated.started,
        simulated.done,
        simulated.fired,
        simulated.off,
    )
    return board


DELAYS = [4_833, 2_000, -1, -1, 300, 8_500, 4_000, 4_000]


@pytest.mark.parametrize("square", [True, False])
@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize("start_us", [500, 7_000, 14_050])
def test_full_weld(start_us: int, positive: int, square: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """A whole weld from either level and towards either polarity; a pulse detector refuses in the middle of a pulse."""
    case = Case(mains(25, square=square), DELAYS, start_us=start_us, positive=positive, square=square)
    outcome = check(case, monkeypatch)
    assert outcome.started == int(square or start_us != 14_050)
    assert outcome.done == (8 if outcome.started else 0)


@pytest.mark.parametrize("seed", range(16))
def test_seeded_welds(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Words, frequencies, offsets, crossings that wander and false edges outside the windows, 16 times 12 half-cycles."""
    dice = random.Random(seed)
    square = seed % 3 != 0
    half = 500_000 // (47, 50, 60, 63)[seed % 4]
    rise, fall = (dice.randint(-40, 200), dice.randint(-40, 200)) if square else (-150, -150)
    starts = [4_000 + i * half + dice.uniform(-30, 30) + (rise if i % 2 == 0 else fall) for i in range(26)]
    toggles = starts if square else [t for start in starts for t in (start, start + PULSE_US)]
    latest = half * 155 // 180
    delays = [dice.choice((-1, dice.randint(210, latest), dice.randint(210, latest), latest)) for _ in range(12)]
    noise = [start + t for start in starts for t in range(500, half * 10 // 12, 500)]
    toggles = sorted([*toggles, *noise, *(t + 4 for t in noise)])
    case = Case(toggles, delays, half, 200, dice.randrange(2), square, rise, fall)
    assert check(case, monkeypatch).done == 12


@pytest.mark.parametrize("square", [True, False])
@pytest.mark.parametrize("positive", [0, 1])
def test_a_false_first_edge(positive: int, square: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Noise in the long first window is never fired from: each gate stands where a true crossing wants it, or there is none."""
    fired = 0
    for glitch_us in range(700, 3_950, 271):
        toggles = sorted([*mains(25, square=square), glitch_us, glitch_us + 4])
        outcome = check(Case(toggles, [3_000] * 4, positive=positive, square=square), monkeypatch)
        rises = [time for time, level in outcome.edges if level]
        sides = (4_000, 14_000) if square else (4_000,)
        first_us = sides[1 - positive] if square else sides[0]
        period = 20_000 if square else 10_000
        for n, rise in enumerate(rises):
            off = (rise - 3_000 - first_us - (10_000 * n if square else 0)) % period
            assert min(off, period - off) <= TOLERANCE_US, (glitch_us, n)
        fired += len(rises)
    assert fired  # a glitch just before the true edge does no harm


@pytest.mark.parametrize("square", [True, False])
@pytest.mark.parametrize("position", range(11))
def test_a_missing_edge_and_a_dropout(position: int, square: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """One edge gone, or six and the mains back: both end in the same half-cycle and stay ended."""
    a_half = 1 if square else 2  # toggles
    for gone in (1, 6):
        toggles = mains(25, square=square)
        del toggles[position * a_half : (position + gone) * a_half]
        case = Case(toggles, DELAYS, square=square)
        assert check(case, monkeypatch).done == min(max(position - case.lead_in, 0), 8)


@pytest.mark.parametrize("position", range(11))
def test_stop_at_each_position(position: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The stop circuit opens for 9 ms, and for good."""
    opened = 4_100 + position * 10_000
    for stop in ([opened, opened + 9_100], [opened]):
        case = Case(mains(25), DELAYS, stop_us=[float(t) for t in stop])
        assert check(case, monkeypatch).done == max(position - case.lead_in, 0)


@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize("words", range(1, 8))
def test_underrun(words: int, positive: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The feeding channel stops early: the weld ends with the last word that came."""
    assert check(Case(mains(25), DELAYS, words=words, positive=positive), monkeypatch).done == words


@pytest.mark.parametrize("off_us", range(600, 62_000, 1_237))
def test_off_at_any_moment(off_us: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Gate low at once, the count and results the same, also for a half-cycle cut short; nothing later."""
    outcome = check(Case(mains(25), DELAYS, off_us=off_us), monkeypatch)
    assert outcome.off == 1
    assert all(time <= off_us + TOLERANCE_US for time, _ in outcome.edges)
