# ruff: noqa: F821, RET503
"""Run by a real MicroPython, not by pytest: what `DRIVER` and `BOARD_IO` stand on, before a family's own armed_path.

Stand-ins that allocate nothing themselves, and the calls of one weld. armed_runs.py puts the pieces together.
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
    ALT = 4
    IRQ_RISING = 1
    IRQ_FALLING = 2

    def __init__(self, name, mode=0, pull=None, value=0):
        self.level = value

    def init(self, mode, pull=None, value=0, alt=0):
        pass

    def irq(self, handler, trigger, hard=False):
        pass

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level


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


def weld(driver, positive):
    """All that is called in one weld, at the largest figures there are."""
    driver.start(1500, 10_638, positive)
    driver.done()
    driver.fired(1499)
    driver.crossing_us()
    driver.conduction()
    driver.conduction_us(0)
    driver.conduction_us(199)
    driver.sample()
    driver._stamp()
    driver.sampled()
    driver.gate_sample(0)
    driver.gate_sample(1)
    driver.inputs()
    driver.alive(1)
    driver.alive(0)
    driver.read_byte()
    driver.wait_until(driver.now_ms() + 2)
    driver.rested_ms()
    driver.off()


def with_the_heap_locked(armed):
    """What `armed` returns of a driver loaded over the modules put in so far."""
    stream = Namespace()
    stream.buffer = Stream()
    sys_stand_in = Namespace()
    sys_stand_in.stdin = sys_stand_in.stdout = stream
    module("select", poll=Poll, POLLIN=1)
    sys.modules["sys"] = sys_stand_in
    shared = {}
    exec(WORDS, shared)
    module("app")
    module("app.words", **{name: value for name, value in shared.items() if name[0] != "_"})
    common = {"__name__": "board_io"}
    exec(BOARD_IO, common)
    module("board_io", BoardIo=common["BoardIo"], kept=common["kept"])
    space = {"__name__": "driver"}
    exec(DRIVER, space)
    driver = space["Driver"]()
    driver.alive(0)  # makes the watchdog, before anything is armed
    micropython.heap_lock()
    try:
        return armed(driver)
    finally:
        micropython.heap_unlock()
