"""The board's gate hardware, driven by words and edges: the only model of emitted code in the simulator.

It models the PIO program, the DMA channel and the RP2 driver's arithmetic. tests/firmware/rp2 compares it with the real ones.
Times are microseconds of the board's clock, as in the words.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import simpy

from gen.words import GATE_END_DEG
from sim.bench.chip import Clock
from sim.bench.pin import Pin

LATENCY_US = 5  # from the detector's edge to the gate, in addition to the word's blank


@dataclass(frozen=True)
class Word:
    """One half-cycle."""

    blank_us: int
    """Time from the edge to the gate."""
    gate_us: int
    """Length of the gate; 0: not fired."""
    next_level: int
    """Level of the edge that ends it."""


@dataclass(frozen=True)
class DetectorSettings:
    """The firmware's settings of the zero-crossing detector."""

    square: bool
    """True: high through the positive half-cycle. False: a pulse for each crossing."""
    rise_us: int
    """Rising edge minus true crossing."""
    fall_us: int
    """Falling edge minus true crossing."""


class GateUnit:
    """Drives the gate pin from words and the detector's edges, while the stop circuit is closed.

    `pedal`: passed where releasing the pedal ends a weld. Gates then need a closed pedal too.
    """

    def __init__(
        self, clock: Clock, detector: Pin, stop: Pin, gate: Pin, settings: DetectorSettings, pedal: Pin | None = None
    ) -> None:
        self._clock = clock
        self._detector = detector
        self._stop = stop
        self._gate = gate
        self._pedal = pedal
        self._square = settings.square
        self._offsets = (settings.fall_us, settings.rise_us)
        self._words: dict[int, Word] = {}
        self._process: simpy.Process | None = None
        self._results: list[int] = []
        self._lead_in = 0

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        """As in the driver interface."""
        self._words[index] = self._word(delay_us, end_us, positive)

    def _word(self, delay_us: int, end_us: int, positive: int) -> Word:
        begins = end_us if delay_us < 0 else delay_us
        gate_us = 0 if delay_us < 0 else max(end_us - delay_us, 2)
        return Word(max(begins - self._offsets[positive] - LATENCY_US, 1), gate_us, 0 if positive else 1)

    def start(self, count: int, half_us: int, positive: int) -> int:
        """As in the driver interface. The first half-cycle is unfired, or the first two where the polarity requires it."""
        level = self._detector.level
        if not self._square and level:
            return 0
        edge = 1 - level if self._square else 1
        words = [self._words[i] for i in range(count)]
        self._lead_in = 2 if self._square and edge == positive else 1
        polarities = (positive, 1 - positive)[-self._lead_in :]
        words = [self._word(-1, half_us * GATE_END_DEG // 180, polarity) for polarity in polarities] + words
        self._results = []
        self._process = self._clock.env.process(self._run(words, edge, half_us * 11 // 10, half_us // 5))
        return 1

    def _run(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Generator[simpy.Event, object, None]:
        """The PIO program. Every return corresponds to its dead loop."""
        clock, window_us = self._clock, first_us
        try:
            for word in [*words, None]:
                if self._square and self._detector.level == edge:
                    return  # the end level is present as the window opens: an edge was missed
                if not self._square and self._detector.level:
                    return
                closes = clock.timeout(window_us * 1e-6)
                while self._detector.level != edge:
                    yield self._detector.changed | closes
                    if closes.processed and self._detector.level != edge:
                        return
                if word is None:
                    return  # an empty queue
                yield clock.timeout((word.blank_us + LATENCY_US) * 1e-6)
                if self._stop.level or (self._pedal is not None and not self._pedal.level):
                    return
                if word.gate_us:
                    self._gate.set(1)
                    yield clock.timeout(word.gate_us * 1e-6)
                    self._gate.set(0)
                self._results.append(1 if word.gate_us else 0)
                if self._square:
                    edge = word.next_level
                window_us = later_us
        except simpy.Interrupt:
            pass

    def done(self) -> int:
        """Number of half-cycles reported as ended, without the lead-in."""
        return max(len(self._results) - self._lead_in, 0)

    def fired(self, index: int) -> int:
        """1 when half-cycle `index` had a gate."""
        return self._results[index + self._lead_in]

    def off(self) -> int:
        """Stop with the gate low. A half-cycle cut short during its gate counts as ended and fired."""
        if self._process is not None and self._process.is_alive:
            self._process.interrupt()
            if self._gate.level:
                self._results.append(1)
        self._process = None
        self._gate.set(0)
        return 1

    def freeze(self) -> None:
        """Stop the state machine. The pin keeps its level, as after a soft reset of the interpreter."""
        if self._process is not None and self._process.is_alive:
            self._process.interrupt()
        self._process = None
