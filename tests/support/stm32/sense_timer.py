"""Timer 3 of the STM32F405 as far as the driver uses it, from RM0090, chapter 18: reset mode and two captures of one pin.

Modelled: a count of microseconds that the other timer's trigger output sets to 0 (SMS 4, TS 1: ITR1 is timer 2), capture of the
rise of channel 2's pin by channel 1 and of its fall by channel 2, their flags, which a read of the capture clears, and the
interrupt of channel 2. Whatever else is written stops the test.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

SMCR, SR, CCMR1, CCER, CCR1, CCR2 = 0x08, 0x10, 0x18, 0x20, 0x34, 0x38
ROSE, FELL = 2, 4
KNOWN = {SMCR: (0x14,), CCMR1: (0x0102,), CCER: (0, 0x31)}


class SenseTimer:
    """The registers; the board calls it with gates and with edges at its pin."""

    def __init__(self) -> None:
        self.registers = dict.fromkeys((SMCR, SR, CCMR1, CCER, CCR1, CCR2), 0)
        self.told_of_gates = False
        self._zero_us = 0.0
        self._interrupt = False

    def read(self, offset: int) -> int:
        value = self.registers[offset]
        if offset in (CCR1, CCR2):
            self.registers[SR] &= ~(ROSE if offset == CCR1 else FELL)
        return value

    def write(self, offset: int, value: int) -> None:
        assert value in KNOWN[offset], f"{value:#x} at {offset:#x} is not modelled"
        self.registers[offset] = value

    def gate(self, now_us: float) -> None:
        """Channel 3 of timer 2 has risen."""
        if self.told_of_gates and self.registers[SMCR] == 0x14:
            self._zero_us = now_us

    def edge(self, level: int, now_us: float) -> None:
        """The sense has changed to `level`."""
        if self.registers[CCMR1] != 0x0102 or self.registers[CCER] != 0x31:
            return
        self.registers[CCR1 if level else CCR2] = int(now_us - self._zero_us) & 0xFFFF
        self.registers[SR] |= ROSE if level else FELL
        self._interrupt |= not level

    def pending(self) -> bool:
        return self._interrupt

    def served(self, callback: Callable[[Any], None]) -> None:
        """The interrupt: MicroPython clears the flag of the channel and calls."""
        self._interrupt = False
        self.registers[SR] &= ~FELL
        callback(None)
