"""The current transformer on the primary, its burden and bias, and the board's converter with its ring of samples.

The flux in the transformer's core is the integral of the voltage across burden and winding. The magnetising current does not
reach the burden. Past the knee nearly all of the current magnetises.
"""

from __future__ import annotations

import math
import random
from array import array
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from gen.words import CURRENT_RING, GATES_STAMPED, SAMPLE_US
from sim.bench.chip import Clock
from sim.bench.pin import Pin
from sim.bench.switch import SolidStateSwitch

FULL_SCALE = 4095
STAMPED_S = 60e-6  # from a gate until the handler reads the count: 16 to 94 us were measured
_PAST_THE_KNEE = 500  # ratio of the inductances below and above the knee


@dataclass(frozen=True)
class AmmeterSpec:
    """The true properties of the ammeter. The defaults are those of a good one. `turns` 0: none is fitted."""

    turns: float = 0.0
    burden_ohm: float = 10.0
    winding_ohm: float = 40.0
    magnetising_H: float = 20.0
    knee_Vs: float = 0.1
    """Flux linkage at which the core saturates."""
    residue_Vs: float = 0.0
    """Remanent flux linkage of an earlier current."""
    error: float = 0.0
    """Relative error of the reading; above 0 it reads high."""
    on: Literal["primary", "primary, reversed", "another conductor", "nothing"] = "primary"
    """The conductor in its window. "nothing" also stands for a broken wire."""
    other_A: float = 0.0
    """RMS current of the other conductor."""
    bias: float = 2048.0
    """Counts without a current."""
    bias_per_s: float = 0.0
    supply_V: float = 3.3
    noise_counts: float = 1.0
    hum_counts: float = 0.0
    """Peak of the hum that a cable picks up at the mains' frequency."""
    bursts_a_s: float = 0.0
    """Bursts of noise, each one sample of random height."""
    wide_codes: bool = True
    """The RP2040's converter stays at the counts 512, 1536, 2560 and 3584 for eight counts (data sheet, appendix B, E11)."""
    stuck: int | None = None
    """The count at which the converter is stuck."""
    halts_s: float = math.inf
    """Time after which no sample is taken."""


