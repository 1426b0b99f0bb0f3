"""The settings that the judges of a weld's currents read, and samples for them: made by hand, not by the compiler."""

from __future__ import annotations

import math
from array import array
from types import SimpleNamespace
from typing import Any

from gen.words import CURRENT_RING, SAMPLE_US

A_COUNT = 0.1  # amperes of a count


def settings(**changes: Any) -> SimpleNamespace:
    """Of a machine at 50 Hz whose gates may come from 4 ms on: a current of 10 to 40 A is planned at any delay."""
    made = {
        "NOMINAL_HALF_US": 10_000,
        "LOPSIDED_US": 444,
        "EARLIEST_DELAY_US": 4_000,
        "VOLT_SECONDS_STEP_US": 100,
        "LONGEST_US": (8_000,) * 33,
        "CURRENT_SENSE": 1,
        "CURRENT_GAIN": round(A_COUNT * 10 / 8 * 2**14),
        "BIAS_LEAST": 1_843,
        "BIAS_MOST": 2_253,
        "STRAY_DA": 50,
        "LEAST_DA": (100,) * 33,
        "MOST_DA": (400,) * 33,
        "EXPULSION_ENDS": 0,
    }
    return SimpleNamespace(**made | changes)


class SampledDriver:
    """A driver whose samples and gates are laid down beforehand, and which time is moved on for by hand."""

    def __init__(self, counts: list[int], gates: list[int], lengths_us: list[int] | None = None) -> None:
        self.counts = counts
        self.gates = gates
        self.lengths_us = lengths_us or []
        self.ring = array("H", bytes(2 * CURRENT_RING))
        self.taken = 0
        self.begun = 0

    def to(self, taken: int) -> None:
        """So many samples are taken now."""
        for n in range(self.taken, min(taken, len(self.counts))):
            self.ring[n % CURRENT_RING] = self.counts[n]
        self.taken = min(taken, len(self.counts))

    def current_ring(self) -> array[int]:
        return self.ring

    def sample(self) -> None:
        self.begun += 1

    def sampled(self) -> int:
        return self.taken

    def gate_sample(self, gate: int) -> int:
        return self.gates[gate] if gate < len(self.gates) and self.gates[gate] <= self.taken else -1

    def conduction_us(self, gate: int) -> int:
        known = gate < len(self.lengths_us) and self.gate_sample(gate) >= 0
        return self.lengths_us[gate] if known else -1


FIRST = 400  # the sample at which the first gate comes
HALF = 10_000 / SAMPLE_US


def waves(rms_A: list[float], bias: int = 2048, after: int = 300) -> tuple[list[int], list[int]]:
    """Samples of half-cycles, each a sine of 60 half-cycle's hundredths from its gate on, and the gates' own samples."""
    counts = [float(bias)] * (FIRST + round(len(rms_A) * HALF) + after)
    gates = [FIRST + round(n * HALF) for n in range(len(rms_A))]
    for n, amperes in enumerate(rms_A):
        peak = amperes / A_COUNT * math.sqrt(2 / 0.6)
        begin = FIRST + n * HALF
        for at in range(gates[n], math.floor(begin + 0.6 * HALF)):
            counts[at] += (-1) ** n * peak * math.sin(math.pi * (at - begin) / (0.6 * HALF))
    return [min(max(round(count), 0), 4095) for count in counts], gates
