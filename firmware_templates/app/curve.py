"""The currents of one weld, gate by gate, as timed by the hardware, and their faults.

It is filled while armed, in memory allocated beforehand, and reported over the serial line afterwards.
"""

from array import array

from .plan import GateDelays
from .words import (
    CURVE_A_LINE,
    CURVE_KEPT,
    LOPSIDED,
    NO_CONDUCTION,
    NO_REASON,
    NOT_TIMED,
    ONE_SIDED,
    RUNS_ON_US,
    SWITCH_SHORTED,
    TOO_LONG,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Config, Driver, Rows

AT_ONCE = 4  # reports read in one step
NONE_IN_A_ROW = 4  # gates without a current: nothing conducts


class Curve:
    """For each gate: firing delay, length of the current and mains half-cycle, in microseconds, and the current."""

    def __init__(self, config: "Config") -> None:
        self.config = config
        self.delays = array("H", bytes(2 * CURVE_KEPT))
        self.lengths = array("h", bytes(2 * CURVE_KEPT))
        self.halves = array("H", bytes(2 * CURVE_KEPT))
        self.currents = array("h", bytes(2 * CURVE_KEPT))  # RMS, tenths of an ampere; -1: not measured
        self.peaks = array("h", bytes(2 * CURVE_KEPT))  # with their sign
        self.count = 0
        self.timed = 0  # number of gates whose current's length is known
        self.weld = 0  # number of the weld once it has ended; 0: none, or a weld under way
        self.fault = NO_REASON
        self.none_in_a_row = 0
        self.gate_delays = GateDelays()
        self.half_us = config.NOMINAL_HALF_US

    def begin(self, rows: "Rows", first_row: int, half_us: int) -> None:
        """Begin a weld by `rows` at its first fired row, with delays scaled to `half_us`."""
        self.gate_delays.begin(rows, first_row)
        self.half_us = half_us
        self.count = 0
        self.timed = 0
        self.weld = 0
        self.fault = NO_REASON
        self.none_in_a_row = 0

    def look(self, driver: "Driver", half_us: int) -> None:
        """Read the timings since the last step, with the present mains half-cycle."""
        for _ in range(AT_ONCE):
            if self.timed == CURVE_KEPT or not self.gate_delays.rows:
                return
            length_us = driver.conduction_us(self.timed)
            if length_us < 0:
                return
            self._add(length_us, half_us)

    def measured(self, gate: int, current_dA: int, peak_dA: int, half_us: int) -> None:
        """Keep the current of a gate. Gates beyond CURVE_KEPT are not kept."""
        if gate < CURVE_KEPT and self.gate_delays.rows:
            self._reach(gate, half_us)
            self.currents[gate] = current_dA
            self.peaks[gate] = peak_dA

    def length_us(self, gate: int) -> int:
        """The length of a gate's current as reported by the driver; NOT_TIMED where unknown."""
        return self.lengths[gate] if 0 <= gate < self.timed else NOT_TIMED

    def _reach(self, gate: int, half_us: int) -> None:
        """Add entries up to this gate."""
        while self.count <= gate:
            at = self.count
            self.delays[at] = max(self.gate_delays.next(), 0) * self.half_us // self.config.NOMINAL_HALF_US
            self.lengths[at] = NOT_TIMED
            self.halves[at] = half_us
            self.currents[at] = -1
            self.peaks[at] = 0
            self.count = at + 1

    def _add(self, length_us: int, half_us: int) -> None:
        at = self.timed
        self._reach(at, half_us)
        self.lengths[at] = length_us
        self.timed = at + 1
        self.none_in_a_row = 0 if length_us else self.none_in_a_row + 1
        if self.fault == NO_REASON:
            self.fault = self._judge(at)

    def _judge(self, at: int) -> int:
        """Judge the newest gates: two of one polarity against the one between them."""
        if self.none_in_a_row >= NONE_IN_A_ROW:
            return NO_CONDUCTION
        if at >= 1 and self._flows_ungated(at):
            return SWITCH_SHORTED
        if at < 2:
            return NO_REASON
        lengths = self.lengths
        if lengths[at] == 0 and lengths[at - 1] > 0 and lengths[at - 2] == 0:
            return ONE_SIDED
        if lengths[at - 1] > 0 and lengths[at] > 0 and lengths[at - 2] > 0:
            between = self._end_us(at - 1) + self.config.LOPSIDED_US
            if self._end_us(at) > between and self._end_us(at - 2) > between:
                return LOPSIDED
        if self._too_long(at) and self._too_long(at - 2):
            return TOO_LONG
        return NO_REASON

    def _flows_ungated(self, at: int) -> bool:
        """Two currents run on, and the first was fired so late that it must have ended before the second gate."""
        if self.lengths[at - 1] != RUNS_ON_US or self.lengths[at] != RUNS_ON_US:
            return False
        return self._longest_us(at - 1) < self.half_us - self.delays[at - 1] + self.delays[at]

    def _too_long(self, at: int) -> bool:
        length_us = self.lengths[at]
        return 0 < length_us != RUNS_ON_US and length_us > self._longest_us(at)

    def _longest_us(self, at: int) -> int:
        """The longest current of this gate's delay on the loop that the board was built for."""
        config = self.config
        delay_us = self.delays[at] * config.NOMINAL_HALF_US // self.half_us
        place = max((delay_us - config.EARLIEST_DELAY_US) // config.VOLT_SECONDS_STEP_US, 0)
        longest_us = config.LONGEST_US[min(place, len(config.LONGEST_US) - 1)]
        return longest_us * self.half_us // config.NOMINAL_HALF_US

    def _end_us(self, at: int) -> int:
        length_us = self.lengths[at]
        return self.delays[at] + (self.half_us if length_us == RUNS_ON_US else length_us)

    def ended(self, weld: int) -> None:
        """End the weld, and give it this number. The last current is still to be reported."""
        self.weld = weld

    def as_json(self, first: int) -> str:
        """Entries from `first` on, as many as fit a line, as JSON text."""
        parts = []
        for at in range(first, min(first + CURVE_A_LINE, self.count)):
            entry = (self.delays[at], self.lengths[at], self.halves[at], self.currents[at], self.peaks[at])
            parts.append("[%d, %d, %d, %d, %d]" % entry)
        return '"weld": %d, "total": %d, "entries": [%s]' % (self.weld, self.count, ", ".join(parts))
