"""The supply: amplitude, frequency, drift, jitter of each crossing, harmonics, sags and dropouts."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class MainsSpec:
    """The mains voltage at the outlet. Times in seconds from the start of the run."""

    voltage_V: float
    frequency_Hz: float
    drift_Hz_per_s: float = 0
    jitter_us: float = 0
    """Greatest jitter of a crossing, to either side."""
    harmonics: tuple[tuple[int, float, float], ...] = ()
    """(order, per cent of the fundamental, phase in degrees)."""
    sags: tuple[tuple[float, float, float], ...] = ()
    """(start, length, remaining fraction of the voltage). A fraction of 0 is a dropout."""
    half_waves: tuple[tuple[float, float, int], ...] = ()
    """(start, length, polarity) of spans with only positive (1) or only negative (0) half-cycles."""
    frequencies: tuple[tuple[float, float], ...] = ()
    """(time, Hz) points, joined by straight lines. Before the first, `frequency_Hz` and its drift apply."""

    def frequency_at(self, time_s: float) -> float:
        """The frequency at a time, without jitter."""
        points = self.frequencies
        if not points or time_s < points[0][0]:
            return self.frequency_Hz + self.drift_Hz_per_s * time_s
        for (from_s, from_Hz), (to_s, to_Hz) in itertools.pairwise(points):
            if time_s < to_s:
                return from_Hz + (to_Hz - from_Hz) * (time_s - from_s) / (to_s - from_s)
        return points[-1][1]


@dataclass(frozen=True)
class HalfCycle:
    """One half-cycle, from a true zero crossing to the next. Amplitude is the fundamental's peak, 0 in a dropout."""

    index: int
    start_s: float
    length_s: float
    positive: bool
    amplitude_V: float
    harmonics: tuple[tuple[int, float, float], ...] = ()

    @property
    def omega(self) -> float:
        """Angular frequency."""
        return math.pi / self.length_s

    @cached_property
    def components(self) -> tuple[tuple[float, float, float], ...]:
        """(amplitude in volts, angular frequency, phase) of each sine, by time from `start_s`."""
        sign = self.amplitude_V if self.positive else -self.amplitude_V
        flip = 0.0 if self.positive else math.pi
        return (
            (sign, self.omega, 0.0),
            *(
                (self.amplitude_V * percent / 100, order * self.omega, math.radians(phase) + order * flip)
                for order, percent, phase in self.harmonics
            ),
        )

    def voltage(self, time_s: float) -> float:
        """Instantaneous voltage, with this half-cycle's sine extended past its end."""
        t = time_s - self.start_s
        return sum(a * math.sin(w * t + p) for a, w, p in self.components)


class MainsSupply:
    """Generates half-cycles in order, and keeps them."""

    def __init__(self, spec: MainsSpec, seed: int) -> None:
        self.spec = spec
        self.half_cycles: list[HalfCycle] = []
        self._random = random.Random(seed)
        self._ideal_s = 0.0
        self._jitter_s = 0.0
        self._peak_V = spec.voltage_V * math.sqrt(2)

    def half_cycle(self, index: int) -> HalfCycle:
        """Half-cycle `index`, from 0. The first is positive."""
        made = self.half_cycles
        while len(made) <= index:
            self._make()
        return made[index]

    def at(self, time_s: float) -> HalfCycle:
        """The half-cycle under way at `time_s`."""
        guess = int(time_s * 2 * self.spec.frequency_Hz)
        half = self.half_cycle(guess)
        while half.start_s > time_s and half.index > 0:
            half = self.half_cycle(half.index - 1)
        while half.start_s + half.length_s <= time_s:
            half = self.half_cycle(half.index + 1)
        return half

    def _make(self) -> None:
        spec, index = self.spec, len(self.half_cycles)
        start = self._ideal_s + self._jitter_s
        self._ideal_s += 0.5 / spec.frequency_at(self._ideal_s)
        self._jitter_s = self._random.uniform(-spec.jitter_us, spec.jitter_us) * 1e-6
        amplitude = self._peak_V
        for sag_start, length, left in spec.sags:
            if sag_start <= start < sag_start + length:
                amplitude *= left
        for from_s, length, polarity in spec.half_waves:
            if from_s <= start < from_s + length and index % 2 == polarity:
                amplitude = 0.0
        length_s = self._ideal_s + self._jitter_s - start
        self.half_cycles.append(HalfCycle(index, start, length_s, index % 2 == 0, amplitude, spec.harmonics))
