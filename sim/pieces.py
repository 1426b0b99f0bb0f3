"""One piece of a transformer's current: between two events the circuit is linear, its currents decays and sines.

Current and flux are in closed form, so the end of a piece is found by bracketing and not by stepping, and the squares
for heating are integrated exactly.
"""

from __future__ import annotations

import math
from typing import NamedTuple

_NODES = 16  # looked at in a half-cycle: between two of them the current and the flux turn once at most
_FIRST = 1e-3  # of a step: where the scan starts. A swing shorter than this, a hundredth of a degree, is not seen
_TOLERANCE = 1e-12  # of a step

Decay = tuple[float, float, float]
Sine = tuple[float, float, float, float, float]
State = tuple[float, float, float, float]


class Event(NamedTuple):
    """How a piece ends, `after_s` from its start: "zero" current, flux past "upper" or "lower" limit, or "end" of span.

    `direction` is the sign of the primary current in the piece. The peaks are the greatest magnitudes within it.
    """

    kind: str
    after_s: float
    direction: int
    current_A: float
    flux_Vs: float
    peak_primary_A: float
    peak_secondary_A: float
    peak_flux_Vs: float


class Squares(NamedTuple):
    """Integrals over a piece: primary and secondary current squared (A2 s), and the primary current (C)."""

    primary_A2s: float
    secondary_A2s: float
    charge_C: float


