"""The primary current of each half-cycle, from the samples of a current transformer, and its faults.

All memory is allocated before the heap is locked. A sample is a count of 12 bits, so the squares of one half-cycle sum to less
than 2**30. A gate's window begins with the gate and lasts a half-cycle, or to the next gate. Current outside every window flows
without a gate. Where the sense across the switch is fitted too, the two must agree.
"""

from .clock import elapsed
from .plan import GateDelays
from .words import (
    CURRENT_HIGH,
    CURRENT_LOW,
    CURRENT_RING,
    CURRENT_SENSE_FAULT,
    NO_CONDUCTION,
    NO_REASON,
    NOT_TIMED,
    ONE_SIDED,
    SAMPLE_US,
    SENSES_DISAGREE,
    SWITCH_SHORTED,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Config, Driver, Rows

    from .curve import Curve

AT_ONCE = 256  # samples taken in one step: enough for a step 20 ms late
STILL_MS = 50  # without a sample for this long the converter has stopped
BIAS_HALF_CYCLES = 2  # averaging time of the bias, before the first gate; over whole cycles a current sums to zero
UNSEEN_IN_A_ROW = 4  # gates without a current: nothing conducts
HIGH_IN_A_ROW = 2
LOW_IN_A_ROW = 8  # gates; a joint with a poor first contact may draw little at first
DISAGREE_IN_A_ROW = 2
UNGATED_IN_A_ROW = 2
BEFORE_A_GATE = 3  # samples; a gate is reported up to one late
EXPULSION_FROM = 10  # first gates, in which contact breakdown of sound welds looks alike; common practice, no source
EXPULSION_RISE = 25  # a rise by a twenty-fifth from one cycle to the next
EXPULSION_US = 60  # and a longer flow of both currents together by this; the mains alone does not change it
_MASK = CURRENT_RING - 1


def root(square: int) -> int:
    """The whole square root, rounded down."""
    found = 0
    bit = 1 << 14
    while bit:
        tried = found + bit
        if tried * tried <= square:
            found = tried
        bit >>= 1
    return found


class Ammeter:
    """The ammeter. Currents are in tenths of an ampere, RMS over the whole half-cycle."""

    def __init__(self, driver: "Driver", config: "Config", curve: "Curve") -> None:
        self.config = config
        self.curve = curve
        self.ring = driver.current_ring()
        self.delays = GateDelays()
        self.fault = NO_REASON
        self.planned = True
        self.expelled = 0  # the gate of an expulsion, counted from 1; 0 for none
        self.bias = 0
        self.biased = False
        self.lost = False  # more samples than the ring holds arrived between two steps
        self.at = 0  # index of the next sample
        self.newest = 0
        self.moved_ms = 0
        self.end = 0  # end of the present window
        self.gate = -1  # the gate of the present window; -1: none
        self.next_gate = 0
        self.total = 0  # without a gate: the sum of deviations from the bias, in which a burst of noise counts little
        self.squares = 0
        self.high = 0  # greatest deviations above and below the bias
        self.low = 0
        self.delay_us = 0  # nominal firing delay of the gate
        self.none = self.none_before = False
        self.seen = 0  # gates judged
        self.nones = self.highs = self.lows = self.disagreed = 0
        self.ungated = 0  # successive gates that found a current flowing
        self.same = 0  # successive gates with the same delay
        self.now_dA = 0
        self.cycle_dA = self.cycle_us = 0  # those of the previous cycle

    def begin(self, driver: "Driver", now_ms: int, planned: bool = True) -> None:
        """The pedal is accepted: sampling begins anew. `planned`: the work is to draw the planned current."""
        self.planned = planned
        driver.sample()
        self.moved_ms = now_ms
        self.fault = NO_REASON
        self.expelled = 0
        self.bias = 0
        self.biased = False
        self.lost = False
        self.at = self.newest = 0
        self.gate = -1
        self.end = 0
        self._open()
        self.next_gate = 0

    def fire(self, rows: "Rows", first_row: int) -> None:
        """Begin a weld by `rows` at its first fired row. Its gates count from 0."""
        self.delays.begin(rows, first_row)
        self.next_gate = 0
        self.none = self.none_before = False
        self.seen = 0
        self.nones = self.highs = self.lows = self.disagreed = 0
        self.same = 0
        self.delay_us = -1

    def _open(self) -> None:
        self.total = 0
        self.squares = 0
        self.high = self.low = 0

    def look(self, driver: "Driver", half_us: int, now_ms: int) -> None:
        """Take the samples that have arrived since the last step."""
        if self.lost:
            return
        newest = driver.sampled()
        if newest != self.newest:
            self.newest = newest
            self.moved_ms = now_ms
        elif elapsed(now_ms, self.moved_ms) > STILL_MS:
            self._found(CURRENT_SENSE_FAULT)
        length = half_us // SAMPLE_US
        if not self.biased:
            if newest < BIAS_HALF_CYCLES * length + 1:
                return
            self._learn_bias(BIAS_HALF_CYCLES * length)
            self.end = length
        if newest - self.at > CURRENT_RING - 8:
            self.lost = True  # overwritten samples; so late a step ends the weld anyway
            return
        # The two newest may belong to a gate that is not reported yet.
        last = min(newest - 2, self.at + AT_ONCE)
        gate_at = driver.gate_sample(self.next_gate)
        while self.at < last:
            if 0 <= gate_at <= self.at + 1:  # a gate is reported up to a sample late
                self._close(half_us)
                self.gate = self.next_gate
                self.next_gate += 1
                before_us = self.delay_us
                self._next_delay()
                self._watch_gap(before_us)
                gate_at = driver.gate_sample(self.next_gate)
                self.end = self.at + length
            elif self.at >= self.end:
                self._close(half_us)
                self.gate = -1
                self.end = self.at + length
            stop = min(last, self.end)
            if gate_at >= 0:
                stop = min(stop, max(gate_at - 1, self.at))
            self._take(stop)

    def _learn_bias(self, count: int) -> None:
        total = 0
        for at in range(count):
            total += self.ring[at & _MASK]
        self.bias = (total + count // 2) // count
        self.biased = True
        if self.bias < self.config.BIAS_LEAST or self.bias > self.config.BIAS_MOST:
            self._found(CURRENT_SENSE_FAULT)

    def _take(self, stop: int) -> None:
        ring, bias = self.ring, self.bias
        if self.gate < 0:
            total = self.total
            for at in range(self.at, stop):
                off = ring[at & _MASK] - bias
                total += off if off > 0 else -off
            self.total = total
            self.at = stop
            return
        squares, high, low = self.squares, self.high, self.low
        for at in range(self.at, stop):
            off = ring[at & _MASK] - bias
            squares += off * off
            if off > high:
                high = off
            elif off < low:
                low = off
        self.squares, self.high, self.low = squares, high, low
        self.at = stop

    def _tenths(self, half_us: int) -> int:
        """The window's RMS current. Each term stays below 2**30: 90 squares of 2047 are less than 2**29."""
        whole, rest = self.squares // half_us, self.squares % half_us
        mean = whole * (64 * SAMPLE_US) + rest * (64 * SAMPLE_US) // half_us
        return root(mean) * self.config.CURRENT_GAIN >> 14

    def _next_delay(self) -> None:
        before_us = self.delay_us
        self.delay_us = self.delays.next()
        self.same = self.same + 1 if self.delay_us == before_us else 1

    def _watch_gap(self, before_us: int) -> None:
        """Detect a current that flows on to the next gate, fired so late that it must have ended: a shorted switch."""
        config = self.config
        off = self.ring[(self.at - BEFORE_A_GATE) & _MASK] - self.bias
        flows = (off if off > 0 else -off) * config.CURRENT_GAIN // 2048 > config.STRAY_DA
        if self.gate == 0 or not flows:  # a current before the first gate is judged elsewhere
            self.ungated = 0
            return
        place = max((before_us - config.EARLIEST_DELAY_US) // config.VOLT_SECONDS_STEP_US, 0)
        longest_us = config.LONGEST_US[min(place, len(config.LONGEST_US) - 1)]
        if longest_us < config.NOMINAL_HALF_US - before_us + self.delay_us:
            self.ungated += 1
            if self.ungated >= UNGATED_IN_A_ROW:
                self._found(SWITCH_SHORTED)

    def _close(self, half_us: int) -> None:
        """Close the window: report its current, and judge it."""
        gate = self.gate
        if gate < 0:
            # The RMS of a sine is ten ninths of its mean.
            eighths = self.total * (8 * SAMPLE_US) // half_us * 10 // 9
            if eighths * self.config.CURRENT_GAIN >> 14 > self.config.STRAY_DA:
                self._found(SWITCH_SHORTED)
        else:
            current_dA = self._tenths(half_us)
            farthest = self.high if self.high >= -self.low else self.low
            self.curve.measured(gate, current_dA, farthest * self.config.CURRENT_GAIN // 2048, half_us)
            self._judge(gate, current_dA)
        self._open()

    def _found(self, fault: int) -> None:
        if self.fault == NO_REASON:
            self.fault = fault

    def _judge(self, gate: int, current_dA: int) -> None:
        config = self.config
        place = max((self.delay_us - config.EARLIEST_DELAY_US) // config.VOLT_SECONDS_STEP_US, 0)
        place = min(place, len(config.LEAST_DA) - 2)
        least_dA = config.LEAST_DA[place + 1]
        if least_dA == 0:
            return  # fired so late that its current would be within the noise
        self.highs = self.highs + 1 if current_dA > config.MOST_DA[place] else 0
        if not self.planned:  # a heater, or open electrodes: only too much is wrong
            if self.highs >= HIGH_IN_A_ROW:
                self._found(CURRENT_HIGH)
            return
        none_twice_before, self.none_before = self.none_before, self.none
        self.none = current_dA * 4 < least_dA
        self.seen += 1
        self.nones = self.nones + 1 if self.none else 0
        self.lows = self.lows + 1 if current_dA < least_dA and not self.none else 0
        length_us = self.curve.length_us(gate)
        timed = length_us != NOT_TIMED
        self.disagreed = self.disagreed + 1 if timed and self.none != (length_us == 0) else 0
        if self.disagreed >= DISAGREE_IN_A_ROW:
            self._found(SENSES_DISAGREE)
        elif self.seen > 2 and self.none and none_twice_before and not self.none_before:
            self._found(ONE_SIDED)
        elif self.nones >= UNSEEN_IN_A_ROW:
            self._found(NO_CONDUCTION)
        elif self.highs >= HIGH_IN_A_ROW:
            self._found(CURRENT_HIGH)
        elif self.lows >= LOW_IN_A_ROW:
            self._found(CURRENT_LOW)
        before_dA, self.now_dA = self.now_dA, current_dA
        if gate & 1 and timed:
            self._watch_cycle(gate, before_dA + current_dA, self.curve.length_us(gate - 1) + length_us)

    def _watch_cycle(self, gate: int, cycle_dA: int, cycle_us: int) -> None:
        """Detect expulsion: a sudden rise of the current, and a longer flow, at the same firing."""
        if gate >= EXPULSION_FROM and self.same >= 4 and self.expelled == 0:
            risen = (cycle_dA - self.cycle_dA) * EXPULSION_RISE > self.cycle_dA
            if risen and cycle_us - self.cycle_us > EXPULSION_US:
                self.expelled = gate + 1
        self.cycle_dA = cycle_dA
        self.cycle_us = cycle_us
