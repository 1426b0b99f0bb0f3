"""Timer 2 of the STM32F405 as far as the driver uses it, from RM0090, chapter 18 (TIM2 to TIM5); register by register.

Modelled: counting up from CEN, one-pulse mode, the end of the count as update event, buffered and unbuffered ARR and CCR3,
output compare modes 0 (frozen), 4 and 5 (forced), 6 and 7 (PWM 1 and 2) of channel 3, compare interrupts of channel 4, slave
trigger mode on the edge of channel 1 with either polarity or both. Whatever else is written stops the test. Time is in
microseconds; the prescaler makes a count of each.
"""

from __future__ import annotations

import math
from collections.abc import Callable

CR1, SMCR, DIER, SR, CCMR1, CCMR2, CCER, CNT, ARR, CCR3, CCR4 = (
    0x00, 0x08, 0x0C, 0x10, 0x18, 0x1C, 0x20, 0x24, 0x2C, 0x3C, 0x40
)  # fmt: skip
CEN, UDIS, URS, OPM, ARPE = 1, 2, 4, 8, 0x80
UPDATE, COMPARE_4 = 1, 0x10  # in DIER and SR
NEVER = math.inf


class Timer2:
    """The registers. `advance` lets time pass to a moment at which nothing lies between; `next_us` says when something does."""

    def __init__(self, on_output: Callable[[], None]) -> None:
        self.registers = dict.fromkeys((SMCR, DIER, SR, CCMR1, CCMR2, CCER), 0)
        self.control = 0
        self.began_us = 0.0  # when the count was 0, while it runs
        self.stopped_at = 0
        self.reload = self.next_reload = 0xFFFFFFFF
        self.compare_3 = self.next_compare_3 = 0
        self.compare_4 = 0
        self.now_us = 0.0
        self._on_output = on_output

    # -- registers ----------------------------------------------------------------------------------------------------

    def read(self, offset: int) -> int:
        values = {
            CR1: self.control,
            CNT: self.count,
            ARR: self.next_reload,
            CCR3: self.next_compare_3,
            CCR4: self.compare_4,
        }
        return values[offset] if offset in values else self.registers[offset]

    def write(self, offset: int, value: int) -> None:
        if offset == CR1:
            assert not value & ~(CEN | URS | OPM | ARPE), f"CR1 {value:#x} is not modelled"
            self._enable(value & CEN)
            self.control = value
        elif offset == CNT:
            self.stopped_at, self.began_us = value, self.now_us - value
        elif offset == ARR:
            self.next_reload = value
            if not self.control & ARPE:
                self.reload = value
        elif offset == CCR3:
            self.next_compare_3 = value
            if not self.registers[CCMR2] & 0x08:
                self.compare_3 = value
        elif offset == CCR4:
            self.compare_4 = value
        elif offset == SR:
            self.registers[SR] &= value
        else:
            self._check(offset, value)
            self.registers[offset] = value
            if offset == CCMR2 and not value & 0x08:
                self.compare_3 = self.next_compare_3
        self._on_output()

    def _check(self, offset: int, value: int) -> None:
        known = {
            SMCR: value in (0, 0x56),
            CCMR1: value in (0, 1),
            CCMR2: not value & ~0x78,
            CCER: not value & ~0x10A,
            DIER: not value & ~(UPDATE | COMPARE_4),
        }
        assert known[offset], f"{value:#x} at {offset:#x} is not modelled"

    def _enable(self, enable: int) -> None:
        if enable and not self.control & CEN:
            self.began_us = self.now_us - self.stopped_at
        elif not enable and self.control & CEN:
            self.stopped_at = self.count

    # -- counting -----------------------------------------------------------------------------------------------------

    @property
    def count(self) -> int:
        return int(self.now_us - self.began_us + 1e-6) if self.control & CEN else self.stopped_at

    def next_us(self) -> float:
        """When the count next does something: reaches a compare value, or ends."""
        if not self.control & CEN:
            return NEVER
        moments = [self.began_us + at for at in (self.compare_3, self.compare_4) if at <= self.reload]
        moments.append(self.began_us + max(self.reload + 1, self.count))
        return min((moment for moment in moments if moment > self.now_us + 1e-6), default=NEVER)

    def advance(self, until_us: float) -> None:
        """Let time pass to `until_us`, no later than `next_us()`."""
        self.now_us = until_us
        if self.control & CEN:
            if self.count == self.compare_4 and abs(self.began_us + self.compare_4 - until_us) < 1e-6:
                self.registers[SR] |= COMPARE_4
            if self.count > self.reload:
                self._update()
        self._on_output()

    def _update(self) -> None:
        """The count has ended."""
        self.registers[SR] |= UPDATE
        self.compare_3, self.reload = self.next_compare_3, self.next_reload
        self.stopped_at, self.began_us = 0, self.now_us
        if self.control & OPM:
            self.control &= ~CEN

    # -- pins -----------------------------------------------------------------------------------------------------------

    def edge(self, level: int) -> None:
        """The detector's pin has changed to `level`."""
        falling, both = self.registers[CCER] & 0x02, (self.registers[CCER] & 0x0A) == 0x0A
        listens = self.registers[SMCR] == 0x56 and self.registers[CCMR1] == 1  # trigger TI1FP1; channel 1 is an input
        if listens and (both or level == (0 if falling else 1)):
            self._enable(CEN)
            self.control |= CEN

    @property
    def output(self) -> int:
        """Level of channel 3."""
        mode, active = self.registers[CCMR2] >> 4 & 7, self.count >= self.compare_3
        reference = {4: False, 5: True, 6: not active, 7: active}.get(mode, False)
        return int(bool(self.registers[CCER] & 0x100) and reference)

    def pending(self) -> int:
        """The interrupts that are due."""
        return self.registers[SR] & self.registers[DIER]
