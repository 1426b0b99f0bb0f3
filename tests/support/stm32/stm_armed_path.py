# ruff: noqa: F821
"""Run by a real MicroPython after armed_stand_ins.py: the pyboard driver's interrupts, and all that is called while armed.

The registers are a dictionary whose keys, above 2**30 as on the board, are all there beforehand.
"""


class ADC:
    def __init__(self, pin):
        pass


class Timer:
    OC_TIMING = 2
    HIGH = 0
    IC = 9
    FALLING = 2

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


offsets = {
    "TIM_CR1": 0x00, "TIM_SMCR": 0x08, "TIM_CCMR1": 0x18, "TIM_CCMR2": 0x1C, "TIM_CCER": 0x20, "TIM_CNT": 0x24,
    "TIM_ARR": 0x2C, "TIM_CCR3": 0x3C, "TIM_CCR4": 0x40, "TIM_CR2": 0x04, "TIM_SR": 0x10, "TIM_CCR1": 0x34, "TIM_CCR2": 0x38,
}  # fmt: skip
TIM2 = 0x40000000
TIM3 = 0x40000400
registers = {timer + offset: 0 for timer in (TIM2, TIM3) for offset in offsets.values()}
registers |= {0x40002898: 0, 0x4000289C: 0, 0x40007000: 0}  # two backup registers, and the power control's
ADC1, DMA2, TIM8, RCC = 0x40012000, 0x40026400, 0x40010400, 0x40023800
registers |= {ADC1 + offset: 0 for offset in (0x00, 0x08, 0x10, 0x2C, 0x34, 0x4C)}
registers |= {DMA2 + offset: 0 for offset in (0x08, 0x10, 0x14, 0x18, 0x1C)} | {TIM8 + 0x04: 0, RCC + 0x30: 0}
CR1, CNT, LIT = TIM2, TIM2 + 0x24, TIM3 + 0x38
pins = {"PIN_" + name: name for name in ("STOP", "DETECTOR", "GATE", "CONTACTOR", "PEDAL", "FORCE", "CONDUCTION")}
module("config", DETECTOR_SQUARE=1, OFFSET_RISE_US=130, OFFSET_FALL_US=-70, MAX_HALF_CYCLES=1500, WATCHDOG_MS=5000,
       RELEASE_STOPS=1, PIN_OVER_TEMPERATURE="C3", PIN_PRIMARY_CURRENT="B0", PIN_MIRROR=None, **pins)  # fmt: skip
module("machine", Pin=Pin, WDT=Watchdog, WDT_RESET=3, reset_cause=lambda: 1, mem16=registers, mem32=registers)
module("pyb", Timer=Timer, ADC=ADC, Pin=Pin)
module(
    "stm",
    ADC1=ADC1,
    ADC_SR=0,
    ADC_CR2=8,
    ADC_SMPR2=0x10,
    ADC_SQR1=0x2C,
    ADC_SQR3=0x34,
    ADC_DR=0x4C,
    DMA2=DMA2,
    DMA_LIFCR=8,
    TIM8=TIM8,
    RCC=RCC,
    RCC_AHB1ENR=0x30,
    TIM2=TIM2,
    TIM3=TIM3,
    RTC=0x40002800,
    RTC_BKP18R=0x98,
    PWR=0x40007000,
    PWR_CR=0,
    **offsets,
)
module("micropython", const=micropython.const, alloc_emergency_exception_buf=lambda size: None)


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
    registers[LIT] = 9_999
    driver._lit(None)


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
        weld(driver, positive)
    return ended


print("nothing allocated,", with_the_heap_locked(armed), "half-cycles")
