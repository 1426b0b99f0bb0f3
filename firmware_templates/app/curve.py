"""The currents of one weld, gate by gate, as the hardware timed them, and what is wrong with them.

Filled while armed, so that all of it is there beforehand; told over the serial line afterwards.
"""

from array import array

from .words import CURVE_A_LINE, CURVE_KEPT, LOPSIDED, NO_CONDUCTION, NO_REASON, ONE_SIDED, RUNS_ON_US

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Driver, Rows

AT_ONCE = 4  # reports taken in one step
NONE_IN_A_ROW = 4  # gates without a current: nothing conducts


class Curve:
    """Of each gate its firing delay, the length of its current and the mains' half-cycle, in microseconds.

    `lopsided_us`: how much later the currents of one direction may end than those of the other.
    """

    def __init__(self, nominal_half_us: int, lopsided_us: int) -> None:
        self.nominal_half_us = nominal_half_us
        self.lopsided_us = lopsided_us
        self.delays = array("H", bytes(2 * CURVE_KEPT))
        self.lengths = array("H", bytes(2 * CURVE_KEPT))
        self.halves = array("H", bytes(2 * CURVE_KEPT))
        self.count = 0
        self.weld = 0  # its number once it has ended; 0: none, or under way
        self.fault = NO_REASON
        self.none_in_a_row = 0
        self.rows: Rows = ()
        self.row = 0
        self.left = 0
        self.half_us = nominal_half_us

    def begin(self, rows: "Rows", first_row: int, half_us: int) -> None:
        """A weld by `rows` starts at its first fired row; its delays are scaled to `half_us`."""
        self.rows = rows
        self.row = first_row
        self.left = rows[first_row][1]
        self.half_us = half_us
        self.count = 0
        self.weld = 0
        self.fault = NO_REASON
        self.none_in_a_row = 0

    def look(self, driver: "Driver", half_us: int) -> None:
        """Take what has been timed since, in the mains as it is now."""
        for _ in range(AT_ONCE):
            if self.count == CURVE_KEPT or not self.rows:
                return
            length_us = driver.conduction_us(self.count)
            if length_us < 0:
                return
            self._add(length_us, half_us)

    def _add(self, length_us: int, half_us: int) -> None:
        rows = self.rows
        while self.row < len(rows) - 1 and (self.left == 0 or rows[self.row][2] < 0):
            self.row += 1
            self.left = rows[self.row][1]
        self.left -= 1
        at = self.count
        self.delays[at] = max(rows[self.row][2], 0) * self.half_us // self.nominal_half_us
        self.lengths[at] = length_us
        self.halves[at] = half_us
        self.count = at + 1
        self.none_in_a_row = 0 if length_us else self.none_in_a_row + 1
        if self.fault == NO_REASON:
            self.fault = self._judge(at)

    def _judge(self, at: int) -> int:
        """What the newest gates say: two of one direction against the one between them."""
        if self.none_in_a_row >= NONE_IN_A_ROW:
            return NO_CONDUCTION
        if at < 2:
            return NO_REASON
        lengths = self.lengths
        if lengths[at] == 0 and lengths[at - 1] > 0 and lengths[at - 2] == 0:
            return ONE_SIDED
        if lengths[at - 1] > 0 and lengths[at] > 0 and lengths[at - 2] > 0:
            between = self._end_us(at - 1) + self.lopsided_us
            if self._end_us(at) > between and self._end_us(at - 2) > between:
                return LOPSIDED
        return NO_REASON

    def _end_us(self, at: int) -> int:
        length_us = self.lengths[at]
        return self.delays[at] + (self.half_us if length_us == RUNS_ON_US else length_us)

    def ended(self, weld: int) -> None:
        """The weld has ended and bears this number; what its last current is found to be still comes."""
        self.weld = weld

    def told(self, first: int) -> str:
        """Some entries from `first` on, as JSON text."""
        parts = []
        for at in range(first, min(first + CURVE_A_LINE, self.count)):
            parts.append("[%d, %d, %d]" % (self.delays[at], self.lengths[at], self.halves[at]))
        return '"weld": %d, "total": %d, "entries": [%s]' % (self.weld, self.count, ", ".join(parts))
