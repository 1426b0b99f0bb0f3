"""The transformer's equivalent circuit: source, leakage, a core with saturation and remanence, secondary and work.

Everything is referred to the primary. Source and primary leakage feed the magnetising branch, in parallel with the
secondary. The branch is lossless: flux linkage against current in straight segments, single-valued. Between the knees
the circuit is linear, so it is solved in closed form and only the next event is searched for;
sim/core/impulse.py follows the solutions from event to event.

Left out: iron loss and the width of the hysteresis loop, the thyristors' drop and latching, capacitance, the change of
resistance with heat. No rating plate gives the curve: sweep the knee and the remanence before trusting a figure.
"""

from __future__ import annotations

import cmath
import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from sim.bench.mains import HalfCycle

_NODES = 12  # samples a half-cycle: between two of them current and flux have one turning point at most
_FIRST = 1e-3  # start of the scan in a step; a shorter swing, a hundredth of a degree, is missed
_TOLERANCE = 1e-7  # change between the last two approximations to a root, over a step

Decay = tuple[float, float, float]
Sine = tuple[float, float, float, float, float]
State = tuple[float, float, float, float]
Level = tuple[str, int, float, int]
"""The event's kind, the index in State, the level, and the sign of (value - level) before the event."""


class Event(NamedTuple):
    """The event that ends a solution, `after_s` from its start: "zero" current, flux past "upper" or "lower", "end" of span.

    `direction` is the sign of the primary current before the event. The peaks are the greatest magnitudes before it.
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
    """Integrals from the start of a solution: primary and secondary current squared (A2 s), and the primary current (C)."""

    primary_A2s: float
    secondary_A2s: float
    charge_C: float


class LinearSolution(NamedTuple):
    """Primary current and flux of the magnetising branch, as functions of the seconds from the solution's start."""

    decays: tuple[Decay, Decay]
    """(Rate in 1/s, amplitude in the current, amplitude in the flux) for each of the circuit's two time constants."""
    sine: Sine
    """(Angular frequency; cosine and sine amplitude in the current; the same in the flux)."""
    harmonics: tuple[Sine, ...]
    inductance_H: float
    offset_A: float
    """The magnetising current is `flux / inductance_H + offset_A`; the rest of the current flows in the secondary."""

    def at(self, s: float) -> State:
        """Primary current, its slope, flux, its slope. Written out, because a run spends most of its time here."""
        ((r1, a1, b1), (r2, a2, b2)), (w, ac, as_, bc, bs), harmonics, henry, offset = self
        e = math.exp(-r1 * s)
        a1 *= e
        b1 *= e
        e = math.exp(-r2 * s)
        a2 *= e
        b2 *= e
        c = math.cos(w * s)
        d = math.sin(w * s)
        current = a1 + a2 + ac * c + as_ * d
        current_slope = w * (as_ * c - ac * d) - r1 * a1 - r2 * a2
        flux = b1 + b2 + bc * c + bs * d - henry * offset
        flux_slope = w * (bs * c - bc * d) - r1 * b1 - r2 * b2
        for w, ac, as_, bc, bs in harmonics:
            c = math.cos(w * s)
            d = math.sin(w * s)
            current += ac * c + as_ * d
            flux += bc * c + bs * d
            current_slope += w * (as_ * c - ac * d)
            flux_slope += w * (bs * c - bc * d)
        return current, current_slope, flux, flux_slope

    def secondary(self, current_A: float, flux_Vs: float) -> float:
        """Secondary current, referred to the primary, at this primary current and flux."""
        return current_A - flux_Vs / self.inductance_H - self.offset_A

    def squares(self, length_s: float) -> Squares:
        """Exact integrals from the solution's start."""
        t, inverse = length_s, 1 / self.inductance_H
        (r1, a1, b1), (r2, a2, b2) = self.decays
        b1, b2 = a1 - b1 * inverse, a2 - b2 * inverse
        e1, e2 = math.exp(-r1 * t), math.exp(-r2 * t)
        own1, own2, mixed = (1 - e1 * e1) / (2 * r1), (1 - e2 * e2) / (2 * r2), 2 * (1 - e1 * e2) / (r1 + r2)
        first = a1 * a1 * own1 + a2 * a2 * own2 + a1 * a2 * mixed
        second = b1 * b1 * own1 + b2 * b2 * own2 + b1 * b2 * mixed
        charge = a1 * (1 - e1) / r1 + a2 * (1 - e2) / r2
        sines = [
            (w, ac, as_, ac - bc * inverse, as_ - bs * inverse) for w, ac, as_, bc, bs in (self.sine, *self.harmonics)
        ]
        for n, (w, ac, as_, bc, bs) in enumerate(sines):
            c, d = math.cos(w * t), math.sin(w * t)
            charge += (ac * d + as_ * (1 - c)) / w
            cos2, sin2, both = t / 2 + d * c / (2 * w), t / 2 - d * c / (2 * w), d * d / w
            first += ac * ac * cos2 + as_ * as_ * sin2 + ac * as_ * both
            second += bc * bc * cos2 + bs * bs * sin2 + bc * bs * both
            scale1, scale2 = 2 / (r1 * r1 + w * w), 2 / (r2 * r2 + w * w)
            cosine1, sine1 = (r1 + e1 * (w * d - r1 * c)) * scale1, (w - e1 * (r1 * d + w * c)) * scale1
            cosine2, sine2 = (r2 + e2 * (w * d - r2 * c)) * scale2, (w - e2 * (r2 * d + w * c)) * scale2
            first += ac * (a1 * cosine1 + a2 * cosine2) + as_ * (a1 * sine1 + a2 * sine2)
            second += bc * (b1 * cosine1 + b2 * cosine2) + bs * (b1 * sine1 + b2 * sine2)
            for v, cc, cs, dc, ds in sines[n + 1 :]:
                add, sub = w + v, w - v
                sin_add, sin_sub = math.sin(add * t) / add, math.sin(sub * t) / sub
                cos_add, cos_sub = (1 - math.cos(add * t)) / add, (1 - math.cos(sub * t)) / sub
                cc_, ss_, sc_, cs_ = sin_sub + sin_add, sin_sub - sin_add, cos_add + cos_sub, cos_add - cos_sub
                first += ac * cc * cc_ + as_ * cs * ss_ + as_ * cc * sc_ + ac * cs * cs_
                second += bc * dc * cc_ + bs * ds * ss_ + bs * dc * sc_ + bc * ds * cs_
        return Squares(max(first, 0.0), max(second, 0.0), charge)  # rounding may leave less than nothing

    def _root(self, low: float, at_low: State, high: float, at_high: State, index: int, level: float) -> float:
        """The time at which the current (index 0) or the flux (2) passes `level` between two points: Newton, bracketed."""
        rising = at_low[index] < level
        tolerance = _TOLERANCE * (high - low)
        s = low + (high - low) * (level - at_low[index]) / (at_high[index] - at_low[index])
        for _ in range(60):
            values = self.at(s)
            gap, slope = values[index] - level, values[index + 1]
            if (gap < 0) == rising:
                low = s
            else:
                high = s
            new = s - gap / slope if slope else low
            if abs(new - s) <= tolerance:  # the next would be nearer by the square of that
                return new
            s = new if low < new < high else (low + high) / 2
        return s

    def run_to_event(self, span_s: float, lower_Vs: float, upper_Vs: float, half_cycle_s: float) -> Event:
        """Follow the solution to the first event. The primary current may start at zero, and the flux at either limit."""
        step, inverse = half_cycle_s / _NODES, 1 / self.inductance_H
        low, high = 0.0, min(_FIRST * step, span_s)
        start, after = self.at(low), self.at(high)
        direction = 1 if after[0] >= 0 else -1
        levels: tuple[Level, ...] = (("zero", 0, 0.0, direction), ("upper", 2, upper_Vs, -1), ("lower", 2, lower_Vs, 1))
        kind, s = "upper" if after[2] > upper_Vs else "lower" if after[2] < lower_Vs else "", high
        peak_primary, peak_secondary = abs(start[0]), abs(self.secondary(start[0], start[2]))
        peak_flux = abs(start[2])
        while not kind and high < span_s:
            low, before = high, after
            high = min(max(step, high + step), span_s)
            s, after = high, self.at(high)
            current, slope, flux, flux_slope = after
            turned, flux_turned = before[1] * slope < 0, before[3] * flux_slope < 0
            if turned or flux_turned or direction * current <= 0 or not lower_Vs < flux < upper_Vs:
                kind, s = self._event(low, before, high, after, levels)
                if s < high:
                    after = self.at(s)
                    current, slope, flux, flux_slope = after
                if before[1] * slope < 0:
                    top = self.at(_turn(low, before[0], before[1], s, current, slope))[0]
                    peak_primary = max(peak_primary, abs(top))
                if before[3] * flux_slope < 0:
                    top = self.at(_turn(low, before[2], before[3], s, flux, flux_slope))[2]
                    peak_flux = max(peak_flux, abs(top))
            secondary_before, secondary_slope = before[1] - before[3] * inverse, slope - flux_slope * inverse
            if secondary_before * secondary_slope < 0:
                began, ended = self.secondary(before[0], before[2]), self.secondary(current, flux)
                values = self.at(_turn(low, began, secondary_before, s, ended, secondary_slope))
                peak_secondary = max(peak_secondary, abs(self.secondary(values[0], values[2])))
        current, _, flux, _ = after
        return Event(
            kind or "end",
            s,
            direction,
            current,
            flux,
            max(peak_primary, abs(current)),
            max(peak_secondary, abs(self.secondary(current, flux))),
            max(peak_flux, abs(flux)),
        )

    def _event(
        self, low: float, before: State, high: float, after: State, levels: tuple[Level, ...]
    ) -> tuple[str, float]:
        """The first event between two nodes, ("", high) if none."""
        kind, first = "", high
        for name, index, level, sign in levels:
            end, at_end = high, after
            if sign * (after[index] - level) > 0:
                if not sign * before[index + 1] < 0 < sign * after[index + 1]:
                    continue
                # it turned back between the nodes: how far did it get?
                end = _turn(low, before[index], before[index + 1], high, after[index], after[index + 1])
                at_end = self.at(end)
                if sign * (at_end[index] - level) > 0:
                    continue
            s = self._root(low, before, end, at_end, index, level)
            if s <= first:
                kind, first = name, s
        return kind, first


