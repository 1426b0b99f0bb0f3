"""The conduction sense across the switch, and the board's timer of its output.

The coupler is lit by a voltage across the switch, so it is dark while current flows. Both its edges are late, and later with
age and heat. It does not respond to a voltage below its threshold.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import simpy

from gen.words import CURVE_KEPT, RUNS_ON_US
from sim.bench.chip import Clock
from sim.bench.mains import MainsSupply
from sim.bench.pin import Pin

SETTLE_US = 513  # from the gate's edge to the timer's first read
_STEP_S = 5e-6  # step of the search for a sufficient voltage after the end of a current
_MOST_STEPS = 400


@dataclass(frozen=True)
class SenseSpec:
    """The true properties of the coupler. Times in microseconds. By default it is perfect."""

    dark_us: float = 0.0
    """Delay of its response to the beginning of a current."""
    lit_us: float = 0.0
    """Delay of its response to the end of a current."""
    drift_us_per_s: float = 0.0
    """Growth of `lit_us` in a second of the run."""
    threshold_V: float = 0.0
    """Least voltage that it responds to."""
    stuck: int | None = None
    """The level at which its pin is stuck: 0 for a coupler that is always lit, 1 for a broken wire or a dead coupler."""
    blind: int | None = None
    """The polarity whose diode is dead, 1 for positive: in its half-cycles the sense is dark, as if current flowed."""


class ConductionSense:
    """Drives the board's pin: 1 while the switch conducts."""

    def __init__(self, env: simpy.Environment, spec: SenseSpec, mains: MainsSupply, carrying: Pin, pin: Pin) -> None:
        self._env = env
        self._spec = spec
        self._mains = mains
        self._carrying = carrying
        self._pin = pin
        self._dark = False
        if spec.stuck is not None:
            pin.level = spec.stuck
        else:
            pin.level = carrying.level
            carrying.watchers.append(self._changed)
            if spec.blind is not None:
                env.process(self._go_dark(spec.blind))

    def _go_dark(self, blind: int) -> Generator[simpy.Event, None, None]:
        """Dark through every half-cycle of one polarity."""
        env = self._env
        while True:
            half = self._mains.at(env.now)
            self._dark = int(half.positive) == blind
            self._pin.set(1 if self._dark else self._carrying.level)
            yield env.timeout(max(half.start_s + half.length_s - env.now, 0.0) + 1e-9)

    def _changed(self, level: int) -> None:
        spec = self._spec
        late_us = spec.dark_us if level else spec.lit_us + spec.drift_us_per_s * self._env.now
        if late_us <= 0 and not spec.threshold_V:
            self._pin.set(1 if self._dark else level)
        else:
            self._env.process(self._show(level, max(late_us, 0.0)))

    def _show(self, level: int, late_us: float) -> Generator[simpy.Event, None, None]:
        env, spec = self._env, self._spec
        if not level:
            for _ in range(_MOST_STEPS):
                if abs(self._mains.at(env.now).voltage(env.now)) >= spec.threshold_V:
                    break
                yield env.timeout(_STEP_S)
        yield env.timeout(late_us * 1e-6)
        if self._carrying.level == level:
            self._pin.set(1 if self._dark else level)


class ConductionTimer:
    """Times the current of every gate by the sense, like the board's hardware. Tests compare it with the PIO program."""

    def __init__(self, clock: Clock, gate: Pin, sense: Pin) -> None:
        self._clock = clock
        self._gate = gate
        self._sense = sense
        self._told: list[int] = []
        self._longest_us = 0
        self._process: simpy.Process | None = None
        gate.watchers.append(self._gated)

    def start(self, half_us: int) -> None:
        """Discard all timings, and time every gate from now on, each for a little less than a half-cycle."""
        if self._process is not None and self._process.is_alive:
            self._process.interrupt()
        self._process = None
        self._told = []
        self._longest_us = half_us * 99 // 100

    def reset(self) -> None:
        """The board was reset: discard all timings, and time nothing until the next start."""
        self.start(0)

    def length_us(self, gate: int) -> int:
        """As `conduction_us` of the driver interface."""
        return self._told[gate] if gate < min(len(self._told), CURVE_KEPT) else -1

    def _gated(self, level: int) -> None:
        if level and self._longest_us and (self._process is None or not self._process.is_alive):
            self._process = self._clock.env.process(self._time())

    def _time(self) -> Generator[simpy.Event, object, None]:
        clock, sense = self._clock, self._sense
        gate_s = clock.env.now
        try:
            while True:
                yield clock.timeout(SETTLE_US * 1e-6)
                if not sense.level:
                    self._told.append(0)
                    return
                closes = clock.timeout((self._longest_us - SETTLE_US) * 1e-6)
                while sense.level and not closes.processed:
                    yield sense.changed | closes
                if not sense.level:
                    self._told.append(round((clock.env.now - gate_s) * 1e6 * clock.rate))
                    return
                self._told.append(RUNS_ON_US)
                if not self._gate.level:
                    return
                gate_s = clock.env.now  # the next gate has begun already
        except simpy.Interrupt:
            pass
