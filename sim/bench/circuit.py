"""The load as the switch sees it: a resistance and an inductance in series, solved in closed form for each conduction.

i(t) = sum over the sines of (V / |Z|) (sin(wt + p - f) - sin(w t0 + p - f) exp(-(t - t0) R / L)): the textbook turn-on
transient (Hart, Power Electronics, section 5.3), for each harmonic by superposition.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from sim.bench.mains import HalfCycle

_STEPS = 48  # of the search for extinction, and of the RMS integral, a half-cycle
_HALVINGS = 30


@dataclass(frozen=True)
class SeriesLoad:
    """Series R and L seen from the primary, in ohms and henries."""

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
class Current:
    """A current that began at zero at `start_s` of the run, in the voltage of `half`."""

    load: SeriesLoad
    half: HalfCycle
    start_s: float

    @cached_property
    def _terms(self) -> tuple[tuple[float, float, float, float, float], ...]:
        """(peak, angular frequency, phase, lag, sine at the beginning) of each sine."""
        resistance, inductance = self.load.resistance_ohm, self.load.inductance_H
        t0 = self.start_s - self.half.start_s
        terms = []
        for amplitude, w, phase in self.half.components:
            lag = math.atan2(w * inductance, resistance)
            peak = amplitude / math.hypot(resistance, w * inductance)
            terms.append((peak, w, phase, lag, math.sin(w * t0 + phase - lag)))
        return tuple(terms)

    def at(self, time_s: float) -> float:
        """Amperes at `time_s`, as long as nothing interrupts it."""
        t, t0 = time_s - self.half.start_s, self.start_s - self.half.start_s
        decay = math.exp(-(t - t0) * self.load.resistance_ohm / self.load.inductance_H)
        total = 0.0
        for peak, w, phase, lag, begun in self._terms:
            total += peak * (math.sin(w * t + phase - lag) - begun * decay)
        return total

    @cached_property
    def sign(self) -> int:
        """Direction of the current: that of the voltage where it begins."""
        return 1 if self.half.voltage(self.start_s + 1e-9) > 0 else -1

    def reaches(self, level_A: float, until_s: float) -> float | None:
        """When it first reaches `level_A` in its own direction, or None if not before `until_s`."""
        sign, step = self.sign, self.half.length_s / _STEPS
        low = self.start_s
        while low < until_s:
            high = min(low + step, until_s)
            if sign * self.at(high) >= level_A:
                return self._bisect(low, high, level_A, rising=True)
            low = high
        return None

    def extinction(self, holding_A: float, latched_s: float) -> float:
        """When it falls to the holding current, some time after `latched_s`."""
        sign, step = self.sign, self.half.length_s / _STEPS
        low = latched_s
        for _ in range(4 * _STEPS):
            high = low + step
            if sign * self.at(high) <= holding_A:
                return self._bisect(low, high, holding_A, rising=False)
            low = high
        raise ArithmeticError(f"current from {self.start_s} s never ends")

    def _bisect(self, low: float, high: float, level_A: float, rising: bool) -> float:
        sign = self.sign
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            above = sign * self.at(middle) >= level_A
            low, high = (low, middle) if above == rising else (middle, high)
        return high

    def rms_and_peak(self, end_s: float) -> tuple[float, float]:
        """(Square root of the integral of i^2 over this conduction divided by one half-cycle, greatest |i|), Simpson's rule."""
        h = (end_s - self.start_s) / _STEPS
        values = [self.at(self.start_s + n * h) for n in range(_STEPS + 1)]
        squares = [v * v for v in values]
        integral = h / 3 * (squares[0] + squares[-1] + 4 * sum(squares[1:-1:2]) + 2 * sum(squares[2:-1:2]))
        return math.sqrt(integral / self.half.length_s), max(abs(v) for v in values)

    def volt_seconds(self, from_s: float, to_s: float) -> float:
        """Integral of the voltage between two times."""
        t0 = self.half.start_s
        return sum(
            a / w * (math.cos(w * (from_s - t0) + p) - math.cos(w * (to_s - t0) + p))
            for a, w, p in self.half.components
        )