def _turn(low: float, value_low: float, slope_low: float, high: float, value_high: float, slope_high: float) -> float:
    """The turning point of the cubic with these values and slopes. The slopes have opposite signs."""
    h = high - low
    chord = (value_high - value_low) / h
    a, b = 3 * (slope_low + slope_high - 2 * chord), 2 * (3 * chord - 2 * slope_low - slope_high)
    root = math.sqrt(max(b * b - 4 * a * slope_low, 0.0))
    q = -(b + math.copysign(root, b)) / 2
    for u in (slope_low / q if q else 0.5, q / a if a else 0.5):
        if 0 <= u <= 1:
            return low + u * h
    return (low + high) / 2


@dataclass(frozen=True)
class MagnetisingCurve:
    """Magnetising current against flux linkage, through the origin and symmetric.

    ValueError if it does not rise.
    """

    knees: tuple[tuple[float, float], ...]
    """(Flux linkage in volt-seconds, current in amperes), rising, where one straight segment meets the next."""
    saturated_H: float
    """The inductance beyond the last knee: that of the winding without its core."""

    def __post_init__(self) -> None:
        before = ((0.0, 0.0), *self.knees)
        rises = [min(flux - f, current - i) for (f, i), (flux, current) in zip(before, self.knees, strict=False)]
        if not rises or min(rises) <= 0 or self.saturated_H <= 0:
            raise ValueError(f"flux and current must both rise: {self.knees}, then {self.saturated_H} H")

    @classmethod
    def from_working_point(
        cls, voltage_V: float, frequency_Hz: float, idle_current_A: float, knee: float, saturated_H: float
    ) -> MagnetisingCurve:
        """One knee, at `knee` times the steady peak flux of this voltage, where the core draws `idle_current_A` RMS."""
        flux = math.sqrt(2) * voltage_V / (2 * math.pi * frequency_Hz)
        return cls(((knee * flux, knee * math.sqrt(2) * idle_current_A),), saturated_H)

    @property
    def knee_Vs(self) -> float:
        """The last knee, beyond which the core adds nothing."""
        return self.knees[-1][0]

    @cached_property
    def segments(self) -> tuple[tuple[float, float, float, float], ...]:
        """(Flux from, flux to, inductance, current where its line meets zero flux), from the most negative segment."""
        upper: list[tuple[float, float, float, float]] = []
        flux, current = 0.0, 0.0
        for next_flux, next_current in self.knees:
            inductance = (next_flux - flux) / (next_current - current)
            upper.append((flux, next_flux, inductance, current - flux / inductance))
            flux, current = next_flux, next_current
        upper.append((flux, math.inf, self.saturated_H, current - flux / self.saturated_H))
        middle = (-upper[0][1], *upper[0][1:])
        return (*((-to, -low, henry, -offset) for low, to, henry, offset in reversed(upper[1:])), middle, *upper[1:])

    @cached_property
    def _borders(self) -> tuple[float, ...]:
        return tuple(segment[1] for segment in self.segments[:-1])

    def segment(self, flux_Vs: float) -> int:
        """Index of the segment in which this flux lies."""
        return bisect_right(self._borders, flux_Vs)

    def current(self, flux_Vs: float) -> float:
        """Magnetising current in amperes."""
        _, _, henry, offset = self.segments[self.segment(flux_Vs)]
        return flux_Vs / henry + offset


