"""The board's own clock, which may run fast or slow and starts anew with the board."""

from __future__ import annotations

import simpy

MASK = (1 << 30) - 1  # milliseconds count modulo 2**30


class Clock:
    """Tells the board's time and makes time-outs of so many of its seconds. `starts_ms`: what it shows at first."""

    def __init__(self, env: simpy.Environment, rate: float = 1.0, starts_ms: int = 0, rested_ms: int = 0) -> None:
        self.env = env
        self.rate = rate
        """Seconds of this clock in one true second."""
        self.rested_ms = rested_ms
        """What it knows of the rest before this start of the board; 0: nothing."""
        self._offset_ms = starts_ms

    def now_ms(self) -> int:
        """Milliseconds on this clock."""
        return (int(self.env.now * 1000 * self.rate + 1e-6) + self._offset_ms) & MASK

    def timeout(self, delay_s: float) -> simpy.Timeout:
        """An event after so many of this clock's seconds."""
        return self.env.timeout(delay_s / self.rate)

    def restart(self, rested_ms: int) -> None:
        """Count from 0 again, knowing so much of the rest before."""
        self.rested_ms = rested_ms
        self._offset_ms = -int(self.env.now * 1000 * self.rate)

    def leap(self, ms: int) -> None:
        """Move the clock on."""
        self._offset_ms += ms