class PrimaryAmmeter:
    """Samples the current of the switch. Reading it at a time computes all samples up to that time."""

    def __init__(self, clock: Clock, spec: AmmeterSpec, switch: SolidStateSwitch, gate: Pin, seed: int) -> None:
        self._clock = clock
        self._spec = spec
        self._switch = switch
        self._random = random.Random(seed)
        self.ring = array("H", bytes(2 * CURRENT_RING))
        self.samples = array("H")
        """Every sample written to the ring, over all its starts."""
        self._begun_s = math.inf
        self._taken = 0
        self._stamps: deque[tuple[float, int]] = deque(maxlen=GATES_STAMPED)
        self._gates = 0
        self._next = 0  # index of the next conduction
        self._flux_Vs = spec.residue_Vs
        self._wave: tuple[float, Callable[[float], float]] | None = None
        if spec.turns:
            gate.watchers.append(self._gated)

    def begin(self) -> None:
        """Start sampling: sample 0 is taken now."""
        self._begun_s = self._clock.env.now
        self._taken = 0
        self._flux_Vs = self._spec.residue_Vs
        self.forget_gates()

    def stop(self) -> None:
        """The board was reset."""
        self._begun_s = math.inf
        self.forget_gates()

    def forget_gates(self) -> None:
        """Count gates from 0 again."""
        self._stamps.clear()
        self._gates = 0

    def gate_sample(self, gate: int) -> int:
        """As in the driver interface."""
        place = gate - (self._gates - len(self._stamps))
        if not 0 <= place < len(self._stamps):
            return -1
        known_s, count = self._stamps[place]
        return count if known_s <= self._clock.env.now else -1

    def _gated(self, level: int) -> None:
        if level and self._begun_s < math.inf:
            known_s = self._clock.env.now + STAMPED_S
            self._stamps.append((known_s, self._due(known_s)))
            self._gates += 1

    def _due(self, time_s: float) -> int:
        """The number of samples taken by a time."""
        time_s = min(time_s, self._spec.halts_s)
        if time_s < self._begun_s:
            return 0
        return int((time_s - self._begun_s) * 1e6 * self._clock.rate / SAMPLE_US) + 1

    def taken(self) -> int:
        """The number of samples taken. New samples are written to the ring first."""
        due = self._due(self._clock.env.now)
        step_s = SAMPLE_US * 1e-6 / self._clock.rate
        fresh = [self._count(self._begun_s + n * step_s, step_s) for n in range(self._taken, due)]
        kept = fresh[-CURRENT_RING:]
        for n, count in enumerate(kept, due - len(kept)):
            self.ring[n % CURRENT_RING] = count
        self.samples.extend(kept)
        self._taken = due
        return due

    def _amperes(self, time_s: float) -> float:
        """Of the primary."""
        made, switch = self._switch.conductions, self._switch
        while self._next < len(made) and made[self._next].end_s <= time_s:
            self._next += 1
        if self._next < len(made):
            current = made[self._next].current
        elif switch.flowing is not None:
            current = switch.flowing
        else:
            return 0.0
        if time_s < current.start_s:
            return 0.0
        if self._wave is None or self._wave[0] != current.start_s:
            self._wave = (current.start_s, current.wave)
        return self._wave[1](time_s - current.start_s)

    def _count(self, time_s: float, step_s: float) -> int:
        """The converter's count at a time, one step after the previous sample."""
        spec = self._spec
        if spec.stuck is not None:
            return spec.stuck
        if spec.turns == 0:
            return round(spec.bias)
        omega_t = self._switch.mains_omega * time_s
        if spec.on == "another conductor":
            primary_A = spec.other_A * math.sqrt(2) * math.sin(omega_t)
        elif spec.on == "nothing":
            primary_A = 0.0
        else:
            primary_A = self._amperes(time_s) * (1 if spec.on == "primary" else -1)
        secondary_A = self._secondary(primary_A / spec.turns, step_s) * (1 + spec.error)
        value = spec.bias + spec.bias_per_s * time_s + secondary_A * spec.burden_ohm / spec.supply_V * (FULL_SCALE + 1)
        if spec.noise_counts:
            value += self._random.gauss(0.0, spec.noise_counts)
        if spec.hum_counts:
            value += spec.hum_counts * math.sin(omega_t)
        if spec.bursts_a_s and self._random.random() < spec.bursts_a_s * step_s:
            value = self._random.uniform(0, FULL_SCALE)
        if spec.wide_codes:
            value = _with_wide_codes(value)
        return min(max(round(value), 0), FULL_SCALE)

    def _secondary(self, ideal_A: float, step_s: float) -> float:
        """The burden's current, by a backward Euler step of the flux."""
        spec = self._spec
        ohm, knee = spec.burden_ohm + spec.winding_ohm, spec.knee_Vs
        henry = spec.magnetising_H
        flux = (self._flux_Vs + step_s * ohm * ideal_A) / (1 + step_s * ohm / henry)
        magnetising_A = flux / henry
        if abs(flux) > knee:
            past = henry / _PAST_THE_KNEE
            knee = math.copysign(knee, flux)
            shift_A = knee / henry - knee / past
            flux = (self._flux_Vs + step_s * ohm * (ideal_A - shift_A)) / (1 + step_s * ohm / past)
            magnetising_A = shift_A + flux / past
        self._flux_Vs = flux
        return ideal_A - magnetising_A


_WIDE = 8.0
_APART = 1024.0


def _with_wide_codes(value: float) -> float:
    """The code with the converter's wide codes: it stays eight counts too long at each of four, and catches up until the next."""
    into = (value - 512.0) % _APART
    return value - into + max(into - _WIDE, 0.0) * _APART / (_APART - _WIDE)
