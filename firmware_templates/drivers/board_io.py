"""The common part of every board's driver: contacts, contactor and watchdog, serial line, files and the clock.

driver.py of each chip family derives its Driver from `BoardIo`. Nothing after `__init__` allocates, except for files.
Source: MicroPython's machine, select and time documentation.
"""

import os
import select
import sys
import time
from array import array

import config
import machine
from app.words import (
    BLOCKING,
    CONDUCTING,
    CONTACTOR_OPEN,
    FORCE,
    GATES_STAMPED,
    HOT,
    MEMORY_BAD,
    NOT_FITTED,
    PEDAL,
    STOP_OPEN,
)
from machine import Pin
from micropython import const

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

_NO_FILE = const(2)  # ENOENT
_LONGEST_FILE = const(32768)  # more than is ever written here
_FLASH_SECTOR = const(4096)


def _contact(number: "int | str | None") -> "Pin | None":
    """The pin of a contact to ground; None where it is not fitted."""
    return None if number is None else Pin(number, Pin.IN, Pin.PULL_UP)


def kept(memory: "array[int]", kind: str, width: int) -> int:
    """0 if each place of a buffer keeps the values written, else MEMORY_BAD. The buffer is left full of zeros.

    `kind` and `width` are the type of its places, and their bytes. Each pattern is written everywhere before any place is read.
    Two of alternating bits find bits that are stuck or follow their neighbours; two of numbers, rising and falling, find places
    that are one and the same. The habit is that of the static test of variable memory in IEC 60730-1, Annex H; no class is
    claimed.
    """
    places = len(memory)
    bad = 0
    for turn in range(4):
        if turn < 2:
            pattern = array(kind, bytes((0x55 << turn,)) * (width * places))
        else:
            pattern = array(kind, range(places) if turn == 2 else range(places - 1, -1, -1))
        memory[:] = pattern
        if memory != pattern:
            bad = MEMORY_BAD
    memory[:] = array(kind, bytes(width * places))
    return bad


class BoardIo:
    """The driver without the firing. `found`: the permanent bits of `inputs` that this start has found, or 0."""

    def __init__(self, found: int) -> None:
        self._contactor = None if config.PIN_CONTACTOR is None else Pin(config.PIN_CONTACTOR, Pin.OUT, value=0)
        self._stop = Pin(config.PIN_STOP, Pin.IN, Pin.PULL_UP)
        self._pedal = Pin(config.PIN_PEDAL, Pin.IN, Pin.PULL_UP)
        self._force = _contact(config.PIN_FORCE)
        self._hot = _contact(config.PIN_OVER_TEMPERATURE)
        self._mirror = _contact(config.PIN_MIRROR)
        self._sense = _contact(config.PIN_CONDUCTION)
        self._watchdog: machine.WDT | None = None
        self._found = found
        # A contact that opens and closes between two reads is reported at the next; its filter hides less than half a ms.
        self._stop_opened = 0
        self._pedal_opened = 0
        self._told = 0
        self._stop.irq(self._open_stop, Pin.IRQ_RISING, hard=True)
        self._pedal.irq(self._open_pedal, Pin.IRQ_RISING, hard=True)
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._stdin = sys.stdin.buffer
        self._stdout = sys.stdout.buffer
        self._byte = bytearray(1)
        self._ring: Sequence[int] = ()
        self._stamps = array("I", bytes(4 * GATES_STAMPED))
        self._stamped = 0  # gates since `start` that have begun

    def _open_stop(self, pin: "Pin") -> None:
        self._stop_opened = 1

    def _open_pedal(self, pin: "Pin") -> None:
        self._pedal_opened = 1

    def now_ms(self) -> int:
        # The port wraps it at 2**30; the stubs give it a type of its own.
        return time.ticks_ms()  # type: ignore[return-value]

    def wait_until(self, wake_ms: int) -> None:
        before = self._levels()
        while time.ticks_diff(wake_ms, time.ticks_ms()) > 0 and self._levels() == before and not self._byte_waits():
            if self._stop_opened or self._pedal_opened:
                return
            time.sleep_ms(1)

    def rested_ms(self) -> int:
        return 0  # no clock of this board runs without power

    def inputs(self) -> int:
        bits = self._levels()
        # An opening in between is in the levels just read, or is reported at the next read. It is never lost.
        if self._stop_opened:
            self._stop_opened = 0
            bits |= STOP_OPEN
        if self._pedal_opened:
            self._pedal_opened = 0
            bits &= ~(self._told & PEDAL)  # not where it was open: it bounces as it closes
        self._told = bits
        return bits

    def _levels(self) -> int:
        bits = self._found
        if not self._pedal.value():
            bits |= PEDAL
        if self._stop.value():
            bits |= STOP_OPEN
        if self._force is None or not self._force.value():
            bits |= FORCE
        if self._hot is not None and self._hot.value():
            bits |= HOT
        if self._mirror is not None and not self._mirror.value():
            bits |= CONTACTOR_OPEN
        return bits

    def conduction(self) -> int:
        """The level now, not since the last call: low = voltage across the switch = blocking; high also near a crossing."""
        if self._sense is None:
            return NOT_FITTED
        return CONDUCTING if self._sense.value() else BLOCKING

    def conduction_us(self, gate: int) -> int:
        return -1  # overridden by a family that times currents

    def current_ring(self) -> "Sequence[int]":
        return self._ring

    def sampled(self) -> int:
        return 0  # overridden by a family that samples

    def gate_sample(self, gate: int) -> int:
        """-1 for a gate that has not begun, or is not one of the newest."""
        if gate >= self._stamped or gate < self._stamped - GATES_STAMPED:
            return -1
        return self._stamps[gate % GATES_STAMPED]

    def _stamp(self, pin: "Pin | None" = None) -> None:
        """Note that a gate has begun. Also the handler of an interrupt."""
        self._stamps[self._stamped % GATES_STAMPED] = self.sampled()
        self._stamped += 1

    def alive(self, contactor: int) -> None:
        if self._watchdog is None:
            self._watchdog = machine.WDT(timeout=config.WATCHDOG_MS)
        self._watchdog.feed()
        if self._contactor is not None:
            self._contactor.value(1 - self._contactor.value() if contactor else 0)

    def _byte_waits(self) -> bool:
        for _ in self._poll.ipoll(0):
            return True
        return False

    def read_byte(self) -> int:
        if self._byte_waits() and self._stdin.readinto(self._byte):
            return self._byte[0]
        return -1

    def write(self, data: bytes) -> None:
        self._stdout.write(data)

    def read_file(self, name: str) -> bytes | None:
        try:
            size = os.stat(name)[6]
            with open(name, "rb") as file:
                data: bytes = file.read(min(size, _LONGEST_FILE))  # so much is set aside at once
                return data
        except OSError as error:
            return None if error.errno == _NO_FILE else b""

    def write_file(self, name: str, data: bytes) -> int:
        rest = memoryview(data)
        try:
            with open(name, "wb") as file:
                while rest:
                    file.write(rest[:_FLASH_SECTOR])
                    rest = rest[_FLASH_SECTOR:]
                    if self._watchdog is not None:
                        self._watchdog.feed()  # each sector's erase may take a fifth of its time
                file.flush()
            os.sync()
        except OSError:
            return 0
        return 1
