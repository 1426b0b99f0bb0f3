"""The load of the switch: a resistance and an inductance in series, solved in closed form for each conduction.

The work is a part of the resistance. It may change during the weld, from one conduction to the next.

i(t) = sum over the sines of (V / |Z|) (sin(wt + p - f) - sin(w t0 + p - f) exp(-(t - t0) R / L)): the textbook turn-on
transient (Hart, Power Electronics, section 5.3), for each harmonic by superposition.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.bench.mains import HalfCycle

Floats = NDArray[np.float64]
_STEPS = 48  # steps a half-cycle, for the search of the latching current and for the RMS integral
_COARSE = 12  # steps a half-cycle, for the search of the extinction: after it the current would flow back for longer
_NEAR_S = 1e-12  # precision of a crossing
_MOST_TRIES = 100
REST_S = 0.25  # after this time without current the next current welds a new joint


@dataclass(frozen=True)
class SeriesLoad:
    """Series R and L referred to the primary, in ohms and henries."""

    resistance_ohm: float
    inductance_H: float

    @classmethod
    def from_working_point(
        cls, voltage_V: float, current_A: float, load_angle_deg: float, frequency_Hz: float
    ) -> SeriesLoad:
        """The load that draws `current_A` RMS at full conduction with this load angle."""
        z, angle = voltage_V / current_A, math.radians(load_angle_deg)
        return cls(z * math.cos(angle), max(z * math.sin(angle), 1e-6 * z) / (2 * math.pi * frequency_Hz))


@dataclass(frozen=True)
class JointCurve:
    """The resistance of the work, referred to the primary, by the time since the weld's first current.

    `points`: (seconds, ohms) by rising time, joined by straight lines. It is constant before the first and after the last.
    """

    points: tuple[tuple[float, float], ...]

    def ohm(self, since_s: float) -> float:
        """The resistance `since_s` after the first current."""
        times = [time for time, _ in self.points]
        place = bisect_right(times, since_s)
        if place in (0, len(times)):
            return self.points[max(place - 1, 0)][1]
        (from_s, low), (to_s, high) = self.points[place - 1], self.points[place]
        return low + (high - low) * (since_s - from_s) / (to_s - from_s)


class BenchWork:
    """The loop with the work between the electrodes: the load of each conduction."""

    def __init__(self, loop: SeriesLoad, curve: JointCurve | None) -> None:
        self._loop = loop
        self._curve = curve
        self._first_s = self._last_s = float("-inf")

    def load_at(self, start_s: float) -> SeriesLoad:
        """The load of a current that begins at `start_s`. It is constant within one current."""
        if self._curve is None:
            return self._loop
        if start_s - self._last_s > REST_S:
            self._first_s = start_s
        self._last_s = start_s
        ohm = self._curve.ohm(start_s - self._first_s)
        return replace(self._loop, resistance_ohm=self._loop.resistance_ohm + ohm)


@dataclass(frozen=True)
class Current:
    """A current that began at zero at `start_s` of the run, in the voltage of `half`."""

    load: SeriesLoad
    half: HalfCycle
    start_s: float

    @cached_property
    def _terms(self) -> _Terms:
        resistance, inductance = self.load.resistance_ohm, self.load.inductance_H
        t0 = self.start_s - self.half.start_s
        sines = []
        for amplitude, w, phase in self.half.components:
            lag = math.atan2(w * inductance, resistance)
            sines.append((amplitude / math.hypot(resistance, w * inductance), w, w * t0 + phase - lag))
        return tuple(sines), sum(peak * math.sin(phase) for peak, _, phase in sines), resistance / inductance

    def at(self, time_s: float) -> float:
        """Amperes at `time_s`, if not interrupted."""
        return _wave(self._terms)(time_s - self.start_s)

    def sampled(self, times: Floats) -> Floats:
        """Amperes at these times, if not interrupted."""
        sines, begun, rate = self._terms
        since = times - self.start_s
        return sum(peak * np.sin(w * since + phase) for peak, w, phase in sines) - begun * np.exp(-rate * since)

    @cached_property
    def sign(self) -> int:
        """Direction of the current: that of the voltage at its beginning."""
        return 1 if self.half.voltage(self.start_s + 1e-9) > 0 else -1

    def reaches(self, level_A: float, until_s: float) -> float | None:
        """The time at which it first reaches `level_A` in its own direction. None if not before `until_s`."""
        wave, level_A, step = _wave(self._terms), self.sign * level_A, self.half.length_s / _STEPS
        length_s, low, sign = until_s - self.start_s, 0.0, self.sign
        while low < length_s:
            high = min(low + step, length_s)
            if sign * (wave(high) - level_A) >= 0:
                return self.start_s + _crossing(wave, level_A, low, high)
            low = high
        return None

    def extinction(self, holding_A: float, latched_s: float) -> float:
        """The time after `latched_s` at which it falls to the holding current."""
        wave, level_A, step = _wave(self._terms), self.sign * holding_A, self.half.length_s / _COARSE
        low, sign = latched_s - self.start_s, self.sign
        for _ in range(4 * _COARSE):
            high = low + step
            if sign * (wave(high) - level_A) <= 0:
                return self.start_s + _crossing(wave, level_A, low, high)
            low = high
        raise ArithmeticError(f"current from {self.start_s} s never ends")

    def rms_and_peak(self, end_s: float) -> tuple[float, float]:
        """(Square root of the integral of i^2 over this conduction divided by one half-cycle, greatest |i|), Simpson's rule."""
        h = (end_s - self.start_s) / _STEPS
        values = _samples(self._terms, h)
        squares = [v * v for v in values]
        integral = h / 3 * (squares[0] + squares[-1] + 4 * sum(squares[1:-1:2]) + 2 * sum(squares[2:-1:2]))
        return math.sqrt(integral / self.half.length_s), max(max(values), -min(values))

    def volt_seconds(self, from_s: float, to_s: float) -> float:
        """Integral of the voltage between two times."""
        t0 = self.half.start_s
        return sum(
            a / w * (math.cos(w * (from_s - t0) + p) - math.cos(w * (to_s - t0) + p))
            for a, w, p in self.half.components
        )


