# ruff: noqa: F821, RET503
"""Run by a real MicroPython, not by pytest: the driver's interrupts, and all that is called while armed, with the heap locked.

`DRIVER` and `BOARD_IO` are put in by test_stm32_driver.py. The hardware modules are stand-ins that allocate nothing themselves;
the registers are a dictionary whose keys, above 2**30 as on the board, are all there beforehand.
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

    def __init__(self, name, mode, pull=None, value=0):
        self.level = value

    def init(self, mode, pull=None, value=0, alt=0):
        pass

    def irq(self, handler, trigger, hard=False):
        pass

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level


class Timer:
    OC_TIMING = 2
    HIGH = 0

    def __init__(self, number):
        pass

    def source_freq(self):
        return 84_000_000

    def init(self, prescaler=0, period=0):
        pass

    def channel(self, number, mode, compare=0, polarity=0, callback=None):
        pass

    def callback(self, function):
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
offsets = {
    "TIM_CR1": 0x00, "TIM_SMCR": 0x08, "TIM_CCMR1": 0x18, "TIM_CCMR2": 0x1C, "TIM_CCER": 0x20, "TIM_CNT": 0x24,
    "TIM_ARR": 0x2C, "TIM_CCR3": 0x3C, "TIM_CCR4": 0x40,
}  # fmt: skip
TIM2 = 0x40000000
registers = {TIM2 + offset: 0 for offset in offsets.values()}
CR1, CNT = TIM2, TIM2 + 0x24
pins = {"PIN_" + name: name for name in ("STOP", "DETECTOR", "GATE", "CONTACTOR", "PEDAL", "FORCE", "CONDUCTION")}
module("config", DETECTOR_SQUARE=1, OFFSET_RISE_US=130, OFFSET_FALL_US=-70, MAX_HALF_CYCLES=1500, WATCHDOG_MS=5000,
       PIN_OVER_TEMPERATURE="C3", **pins)  # fmt: skip
module("machine", Pin=Pin, WDT=Watchdog, WDT_RESET=3, reset_cause=lambda: 1, mem16=registers, mem32=registers)
module("pyb", Timer=Timer)
module("stm", TIM2=TIM2, RTC=0x40002800, RTC_BKP18R=0x98, PWR=0x40007000, PWR_CR=0, **offsets)
module("select", poll=Poll, POLLIN=1)
sys_stand_in = Namespace()
sys_stand_in.stdin = sys_stand_in.stdout = stream


def half_cycle(driver, count):
    """The hardware takes an edge, reaches the lead before the gate, and ends the count."""
    driver._detector.level = 1 - driver._detector.level
    registers[CR1] = 0x0D
    registers[CNT] = 94
    driver._changed(None)
    registers[CNT] = count
    driver._due(None)
    registers[CR1] = 0x0C
    driver._end(None)


def armed(driver):
    """Welds with all their calls, at the largest figures there are, ended in each way."""
    for index in range(1500):
        driver.set_half_cycle(index, 8_900, 9_752, index & 1)
    driver.set_half_cycle(1, -1, 9_752, 0)
    driver.start(1500, 10_638, 1)
    for _ in range(5):
        half_cycle(driver, 8_570)
    ended = driver.done()
    driver._changed(None)  # a false edge
    half_cycle(driver, 9_000)  # too late
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
    return ended


sys.modules["sys"] = sys_stand_in
common = {"__name__": "board_io"}
exec(BOARD_IO, common)
module("board_io", BoardIo=common["BoardIo"], WATCHDOG=common["WATCHDOG"])
module("micropython", const=micropython.const, alloc_emergency_exception_buf=lambda size: None)
space = {"__name__": "driver"}
exec(DRIVER, space)
driver = space["Driver"]()
driver.alive(0)  # makes the watchdog, before anything is armed
micropython.heap_lock()
try:
    ended = armed(driver)
finally:
    micropython.heap_unlock()
print("nothing allocated,", ended, "half-cycles")
