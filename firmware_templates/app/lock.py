"""Locking to the mains: no weld before eight successive half-cycles agree on a frequency inside the band."""

from array import array

from .clock import elapsed

NEEDED = 8
LATE_MS = 100  # without an edge for this long the mains is lost
PRESENT_MS = (
    25  # an edge came this short a time ago, wherever the mains is there: two half-cycles and what a step comes late
)
EXTRA_MOST = 20  # extra edges within about a second that lock out
EXTRA_UNDER_CURRENT = 6  # in one weld: two or three false edges, each of which may shift a gate by 15 degrees
OUT_OF_BAND_MS = 5000  # edges that disagree for this long lock out
LONGEST_US = 1000000  # longer half-cycles are limited to this, so that products stay small


class MainsLock:
    """Judges the half-cycles that the driver measures. Two successive ones make a period, so that offsets cancel."""

    def __init__(self, nominal_half_us: int, shortest_half_us: int, longest_half_us: int) -> None:
        self.nominal_half_us = nominal_half_us
        self.shortest_half_us = shortest_half_us
        self.longest_half_us = longest_half_us
        self.lengths = array("i", [0] * NEEDED)
        self.half_us = nominal_half_us
        self.reset(0)

    def reset(self, now_ms: int) -> None:
        """Give up the lock, and start again."""
        self.agreed = 0
        self.previous_us = 0
        self.extra = 0  # extra edges; one is forgiven each 50 ms
        self.forgiven_ms = now_ms
        self.last_edge_ms = now_ms
        self.unlocked_ms = now_ms

    def edge(self, length_us: int, now_ms: int) -> None:
        """Take one measured half-cycle."""
        if length_us > LONGEST_US:
            length_us = LONGEST_US
        if elapsed(now_ms, self.last_edge_ms) > LATE_MS:
            self.unlocked_ms = now_ms  # the mains has returned: earlier edges do not count for its frequency
        self.last_edge_ms = now_ms
        if length_us * 10 < self.nominal_half_us * 7:
            self.extra += 1
        pair_us = length_us + (self.previous_us or length_us)
        self.previous_us = length_us
        in_band = 2 * self.shortest_half_us <= pair_us and pair_us <= 2 * self.longest_half_us
        near = self.half_us * 96 <= pair_us * 49 and pair_us * 49 <= self.half_us * 100  # within 2 %
        if in_band and (near or self.agreed == 0):
            if self.agreed == 0:
                self.half_us = pair_us // 2
            self.lengths[self.agreed % NEEDED] = length_us
            self.agreed += 1
            if self.agreed == 2 * NEEDED:
                self.agreed = NEEDED
        else:
            if self.agreed >= NEEDED:
                self.unlocked_ms = now_ms
            self.agreed = 0
        if self.agreed >= NEEDED:
            total = 0
            for i in range(NEEDED):
                total += self.lengths[i]
            self.half_us = total // NEEDED

    def check(self, now_ms: int) -> None:
        """Account for the time passed: unlock without edges, and forgive old extra edges."""
        if elapsed(now_ms, self.last_edge_ms) > LATE_MS and self.agreed:
            self.agreed = 0
            self.previous_us = 0
            self.unlocked_ms = now_ms
        if elapsed(now_ms, self.forgiven_ms) >= 50:
            self.forgiven_ms = now_ms
            if self.extra:
                self.extra -= 1

    def locked(self) -> bool:
        """True while the last eight half-cycles agree."""
        return self.agreed >= NEEDED

    def present(self, now_ms: int) -> bool:
        """True while locked and the last edge is recent. The lock itself is given up only after LATE_MS."""
        return self.locked() and elapsed(now_ms, self.last_edge_ms) <= PRESENT_MS

    def noisy(self) -> bool:
        """Too many extra edges."""
        return self.extra >= EXTRA_MOST

    def begin_weld(self) -> None:
        """Restart the count of extra edges."""
        self.extra = 0

    def noisy_under_current(self, begun: bool) -> bool:
        """Too many extra edges for the firing hardware to distinguish true from false: any, before the first gate has `begun`."""
        return self.extra >= (EXTRA_UNDER_CURRENT if begun else 1)

    def out_of_band(self, now_ms: int) -> bool:
        """True when edges arrive, but do not agree on a frequency in the band."""
        if self.agreed or elapsed(now_ms, self.last_edge_ms) > LATE_MS:
            return False
        return elapsed(now_ms, self.unlocked_ms) > OUT_OF_BAND_MS
