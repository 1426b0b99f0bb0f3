"""Mains and gate words for the PIO proof, and what an ideal gate makes of them. Nothing of it comes from the driver."""

import random
from dataclasses import dataclass, field

from gen.pio import PioProgram
from tests.support.rp2.pio_bench import PioBench, Steps, assemble

LATENCY_US = 5  # the driver's constant; test_rp2_driver.py holds the two together
FREQUENCIES_HZ = (47, 50, 60, 63)
PULSE_US = 300  # width of a pulse detector's pulse


@dataclass(frozen=True)
class Word:
    """One half-cycle as the firing program reads it: microseconds, `gate` 0 when not fired."""

    blank: int
    gate: int

    def packed(self, next_edge: int) -> int:
        return self.blank | (self.gate - 1 if self.gate else 0) << 14 | next_edge << 28


@dataclass
class Weld:
    """Words and the crossings they meet; `crossings_us[0]` is the first edge after the start at 0 us.

    A square detector's first edge rises when `first_rises` is 1. Each of `false_us` toggles the detector for 3 us.
    """

    program: PioProgram
    half_us: float
    words: list[Word]
    crossings_us: list[float]
    first_rises: int = 1
    false_us: list[float] = field(default_factory=list)
    stop: Steps | None = None
    pedal: Steps | None = None
    fast: bool = True

    @property
    def square(self) -> bool:
        return self.program.name.endswith("square")

    def detector(self) -> Steps:
        toggles = [t for false in self.false_us for t in (false, false + 3)]
        if self.square:
            return Steps(sorted([*self.crossings_us, *toggles]), start_level=1 - self.first_rises)
        pulses = [t for crossing in self.crossings_us for t in (crossing, crossing + PULSE_US * self.half_us / 10_000)]
        return Steps(sorted([*pulses, *toggles]))

    def edge(self, i: int) -> int:
        """1 when edge `i` rises."""
        return self.first_rises ^ (i & 1) if self.square else 1

    def bench(self, feed: bool = True) -> PioBench:
        """A bench that is started as the driver starts it: header, windows, then the words."""
        opcodes = assemble(self.program)
        bench = PioBench(opcodes, 0, self.detector(), self.stop, self.pedal, fast=self.fast)
        header = round(self.half_us * 1.1) | round(self.half_us / 5) << 14 | self.edge(0) << 28
        bench.state.transmit_fifo.append(header)
        for opcode in (0x8080, 0x604E, 0x60CE):  # pull(noblock), out(y, 14), out(isr, 14)
            bench.execute(opcode)
        bench.drain = bench.discard
        if feed:
            bench.feed.extend(word.packed(self.edge(i + 1)) for i, word in enumerate(self.words))
        return bench

    def run(self, until_us: float | None = None) -> PioBench:
        """The bench after the whole weld and two half-cycles of mains beyond the last crossing, or at `until_us`."""
        bench = self.bench()
        bench.run(self.crossings_us[-1] + 2 * self.half_us if until_us is None else until_us)
        return bench

    def ideal(self, count: int | None = None) -> list[tuple[float, int]]:
        """Gate edges (us, level) of the first `count` words: crossing + blank + the one constant, gate long."""
        edges = []
        for crossing, word in list(zip(self.crossings_us, self.words, strict=False))[:count]:
            if word.gate:
                rise = crossing + word.blank + LATENCY_US
                edges += [(rise, 1), (rise + word.gate, 0)]
        return edges


def random_weld(
    program: PioProgram, frequency_Hz: float, count: int, seed: int, scale: float = 1.0, **kwargs: object
) -> Weld:
    """A seeded weld; `scale` shortens the period.

    A third of the half-cycles is unfired, delays go up to the latest allowed (10 degrees of gate), crossings wander by half a
    degree, and a false edge comes every 0.5 ms from each crossing to the end of its gate.
    """
    dice = random.Random(seed)
    half = 500_000 / frequency_Hz * scale
    end = half * 165 / 180 - LATENCY_US
    words = []
    for _ in range(count):
        if dice.random() < 1 / 3:
            words.append(Word(int(end), 0))
        else:
            latest = end - half * 10 / 180
            blank = int(latest if dice.random() < 0.1 else dice.uniform(20 * scale, latest))
            words.append(Word(blank, int(end - blank)))
    first = dice.uniform(0.05, 1.0) * half
    wander = half / 360
    crossings = [first + i * half + dice.uniform(-wander, wander) for i in range(count + 4)]
    pulse = 0.0 if program.name.endswith("square") else PULSE_US * scale
    false = [
        crossing + k * 500 * scale for crossing in crossings for k in range(1, 40) if pulse < k * 500 * scale < end - 10
    ]
    return Weld(program, half, words, crossings, dice.randrange(2), false, **kwargs)  # type: ignore[arg-type]


def worst_error_us(got: list[tuple[float, int]], ideal: list[tuple[float, int]]) -> float:
    """The largest difference in time; AssertionError when there is an edge too many, too few or the wrong way."""
    assert [level for _, level in got] == [level for _, level in ideal]
    return max((abs(a - b) for (a, _), (b, _) in zip(got, ideal, strict=True)), default=0.0)
