"""The contract of every gate: half-cycles, edges, stop levels and the moment of `off`, and what sim/bench/gate.py makes of them.

sim/bench/gate.py is the only model of emitted code; tests/firmware/rp2 and tests/firmware/stm32 hold the real drivers
against it on these cases.
"""

import random
from dataclasses import dataclass, field
from typing import Any

import simpy

from sim.bench.chip import Clock
from sim.bench.gate import DetectorSettings, GateUnit
from sim.bench.pin import Pin

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
    let_go_us: list[float] = field(default_factory=list)
    """Toggles of the pedal, which is closed at first."""
    release_stops: bool = True
    words: int | None = None
    off_us: int | None = None
    end_us: int = 300_000

    @property
    def gate_end_us(self) -> int:
        return self.half_us * 11 // 12

    @property
    def lead_in(self) -> int:
        """Half-cycles that pass unfired before the first of the weld."""
        level = sum(time <= self.start_us for time in self.toggles_us) & 1
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


def in_the_simulator(case: Case) -> Outcome:
    env = simpy.Environment()
    detector, stop, gate, pedal = Pin(env), Pin(env), Pin(env), Pin(env, 1)
    edges: list[tuple[float, int]] = []
    gate.watchers.append(lambda level: edges.append((env.now * 1e6, level)))
    settings = DetectorSettings(case.square, case.rise_us, case.fall_us)
    unit = GateUnit(Clock(env), detector, stop, gate, settings, pedal if case.release_stops else None)

    def toggle(pin: Pin, times: list[float]) -> Any:
        for time in times:
            yield env.timeout(max(time * 1e-6 - env.now, 0))
            pin.set(1 - pin.level)

    env.process(toggle(detector, case.toggles_us))
    env.process(toggle(stop, case.stop_us))
    env.process(toggle(pedal, case.let_go_us))
    count = len(case.delays) if case.words is None else case.words
    prepare(unit, case, count)
    env.run(case.start_us * 1e-6)
    started = unit.start(count, case.half_us, case.positive)
    env.run(case.last_us * 1e-6)
    off = unit.off()
    if case.last_us < case.end_us:
        env.run(case.end_us * 1e-6)
    done = unit.done()
    return Outcome(started, edges, done, [unit.fired(i) for i in range(done)], off)


def prepare(gate: Any, case: Case, count: int) -> None:
    for i, delay in enumerate(case.delays[:count]):
        gate.set_half_cycle(i, delay, case.gate_end_us, case.positive ^ (i & 1))


def agree(case: Case, board: Outcome) -> Outcome:
    """Hold what the real driver did with a case against sim/bench/gate.py, and return it."""
    simulated = in_the_simulator(case)
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


def contract(earliest_us: int) -> dict[str, tuple[Case, int | None]]:
    """Every case that all gates share, by name, with the half-cycles done where the case says how many.

    `earliest_us`: the least from an edge to a gate that the board's hardware can do.
    """
    delays = [max(delay, earliest_us) if delay >= 0 else delay for delay in DELAYS]
    cases: dict[str, tuple[Case, int | None]] = {}
    for square in (True, False):
        kind = "square" if square else "pulse"
        for positive in (0, 1):
            for start_us in (500, 7_000, 14_050):
                # A pulse detector refuses in the middle of a pulse.
                done = 8 if square or start_us != 14_050 else 0
                case = Case(mains(25, square=square), delays, start_us=start_us, positive=positive, square=square)
                cases[f"whole weld, {kind}, {positive}, from {start_us}"] = case, done
        for position in range(11):
            for gone in (1, 6):
                toggles, a_half = mains(25, square=square), 1 if square else 2
                del toggles[position * a_half : (position + gone) * a_half]
                case = Case(toggles, delays, square=square)
                cases[f"{gone} gone at {position}, {kind}"] = case, min(max(position - case.lead_in, 0), 8)
    for seed in range(16):
        cases[f"seed {seed}"] = _seeded(seed, earliest_us), 12
    for position in range(11):
        opened = 4_100.0 + position * 10_000
        for name, stop in (("for 9 ms", [opened, opened + 9_100]), ("for good", [opened])):
            case = Case(mains(25), delays, stop_us=stop)
            cases[f"stopped {name} at {position}"] = case, max(position - case.lead_in, 0)
            case = Case(mains(25), delays, let_go_us=stop)
            cases[f"let go {name} at {position}"] = case, max(position - case.lead_in, 0)
    cases["let go with air"] = Case(mains(25), delays, let_go_us=[30_000.0], release_stops=False), 8
    for off_us in range(600, 62_000, 1_237):
        cases[f"off at {off_us}"] = Case(mains(25), delays, off_us=off_us), None
    return cases


def _seeded(seed: int, earliest_us: int) -> Case:
    """Words, frequencies, offsets, crossings that wander and false edges outside the windows: 12 half-cycles."""
    dice = random.Random(seed)
    square = seed % 3 != 0
    half = 500_000 // (47, 50, 60, 63)[seed % 4]
    rise, fall = (dice.randint(-40, 200), dice.randint(-40, 200)) if square else (-150, -150)
    starts = [4_000 + i * half + dice.uniform(-30, 30) + (rise if i % 2 == 0 else fall) for i in range(26)]
    toggles = starts if square else [t for start in starts for t in (start, start + PULSE_US)]
    latest, earliest = half * 155 // 180, 200 + earliest_us
    delays = [
        dice.choice((-1, dice.randint(earliest, latest), dice.randint(earliest, latest), latest)) for _ in range(12)
    ]
    noise = [start + t for start in starts for t in range(500, half * 10 // 12, 500)]
    toggles = sorted([*toggles, *noise, *(t + 4 for t in noise)])
    return Case(toggles, delays, half, 200, dice.randrange(2), square, rise, fall)


def false_first_edges(positive: int, square: bool) -> list[Case]:
    """Noise in the long first window."""
    glitches = range(700, 3_950, 271)
    toggles = [sorted([*mains(25, square=square), float(us), us + 4.0]) for us in glitches]
    return [Case(each, [3_000] * 4, positive=positive, square=square) for each in toggles]


def never_fired_from(case: Case, outcome: Outcome) -> int:
    """Hold a case of `false_first_edges` to it: each gate stands where a true crossing wants it. Returns how many there are."""
    rises = [time for time, level in outcome.edges if level]
    first_us, period = (14_000 - 10_000 * case.positive, 20_000) if case.square else (4_000, 10_000)
    for n, rise in enumerate(rises):
        off = (rise - 3_000 - first_us - (10_000 * n if case.square else 0)) % period
        assert min(off, period - off) <= TOLERANCE_US, (case.toggles_us[:2], n)
    return len(rises)
