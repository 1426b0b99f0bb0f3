"""Converts the timing table to half-cycles for the firing hardware, scaled to the measured mains."""

from .words import GATE_END_DEG

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Driver, Rows

FILL_AT_ONCE = 64  # half-cycles prepared in one step, so that no step is long


class Plan:
    """The plan of one weld. `rows`: (phase, half-cycles, firing delay in us at nominal frequency or -1, heat per half-cycle).

    Without rows nothing is fired.
    """

    def __init__(self, rows: "Rows", nominal_half_us: int) -> None:
        self.rows = rows
        self.nominal_half_us = nominal_half_us
        first = 0
        while first < len(rows) and rows[first][2] < 0:
            first += 1
        last = len(rows) - 1
        while last > 0 and rows[last][2] < 0:
            last -= 1
        self.first_row = first
        self.last_row = last
        self.count = 0  # half-cycles from the first fired to the last
        self.cost = 0
        self.planned = 0
        for i in range(first, last + 1):
            self.count += rows[i][1]
            if rows[i][2] >= 0:
                self.planned += rows[i][1]
                self.cost += rows[i][1] * rows[i][3]
        self.row = 0
        self.left = 0
        self.index = 0

    def unfired_ms(self, phase: str, half_us: int) -> int:
        """Time of all rows of an unfired phase, ms. In every table squeeze precedes the current, and hold and off follow it."""
        total = 0
        for row in self.rows:
            if row[0] == phase:
                total += row[1]
        return total * half_us // 1000

    def begin(self) -> None:
        """Prepare a weld from its first half-cycle."""
        self.row = self.first_row
        self.left = self.rows[self.first_row][1]
        self.index = 0

    def ready(self) -> bool:
        """True when every half-cycle has been prepared."""
        return self.index == self.count

    def fill(self, driver: "Driver", half_us: int, positive: int) -> None:
        """Prepare more half-cycles. The firing angle scales with the measured half-cycle. The gate ends at GATE_END_DEG."""
        end_us = half_us * GATE_END_DEG // 180
        for _ in range(FILL_AT_ONCE):
            if self.index == self.count:
                return
            delay_us = self.rows[self.row][2]
            if delay_us >= 0:
                delay_us = delay_us * half_us // self.nominal_half_us
            driver.set_half_cycle(self.index, delay_us, end_us, positive ^ (self.index & 1))
            self.index += 1
            self.left -= 1
            if self.left == 0 and self.row < self.last_row:
                self.row += 1
                self.left = self.rows[self.row][1]


class GateDelays:
    """The firing delays of a weld, gate by gate, in nominal microseconds; -1 after the last."""

    def __init__(self) -> None:
        self.rows: Rows = ()
        self.row = 0
        self.left = 0

    def begin(self, rows: "Rows", first_row: int) -> None:
        """Begin the weld by `rows` at its first fired row."""
        self.rows = rows
        self.row = first_row
        self.left = rows[first_row][1]

    def next(self) -> int:
        """The delay of the next gate."""
        rows = self.rows
        while self.row < len(rows) - 1 and (self.left == 0 or rows[self.row][2] < 0):
            self.row += 1
            self.left = rows[self.row][1]
        self.left -= 1
        return rows[self.row][2]
