"""The root of a function of one number. scipy.optimize takes longer to import than a whole command to run."""

from __future__ import annotations

from collections.abc import Callable

_ROUNDS = 100


def root(f: Callable[[float], float], low: float, high: float) -> float:
    """The root of `f` between two ends of opposite sign, to rounding: false position, Illinois variant."""
    at_low, at_high = f(low), f(high)
    for _ in range(_ROUNDS):
        if at_low == 0:
            return low
        if at_high == 0:
            return high
        middle = high - at_high * (high - low) / (at_high - at_low)
        if not min(low, high) < middle < max(low, high):
            middle = (low + high) / 2
        if abs(middle - high) <= 1e-14 * abs(middle):
            return middle
        at_middle = f(middle)
        if (at_middle > 0) != (at_high > 0):
            low, at_low = high, at_high
        else:
            at_low /= 2
        high, at_high = middle, at_middle
    return high
