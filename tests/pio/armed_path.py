# ruff: noqa: F821, RET503
"""Run by a real MicroPython, not by pytest: every member of the driver that is used while armed, with the heap locked.

`DRIVER` and `BOARD_IO` are put in by test_armed_path.py. The hardware modules are stand-ins that allocate nothing themselves.
"""

import sys

import micropython


class Namespace:
    pass


class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 2
    PULL_DOWN = 3

    def __init__(self, number, mode, pull=None, value=0):
        self.level = value

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level


class StateMachine:
    def __init__(self, number, program, freq=0, in_base=None, set_base=None, jmp_pin=None):
        self.waiting = 0

    def active(self, value):
        self.waiting = 3

    def exec(self, opcode):
        self.waiting -= 1

    def put(self, value):
        pass

    def restart(self):
        pass

    def tx_fifo(self):
        return max(self.waiting, 0)

    def rx_fifo(self):
        return max(self.waiting, 0)

    def get(self, into=None):
        self.waiting -= 1
        return 10_000


class DMA:
    count = 0

    def pack_ctrl(self, size=0, inc_read=True, inc_write=True, treq_sel=0):
        return 0

    def config(self, read=None, write=None, count=0, ctrl=None, trigger=False):
        self.count = count

    def active(self, value):
        pass


class Watchdog:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


class Poll:
    def register(self, stream, flags):
        pass

    def ipoll(self, timeout_ms):
        return ready


class Stream:
    def readinto(self, buffer):
        buffer[0] = 65
        return 1


ready = ("stdin",)


def module(name, **members):
    made = Namespace()
    for key, value in members.items():
        setattr(made, key, value)
    sys.modules[name] = made


stream = Namespace()
stream.buffer = Stream()
pins = {
    "PIN_" + name: number
    for number, name in enumerate(("STOP", "DETECTOR", "GATE", "CONTACTOR", "PEDAL", "FORCE", "CONDUCTION"))
}
module("config", DETECTOR_SQUARE=1, OFFSET_RISE_US=130, OFFSET_FALL_US=-70, MAX_HALF_CYCLES=1500, WATCHDOG_MS=2000,
       WATCHDOG_SCRATCH=0x4005800C,
       PIN_OVER_TEMPERATURE=8, PIN_PRIMARY_CURRENT=None, **pins)  # fmt: skip
module("machine", Pin=Pin, WDT=Watchdog, WDT_RESET=3, reset_cause=lambda: 1, mem32={0x4005800C: 0, 0x40058010: 0})
module("rp2", StateMachine=StateMachine, DMA=DMA)
module("pio_programs", firing=None, meter=None)
module("select", poll=Poll, POLLIN=1)
sys_stand_in = Namespace()
sys_stand_in.stdin = sys_stand_in.stdout = stream


def armed(driver):
    """One weld with all its calls, at the largest figures there are."""
    for index in range(1500):
        driver.set_half_cycle(index, 8_900, 9_752, index & 1)
    driver.set_half_cycle(0, -1, 9_752, 1)
    for positive in range(2):
        driver.start(1500, 10_638, positive)
        driver.done()
        driver.fired(1499)
        driver.crossing_us()
        driver.conduction()
        driver.primary_current_A()
        driver.inputs()
        driver.alive(1)
        driver.alive(0)
        driver.read_byte()
        driver.wait_until(driver.now_ms() + 2)
        driver.rested_ms()
        driver.off()


sys.modules["sys"] = sys_stand_in
common = {"__name__": "board_io"}
exec(BOARD_IO, common)
module("board_io", BoardIo=common["BoardIo"], WATCHDOG=common["WATCHDOG"])
space = {"__name__": "driver"}
exec(DRIVER, space)
driver = space["Driver"]()
driver.alive(0)  # makes the watchdog, before anything is armed
micropython.heap_lock()
try:
    armed(driver)
finally:
    micropython.heap_unlock()
print("nothing allocated,", "largest word", max(driver._words))
