"""Converter 1, stream 0 of DMA 2 and timer 8 of the STM32F405 as far as the driver uses them.

Source: RM0090, chapters 13 (ADC: external trigger 14 of a regular conversion is timer 8's trigger output), 10 (DMA: channel 0 of
stream 0 is converter 1), 17 (TIM8: MMS 2 passes on updates) and 7 (RCC: DMA2EN). What is not modelled stops the test.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

ADC1, DMA2, TIM8, RCC = 0x40012000, 0x40026400, 0x40010400, 0x40023800
NAMES = {
    "ADC1": ADC1, "ADC_SR": 0x00, "ADC_CR2": 0x08, "ADC_SMPR2": 0x10, "ADC_SQR1": 0x2C, "ADC_SQR3": 0x34, "ADC_DR": 0x4C,
    "DMA2": DMA2, "DMA_LIFCR": 0x08, "TIM8": TIM8, "RCC": RCC, "RCC_AHB1ENR": 0x30,
}  # fmt: skip
BUFFER_AT = 0x20003456
CR, LEFT, FROM, TO = DMA2 + 0x10, DMA2 + 0x14, DMA2 + 0x18, DMA2 + 0x1C
ON = ADC1 + 0x08


def known(address: int) -> bool:
    return any(base <= address < base + 0x400 for base in (ADC1, DMA2, TIM8)) or address == RCC + 0x30


class Sampler:
    """`signal(us)` is the count at a time."""

    def __init__(self) -> None:
        self.signal: Callable[[float], int] = lambda us: 2048
        self.pin: str | None = None
        self.buffer: Any = None
        self._registers = {RCC + 0x30: 0x00100000}
        self._next_us = 0.0
        self._left = 0

    def address(self, buffer: Any) -> int:
        """uctypes.addressof."""
        self.buffer = buffer
        return BUFFER_AT

    def read(self, address: int, now_us: float) -> int:
        self._run(now_us)
        return self._left if address == LEFT else self._registers.get(address, 0)

    def write(self, address: int, value: int, now_us: float) -> None:
        self._run(now_us)
        if address == CR and value:
            assert value == 0x00022D01, "half-words from converter 1, memory counting up, circular, on"
            assert self._registers[RCC + 0x30] & 1 << 22, "DMA 2 has no clock"
            assert (self._registers[FROM], self._registers[TO]) == (ADC1 + 0x4C, BUFFER_AT)
            assert self._registers[DMA2 + 0x08] == 0x3D, "a flag that stands keeps the stream off"
        if address in (LEFT, FROM, TO):
            assert not self._registers.get(CR), "these are fixed while the stream is on"
        if address == LEFT:
            self._left = value
        if address == ON and value:
            assert self.pin is not None, "the converter sleeps, and the pin is a digital one"
            assert value == 0x1E000301, "on, DMA without end, by the rise of timer 8's trigger output"
            assert self._registers[TIM8 + 0x04] == 0x20, "timer 8 tells nobody of its updates"
            assert self._registers[ADC1 + 0x34] == 8 + int(self.pin[1:])
            self._next_us = now_us + 60
        self._registers[address] = value

    def _run(self, now_us: float) -> None:
        while self._registers.get(ON) and self._registers.get(CR) and self._next_us <= now_us:
            length = len(self.buffer)
            self.buffer[length - self._left] = self.signal(self._next_us)
            self._left = self._left - 1 or length
            self._next_us += self.pace_us

    pace_us = 120.0
