"""RMS, peak and sign of a half-cycle's current from samples of a converter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class HalfCycleCurrent:
    """The current of one half-cycle. `rms_A` is taken over the whole half-cycle, including its currentless part."""

    rms_A: float
    peak_A: float
    positive: bool
    railed: bool
    """True where a sample is at an end of the converter's range, so that the peak is clipped."""


def current_of(counts: Sequence[int], bias: float, amperes_a_count: float, full_scale: int) -> HalfCycleCurrent:
    """The current of one half-cycle from its samples, spaced evenly over the whole half-cycle.

    `bias`: the counts at no current. `full_scale`: the greatest count. Raises ValueError without a sample.
    """
    if not counts:
        raise ValueError("a half-cycle without a sample")
    off = [count - bias for count in counts]
    farthest = max(off, key=abs)
    return HalfCycleCurrent(
        rms_A=amperes_a_count * math.sqrt(sum(value * value for value in off) / len(off)),
        peak_A=amperes_a_count * abs(farthest),
        positive=sum(off) >= 0,
        railed=min(counts) <= 0 or max(counts) >= full_scale,
    )
