"""The last welds, read over the serial line. They are recorded while armed, so the memory is allocated at the start."""

from array import array

from .words import NOT_CORRECTING, WELDS_A_LINE, WELDS_KEPT

_FIELDS = 7


class Welds:
    """A ring of the last 64 welds. Each has ending, half-cycles planned and fired, duty used in half-cycles, and time in s.

    Then the current that it was fired for, in thousandths of the planned one, and its effect on the correction
    (CORRECTION_NAMES).
    """

    def __init__(self) -> None:
        self.count = 0  # number of the last weld; the first is 1
        self.ring = array("i", [0] * (WELDS_KEPT * _FIELDS))

    def add(self, ending: int, planned: int, fired: int, duty_used: int, second: int, permille: int = 0) -> None:
        """Add a weld. `permille` is 0 without correction."""
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

    def set_correction(self, outcome: int) -> None:
        """Set the last weld's effect on the correction."""
        self.ring[(self.count - 1) % WELDS_KEPT * _FIELDS + 6] = outcome

    def as_json(self, since: int, second: int) -> str:
        """The welds after number `since`, oldest first and at most six, as JSON text; ages in s."""
        parts = []
        first = max(since, self.count - WELDS_KEPT, 0)
        for n in range(first, min(first + WELDS_A_LINE, self.count)):
            at = n % WELDS_KEPT * _FIELDS
            ring = self.ring
            values = (
                ring[at],
                ring[at + 1],
                ring[at + 2],
                ring[at + 3],
                second - ring[at + 4],
                ring[at + 5],
                ring[at + 6],
            )
            parts.append("[%d, %d, %d, %d, %d, %d, %d, %d]" % ((n + 1,) + values))
        return "[%s]" % ", ".join(parts)
