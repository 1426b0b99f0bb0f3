"""The zero-crossing detector: a threshold, delays of its own, edges that are missing and edges that should not be."""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass

import simpy

from sim.mains import HalfCycle, Mains
from sim.pin import Pin

GLITCH_S = 30e-6


@dataclass(frozen=True)
class DetectorSpec:
    """`square`: high through the positive half-cycle. `pulse`: one pulse of `pulse_us` for each crossing.

    The offsets are edge minus true crossing at nominal voltage. Part of them is the time the voltage takes to reach
    `threshold_V`, and moves with amplitude. `missing`: crossings that give no edge; `false_s`: times of short glitches.
    """

    kind: str
    rise_us: float
    fall_us: float
    nominal_V: float
    threshold_V: float = 20
    pulse_us: float = 800
    missing: frozenset[int] = frozenset()
    false_s: tuple[float, ...] = ()

    def edge_s(self, half: HalfCycle) -> float:
        """When the edge for the crossing that begins `half` comes."""
        nominal_peak = self.nominal_V * math.sqrt(2)
        moved_rad = math.asin(min(1.0, self.threshold_V / half.amplitude_V)) - math.asin(
            self.threshold_V / nominal_peak
        )
        moved_s = moved_rad / half.omega
        if self.kind == "pulse" or not half.positive:
            moved_s = -moved_s  # falling below the threshold: a weak mains is early there
        return half.start_s + (self.rise_us if half.positive else self.fall_us) * 1e-6 + moved_s


class Detector:
    """Drives `pin` from the mains."""

    def __init__(self, env: simpy.Environment, spec: DetectorSpec, mains: Mains) -> None:
        self._env = env
        self._spec = spec
        self._mains = mains
        self.pin = Pin(env)
        env.process(self._crossings())
        if spec.false_s:
            env.process(self._glitches())

    def _crossings(self) -> Generator[simpy.Event, None, None]:
        env, spec, pin = self._env, self._spec, self.pin
        index = 1
        while True:
            half = self._mains.half_cycle(index)
            seen = half.amplitude_V > spec.threshold_V and index not in spec.missing
            edge_s = spec.edge_s(half) if seen else half.start_s
            if edge_s > env.now:
                yield env.timeout(edge_s - env.now)
            if seen and spec.kind == "square":
                pin.set(1 if half.positive else 0)
            elif seen:
                pin.set(1)
                yield env.timeout(spec.pulse_us * 1e-6)
                pin.set(0)
            index += 1

    def _glitches(self) -> Generator[simpy.Event, None, None]:
        for time_s in sorted(self._spec.false_s):
            if time_s > self._env.now:
                yield self._env.timeout(time_s - self._env.now)
            level = self.pin.level
            self.pin.set(1 - level)
            yield self._env.timeout(GLITCH_S)
            self.pin.set(level)
