# mypy: ignore-errors
"""Run by a real MicroPython, not by pytest: the emitted application under a storm of damaged lines.

    micropython storm_driver.py BUNDLE LINES WARM COLLECTS

The first WARM bytes of LINES come before memory is measured; COLLECTS is "no" for a build whose collector loses what is in
use. Prints one line of JSON in the end.
"""

import gc
import json
import sys

BUNDLE, LINES, WARM, COLLECTS = sys.argv[1:]
if COLLECTS == "no":
    gc.disable()
sys.path.insert(0, BUNDLE)

import config  # noqa: E402
from app import words  # noqa: E402
from app.supervisor import Supervisor  # noqa: E402

AT_ONCE = 512


class Driver:
    def __init__(self):
        self.files = {}
        self.writes = 0
        self.contactor = 0
        self.source = open(LINES, "rb")  # noqa: SIM115
        self.buffer = bytearray(AT_ONCE)
        self.at = 0
        self.filled = 0
        self.taken = 0
        self.errors = 0
        self.results = 0
        self.last = b""
        self.fed = 0
        self.extra = b""

    def inputs(self):
        return 0 if self.contactor else words.CONTACTOR_OPEN

    def rested_ms(self):
        return 1 << 28

    def crossing_us(self):
        self.fed = 1 - self.fed
        return 10000 if self.fed else 0

    def conduction_us(self, gate):
        return -1

    def current_ring(self):
        return ()

    def conduction(self):
        return 0

    def off(self):
        return 1

    def alive(self, contactor):
        self.contactor = contactor

    def ended(self):
        if self.at == self.filled:
            self.filled = self.source.readinto(self.buffer)
            self.at = 0
        return self.filled == 0

    def read_byte(self):
        if self.extra:
            byte = self.extra[0]
            self.extra = self.extra[1:]
            return byte
        if not talking or self.ended():
            return -1
        self.at += 1
        self.taken += 1
        return self.buffer[self.at - 1]

    def write(self, data):
        self.last = data
        if b'"error"' in data:
            self.errors += 1
        else:
            self.results += 1

    def read_file(self, name):
        return self.files.get(name)

    def write_file(self, name, data):
        self.writes += 1
        self.files[name] = data
        return 1


talking = False
driver = Driver()
supervisor = Supervisor(driver, config)
now_ms = 0
before = after = 0  # made now: a new name may grow the module's own dictionary


def step():
    global now_ms
    supervisor.step(now_ms)
    now_ms = (now_ms + 10) & 0x3FFFFFFF


def bytes_in_use():
    global talking
    driver.last = b""  # the answers differ in length
    # The collector takes what still stands in a used part of the stack for a pointer: idle steps write over it.
    was, talking = talking, False
    for _ in range(20):
        step()
    talking = was
    if COLLECTS == "yes":
        gc.collect()
    return gc.mem_alloc()


for _ in range(30):
    step()
writes = driver.writes
files = dict(driver.files)
talking = True
while driver.taken < int(WARM) and not driver.ended():
    step()
before = bytes_in_use()
while not driver.ended():
    step()
after = bytes_in_use()
driver.extra = b"\n" + b'{"jsonrpc": "2.0", "id": 1, "method": "hello"} afca36af\n'
for _ in range(5):
    step()
print(
    json.dumps(
        {
            "taken": driver.taken,
            "errors": driver.errors,
            "results": driver.results,
            "before": before,
            "after": after,
            "unchanged": driver.files == files and driver.writes == writes,
            "state": words.STATE_NAMES[supervisor.state],
            "last": driver.last.decode(),
        }
    )
)
