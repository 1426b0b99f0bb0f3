"""The welder's transformer as the switch sees it: leakage, a core that saturates and remembers, secondary and work.

Everything is referred to the primary. Source and primary leakage feed the magnetising branch, in parallel with the
secondary. The branch is lossless: flux linkage against current in straight segments, single-valued. Between the knees
the circuit is linear, so it is solved in closed form (sim/core/linear.py) and only the next event is searched for;
sim/core/impulse.py follows the solutions from event to event.

Left out: iron loss and the width of the loop, the thyristors' drop and latching, capacitance, resistances that heat up.
The curve is the caller's guess, for no plate gives it: sweep the knee and the remanence before trusting a figure.
"""

from __future__ import annotations

import cmath
import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property

from sim.bench.mains import HalfCycle
from sim.core.linear import Decay, LinearSolution, Sine


@dataclass(frozen=True)
class MagnetisingCurve:
    """Magnetising current against flux linkage, through the origin and symmetric.

    `knees`: (flux linkage in volt-seconds, current in amperes), rising, where one straight segment meets the next;
    `saturated_H`: the inductance beyond the last, that of the winding without its core. ValueError if it does not rise.
    """

    knees: tuple[tuple[float, float], ...]
    saturated_H: float

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
        """(flux from, flux to, inductance, current at no flux if the segment reached there), from the most negative."""
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

    `secondary_ohm` and `secondary_H` hold the winding, the loop and the work. `remanence`: the flux that stays in the
    core with no current anywhere, as a fraction of the last knee, 0 to 0.8. ValueError for values no circuit has.
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
    """The circuit with one inductance of the core: its two time constants, and its answer to a sine.

    The mesh equations M di/dt + R i = (v, 0) with M symmetric: scaled by the roots of R, the time constants are the
    eigenvalues of a symmetric matrix, so they are real and the eigenvectors a rotation.
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
        self._answers: dict[tuple[float, bool], tuple[complex, complex]] = {}

    def _answer(self, w: float, closed: bool) -> tuple[complex, complex]:
        """Primary current and flux for a source of one volt at this angular frequency."""
        found = self._answers.get((w, closed))
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
            self._answers[w, closed] = found
        return found

    def solution(
        self, half: HalfCycle, start_s: float, current_A: float, flux_Vs: float, offset_A: float, closed: bool
    ) -> LinearSolution:
        """The solution that starts from this current and flux, in the voltage of `half` as if it went on."""
        sines: list[Sine] = []
        steady, steady_flux = 0.0, 0.0
        for amplitude, w, phase in half.components:
            drive = cmath.rect(amplitude, w * (start_s - half.start_s) + phase)
            current, flux = self._answer(w, closed)
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
        """No primary current, the secondary closed: the flux fades for `length_s`, or to `until_Vs` if that comes first.

        Returns the flux, the time taken, and the integral of the secondary current squared.
        """
        rate, current = self.r2 / (self.l2 + self.henry), flux_Vs / self.henry + offset_A
        after = current * math.exp(-rate * length_s)
        at_end = until_Vs / self.henry + offset_A
        if at_end * current > 0 and abs(after) < abs(at_end):
            after, length_s = at_end, math.log(current / at_end) / rate
        return (after - offset_A) * self.henry, length_s, (current * current - after * after) / (2 * rate)


def fade(circuit: TransformerCircuit, flux_Vs: float, length_s: float, held_A: float = 0.0) -> tuple[float, float]:
    """Flux after `length_s` with the electrodes closed and no primary current, and the secondary's A2 s.

    The core's current runs round the secondary, which slows the fall of the flux. In closed form, segment by segment.
    `held_A`: of the core's current, what its remanence carries by itself; the flux fades to where no more is needed.
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
