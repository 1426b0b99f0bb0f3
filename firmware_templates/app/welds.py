"""The last welds, for whoever asks over the serial line. Written while armed, so that all of it is there beforehand."""

from array import array

from .words import WELDS_A_LINE, WELDS_KEPT

_FIELDS = 5


class Welds:
    """A ring of the last 64: ending, planned and fired half-cycles, duty used in half-cycles, second of the board."""

    def __init__(self) -> None:
        self.count = 0  # of the last weld; the first is 1
        self.ring = array("i", [0] * (WELDS_KEPT * _FIELDS))

    def add(self, ending: int, planned: int, fired: int, duty_used: int, second: int) -> None:
        """A weld has ended."""
        at = self.count % WELDS_KEPT * _FIELDS
        ring = self.ring
        ring[at] = ending
        ring[at + 1] = planned
        ring[at + 2] = fired
        ring[at + 3] = duty_used
        ring[at + 4] = second
        self.count += 1

    def told(self, since: int, second: int) -> str:
        """Those after weld number `since`, oldest first and at most six, as JSON text; ages in seconds."""
        parts = []
        first = max(since, self.count - WELDS_KEPT, 0)
        for n in range(first, min(first + WELDS_A_LINE, self.count)):
            at = n % WELDS_KEPT * _FIELDS
            ring = self.ring
            parts.append(
                "[%d, %d, %d, %d, %d, %d]"
                % (n + 1, ring[at], ring[at + 1], ring[at + 2], ring[at + 3], second - ring[at + 4])
            )
        return "[%s]" % ", ".join(parts)
