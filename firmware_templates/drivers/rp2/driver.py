"""Hardware of the RP2040 and RP2350: PIO fires, DMA feeds it, Python starts it and can stop it.

The word array is written before `start` and then read by DMA only, so Python that hangs can neither lengthen a weld nor move
a gate. Implements interface.py. Nothing after `__init__` allocates, except in `restart` and for files.
Sources: RP2040 data sheet, chapters 2.5 (DMA), 3 (PIO) and 4.7 (watchdog), and the RP2350 data sheet's chapters of the same
names; MicroPython's rp2 and machine documentation.
"""

import time
from array import array

import config
import machine
import rp2
import uctypes
from app.words import CURRENT_RING, CURVE_KEPT, GATE_END_DEG, RUNS_ON_US, SAMPLE_US, WATCHDOG
from board_io import BoardIo, kept
from machine import Pin
from micropython import const
from pio_programs import conduction, firing, meter

_PIO_HZ = const(4_000_000)

# From the detector's edge to the gate, in addition to the word's blank: 18 clocks of `edge` to `set(pins, 1)`, 4.5 us, and
# half of the microsecond between two polls. The gate edge is within half a microsecond of it.
LATENCY_US = const(5)
# Not counted by the meter: eight clocks from an edge to its first poll of the next half-cycle.
METER_US = const(2)

# From the gate's edge to the first poll of the conduction timer: 2052 clocks.
CONDUCTION_BEGINS_US = const(513)
_BLOCKED = const(0xFFFF)  # its report for a gate without a current; 0 for a current that has not ended

# The word's layout stands in programs.toml. All of it stays below 2**30, where MicroPython allocates.
_FIELD_MAX = const(0x3FFF)
_LEAD_IN = const(2)  # words reserved for unfired half-cycles before the first
_SECOND_FIELD = const(14)
_EDGE_BIT = const(28)

# PIO instructions for StateMachine.exec, as numbers: a string would be assembled, and allocate, at every call.
_PULL_NOBLOCK = const(0x8080)
_OUT_Y_14 = const(0x604E)
_OUT_ISR_14 = const(0x60CE)
_GATE_LOW = const(0xE000)  # set(pins, 0)
_MOV_Y_OSR = const(0xA047)

_TX_REQUEST = const(0)  # DREQ_PIO0_TX0
_RX_REQUEST = const(4)  # DREQ_PIO0_RX0
_TIMED_REQUEST = const(13)  # DREQ_PIO1_RX1

# The converter: its registers, relative to the address in config.py, and the values written to them.
_ADC_CS = config.ADC
_ADC_FCS = config.ADC + 0x08
_ADC_FIFO = config.ADC + 0x0C
_ADC_DIV = config.ADC + 0x10
_ADC_ON = const(0x01)  # EN of CS
_ADC_FREE = const(0x09)  # EN and START_MANY: one conversion after another, of one input
_ADC_INPUT = const(12)  # AINSEL
_ADC_FIRST_GPIO = const(26)
_FIFO_TO_DMA = const(0x01000C09)  # FCS: EN, DREQ_EN, threshold 1, and the flags of an overflow cleared
_FIFO_EMPTY = const(0x100)
_FIFO_DEPTH = const(8)  # that of the RP2350; the RP2040 has 4
_ADC_CLOCKS_A_US = const(48)
_MOST_SAMPLES = const(1 << 24)  # half an hour

# Watchdog scratch registers 0 and 1 outlast a reset; the boot ROM uses others.
_SCRATCH = config.WATCHDOG_SCRATCH
_INTENT = const(0x2A5D1C93)
_INTENT_CHECK = const(0x15A2E36C)  # its complement in 30 bits
_MAINTAIN = const(0x1C3F5A96)
_MAINTAIN_CHECK = const(0x23C0A569)


def maintenance() -> int:
    """1 if this start was requested by `restart(1)`. Call it once: the next start is then an ordinary, intended one."""
    if machine.mem32[_SCRATCH] != _MAINTAIN or machine.mem32[_SCRATCH + 4] != _MAINTAIN_CHECK:
        return 0
    # No watchdog runs in maintenance, so the reset that ends it is not a watchdog reset.
    _leave_word(_INTENT, _INTENT_CHECK)
    return 1


def _leave_word(word: int, check: int) -> None:
    machine.mem32[_SCRATCH] = word
    machine.mem32[_SCRATCH + 4] = check


