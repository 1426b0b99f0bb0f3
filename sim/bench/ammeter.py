"""The current transformer on the primary, its burden and bias, and the board's converter with its ring of samples.

The flux in the transformer's core is the integral of the voltage across burden and winding. The magnetising current does not
reach the burden. Past the knee nearly all of the current magnetises.
"""

from __future__ import annotations

import math
from array import array
from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gen.words import CURRENT_RING, GATES_STAMPED, SAMPLE_US
from sim.bench.chip import Clock
from sim.bench.circuit import Floats
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
        self._chance = np.random.default_rng(seed)
        self.ring = array("H", bytes(2 * CURRENT_RING))
        self.samples = array("H")
        """Every sample written to the ring, over all its starts."""
        self._begun_s = math.inf
        self._taken = 0
        self._stamps: deque[tuple[float, int]] = deque(maxlen=GATES_STAMPED)
        self._gates = 0
        self._next = 0  # index of the next conduction
        self._flux_Vs = spec.residue_Vs
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
        kept = self.counts(self._begun_s + np.arange(self._taken, due, dtype=np.float64) * step_s, step_s)[
            -CURRENT_RING:
        ]
        place = (due - len(kept)) % CURRENT_RING
        to_end = CURRENT_RING - place
        self.ring[place : place + len(kept)] = kept[:to_end]
        self.ring[: len(kept[to_end:])] = kept[to_end:]
        self.samples.extend(kept)
        self._taken = due
        return due

    def counts(self, times: Floats, step_s: float) -> array[int]:
        """The converter's counts at rising times, one step apart, that follow those of the previous call."""
        spec = self._spec
        if len(times) == 0 or spec.stuck is not None or spec.turns == 0:
            return array("H", [round(spec.bias) if spec.stuck is None else spec.stuck]) * len(times)
        hum = np.sin(self._switch.mains_omega * times)
        if spec.on == "another conductor":
            primary_A = spec.other_A * math.sqrt(2) * hum
        elif spec.on == "nothing":
            primary_A = np.zeros(len(times))
        else:
            primary_A = self._amperes(times) * (1 if spec.on == "primary" else -1)
        secondary_A = self._secondary(primary_A / spec.turns, step_s) * (1 + spec.error)
        values = (
            spec.bias + spec.bias_per_s * times + secondary_A * (spec.burden_ohm / spec.supply_V * (FULL_SCALE + 1))
        )
        if spec.hum_counts:
            values += spec.hum_counts * hum
        self._disturb(values, step_s)
        if spec.wide_codes:
            values = _with_wide_codes(values)
        return array("H", np.clip(np.rint(values), 0, FULL_SCALE).astype(np.uint16).tobytes())

    def _amperes(self, times: Floats) -> Floats:
        """Of the primary."""
        made, flowing = self._switch.conductions, self._switch.flowing
        while self._next < len(made) and made[self._next].end_s <= times[0]:
            self._next += 1
        currents = [(one.current, one.end_s) for one in made[self._next :]]
        if flowing is not None:
            currents.append((flowing, math.inf))
        amperes = np.zeros(len(times))
        begun = 0
        for current, end_s in currents:
            low, high = (int(n) for n in np.searchsorted(times, (current.start_s, end_s)))
            low = max(low, begun)
            begun = max(high, begun)
            amperes[low:high] = current.sampled(times[low:high])
        return amperes

    def _disturb(self, values: Floats, step_s: float) -> None:
        """Add the noise, and put bursts in the place of samples."""
        spec, chance = self._spec, self._chance
        if spec.noise_counts:
            values += chance.normal(0.0, spec.noise_counts, len(values))
        if spec.bursts_a_s:
            struck = chance.random(len(values)) < spec.bursts_a_s * step_s
            values[struck] = chance.uniform(0, FULL_SCALE, int(struck.sum()))

    def _secondary(self, ideal_A: Floats, step_s: float) -> Floats:
        """The burden's current, by backward Euler steps of the flux."""
        spec = self._spec
        henry, past = spec.magnetising_H, spec.magnetising_H / _PAST_THE_KNEE
        gain, knee = step_s * (spec.burden_ohm + spec.winding_ohm), spec.knee_Vs
        below, above = 1 + gain / henry, 1 + gain / past
        flux = self._flux_Vs
        magnetising_A: list[float] = []
        for ampere in ideal_A.tolist():
            before, flux = flux, (flux + gain * ampere) / below
            if -knee <= flux <= knee:
                magnetising_A.append(flux / henry)
            else:
                shift_A = (knee / henry - knee / past) * (1 if flux > 0 else -1)
                flux = (before + gain * (ampere - shift_A)) / above
                magnetising_A.append(shift_A + flux / past)
        self._flux_Vs = flux
        return ideal_A - np.array(magnetising_A, dtype=np.float64)


_WIDE = 8.0
_APART = 1024.0


def _with_wide_codes(values: Floats) -> Floats:
    """The codes with the converter's wide codes: eight counts too long at each of four, caught up until the next."""
    into = (values - 512.0) % _APART
    return values - into + np.maximum(into - _WIDE, 0.0) * (_APART / (_APART - _WIDE))