@dataclass(frozen=True)
class TransformerCircuit:
    """Source, transformer, secondary loop and work, in ohms and henries referred to the primary.

    `secondary_ohm` and `secondary_H` include the winding, the loop and the work. `remanence`: the flux that stays in the
    core without any current, as a fraction of the last knee, 0 to 0.8. ValueError for values no circuit has.
    """

    source_ohm: float
    source_H: float
    primary_ohm: float
    primary_H: float
    secondary_ohm: float
    secondary_H: float
    curve: MagnetisingCurve
    remanence: float = 0.0

    def __post_init__(self) -> None:
        positive = self.source_ohm + self.primary_ohm, self.primary_H, self.secondary_ohm, self.secondary_H
        if min(self.source_ohm, self.source_H, self.primary_ohm) < 0 or min(positive) <= 0:
            raise ValueError("resistances and inductances must be positive (the source's may be 0)")
        if not 0 <= self.remanence <= 0.8:
            raise ValueError(f"remanence lies from 0 to 0.8, not {self.remanence}")

    @property
    def remanent_Vs(self) -> float:
        """Flux linkage that stays in the core."""
        return self.remanence * self.curve.knee_Vs

    @cached_property
    def branches(self) -> tuple[Branch, ...]:
        """The linear circuit of each segment of the curve."""
        return tuple(Branch(self, henry) for _, _, henry, _ in self.curve.segments)


