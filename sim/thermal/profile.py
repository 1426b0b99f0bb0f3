"""What one weld puts into a network: constant inputs over stretches of time, nothing between them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sim.thermal.network import Array

_SAME_TIME_S = 1e-9  # far above the rounding of an hour in seconds, far below a slice of a half-cycle


@dataclass(frozen=True)
class Segment:
    """Constant inputs, in the order of the network's `inputs`, for `length_s` from `start_s` after the weld begins."""

    start_s: float
    length_s: float
    inputs: tuple[float, ...]

    @property
    def end_s(self) -> float:
        return self.start_s + self.length_s


@dataclass(frozen=True)
class PowerProfile:
    """One weld, its segments in order. Raises ValueError where they overlap or a figure has no meaning."""

    segments: tuple[Segment, ...]

    def __post_init__(self) -> None:
        if not self.segments:
            raise ValueError("a weld needs at least one segment; for no power at all give one of 0 W")
        before_s = 0.0
        for s in self.segments:
            if not (s.length_s > 0 and all(math.isfinite(x) for x in (s.start_s, s.length_s, *s.inputs))):
                raise ValueError(f"a segment needs a length above 0 s and finite figures: {s}")
            if s.start_s < before_s - _SAME_TIME_S or s.end_s <= before_s:
                raise ValueError(f"the segment at {s.start_s:g} s begins before the last one ends, at {before_s:g} s")
            if len(s.inputs) != len(self.segments[0].inputs):
                raise ValueError("all segments need the same number of inputs")
            before_s = s.end_s

    @classmethod
    def of(cls, pulses: Iterable[tuple[float, float, float]]) -> PowerProfile:
        """Of (start_s, length_s, power_W), for a network with one input."""
        return cls(tuple(Segment(start, length, (power,)) for start, length, power in pulses))

    @property
    def end_s(self) -> float:
        return self.segments[-1].end_s

    def intervals(self) -> tuple[Array, Array]:
        """(k + 1 times from 0 to the end, k x inputs in force between them), pauses included."""
        times, inputs = [0.0], []
        nothing = (0.0,) * len(self.segments[0].inputs)
        for s in self.segments:
            if s.start_s > times[-1] + _SAME_TIME_S:
                times.append(s.start_s)
                inputs.append(nothing)
            times.append(s.end_s)
            inputs.append(s.inputs)
        return np.array(times), np.array(inputs, dtype=float)
