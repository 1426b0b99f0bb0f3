# mypy: ignore-errors
# (MicroPython's gc, sys and micropython, which no stubs here describe.)
"""Runs under MicroPython, never under CPython: the emitted main.py with a driver that answers from a recording.

sim/replay/playback.py copies this file into a folder within the bundle, and starts it in the bundle as

    micropython replay/driver.py CALLS READ SAMPLES VERSION COLLECTS

and it prints one line of JSON in the end. No call of the driver allocates but those of files, since main.py
locks the heap while armed.
"""

import gc
import io
import json
import sys
from array import array

import micropython

CALL_INTS = 6
RING = 512  # samples of the primary current
AT_ONCE = 128  # calls read from the recording at a time

# Codes as in sim/bench/driver.py.
NOW, WAIT, RESTED, INPUTS, CROSSING, CONDUCTION, SAMPLED, SET, START, DONE, FIRED, OFF, ALIVE, READ, WRITE = range(15)
RESTART, READ_FILE, WRITE_FILE, CONDUCTION_US, SAMPLE, GATE_SAMPLE = range(15, 21)


class Over(BaseException):
    """Ends main.py: the recording is used up, or a call differs from it."""


OVER = Over()  # made beforehand: raising it allocates nothing


class RecordedDriver:
    """The driver interface over a recording. Every call must be the one recorded at its place, or main.py is ended.

    Only `off` and `restart` never raise: main.py calls them on its way out, of an error too, which must not be hidden.
    """

    def __init__(self) -> None:
        self.file = open(CALLS, "rb")  # noqa: SIM115  read to the end of the process
        self.calls = array("i", bytes(4 * CALL_INTS * AT_ONCE))
        self.at = 0  # index into `calls`
        self.filled = 0
        self.matched = 0
        self.result = 0
        self.over = False
        self.got = array("i", bytes(4 * CALL_INTS))
        self.differs = False
        self.ring = array("H", bytes(2 * RING))
        self.sample_file = open(SAMPLES, "rb")  # noqa: SIM115  the same
        self.samples = array("H", bytes(2 * RING))
        self.sample_at = self.samples_filled = 0
        self.sampled_before = 0
        self.read = open(READ_FROM, "rb")  # noqa: SIM115  the same

    def _read_on(self) -> bool:
        """Make sure that a recorded call stands at `at`. False at the end of the recording."""
        if self.at == self.filled:
            self.at = 0
            self.filled = self.file.readinto(self.calls) // 4
        return self.filled > 0

    def _as_recorded(self, code: int, a: int = 0, b: int = 0, c: int = 0, d: int = 0) -> bool:
        """Compare a call, and set `result`; at the first difference keep what came instead."""
        if self.over:
            return False
        if self._read_on():
            calls, at = self.calls, self.at
            if (
                calls[at] == code
                and calls[at + 1] == a
                and calls[at + 2] == b
                and calls[at + 3] == c
                and calls[at + 4] == d
            ):
                self.result = calls[at + 5]
                self.at = at + CALL_INTS
                self.matched += 1
                return True
        self.over = True
        self.differs = True
        got = self.got
        got[0] = code
        got[1] = a
        got[2] = b
        got[3] = c
        got[4] = d
        return False

    def _call(self, code: int, a: int = 0, b: int = 0, c: int = 0, d: int = 0) -> int:
        if not self._as_recorded(code, a, b, c, d):
            raise OVER
        return self.result

    def now_ms(self) -> int:
        return self._call(NOW)

    def wait_until(self, wake_ms: int) -> None:
        self._call(WAIT, wake_ms)
        if not self._read_on():
            self.over = True
            raise OVER

    def rested_ms(self) -> int:
        return self._call(RESTED)

    def inputs(self) -> int:
        return self._call(INPUTS)

    def crossing_us(self) -> int:
        return self._call(CROSSING)

    def conduction(self) -> int:
        return self._call(CONDUCTION)

    def conduction_us(self, gate: int) -> int:
        return self._call(CONDUCTION_US, gate)

    def current_ring(self) -> "array":
        return self.ring

    def sample(self) -> None:
        self._call(SAMPLE)
        self.sampled_before = 0

    def sampled(self) -> int:
        # Of those between two looks no more than a ring was kept.
        count = self._call(SAMPLED)
        for n in range(max(self.sampled_before, count - len(self.ring)), count):
            if self.sample_at == self.samples_filled:
                self.sample_at = 0
                self.samples_filled = self.sample_file.readinto(self.samples) // 2
            self.ring[n % len(self.ring)] = self.samples[self.sample_at]
            self.sample_at += 1
        self.sampled_before = count
        return count

    def gate_sample(self, gate: int) -> int:
        return self._call(GATE_SAMPLE, gate)

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self._call(SET, index, delay_us, end_us, positive)

    def start(self, count: int, half_us: int, positive: int) -> int:
        return self._call(START, count, half_us, positive)

    def done(self) -> int:
        return self._call(DONE)

    def fired(self, index: int) -> int:
        return self._call(FIRED, index)

    def off(self) -> int:
        return self.result if self._as_recorded(OFF) else 1

    def alive(self, contactor: int) -> None:
        self._call(ALIVE, contactor)

    def read_byte(self) -> int:
        return self._call(READ)

    def write(self, data: bytes) -> None:
        self._call(WRITE, len(data), checksum(data))

    def read_file(self, name: str) -> bytes | None:
        # What was read stands in the file in the order of the reading.
        if self._call(READ_FILE, checksum(name.encode())) < 0:
            return None
        return self.read.read(int.from_bytes(self.read.read(4), "little"))

    def write_file(self, name: str, data: bytes) -> int:
        return self._call(WRITE_FILE, checksum(name.encode()), len(data), checksum(data))

    def restart(self, maintain: int) -> None:
        self._as_recorded(RESTART, maintain)