class Branch:
    """The circuit with one inductance of the core: its two time constants, and its response to a sine.

    The mesh equations are M di/dt + R i = (v, 0) with M symmetric. Scaled by the roots of R, the time constants are the
    eigenvalues of a symmetric matrix: real, with a rotation as eigenvectors.
    """

    def __init__(self, circuit: TransformerCircuit, henry: float) -> None:
        self.r1, self.l1 = circuit.source_ohm + circuit.primary_ohm, circuit.source_H + circuit.primary_H
        self.r2, self.l2 = circuit.secondary_ohm, circuit.secondary_H
        self.henry = henry
        p, q = (self.l1 + henry) / self.r1, (self.l2 + henry) / self.r2
        m = -henry / math.sqrt(self.r1 * self.r2)
        slow = (p + q) / 2 + math.hypot((p - q) / 2, m)
        fast = (self.l1 * self.l2 + henry * (self.l1 + self.l2)) / (self.r1 * self.r2) / slow
        turn = math.atan2(2 * m, p - q) / 2
        self._rates = (1 / slow, 1 / fast)
        self._root1, self._root2 = math.sqrt(self.r1), math.sqrt(self.r2)
        self._cos, self._sin = math.cos(turn), math.sin(turn)
        self._responses: dict[tuple[float, bool], tuple[complex, complex]] = {}

    def _response(self, w: float, closed: bool) -> tuple[complex, complex]:
        """Primary current and flux for a source of one volt at this angular frequency."""
        found = self._responses.get((w, closed))
        if found is None:
            if closed:
                leak2 = complex(self.r2, w * self.l2)
                mutual = complex(0, w * self.henry)
                z2 = leak2 + mutual
                d = complex(self.r1, w * self.l1) * z2 + mutual * leak2
                found = z2 / d, self.henry * leak2 / d
            else:
                y = 1 / complex(self.r1, w * (self.l1 + self.henry))
                found = y, self.henry * y
            self._responses[w, closed] = found
        return found

    def solution(
        self, half: HalfCycle, start_s: float, current_A: float, flux_Vs: float, offset_A: float, closed: bool
    ) -> LinearSolution:
        """The solution that starts from this current and flux, under the voltage of `half`, continued past its end."""
        sines: list[Sine] = []
        steady, steady_flux = 0.0, 0.0
        for amplitude, w, phase in half.components:
            drive = cmath.rect(amplitude, w * (start_s - half.start_s) + phase)
            current, flux = self._response(w, closed)
            current *= drive
            flux *= drive
            sines.append((w, current.imag, current.real, flux.imag, flux.real))
            steady += current.imag
            steady_flux += flux.imag
        henry = self.henry
        decays: tuple[Decay, Decay]
        if closed:
            secondary = current_A - flux_Vs / henry - offset_A
            y1 = (current_A - steady) * self._root1
            y2 = (secondary - (steady - steady_flux / henry)) * self._root2
            c, s = self._cos, self._sin
            k1, k2 = c * y1 + s * y2, c * y2 - s * y1
            a1, b1 = k1 * c / self._root1, k1 * s / self._root2
            a2, b2 = -k2 * s / self._root1, k2 * c / self._root2
            decays = (self._rates[0], a1, henry * (a1 - b1)), (self._rates[1], a2, henry * (a2 - b2))
        else:
            a = current_A - steady
            decays = (self.r1 / (self.l1 + henry), a, henry * a), (1.0, 0.0, 0.0)
        return LinearSolution(decays, sines[0], tuple(sines[1:]), henry, offset_A)

    def fade(self, flux_Vs: float, offset_A: float, length_s: float, until_Vs: float) -> tuple[float, float, float]:
        """The flux fades through the closed secondary for `length_s`, or to `until_Vs` if that comes first.

        There is no primary current. Returns the flux, the time taken, and the integral of the secondary current squared.
        """
        rate, current = self.r2 / (self.l2 + self.henry), flux_Vs / self.henry + offset_A
        after = current * math.exp(-rate * length_s)
        at_end = until_Vs / self.henry + offset_A
        if at_end * current > 0 and abs(after) < abs(at_end):
            after, length_s = at_end, math.log(current / at_end) / rate
        return (after - offset_A) * self.henry, length_s, (current * current - after * after) / (2 * rate)


def fade(circuit: TransformerCircuit, flux_Vs: float, length_s: float, held_A: float = 0.0) -> tuple[float, float]:
    """Flux after `length_s` with the electrodes closed and no primary current, and the secondary's A2 s.

    The core's current flows in the secondary, which slows the fall of the flux. In closed form, segment by segment.
    `held_A`: the part of the core's current that its remanence replaces; the flux fades until no more is needed.
    """
    segments, flux, heat = circuit.curve.segments, flux_Vs, 0.0
    n = circuit.curve.segment(flux)
    while True:
        low, high, henry, offset = segments[n]
        down = flux / henry + offset - held_A > 0
        border = low if down else high
        flux, taken, squares = circuit.branches[n].fade(flux, offset - held_A, length_s, border)
        heat += squares
        length_s -= taken
        if length_s <= 0:
            return flux, heat
        n += -1 if down else 1