class Driver(BoardIo):
    """Owns the board's pins, PIO state machines 0, 4 and 5, the converter and up to four DMA channels; one per run."""

    def __init__(self) -> None:
        # The gate first, and low before the state machine gets it.
        self._gate = Pin(config.PIN_GATE, Pin.OUT, value=0)
        # A broken detector wire gives no edges, and so no weld.
        self._detector = Pin(config.PIN_DETECTOR, Pin.IN, Pin.PULL_DOWN)
        size = config.MAX_HALF_CYCLES + _LEAD_IN
        self._words = array("I", bytes(4 * size))  # half-cycle i is word i + _LEAD_IN
        super().__init__(self._read_intent() | kept(self._words, "I", 4))

        self._from_both = memoryview(self._words)
        self._from_one = self._from_both[1:]
        self._results = bytearray(size)
        self._lead_in = 0
        self._handed_over = 0  # words the state machine may report on; 0 when it is off
        self._ended = 0
        self._spare_word = array("I", bytes(4))

        # The pedal's pin follows that of the stop: the PIO program reads both where releasing the pedal ends a weld.
        self._fire = rp2.StateMachine(
            0, firing, freq=_PIO_HZ, in_base=self._stop, set_base=self._gate, jmp_pin=self._detector
        )
        # Control words and FIFO addresses exceed 2**30. They are packed once, and the registers keep them.
        self._feed = rp2.DMA()
        self._feed.config(
            write=self._fire,
            ctrl=self._feed.pack_ctrl(size=2, inc_read=True, inc_write=False, treq_sel=_TX_REQUEST),
        )
        self._report = rp2.DMA()
        self._report.config(
            read=self._fire,
            ctrl=self._report.pack_ctrl(size=0, inc_read=False, inc_write=True, treq_sel=_RX_REQUEST),
        )
        self._meter = rp2.StateMachine(4, meter, freq=_PIO_HZ, in_base=self._detector, jmp_pin=self._detector)
        self._meter.active(1)
        self._timed = array("H", bytes(2 * CURVE_KEPT))  # of each gate what was left of the count
        self._longest_us = 0  # the count, from CONDUCTION_BEGINS_US on
        if self._sense is not None:
            self._timer = rp2.StateMachine(5, conduction, freq=_PIO_HZ, in_base=self._gate, jmp_pin=self._sense)
            self._gather = rp2.DMA()
            self._gather.config(
                read=self._timer,
                ctrl=self._gather.pack_ctrl(size=1, inc_read=False, inc_write=True, treq_sel=_TIMED_REQUEST),
            )

        if config.PIN_PRIMARY_CURRENT is not None:
            self._begin_sampling(config.PIN_PRIMARY_CURRENT)

    def _begin_sampling(self, gpio: int) -> None:
        """Set up sampling. DMA requires the ring to be aligned to its size, so twice the size is reserved."""
        machine.ADC(gpio)  # enables the converter, and disconnects the pin from the digital inputs
        self._free = _ADC_FREE | (gpio - _ADC_FIRST_GPIO) << _ADC_INPUT
        machine.mem32[_ADC_DIV] = (SAMPLE_US * _ADC_CLOCKS_A_US - 1) << 8
        self._room = array("H", bytes(4 * CURRENT_RING))
        first = -uctypes.addressof(self._room) % (2 * CURRENT_RING) // 2
        self._ring = memoryview(self._room)[first : first + CURRENT_RING]
        self._sampler = rp2.DMA()
        bits = 0
        while 1 << bits < 2 * CURRENT_RING:
            bits += 1
        self._sampler.config(
            read=_ADC_FIFO,
            ctrl=self._sampler.pack_ctrl(
                size=1, inc_read=False, inc_write=True, ring_size=bits, ring_sel=True, treq_sel=config.ADC_REQUEST
            ),
        )
        self._gate.irq(self._stamp, Pin.IRQ_RISING, hard=True)

    def sample(self) -> None:
        machine.mem32[_ADC_CS] = _ADC_ON  # no further conversion; the result of one under way is discarded
        self._sampler.active(0)
        time.sleep_us(5)
        machine.mem32[_ADC_FCS] = _FIFO_TO_DMA
        for _ in range(_FIFO_DEPTH):
            if not machine.mem32[_ADC_FCS] & _FIFO_EMPTY:
                machine.mem32[_ADC_FIFO]
        self._stamped = 0
        self._sampler.config(write=self._ring, count=_MOST_SAMPLES, trigger=True)
        machine.mem32[_ADC_CS] = self._free

    def sampled(self) -> int:
        waiting: int = self._sampler.count  # type: ignore[attr-defined]  # the stubs leave it out
        return _MOST_SAMPLES - waiting

    def _read_intent(self) -> int:
        """WATCHDOG after a watchdog reset, else 0. Clears the note of an intended restart, which has the same reset cause."""
        intended = machine.mem32[_SCRATCH] == _INTENT and machine.mem32[_SCRATCH + 4] == _INTENT_CHECK
        _leave_word(0, 0)
        return WATCHDOG if machine.reset_cause() == machine.WDT_RESET and not intended else 0

    def crossing_us(self) -> int:
        return self._meter.get() + METER_US if self._meter.rx_fifo() else 0

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self._words[index + _LEAD_IN] = self._word(delay_us, end_us, positive)

    def _word(self, delay_us: int, end_us: int, positive: int) -> int:
        """The gate word of a `positive` half-cycle; `delay_us` -1 is not fired."""
        gate = 0
        if delay_us < 0:
            delay_us = end_us
        else:
            # The hold loop runs once more than its count. A fired word must not look unfired.
            gate = min(max(end_us - delay_us - 1, 1), _FIELD_MAX)
        offset = config.OFFSET_RISE_US if positive else config.OFFSET_FALL_US
        # Never 0, which means an empty FIFO.
        blank = min(max(delay_us - offset - LATENCY_US, 1), _FIELD_MAX)
        edge = 0 if positive else 1
        return blank | gate << _SECOND_FIELD | edge << _EDGE_BIT

    def start(self, count: int, half_us: int, positive: int) -> int:
        if self._handed_over:
            self.off()  # words of an earlier start may remain in the FIFO
        if self._sense is not None:
            self._time_anew(half_us)  # before the detector is read: an edge may occur between the read and the start
        self._stamped = 0
        level = self._detector.value()
        edge = 1
        # The first edge is searched in a window as long as a half-cycle, and may be false. So it is never fired from: one
        # half-cycle stays unfired, or two where the polarity requires it, and only the edge after it is trusted.
        self._lead_in = 1
        if config.DETECTOR_SQUARE:
            edge = 1 - level  # the next edge begins a half-cycle of this polarity
            if edge == positive:
                self._lead_in = _LEAD_IN
        elif level:
            return 0
        self._words[0] = self._word(-1, half_us * GATE_END_DEG // 180, positive)
        self._words[1] = self._word(-1, half_us * GATE_END_DEG // 180, 1 - positive)
        words = min(count, config.MAX_HALF_CYCLES) + self._lead_in  # DMA does not know the end of the array
        self._handed_over = words
        self._fire.restart()
        # The first window is a little longer than the longest wait for an edge, and shorter than the wait for the edge after it.
        first = min(half_us * 11 // 10, _FIELD_MAX)
        self._fire.put(first | half_us // 5 << _SECOND_FIELD | edge << _EDGE_BIT)
        self._fire.exec(_PULL_NOBLOCK)
        self._fire.exec(_OUT_Y_14)
        self._fire.exec(_OUT_ISR_14)
        self._report.config(write=self._results, count=words, trigger=True)
        read = self._from_both if self._lead_in == _LEAD_IN else self._from_one
        self._feed.config(read=read, count=words, trigger=True)
        self._fire.active(1)
        return 1

    def _time_anew(self, half_us: int) -> None:
        """Time the current of every gate from now on, each for a little less than a half-cycle."""
        self._gather.active(0)
        self._timer.active(0)
        while self._timer.rx_fifo():
            self._timer.get(self._spare_word)
        self._timer.restart()
        self._longest_us = half_us * 99 // 100 - CONDUCTION_BEGINS_US
        self._timer.put(self._longest_us)
        self._timer.exec(_PULL_NOBLOCK)
        self._timer.exec(_MOV_Y_OSR)
        self._gather.config(write=self._timed, count=CURVE_KEPT, trigger=True)
        self._timer.active(1)

    def conduction_us(self, gate: int) -> int:
        if not self._longest_us:
            return -1
        waiting: int = self._gather.count  # type: ignore[attr-defined]  # the stubs leave it out
        if gate >= CURVE_KEPT - waiting:
            return -1
        left = self._timed[gate]
        if left == _BLOCKED:
            return 0
        return CONDUCTION_BEGINS_US + self._longest_us - left if left else RUNS_ON_US

    def done(self) -> int:
        if self._handed_over:
            # Counts the reports of the PIO. The count of the feeding channel is ahead by the depth of the FIFO.
            waiting: int = self._report.count  # type: ignore[attr-defined]  # the stubs leave it out
            return max(self._handed_over - waiting - self._lead_in, 0)
        return self._ended

    def fired(self, index: int) -> int:
        return self._results[index + self._lead_in] & 1

    def off(self) -> int:
        self._feed.active(0)  # first, or it refills the FIFO
        self._fire.active(0)
        # A stopped state machine keeps its pin's level, so the gate is lowered at once. The pin is read before: high means a
        # half-cycle that was fired and can no longer report itself.
        cut_short = self._gate.value()
        self._fire.exec(_GATE_LOW)
        while self._fire.tx_fifo():
            self._fire.exec(_PULL_NOBLOCK)
        self._ended = self.done()
        if cut_short and self._handed_over:
            self._results[self._ended + self._lead_in] = 1
            self._ended += 1
        self._handed_over = 0
        self._report.active(0)
        while self._fire.rx_fifo():
            self._fire.get(self._spare_word)  # into a buffer: a fired half-cycle reports a number above 2**30
        self._fire.restart()
        return 1 - self._gate.value()

    def restart(self, maintain: int) -> None:
        time.sleep_ms(100)  # for the last reply to leave
        # Without a note the next start takes this for a watchdog reset, and locks out, as it should after an error.
        if maintain:
            _leave_word(_MAINTAIN, _MAINTAIN_CHECK)
        machine.reset()
