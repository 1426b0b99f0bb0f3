"""Arithmetic on the driver's milliseconds, which count modulo 2**30 so that they stay small integers."""

MASK = (1 << 30) - 1


def elapsed(now_ms: int, since_ms: int) -> int:
    """Milliseconds from `since_ms` to `now_ms`, correct across the wrap, for spans under 2**30 ms (12 days)."""
    return (now_ms - since_ms) & MASK


def after(now_ms: int, ms: int) -> int:
    """The time `ms` (1 or more) after `now_ms`. Their plain sum would reach 2**30 at the wrap, and allocate."""
    return (now_ms - (MASK - ms) - 1) & MASK
