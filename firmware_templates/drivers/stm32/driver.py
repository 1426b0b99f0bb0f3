"""Hardware of the STM32F405: the detector's edge starts a timer that makes the gate; an interrupt loads each half-cycle.

Timer 2 counts microseconds. The hardware starts it at the edge (slave trigger mode). The gate rises when the count reaches a
compare value, and falls when the count ends (one-pulse mode, PWM mode 2). The preload register holds a value that is never
reached, which replaces the compare value at the end of the count. So a gate occurs only if the interrupt has loaded it for this
very half-cycle, and a processor that hangs fires no more. The interrupts count the weld, independently of the main loop.

Implements interface.py. Nothing after `__init__` allocates, except in `restart` and for files.
Sources: RM0090 (STM32F405 reference manual), chapter 18 (TIM2 to TIM5) and 26 (RTC backup registers); MicroPython's machine,
pyb and stm documentation.
"""

import time
from array import array

import config
import machine
import micropython
import pyb
import stm
import uctypes
from app.words import CURRENT_RING, CURVE_KEPT, GATE_END_DEG, GATES_STAMPED, RUNS_ON_US, SAMPLE_US, WATCHDOG
from board_io import BoardIo, kept
from machine import Pin, mem16, mem32
from micropython import const

micropython.alloc_emergency_exception_buf(100)

# Addresses are above 2**30. They are made here once, since nothing may allocate in an interrupt.
_CR1 = stm.TIM2 + stm.TIM_CR1
_SMCR = stm.TIM2 + stm.TIM_SMCR
_CCMR1 = stm.TIM2 + stm.TIM_CCMR1
_CCMR2 = stm.TIM2 + stm.TIM_CCMR2
_CCER = stm.TIM2 + stm.TIM_CCER
_CNT = stm.TIM2 + stm.TIM_CNT
_ARR = stm.TIM2 + stm.TIM_ARR
_CCR3 = stm.TIM2 + stm.TIM_CCR3
_CCR4 = stm.TIM2 + stm.TIM_CCR4

# Timer 3 is reset by each gate, and captures the edges of the sense across the switch.
_TRIGGER_OUT = stm.TIM2 + stm.TIM_CR2
_SENSE_CR1 = stm.TIM3 + stm.TIM_CR1
_SENSE_SMCR = stm.TIM3 + stm.TIM_SMCR
_SENSE_CCMR1 = stm.TIM3 + stm.TIM_CCMR1
_SENSE_CCER = stm.TIM3 + stm.TIM_CCER
_SENSE_SR = stm.TIM3 + stm.TIM_SR
_DARK_FROM = stm.TIM3 + stm.TIM_CCR1
_LIT_FROM = stm.TIM3 + stm.TIM_CCR2
_GATE_OUT = const(0x60)  # MMS of CR2: timer 2 tells the others of its channel 3
_ZERO_AT_GATE = const(0x14)  # SMCR: timer 2 sets the count to 0
_BOTH_OF_ONE_PIN = const(0x0102)  # CCMR1: channels 1 and 2 capture channel 2's pin
_RISE_AND_FALL = const(0x31)  # CCER: channel 1 its rise, channel 2 its fall
_ROSE = const(0x02)  # CC1IF of SR; reading the capture clears it
_SETTLED_US = const(513)  # the sense is dark by then if a current flows; the same on every board

# Timer 8 asks converter 1 for a sample each SAMPLE_US, and stream 0 of DMA 2 writes them round the ring.
_PACE_CR2 = stm.TIM8 + stm.TIM_CR2
_ADC_SR = stm.ADC1 + stm.ADC_SR
_ADC_CR2 = stm.ADC1 + stm.ADC_CR2
_ADC_DATA = stm.ADC1 + stm.ADC_DR
_DMA_FLAGS = stm.DMA2 + stm.DMA_LIFCR
_DMA_CR = stm.DMA2 + 0x10
_DMA_LEFT = stm.DMA2 + 0x14
_DMA_FROM = stm.DMA2 + 0x18
_DMA_TO = stm.DMA2 + 0x1C
_CLOCKS = stm.RCC + stm.RCC_AHB1ENR
_DMA_CLOCK = const(0x00400000)  # DMA2EN; MicroPython may have taken it away after it used a memory card
_TELLS_UPDATES = const(0x20)  # MMS of CR2: each end of the count is told to the others
_AT_EACH_COUNT = const(0x1E000301)  # CR2: ADON, DMA and DDS, started by the rise of timer 8's trigger output
_ROUND_THE_RING = const(0x00022D01)  # high priority, half-words, memory counts up, circular, channel 0, EN
_EVERY_FLAG = const(0x3D)
_SLOW_SAMPLES = const(0x24000000)  # SMPR2: 84 clocks for inputs 8 and 9, for the burden is no stiff source
_FIRST_INPUT = const(8)  # converter input of pin B0; B1 has 9
_RING_MASK = CURRENT_RING - 1
_AHEAD = const(8)  # samples by which a gate may be reported before it begins