def checksum(data: bytes) -> int:
    total = 0
    for byte in data:
        total = (total * 31 + byte) & 0xFFFFFF
    return total


class Module:
    """Stands in sys.modules for a module."""


class HeapWatch:
    """The module `micropython` as main.py uses it; measures what the heap gained between lock and unlock."""

    def __init__(self) -> None:
        self.locks = 0
        self.gained_bytes = 0
        self.before_bytes = 0

    def kbd_intr(self, code: int) -> None:
        micropython.kbd_intr(code)

    def heap_lock(self) -> None:
        self.locks += 1
        self.before_bytes = gc.mem_alloc()
        micropython.heap_lock()

    def heap_unlock(self) -> None:
        micropython.heap_unlock()
        self.gained_bytes += gc.mem_alloc() - self.before_bytes


CALLS, READ_FROM, SAMPLES, VERSION, COLLECTS = sys.argv[1:]
driver = RecordedDriver()
watch = HeapWatch()
standing_in = Module()
standing_in.Driver = lambda: driver
standing_in.maintenance = lambda: 0
sys.modules["driver"] = standing_in
sys.modules["micropython"] = watch
if VERSION:
    # main.py asks `sys` for one thing only, the version; the bundle is run as it is.
    standing_in = Module()
    standing_in.implementation = Module()
    standing_in.implementation.version = tuple(int(part) for part in VERSION.split("."))
    sys.modules["sys"] = standing_in
if COLLECTS == "no":
    # A pointer that only a WebAssembly local holds is not seen by this collector, and what it points to is lost.
    gc.disable()
    standing_in = Module()
    standing_in.collect = lambda: None
    sys.modules["gc"] = standing_in
sys.path[0] = ""
error = None
try:
    import main  # noqa: F401  runs it
except Over:
    pass
except BaseException as caught:
    text = io.StringIO()
    sys.print_exception(caught, text)
    error = text.getvalue()
print(
    json.dumps(
        {
            "matched": driver.matched,
            "got": list(driver.got) if driver.differs else None,
            "error": error,
            "locks": watch.locks,
            "gained_bytes": watch.gained_bytes,
            "version": list(sys.implementation.version[:3]),
            "bits": 64 if sys.maxsize > 0x7FFFFFFF else 32,
        }
    )
)
