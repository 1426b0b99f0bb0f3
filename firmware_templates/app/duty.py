"""The duty guard: the heat of the last minute, in integers.

The unit of heat is a hundredth of a half-cycle at full conduction. A half-cycle at half the current counts 25.
"""

from array import array

from .clock import after, elapsed

SECONDS = 61  # a minute, and the second under way


class DutyGuard:
    """Heat in 61 buckets of one second. `used` is their sum."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.buckets = array("i", [0] * SECONDS)
        self.at = 0
        self.used = 0
        self.second_ms = 0
        self.seconds = 0  # since counting began

    def begin(self, now_ms: int, rested_ms: int) -> None:
        """Start counting. For unknown rest the worst is assumed: the whole limit was spent just before."""
        self.second_ms = now_ms
        if rested_ms < SECONDS * 1000:
            self.charge(self.limit)

    def charge(self, cost: int) -> None:
        """Add `cost` to the present second."""
        self.buckets[self.at] += cost
        self.used += cost

    def check(self, now_ms: int) -> None:
        """Let time pass."""
        while elapsed(now_ms, self.second_ms) >= 1000:
            self.second_ms = after(self.second_ms, 1000)
            self.seconds += 1
            self.at = (self.at + 1) % SECONDS
            self.used -= self.buckets[self.at]
            self.buckets[self.at] = 0

    def allows(self, cost: int) -> bool:
        """True when a weld of `cost` may begin now."""
        return self.used + cost <= self.limit

    def seconds_until(self, cost: int) -> int:
        """Seconds until `allows(cost)`: 0 if it does now, SECONDS if never."""
        left = self.used
        for i in range(SECONDS):
            if left + cost <= self.limit:
                return i
            left -= self.buckets[(self.at + 1 + i) % SECONDS]
        return SECONDS
