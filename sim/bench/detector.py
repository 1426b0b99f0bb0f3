"""The zero-crossing detector: its threshold and delays, missing edges and false edges."""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass

import simpy

from sim.bench.mains import HalfCycle, MainsSupply
from sim.bench.pin import Pin

GLITCH_S = 30e-6


@dataclass(frozen=True)
class DetectorSpec:
    """The true properties of the detector, and its faults. Offsets are edge minus true crossing at nominal voltage."""

    kind: str
    """"square": high during the positive half-cycle. "pulse": one pulse for each crossing."""
    rise_us: float
    """Offset of the rising edge. It includes the time until the voltage reaches the threshold."""
    fall_us: float
    nominal_V: float
    threshold_V: float = 20
    pulse_us: float = 800
    """Length of the pulse."""
    missing: frozenset[int] = frozenset()
    """Crossings that give no edge, by number."""
    false_s: tuple[float, ...] = ()
    """Times of short glitches."""
    doubled: tuple[float, float, float] | None = None
    """(start, length, delay) of a span in which a glitch follows each edge."""
    stuck: tuple[float, float, int] | None = None
    """(start, length, level) of a span in which the level does not change."""
    drift: tuple[float, float, float] | None = None
    """Drift of both offsets: (start, us a second, greatest us)."""


class CrossingDetector:
    """Drives a pin from the mains."""

    def __init__(self, env: simpy.Environment, spec: DetectorSpec, mains: MainsSupply, pin: Pin) -> None:
        self._env = env
        self._spec = spec
        self._mains = mains
        self._pin = pin
        self._known = (0.0, 0.0)  # cache: the last amplitude and its angle
        self._nominal_rad = self._threshold_rad(spec.nominal_V * math.sqrt(2))
        self._level = 0  # the pin's level without glitch and fault
        self._held = False
        env.process(self._crossings())
        if spec.false_s:
            env.process(self._glitches())
        if spec.stuck is not None:
            env.process(self._stick(*spec.stuck))

    def _threshold_rad(self, amplitude_V: float) -> float:
        """The angle at which a voltage of this peak reaches the threshold."""
        if amplitude_V != self._known[0]:
            self._known = (amplitude_V, math.asin(min(1.0, self._spec.threshold_V / amplitude_V)))
        return self._known[1]

    def edge_s(self, half: HalfCycle) -> float:
        """The time of the edge for the crossing that begins `half`."""
        spec = self._spec
        moved_s = (self._threshold_rad(half.amplitude_V) - self._nominal_rad) / half.omega
        if spec.kind == "pulse" or not half.positive:
            moved_s = -moved_s  # the falling edge: early with a low mains voltage
        offset_us = spec.rise_us if half.positive else spec.fall_us
        if spec.drift is not None and half.start_s > spec.drift[0]:
            start_s, us_per_s, most_us = spec.drift
            moved_us = us_per_s * (half.start_s - start_s)
            offset_us += max(-most_us, min(most_us, moved_us))
        return half.start_s + offset_us * 1e-6 + moved_s

    def _set(self, level: int) -> None:
        self._level = level
        if not self._held:
            self._pin.set(level)

    def _stick(self, start_s: float, length_s: float, level: int) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(start_s)
        self._held = True
        self._pin.set(level)
        yield self._env.timeout(length_s)
        self._held = False
        self._pin.set(self._level)

    def _crossings(self) -> Generator[simpy.Event, None, None]:
        env, spec, half_cycle = self._env, self._spec, self._mains.half_cycle
        square, index = spec.kind == "square", 1
        while True:
            half = half_cycle(index)
            seen = half.amplitude_V > spec.threshold_V and index not in spec.missing
            edge_s = self.edge_s(half) if seen else half.start_s
            now = env.now
            if edge_s > now:
                yield env.timeout(edge_s - now)
            if seen and square:
                self._set(1 if half.positive else 0)
            elif seen:
                self._set(1)
                yield env.timeout(spec.pulse_us * 1e-6)
                self._set(0)
            if seen and spec.doubled and spec.doubled[0] <= edge_s < spec.doubled[0] + spec.doubled[1]:
                env.process(self._double(spec.doubled[2]))
            index += 1

    def _double(self, delay_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(delay_s)
        yield from self._glitch()

    def _glitch(self) -> Generator[simpy.Event, None, None]:
        if not self._held:
            self._pin.set(1 - self._level)
            yield self._env.timeout(GLITCH_S)
            if not self._held:
                self._pin.set(self._level)

    def _glitches(self) -> Generator[simpy.Event, None, None]:
        for time_s in sorted(self._spec.false_s):
            if time_s > self._env.now:
                yield self._env.timeout(time_s - self._env.now)
            yield from self._glitch()