_ALTERNATE = const(1)  # of the pins: timer 2
_ALTERNATE_SENSE = const(2)  # timer 3
_RUNNING = const(0x01)  # CEN of CR1
_ONE_PULSE = const(0x0C)  # OPM, and URS: only the end of the count interrupts
_ON_EDGE = const(0x56)  # SMCR: the edge on channel 1 starts the count
_EDGE_IN = const(0x01)  # CCMR1: channel 1 is the detector
_FORCED_LOW = const(0x40)  # CCMR2, channel 3: low whatever the count
_PWM = const(0x70)  # high from the compare value on; a new value counts at once
_PWM_NEXT = const(0x78)  # the same; a new value waits for the end of the count
_OUT_RISING = const(0x100)  # CCER: channel 3 drives its pin, channel 1 takes rising edges
_FALLING = const(0x02)
_LONGEST_COUNT = const(0xFFFF)  # ARR until the interrupt knows the half-cycle's end
_NEVER = const(0xFFFFF)  # beyond any count

# Time by which the interrupt loads a gate before it begins: more than MicroPython's interrupt latency (16 to 94 us measured).
LEAD_US = const(200)
_AT_ONCE_US = const(20)
_TOO_LATE_US = const(10)

_LEAD_IN = const(2)  # entries reserved for unfired half-cycles before the first

# The state of a half-cycle.
_OFF = const(0)  # no further half-cycle: ended, stopped, or an edge was missed
_HUNT = const(1)  # the next edge starts the count
_BLANK = const(2)  # counting, and no gate is loaded
_GATE = const(3)  # counting, with the gate loaded or the half-cycle left unfired

_QUEUE = const(8)
_LONGEST_US = const(1_000_000)

_BACKUP = stm.RTC + stm.RTC_BKP18R  # registers 18 and 19 outlast a reset
_WRITABLE = const(0x100)  # DBP of PWR_CR
_MAINTAIN = const(0x1C3F5A96)
_MAINTAIN_CHECK = const(0x23C0A569)  # its complement in 30 bits
_FAILED = const(0x2B96C35A)
_FAILED_CHECK = const(0x14693CA5)


def maintenance() -> int:
    """1 if this start was requested by `restart(1)`. Call it once: the next start is then an ordinary one."""
    if mem32[_BACKUP] != _MAINTAIN or mem32[_BACKUP + 4] != _MAINTAIN_CHECK:
        return 0
    _leave_word(0, 0)
    return 1


def _ended_badly() -> int:
    """WATCHDOG where this run began with a watchdog reset, or after an error, which looks the same on the other boards."""
    failed = mem32[_BACKUP] == _FAILED and mem32[_BACKUP + 4] == _FAILED_CHECK
    _leave_word(0, 0)
    return WATCHDOG if failed or machine.reset_cause() == machine.WDT_RESET else 0


def _leave_word(word: int, check: int) -> None:
    mem32[stm.PWR + stm.PWR_CR] |= _WRITABLE
    mem32[_BACKUP] = word
    mem32[_BACKUP + 4] = check


