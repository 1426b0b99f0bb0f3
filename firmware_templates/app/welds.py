"""The last welds, for whoever asks over the serial line. Written while armed, so that all of it is there beforehand."""

from array import array

from .words import NOT_CORRECTING, WELDS_A_LINE, WELDS_KEPT

_FIELDS = 7


class Welds:
    """A ring of the last 64: ending, planned and fired half-cycles, duty used in half-cycles, second of the board.

    And the thousandths of the planned current that it was fired for, and what it means to the next (CORRECTION_NAMES).
    """

    def __init__(self) -> None:
        self.count = 0  # of the last weld; the first is 1
        self.ring = array("i", [0] * (WELDS_KEPT * _FIELDS))

    def add(self, ending: int, planned: int, fired: int, duty_used: int, second: int, permille: int = 0) -> None:
        """A weld has ended. `permille`: 0 where nothing corrects."""
        at = self.count % WELDS_KEPT * _FIELDS
        ring = self.ring
        ring[at] = ending
        ring[at + 1] = planned
        ring[at + 2] = fired
        ring[at + 3] = duty_used
        ring[at + 4] = second
        ring[at + 5] = permille
        ring[at + 6] = NOT_CORRECTING
        self.count += 1

    def weighed(self, judgement: int) -> None:
        """What the last weld means to the next."""
        self.ring[(self.count - 1) % WELDS_KEPT * _FIELDS + 6] = judgement

    def told(self, since: int, second: int) -> str:
        """Those after weld number `since`, oldest first and at most six, as JSON text; ages in seconds."""
        parts = []
        first = max(since, self.count - WELDS_KEPT, 0)
        for n in range(first, min(first + WELDS_A_LINE, self.count)):
            at = n % WELDS_KEPT * _FIELDS
            ring = self.ring
            came = (
                ring[at],
                ring[at + 1],
                ring[at + 2],
                ring[at + 3],
                second - ring[at + 4],
                ring[at + 5],
                ring[at + 6],
            )
            parts.append("[%d, %d, %d, %d, %d, %d, %d, %d]" % ((n + 1,) + came))
        return "[%s]" % ", ".join(parts)
