# ruff: noqa: F821
"""Run by a real MicroPython after armed_stand_ins.py: every member of the RP2 driver that is used while armed."""


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

    def pack_ctrl(self, size=0, inc_read=True, inc_write=True, treq_sel=0, ring_size=0, ring_sel=False):
        return 0

    def config(self, read=None, write=None, count=0, ctrl=None, trigger=False):
        self.count = count

    def active(self, value):
        pass


registers = {0x4005800C: 0, 0x40058010: 0, 0x4004C000: 0, 0x4004C008: 0x100, 0x4004C00C: 0, 0x4004C010: 0}
pins = {
    "PIN_" + name: number
    for number, name in enumerate(("STOP", "PEDAL", "GATE", "CONTACTOR", "DETECTOR", "FORCE", "CONDUCTION"))
}
module("config", DETECTOR_SQUARE=1, OFFSET_RISE_US=130, OFFSET_FALL_US=-70, MAX_HALF_CYCLES=1500, WATCHDOG_MS=2000,
       RELEASE_STOPS=1, WATCHDOG_SCRATCH=0x4005800C,
       ADC=0x4004C000, ADC_REQUEST=36, PIN_OVER_TEMPERATURE=8, PIN_PRIMARY_CURRENT=27, PIN_MIRROR=None, **pins)  # fmt: skip
module("machine", Pin=Pin, WDT=Watchdog, WDT_RESET=3, reset_cause=lambda: 1, ADC=lambda gpio: None, mem32=registers)
module("rp2", StateMachine=StateMachine, DMA=DMA)
module("pio_programs", firing=None, meter=None, conduction=None)


def armed(driver):
    """One weld on each polarity, at the largest figures there are."""
    for index in range(1500):
        driver.set_half_cycle(index, 8_900, 9_752, index & 1)
    driver.set_half_cycle(0, -1, 9_752, 1)
    for positive in range(2):
        weld(driver, positive)
    return driver


print("nothing allocated, largest word", max(with_the_heap_locked(armed)._words))
