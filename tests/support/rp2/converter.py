"""The converter of the RP2040 and the DMA channel that writes its samples round a ring, as far as driver.py uses them.

Source: RP2040 data sheet, chapters 4.9 (ADC and temperature sensor) and 2.5 (DMA). What is not modelled stops the test.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

ADC, ADC_REQUEST = 0x4004C000, 36
CS, FCS, FIFO, DIV = 0x00, 0x08, 0x0C, 0x10
EN, START_MANY, INPUT = 1, 8, 12
FIFO_EN, DREQ_EN, EMPTY, ONE = 1, 8, 1 << 8, 1 << 24
CLOCKS_A_US = 48
ROOM_AT = 0x20012346  # where the driver's array lies in memory: at no multiple of a ring


class Converter:
    """`signal(us)` is the count at a time."""

    def __init__(self) -> None:
        self.signal: Callable[[float], int] = lambda us: 2048
        self.stale = [111, 222]
        """What an earlier run left in the FIFO."""
        self.pin: int | None = None
        self._registers = {CS: 0, FCS: 0, DIV: 0}
        self._dma: Any = None
        self._next_us = 0.0

    def wake(self, gpio: int) -> None:
        """machine.ADC."""
        self.pin = gpio
        self._registers[CS] = EN

    def read(self, offset: int) -> int:
        if offset == FIFO:
            return self.stale.pop(0)
        return self._registers[offset] | (0 if self.stale else EMPTY) * (offset == FCS)

    def write(self, offset: int, value: int, now_us: float) -> None:
        if offset == CS and value & START_MANY:
            assert self.pin is not None, "the converter sleeps, and the pin is a digital one"
            assert value == EN | START_MANY | (self.pin - 26) << INPUT
            self._next_us = now_us + 2
        elif offset == CS:
            assert value == EN
        elif offset == FCS:
            assert value & (FIFO_EN | DREQ_EN | ONE) == FIFO_EN | DREQ_EN | ONE, "DMA asks at each sample"
        self._registers[offset] = value

    @property
    def step_us(self) -> float:
        return (1 + self._registers[DIV] / 256) / CLOCKS_A_US

    def channel(self, dma: Any, trigger: bool) -> None:
        fields = dma.settings["ctrl"]
        assert dma.settings["read"] == ADC + FIFO
        assert {key: fields[key] for key in ("size", "inc_read", "inc_write", "ring_sel")} == {
            "size": 1,
            "inc_read": False,
            "inc_write": True,
            "ring_sel": True,
        }
        if trigger:
            room, ring = dma.settings["write"].obj, dma.settings["write"]
            first = next(n for n in range(len(room)) if _same(room, ring, n))
            size = 1 << fields["ring_size"]
            assert 2 * len(ring) == size
            assert (ROOM_AT + 2 * first) % size == 0, "the ring does not begin at a multiple of its size"
            dma.count, dma.position = dma.settings["count"], 0
            assert not self.stale, "the first samples would be of an earlier run"
            self._dma = dma

    def abort(self) -> None:
        self._dma = None

    def run(self, now_us: float) -> None:
        while self._registers[CS] & START_MANY and self._next_us <= now_us:
            count = self.signal(self._next_us)
            if self._dma is not None and self._dma.count:
                ring = self._dma.settings["write"]
                ring[self._dma.position % len(ring)] = count
                self._dma.position += 1
                self._dma.count -= 1
            self._next_us += self.step_us


def _same(room: Any, ring: Any, first: int) -> bool:
    """Whether `ring` begins at place `first` of `room`: they share their memory."""
    kept = ring[0]
    room[first] ^= 1
    same = bool(ring[0] != kept)
    room[first] ^= 1
    return same