class Driver(BoardIo):
    """Owns the board's pins, timer 2, with a sense timer 3, and with a current transformer timer 8, converter 1 and stream 0 of
    DMA 2, from here on; one per run."""

    def __init__(self) -> None:
        # The gate first, and low. The timer drives it only during a weld.
        self._gate = Pin(config.PIN_GATE, Pin.OUT, value=0)
        size = config.MAX_HALF_CYCLES + _LEAD_IN
        self._begins = array("H", bytes(2 * size))  # us from the edge, 0 not fired; half-cycle i is entry i + _LEAD_IN
        self._ends = array("H", bytes(2 * size))
        super().__init__(_ended_badly() | kept(self._begins, "H", 2) | kept(self._ends, "H", 2))

        self._results = bytearray(size)
        self._lead_in = 0
        self._at = 0  # entry under way
        self._last = 0
        self._armed = 0
        self._phase = _OFF
        self._edge = 1  # level that the edge hunted for leads to
        self._window_us = 0
        self._deadline_us = time.ticks_us()
        self._ended = 0

        self._lengths = array("i", bytes(4 * _QUEUE))
        self._newest = self._oldest = 0
        self._metered = 0
        self._metered_us = time.ticks_us()

        # A broken detector wire gives no edges, and so no weld.
        self._detector = Pin(config.PIN_DETECTOR, Pin.IN, Pin.PULL_DOWN)
        timer = pyb.Timer(2)
        timer.init(prescaler=timer.source_freq() // 1_000_000 - 1, period=_LONGEST_COUNT)
        timer.channel(4, pyb.Timer.OC_TIMING, compare=_NEVER, polarity=pyb.Timer.HIGH, callback=self._due)
        timer.callback(self._end)
        self._disarm()
        mem16[_CCMR1] = _EDGE_IN
        edges = Pin.IRQ_RISING | Pin.IRQ_FALLING if config.DETECTOR_SQUARE else Pin.IRQ_RISING
        self._detector.irq(self._changed, edges, hard=True)
        self._detector.init(Pin.ALT, Pin.PULL_DOWN, alt=_ALTERNATE)

        self._timed = array("H", bytes(2 * CURVE_KEPT))
        self._gates = 0  # gates loaded since `start`
        self._told = 0  # number of those whose currents are timed
        if self._sense is not None:
            self._begin_timing(self._sense)

        self._taken = 0
        self._marks = array("H", bytes(2 * GATES_STAMPED))  # place in the ring at which each gate begins
        if config.PIN_PRIMARY_CURRENT is not None:
            self._begin_sampling(config.PIN_PRIMARY_CURRENT)

    def _begin_sampling(self, name: str) -> None:
        self._samples = array("H", bytes(2 * CURRENT_RING))
        self._ring = self._samples
        pyb.ADC(pyb.Pin(name))  # enables the converter, and makes the pin an analogue input
        mem32[stm.ADC1 + stm.ADC_SQR1] = 0  # one input
        mem32[stm.ADC1 + stm.ADC_SQR3] = _FIRST_INPUT + int(name[1:])
        mem32[stm.ADC1 + stm.ADC_SMPR2] = _SLOW_SAMPLES
        timer = pyb.Timer(8)
        timer.init(prescaler=timer.source_freq() // 1_000_000 - 1, period=SAMPLE_US - 1)
        mem16[_PACE_CR2] = _TELLS_UPDATES

    def sample(self) -> None:
        mem32[_CLOCKS] |= _DMA_CLOCK
        mem32[_ADC_CR2] = 0
        mem32[_DMA_CR] = 0
        time.sleep_us(5)  # a transfer under way ends before the stream is off
        mem32[_DMA_FLAGS] = _EVERY_FLAG
        mem32[_DMA_FROM] = _ADC_DATA
        mem32[_DMA_TO] = uctypes.addressof(self._samples)
        mem32[_DMA_LEFT] = CURRENT_RING
        mem32[_DMA_CR] = _ROUND_THE_RING
        mem32[_ADC_SR] = 0
        self._taken = 0
        self._gates = self._stamped = 0
        mem32[_ADC_CR2] = _AT_EACH_COUNT

    def sampled(self) -> int:
        taken: int = self._taken
        taken += (CURRENT_RING - mem32[_DMA_LEFT] - taken) & _RING_MASK
        self._taken = taken
        while self._stamped < self._gates:
            mark = self._marks[self._stamped % GATES_STAMPED]
            self._stamps[self._stamped % GATES_STAMPED] = taken + _AHEAD - ((taken + _AHEAD - mark) & _RING_MASK)
            self._stamped += 1
        return taken

    def _mark(self, to_gate_us: int) -> None:
        """Called in the interrupt that has loaded a gate: note the place in the ring at which the gate will begin."""
        samples = CURRENT_RING - mem32[_DMA_LEFT] + (to_gate_us + SAMPLE_US - 1) // SAMPLE_US + 1
        self._marks[(self._gates - 1) % GATES_STAMPED] = samples & _RING_MASK

    def _begin_timing(self, sense: "Pin") -> None:
        timer = pyb.Timer(3)
        timer.init(prescaler=timer.source_freq() // 1_000_000 - 1, period=_LONGEST_COUNT)
        timer.channel(2, pyb.Timer.IC, polarity=pyb.Timer.FALLING, callback=self._lit)
        mem16[_SENSE_CCER] = 0
        mem16[_SENSE_CCMR1] = _BOTH_OF_ONE_PIN
        mem16[_SENSE_CCER] = _RISE_AND_FALL
        mem16[_SENSE_SMCR] = _ZERO_AT_GATE
        mem16[_TRIGGER_OUT] = _GATE_OUT
        sense.init(Pin.ALT, Pin.PULL_UP, alt=_ALTERNATE_SENSE)

    def _disarm(self) -> None:
        """Disarm: no edge starts the timer, the count stops, the pin is low."""
        self._phase = _OFF
        mem16[_SMCR] = 0
        mem16[_CR1] = _ONE_PULSE
        mem16[_CCMR2] = _FORCED_LOW

    # -- interrupts; the timer's may interrupt the detector's -----------------------------------------------------------

    def _changed(self, pin: "Pin") -> None:
        """The detector's edge. Prepares the half-cycle that the hardware has started, and meters every edge."""
        edge_us = time.ticks_us()
        if self._armed and self._phase == _HUNT and mem16[_CR1] & _RUNNING:
            count = mem32[_CNT]
            edge_us = time.ticks_add(time.ticks_us(), -count)
            end = self._ends[self._at]
            if time.ticks_diff(edge_us, self._deadline_us) > 0:
                self._disarm()  # later than a half-cycle can be
            else:
                begin = self._begins[self._at] or end
                self._deadline_us = time.ticks_add(edge_us, end + self._window_us)
                self._phase = _BLANK
                mem32[_ARR] = end - 1
                mem32[_CCR4] = max(begin - LEAD_US, mem32[_CNT] + _AT_ONCE_US)
        if self._metered:
            newest = (self._newest + 1) % _QUEUE
            if newest != self._oldest:
                self._lengths[self._newest] = time.ticks_diff(edge_us, self._metered_us)
                self._newest = newest
        self._metered = 1
        self._metered_us = edge_us

    def _due(self, timer: "pyb.Timer") -> None:
        """Shortly before the gate. Reads stop circuit and pedal, and loads the gate."""
        if not self._armed or self._phase != _BLANK:
            return
        begin = self._begins[self._at]
        let_go = config.RELEASE_STOPS and self._pedal.value()
        if self._stop.value() or let_go or (begin and mem32[_CNT] + _TOO_LATE_US > begin):
            self._disarm()
            return
        self._phase = _GATE
        if begin:
            self._gates += 1
            # Only between the second and the last of these lines a processor that stops leaves the gate loaded. The watchdog
            # ends that, and so does the contactor, which drops with the pulse train.
            mem16[_CCMR2] = _PWM
            mem32[_CCR3] = begin
            mem16[_CCMR2] = _PWM_NEXT
            mem32[_CCR3] = _NEVER
            if self._ring:
                self._mark(begin - mem32[_CNT])

    def _end(self, timer: "pyb.Timer") -> None:
        """The count has ended, and with it any gate. Reports the half-cycle, and arms for the next edge."""
        if not self._armed:
            return
        if self._phase != _GATE:
            self._disarm()  # the stop circuit was not read
            return
        self._results[self._at] = 1 if self._begins[self._at] else 0
        self._ended += 1
        self._at += 1
        if config.DETECTOR_SQUARE:
            self._edge = 1 - self._edge
        missed = self._detector.value() == self._edge or mem16[_CR1] & _RUNNING
        if self._at > self._last or missed:
            self._disarm()
            return
        mem32[_CCR4] = _NEVER  # else the value of this half-cycle might ask the stop circuit early in the next one
        mem16[_CCER] = _OUT_RISING if self._edge else _OUT_RISING | _FALLING
        self._phase = _HUNT

    def _lit(self, timer: "pyb.Timer") -> None:
        """Voltage across the switch again: the end of a current, or of the dark time around a crossing."""
        rose = mem16[_SENSE_SR] & _ROSE
        dark_us = mem32[_DARK_FROM]
        lit_us = mem32[_LIT_FROM]
        gate = self._gates - 1
        if self._phase == _GATE and self._begins[self._at] > mem32[_CNT]:
            gate -= 1  # the loaded gate has not begun yet
        if gate < self._told or gate >= CURVE_KEPT or lit_us < _SETTLED_US:
            return
        while self._told < gate:
            self._timed[self._told] = RUNS_ON_US
            self._told += 1
        self._timed[gate] = 0 if rose and dark_us > _SETTLED_US else min(lit_us, RUNS_ON_US)
        self._told = gate + 1

    # -- the interface ------------------------------------------------------------------------------------------------

    def crossing_us(self) -> int:
        if self._newest == self._oldest:
            if time.ticks_diff(time.ticks_us(), self._metered_us) > _LONGEST_US:
                self._metered = 0  # the next edge ends no measurable half-cycle
            return 0
        length = self._lengths[self._oldest]
        self._oldest = (self._oldest + 1) % _QUEUE
        return length

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self._prepare(index + _LEAD_IN, delay_us, end_us, positive)

    def _prepare(self, entry: int, delay_us: int, end_us: int, positive: int) -> None:
        offset = config.OFFSET_RISE_US if positive else config.OFFSET_FALL_US
        begin = 0 if delay_us < 0 else max(delay_us - offset, 1)
        self._begins[entry] = begin
        self._ends[entry] = max(end_us - offset, begin + 2)

    def conduction_us(self, gate: int) -> int:
        return self._timed[gate] if gate < self._told else -1

    def start(self, count: int, half_us: int, positive: int) -> int:
        self.off()
        self._gates = self._stamped = 0
        self._told = 0
        level = self._detector.value()
        self._edge = 1
        # The first edge is searched in a window as long as a half-cycle, and may be false. So it is never fired from: one
        # half-cycle stays unfired, or two where the polarity requires it, and only the edge after it is trusted.
        self._lead_in = 1
        if config.DETECTOR_SQUARE:
            self._edge = 1 - level  # the next edge begins a half-cycle of this polarity
            if self._edge == positive:
                self._lead_in = _LEAD_IN
        elif level:
            return 0
        self._prepare(0, -1, half_us * GATE_END_DEG // 180, positive)
        self._prepare(1, -1, half_us * GATE_END_DEG // 180, 1 - positive)
        self._at = _LEAD_IN - self._lead_in
        self._last = min(count, config.MAX_HALF_CYCLES) + _LEAD_IN - 1
        self._ended = 0
        mem32[_CNT] = 0
        mem32[_ARR] = _LONGEST_COUNT
        mem16[_CCMR2] = _PWM
        mem32[_CCR3] = _NEVER
        mem16[_CCMR2] = _PWM_NEXT
        mem16[_CCER] = _OUT_RISING if self._edge else _OUT_RISING | _FALLING
        self._gate.init(Pin.ALT, alt=_ALTERNATE)
        # The first window is a little longer than the longest wait for an edge, and shorter than the wait for the edge after it.
        self._deadline_us = time.ticks_add(time.ticks_us(), half_us * 11 // 10)
        self._window_us = half_us // 5
        self._armed = 1
        self._phase = _HUNT
        mem16[_SMCR] = _ON_EDGE
        if self._detector.value() != level and not mem16[_CR1] & _RUNNING:
            self._disarm()  # an edge occurred between the read and the start
        return 1

    def done(self) -> int:
        return max(self._ended - self._lead_in, 0)

    def fired(self, index: int) -> int:
        return self._results[index + _LEAD_IN]

    def off(self) -> int:
        armed = self._armed
        self._armed = 0  # first: the interrupts then change nothing
        phase = self._phase
        self._disarm()
        self._gate.init(Pin.OUT, value=0)
        count = mem32[_CNT]
        begin = self._begins[self._at]
        # A half-cycle whose gate had begun, or whose count ended and is not reported yet (0), can no longer report itself.
        if armed and phase == _GATE and (count == 0 or 0 < begin <= count):
            self._results[self._at] = 1 if begin else 0
            self._ended += 1
        low: int = 1 - self._gate.value()
        return low

    def restart(self, maintain: int) -> None:
        time.sleep_ms(100)  # for the last reply to leave
        if maintain:
            _leave_word(_MAINTAIN, _MAINTAIN_CHECK)
        else:
            _leave_word(
                _FAILED, _FAILED_CHECK
            )  # a restart after an error: the next start locks out, whatever could be stored
        machine.reset()
