"""The operator's foot on the pedal: presses, with bounce."""

from __future__ import annotations

import random
from collections.abc import Generator
from dataclasses import dataclass

import simpy

from sim.bench.pin import Pin


@dataclass(frozen=True)
class Press:
    """One press of the pedal."""

    start_s: float
    """Time of the press."""
    hold_s: float


@dataclass(frozen=True)
class PedalSpec:
    """The operator's presses."""

    presses: tuple[Press, ...] = ()
    bounce_ms: float = 4
    """Greatest duration of bounce at each closing and opening."""


class Pedal:
    """Drives the pedal's contact by the operator's presses."""

    def __init__(self, env: simpy.Environment, spec: PedalSpec, seed: int, pin: Pin) -> None:
        self._env = env
        self._spec = spec
        self._random = random.Random(seed)
        self._pin = pin
        env.process(self._press())

    def _press(self) -> Generator[simpy.Event, None, None]:
        for press in self._spec.presses:
            if press.start_s > self._env.now:
                yield self._env.timeout(press.start_s - self._env.now)
            yield from self._settle(1)
            yield self._env.timeout(press.hold_s)
            yield from self._settle(0)

    def _settle(self, level: int) -> Generator[simpy.Event, None, None]:
        left_s = self._random.uniform(0, self._spec.bounce_ms) * 1e-3
        self._pin.set(level)
        while left_s > 1e-4:
            part = self._random.uniform(1e-4, left_s)
            left_s -= part
            yield self._env.timeout(part)
            self._pin.toggle()
        self._pin.set(level)