_Terms = tuple[tuple[tuple[float, float, float], ...], float, float]
"""(peak, angular frequency, phase at the beginning) of each sine; their sum at the beginning; its decay per second."""


def _wave(terms: _Terms) -> Callable[[float], float]:
    """Amperes by seconds from the beginning."""
    sines, begun, rate = terms
    sin, exp = math.sin, math.exp
    if len(sines) == 1:  # the usual mains; the general loop would take twice as long
        ((peak, w, phase),) = sines
        return lambda t: peak * sin(w * t + phase) - begun * exp(-rate * t)
    return lambda t: sum([peak * sin(w * t + phase) for peak, w, phase in sines]) - begun * exp(-rate * t)


def _samples(terms: _Terms, step_s: float) -> list[float]:
    """Amperes at `_STEPS + 1` instants from the beginning. One sine is written out: a call an instant takes longer."""
    sines, begun, rate = terms
    times = [n * step_s for n in range(_STEPS + 1)]
    if len(sines) > 1:
        return list(map(_wave(terms), times))
    ((peak, w, phase),) = sines
    sin, exp = math.sin, math.exp
    return [peak * sin(w * t + phase) - begun * exp(-rate * t) for t in times]


def _crossing(wave: Callable[[float], float], level_A: float, low: float, high: float) -> float:
    """The time at which the wave crosses a level between its end values: false position, Illinois variant."""
    below, above = wave(low) - level_A, wave(high) - level_A
    middle = high
    for _ in range(_MOST_TRIES):
        if above == below:
            break
        before, middle = middle, high - above * (high - low) / (above - below)
        value = wave(middle) - level_A
        if value == 0 or abs(middle - before) < _NEAR_S:
            break
        if value * above < 0:
            low, below = high, above
        else:
            below /= 2
        high, above = middle, value
    return middle
