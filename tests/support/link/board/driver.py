# mypy: ignore-errors
"""A board's hardware for tests: the real clock, mains at a steady 50 Hz, and a pedal and a stop worked through a pipe.

The pipe's bytes are `inputs()` bits as digits. The serial line is the process's own standard input and output.
"""

import os
import select
import sys
import time
from array import array

import machine

_MASK = 0x3FFFFFFF
_HALF_MS = 10
_QUEUE = 8
_RESTED = _MASK
_FLAG = os.getenv("BOARD_STATE") + "/maintain"


def maintenance():
    try:
        os.remove(_FLAG)
    except OSError:
        return 0
    return 1


class Driver:
    def __init__(self):
        self._control = open(os.getenv("BOARD_STATE") + "/inputs", "r+b")  # noqa: SIM115
        self._controls = select.poll()
        self._controls.register(self._control, select.POLLIN)
        self._line = select.poll()
        self._line.register(sys.stdin, select.POLLIN)
        self._stdin = sys.stdin.buffer
        self._stdout = sys.stdout.buffer
        self._byte = bytearray(1)
        self._inputs = 0
        self._contactor = 0
        self._edge_ms = self.now_ms()
        self._fires = array("b", bytes(2000))
        self._began_ms = 0
        self._count = 0
        self._ended = 0

    def now_ms(self):
        return time.ticks_ms() & _MASK

    def wait_until(self, wake_ms):
        before = self.inputs()
        while (
            0 < ((wake_ms - self.now_ms()) & _MASK) < 1000 and not self._waits(self._line) and self.inputs() == before
        ):
            time.sleep_ms(1)

    def rested_ms(self):
        return _RESTED

    def _waits(self, poll):
        for _ in poll.ipoll(0):
            return True
        return False

    def inputs(self):
        while self._waits(self._controls):
            self._control.readinto(self._byte)
            self._inputs = self._byte[0] - 48
        return self._inputs ^ (0 if self._contactor else 32)  # its mirror contact, which bit 32 turns over

    def crossing_us(self):
        passed = (self.now_ms() - self._edge_ms) & _MASK
        if passed < _HALF_MS:
            return 0
        if passed > _QUEUE * _HALF_MS:
            self._edge_ms = self.now_ms()  # the program stood still, and edges were lost
        else:
            self._edge_ms = (self._edge_ms + _HALF_MS) & _MASK
        return 1000 * _HALF_MS

    def conduction_us(self, gate):
        return -1

    def conduction(self):
        if not self._contactor:
            return 0  # no voltage, so the sense is dark
        return 3 if self._count else 1  # it blocks, and conducts as well while a weld runs

    def current_ring(self):
        return ()

    def set_half_cycle(self, index, delay_us, end_us, positive):
        self._fires[index] = 1 if delay_us >= 0 else 0

    def start(self, count, half_us, positive):
        self._began_ms = self.now_ms()
        self._count = count
        return 1

    def done(self):
        if self._count:
            return min(self._count, ((self.now_ms() - self._began_ms) & _MASK) // _HALF_MS)
        return self._ended

    def fired(self, index):
        return self._fires[index]

    def off(self):
        self._ended = self.done()
        self._count = 0
        return 1

    def alive(self, contactor):
        self._contactor = contactor

    def read_byte(self):
        if self._waits(self._line) and self._stdin.readinto(self._byte):
            return self._byte[0]
        return -1

    def write(self, data):
        self._stdout.write(data)

    def read_file(self, name):
        try:
            with open(name, "rb") as file:
                return file.read()
        except OSError:
            return None

    def write_file(self, name, data):
        with open(name, "wb") as file:
            file.write(data)
        return 1

    def restart(self, maintain):
        if maintain:
            open(_FLAG, "w").close()
        time.sleep_ms(50)
        machine.reset()