class Piece(NamedTuple):
    """Primary current and flux of the magnetising branch, by seconds from the piece's start.

    `decays`: (rate in 1/s, amplitude in the current, in the flux). `sines`: (angular frequency; cosine and sine
    amplitude in the current; in the flux). The magnetising current is `flux / inductance_H + offset_A`; the secondary
    carries the rest.
    """

    decays: tuple[Decay, ...]
    sines: tuple[Sine, ...]
    inductance_H: float
    offset_A: float

    def at(self, s: float) -> State:
        """Primary current, its slope, flux, its slope."""
        current = current_slope = flux_slope = 0.0
        flux = -self.inductance_H * self.offset_A
        for rate, a, b in self.decays:
            e = math.exp(-rate * s)
            a *= e
            b *= e
            current += a
            flux += b
            current_slope -= rate * a
            flux_slope -= rate * b
        for w, ac, as_, bc, bs in self.sines:
            c, d = math.cos(w * s), math.sin(w * s)
            current += ac * c + as_ * d
            flux += bc * c + bs * d
            current_slope += w * (as_ * c - ac * d)
            flux_slope += w * (bs * c - bc * d)
        return current, current_slope, flux, flux_slope

    def secondary(self, current_A: float, flux_Vs: float) -> float:
        """Secondary current, referred to the primary, at this primary current and flux."""
        return current_A - flux_Vs / self.inductance_H - self.offset_A

    def squares(self, length_s: float) -> Squares:
        """Exact integrals from the piece's start."""
        t, inverse = length_s, 1 / self.inductance_H
        first = second = charge = 0.0
        decays = [(rate, a, a - b * inverse) for rate, a, b in self.decays]
        sines = [(w, ac, as_, ac - bc * inverse, as_ - bs * inverse) for w, ac, as_, bc, bs in self.sines]
        for n, (rate, a, a2) in enumerate(decays):
            charge += a * -math.expm1(-rate * t) / rate
            for m in range(n, len(decays)):
                other, b, b2 = decays[m]
                weight = -math.expm1(-(rate + other) * t) / (rate + other) * (1 if m == n else 2)
                first += a * b * weight
                second += a2 * b2 * weight
        for n, (w, ac, as_, bc, bs) in enumerate(sines):
            c, d = math.cos(w * t), math.sin(w * t)
            charge += (ac * d + as_ * (1 - c)) / w
            cos2, sin2, both = t / 2 + d * c / (2 * w), t / 2 - d * c / (2 * w), d * d / w
            first += ac * ac * cos2 + as_ * as_ * sin2 + ac * as_ * both
            second += bc * bc * cos2 + bs * bs * sin2 + bc * bs * both
            for rate, a, a2 in decays:
                e = math.exp(-rate * t)
                scale = 2 / (rate * rate + w * w)
                cosine, sine = (rate + e * (w * d - rate * c)) * scale, (w - e * (rate * d + w * c)) * scale
                first += a * (ac * cosine + as_ * sine)
                second += a2 * (bc * cosine + bs * sine)
            for v, cc, cs, dc, ds in sines[n + 1 :]:
                add, sub = w + v, w - v
                sin_add, sin_sub = math.sin(add * t) / add, math.sin(sub * t) / sub
                cos_add, cos_sub = (1 - math.cos(add * t)) / add, (1 - math.cos(sub * t)) / sub
                cc_, ss_, sc_, cs_ = sin_sub + sin_add, sin_sub - sin_add, cos_add + cos_sub, cos_add - cos_sub
                first += ac * cc * cc_ + as_ * cs * ss_ + as_ * cc * sc_ + ac * cs * cs_
                second += bc * dc * cc_ + bs * ds * ss_ + bs * dc * sc_ + bc * ds * cs_
        return Squares(first, second, charge)

    def _root(self, low: float, high: float, index: int, level: float) -> float:
        """Where the current (index 0) or the flux (2) passes `level` between two points: Newton, bracketed."""
        rising = self.at(low)[index] < level
        s, tolerance = (low + high) / 2, _TOLERANCE * (high - low)
        for _ in range(60):
            values = self.at(s)
            gap = values[index] - level
            if (gap < 0) == rising:
                low = s
            else:
                high = s
            slope = values[index + 1]
            new = s - gap / slope if slope else low
            if not low < new < high:
                new = (low + high) / 2
            if abs(new - s) <= tolerance:
                return new
            s = new
        return s

    def run_to_event(self, span_s: float, lower_Vs: float, upper_Vs: float, half_cycle_s: float) -> Event:
        """Follow the piece to the first event. The primary current may start at zero, and the flux at either limit."""
        step = half_cycle_s / _NODES
        start = self.at(0.0)
        peak_flux, peak_primary, peak_secondary = abs(start[2]), abs(start[0]), abs(self.secondary(start[0], start[2]))
        low, before = 0.0, start
        high = min(_FIRST * step, span_s)
        direction = 0
        while True:
            after = self.at(high)
            if not direction:
                direction = 1 if after[0] >= 0 else -1
                kind, s = "upper" if after[2] > upper_Vs else "lower" if after[2] < lower_Vs else "", high
            else:
                kind, s = self._event(low, before, high, after, direction, lower_Vs, upper_Vs)
            if kind and s < high:
                after = self.at(s)
            current, slope, flux, flux_slope = after
            # the peaks: at the ends, and where a slope changes sign between them
            secondary, turn = self.secondary(current, flux), before[1] - before[3] / self.inductance_H
            peak_primary = max(peak_primary, abs(current))
            peak_secondary = max(peak_secondary, abs(secondary))
            peak_flux = max(peak_flux, abs(flux))
            if before[1] * slope < 0:
                peak_primary = max(peak_primary, abs(self.at(_turn(low, before[0], before[1], s, current, slope))[0]))
            if turn * (slope - flux_slope / self.inductance_H) < 0:
                began = self.secondary(before[0], before[2])
                values = self.at(_turn(low, began, turn, s, secondary, slope - flux_slope / self.inductance_H))
                peak_secondary = max(peak_secondary, abs(self.secondary(values[0], values[2])))
            if before[3] * flux_slope < 0:
                peak_flux = max(peak_flux, abs(self.at(_turn(low, before[2], before[3], s, flux, flux_slope))[2]))
            if kind or high >= span_s:
                return Event(kind or "end", s, direction, current, flux, peak_primary, peak_secondary, peak_flux)
            low, before = high, after
            high = min(max(step, high + step), span_s)

    def _event(
        self, low: float, before: State, high: float, after: State, direction: int, lower: float, upper: float
    ) -> tuple[str, float]:
        """The first event between two nodes, ("", high) if none."""
        kind, first = "", high
        for name, index, level, sign in (("zero", 0, 0.0, direction), ("upper", 2, upper, -1), ("lower", 2, lower, 1)):
            if sign * (after[index] - level) <= 0:
                end = high
            elif sign * before[index + 1] < 0 < sign * after[index + 1]:  # it turned back: how far did it get?
                end = _turn(low, before[index], before[index + 1], high, after[index], after[index + 1])
                if sign * (self.at(end)[index] - level) > 0:
                    continue
            else:
                continue
            s = self._root(low, end, index, level)
            if s <= first:
                kind, first = name, s
        return kind, first


def _turn(low: float, value_low: float, slope_low: float, high: float, value_high: float, slope_high: float) -> float:
    """Where the cubic with these values and slopes, the slopes being of opposite signs, turns between them."""
    h = high - low
    chord = (value_high - value_low) / h
    a, b = 3 * (slope_low + slope_high - 2 * chord), 2 * (3 * chord - 2 * slope_low - slope_high)
    root = math.sqrt(max(b * b - 4 * a * slope_low, 0.0))
    q = -(b + math.copysign(root, b)) / 2
    for u in (slope_low / q if q else 0.5, q / a if a else 0.5):
        if 0 <= u <= 1:
            return low + u * h
    return (low + high) / 2
