"""A pyboard as far as the real stm32 driver touches it: timer 2 by registers, pins, and interrupts that come late.

Stands in for MicroPython's `machine`, `pyb`, `stm`, `time` and `select` (their documentation is the source; what the timer's
interrupt does with flags and callbacks, from MicroPython's ports/stm32/timer.c). Interrupts begin `latency_us` after their
cause, the timer's may come in the middle of the detector's, and each access to the hardware takes `call_us`.
"""

import __future__

import builtins
from array import array
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import firmware_templates
from gen import words
from tests.support.stm32.sampler import ADC1, NAMES, Sampler, known
from tests.support.stm32.sense_timer import SenseTimer
from tests.support.stm32.timer_model import COMPARE_4, CR1, DIER, NEVER, SR, UPDATE, Timer2

DRIVERS = Path(firmware_templates.__file__).parent / "drivers"
DRIVER = DRIVERS / "stm32" / "driver.py"
PINS = {
    "STOP": "A1",
    "DETECTOR": "A0",
    "GATE": "A2",
    "CONTACTOR": "C6",
    "PEDAL": "A3",
    "FORCE": "C2",
    "OVER_TEMPERATURE": "C3",
    "CONDUCTION": "C7",
    "MIRROR": "C5",
}
TIM2, TIM3, RTC, PWR = 0x40000000, 0x40000400, 0x40002800, 0x40007000
# Names of the stm module, with the offsets that RM0090 gives.
STM = {
    "TIM2": TIM2, "TIM_CR1": 0x00, "TIM_SMCR": 0x08, "TIM_CCMR1": 0x18, "TIM_CCMR2": 0x1C, "TIM_CCER": 0x20, "TIM_CNT": 0x24,
    "TIM3": TIM3, "TIM_CR2": 0x04, "TIM_SR": 0x10, "TIM_CCR1": 0x34, "TIM_CCR2": 0x38,
    "TIM_ARR": 0x2C, "TIM_CCR3": 0x3C, "TIM_CCR4": 0x40, "RTC": RTC, "RTC_BKP18R": 0x98, "PWR": PWR, "PWR_CR": 0x00,
} | NAMES  # fmt: skip
WDT_RESET, PWRON_RESET = 3, 1
_EXTI, _TIMER, _SENSE = "detector", "timer", "sense"
_PRIORITY = {_TIMER: 2, _SENSE: 2, _EXTI: 1, None: 0}  # IRQ_PRI_TIMX is above IRQ_PRI_EXTINT in ports/stm32/irq.h


class Restarted(Exception):
    """The driver reset the board."""


@dataclass
class Board:
    """Set the inputs, then `load()` the driver. `detector`, `stop` and `pedal`: times of their toggles, from low."""

    detector: list[float] = field(default_factory=list)
    stop: list[float] = field(default_factory=list)
    square: bool = True
    latency_us: Callable[[], float] = lambda: 50.0
    call_us: float = 0.0
    config: dict[str, int | str | None] = field(default_factory=dict)
    levels: dict[str, int] = field(default_factory=dict)
    backup: dict[int, int] = field(default_factory=dict)
    reset_cause: int = PWRON_RESET
    hung_from_us: float = NEVER  # no interrupt is served from then on
    calls: list[tuple[Any, ...]] = field(default_factory=list)
    received: deque[int] = field(default_factory=deque)
    now_us: float = 0.0
    gate_edges: list[tuple[float, int]] = field(default_factory=list)
    pedal: list[float] = field(default_factory=list)
    release_stops: bool = True
    array_kind: Callable[..., Any] = array  # of what the memory is made
    sense: list[float] = field(default_factory=list)  # toggles of the sense across the switch, from low

    def __post_init__(self) -> None:
        self.timer = Timer2(self._gate_changed)
        self.modes: dict[str, str] = {}
        self.outputs: dict[str, int] = {}
        self.handlers: dict[str, Callable[[Any], None]] = {}
        self.contacts: dict[str, Callable[[Any], None]] = {}  # what serves the rising edges of a contact, by pin
        self.rising_only = False
        self.due: dict[str, float] = {}  # when each pending interrupt begins
        self.running: str | None = None
        self._toggles = deque(self.detector)
        self.sense_timer = SenseTimer()
        self.sampler = Sampler()
        self._sensed = deque(self.sense)
        self._gate = 0
        self.timer_object: Any = None
        self.emergency_bytes = 0

    # -- time -----------------------------------------------------------------------------------------------------------

    def run(self, until_us: float) -> None:
        """Let time pass, interrupts included."""
        before = self.now_us
        self._run(until_us)
        for name, times in ((PINS["STOP"], self.stop), (PINS["PEDAL"], self.pedal)):
            if name in self.contacts and any(before < time <= self.now_us for time in times[::2]):
                self.contacts[name](None)

    def _run(self, until_us: float) -> None:
        while True:
            self._serve()
            moments = [until_us, self.timer.next_us(), self._toggles[0] if self._toggles else NEVER]
            moments.append(self._sensed[0] if self._sensed else NEVER)
            if self.now_us < self.hung_from_us:
                moments += [at for what, at in self.due.items() if _PRIORITY[what] > _PRIORITY[self.running]]
            moment = max(min(moments), self.now_us)
            self.now_us = moment
            self.timer.advance(moment)
            while self._toggles and self._toggles[0] <= moment:
                self._toggles.popleft()
                self._detector_changed()
            while self._sensed and self._sensed[0] <= moment:
                self._sensed.popleft()
                if self.modes.get(PINS["CONDUCTION"]) == "alt":
                    self.sense_timer.edge((len(self.sense) - len(self._sensed)) & 1, moment)
            if self.timer.pending():
                self._raise(_TIMER)
            if self.sense_timer.pending():
                self._raise(_SENSE)
            if moment >= until_us and not self._to_serve():
                return

    def _raise(self, what: str) -> None:
        if what not in self.due and what in self.handlers:
            self.due[what] = self.now_us + self.latency_us()

    def _to_serve(self) -> str | None:
        ready = [what for what, at in self.due.items() if at <= self.now_us and self.now_us < self.hung_from_us]
        above = [what for what in ready if _PRIORITY[what] > _PRIORITY[self.running]]
        return max(above, key=lambda what: _PRIORITY[what], default=None)

    def _serve(self) -> None:
        while what := self._to_serve():
            del self.due[what]
            before, self.running = self.running, what
            self.handlers[what](None)
            self.running = before
            if self.timer.pending():
                self._raise(_TIMER)
            if self.sense_timer.pending():
                self._raise(_SENSE)

    def call(self, *what: Any) -> None:
        """An access to the hardware: told, and time passes."""
        self.calls.append(what)
        self.run(self.now_us + self.call_us)

    # -- pins -----------------------------------------------------------------------------------------------------------

    def _detector_changed(self) -> None:
        level = self.level(PINS["DETECTOR"])
        if self.modes.get(PINS["DETECTOR"]) == "alt":
            self.timer.edge(level)
        if level or not self.rising_only:
            self._raise(_EXTI)

    def _gate_changed(self) -> None:
        level = self.level(PINS["GATE"])
        if level != self._gate:
            self._gate = level
            if level:
                self.sense_timer.gate(self.timer.now_us)
            self.gate_edges.append((self.timer.now_us, level))

    def level(self, name: str) -> int:
        if name == PINS["DETECTOR"]:
            return (len(self.detector) - len(self._toggles)) & 1
        if name == PINS["STOP"]:
            return sum(time <= self.now_us for time in self.stop) & 1
        if name == PINS["PEDAL"] and self.pedal:
            return sum(time <= self.now_us for time in self.pedal) & 1
        if name == PINS["CONDUCTION"] and self.sense:
            return sum(time <= self.now_us for time in self.sense) & 1
        if self.modes.get(name) == "alt":
            return self.timer.output
        return self.outputs.get(name, self.levels.get(name, 0))

    # -- the driver -------------------------------------------------------------------------------------------------------

    def load(self, edit: tuple[str, str] = ("", "")) -> Any:
        """Run driver.py against this board and return its Driver; with `edit`, its first text replaced by its second."""
        return self.module(edit)["Driver"]()

    def module(self, edit: tuple[str, str] = ("", "")) -> dict[str, Any]:
        """Run driver.py against this board and return its names."""
        settings: dict[str, Any] = {"DETECTOR_SQUARE": int(self.square), "OFFSET_RISE_US": 0, "OFFSET_FALL_US": 0}
        settings |= {"RELEASE_STOPS": int(self.release_stops), "PIN_PRIMARY_CURRENT": None}
        settings |= {"MAX_HALF_CYCLES": 100, "WATCHDOG_MS": 2000} | {f"PIN_{name}": pin for name, pin in PINS.items()}
        stream = SimpleNamespace(
            readinto=lambda buffer: buffer.__setitem__(0, self.received.popleft()) or 1, write=lambda data: len(data)
        )
        poll = SimpleNamespace(
            register=lambda *_: None, ipoll=lambda timeout_ms: [("stdin", 1)] if self.received else []
        )
        memory = _Memory(self)
        modules: dict[str, Any] = {
            "app.words": words,
            "config": SimpleNamespace(**settings | self.config),
            "machine": _machine(self, memory),
            "micropython": SimpleNamespace(
                const=lambda value: value,
                alloc_emergency_exception_buf=lambda size: setattr(self, "emergency_bytes", size),
            ),
            "pyb": SimpleNamespace(
                Timer=_timer(self), Pin=lambda name: name, ADC=lambda pin: setattr(self.sampler, "pin", pin)
            ),
            "uctypes": SimpleNamespace(addressof=self.sampler.address),
            "array": SimpleNamespace(array=self.array_kind),
            "stm": SimpleNamespace(**STM),
            "time": SimpleNamespace(
                ticks_ms=lambda: int(self.now_us // 1000) % 2**30,
                ticks_us=lambda: int(self.now_us) % 2**30,
                ticks_diff=lambda a, b: (a - b + 2**29) % 2**30 - 2**29,
                ticks_add=lambda a, b: (a + b) % 2**30,
                sleep_us=lambda us: self.run(self.now_us + us),
                sleep_ms=lambda ms: self.run(self.now_us + 1000 * ms),
            ),
            "select": SimpleNamespace(poll=lambda: poll, POLLIN=1),
            "sys": SimpleNamespace(stdin=SimpleNamespace(buffer=stream), stdout=SimpleNamespace(buffer=stream)),
        }
        modules["board_io"] = SimpleNamespace(**_run(DRIVERS / "board_io.py", modules))
        text = DRIVER.read_text(encoding="utf-8")
        assert edit[0] in text
        return _run(DRIVER, modules, text.replace(*edit) if edit[0] else text)


def _run(path: Path, modules: dict[str, Any], text: str = "") -> dict[str, Any]:
    def importer(name: str, *rest: Any) -> Any:
        return modules[name] if name in modules else builtins.__import__(name, *rest)

    namespace: dict[str, Any] = {"__name__": path.stem, "__builtins__": {**vars(builtins), "__import__": importer}}
    exec(
        compile(text or path.read_text(encoding="utf-8"), str(path), "exec", __future__.annotations.compiler_flag),
        namespace,
    )
    return namespace


class _Memory:
    """mem16 and mem32: the timer's registers, the backup registers, and the power control's one bit."""

    def __init__(self, board: Board) -> None:
        self.board = board

    def __getitem__(self, address: int) -> int:
        self.board.call("read", address)
        if known(address):
            return self.board.sampler.read(address, self.board.now_us)
        if TIM3 <= address < RTC:
            return self.board.sense_timer.read(address - TIM3)
        value = self.board.timer.read(address - TIM2) if address < RTC else self.board.backup.get(address, 0)
        assert 0 <= value < 2**30, "reading it would allocate"
        return value

    def __setitem__(self, address: int, value: int) -> None:
        assert 0 <= value < 2**30 or value == ADC1 + 0x4C, "a number made anew would allocate"
        self.board.call("write", address, value)
        if known(address):
            self.board.sampler.write(address, value, self.board.now_us)
            return
        if TIM3 <= address < RTC:
            self.board.sense_timer.write(address - TIM3, value)
        elif address == TIM2 + 4:
            self.board.sense_timer.told_of_gates = value == 0x60  # MMS: OC3REF as trigger output
        elif address < RTC:
            self.board.timer.write(address - TIM2, value)
        else:
            writable = address == PWR or self.board.backup.get(PWR, 0) & 0x100
            assert writable, "the backup registers are locked after a reset"
            self.board.backup[address] = value


class _Pin:
    IN, OUT, ALT, PULL_UP, PULL_DOWN, IRQ_RISING, IRQ_FALLING = "in", "out", "alt", "up", "down", 1, 2

    def __init__(self, board: Board, name: str, mode: str, pull: str | None = None, **settings: int) -> None:
        self.board, self.name = board, name
        self.init(mode, pull, **settings)

    def init(self, mode: str, pull: str | None = None, value: int | None = None, alt: int | None = None) -> None:
        timer = 2 if self.name == PINS["CONDUCTION"] else 1
        assert alt == (timer if mode == "alt" else None), "timer 2 is alternate function 1, timer 3 is 2"
        self.board.call("pin", self.name, mode, pull, value)
        if value is not None:
            self.board.outputs[self.name] = value
        self.board.modes[self.name] = mode
        self.board._gate_changed()

    def value(self, level: int | None = None) -> int | None:
        self.board.call("pin.value", self.name, level)
        if level is None:
            return self.board.level(self.name)
        self.board.outputs[self.name] = level
        return None

    def irq(self, handler: Callable[[Any], None], trigger: int, hard: bool) -> None:
        assert hard, "a soft interrupt waits for the collector"
        if self.name != PINS["DETECTOR"]:
            assert trigger == self.IRQ_RISING
            lines = [name[1:] for name in (*self.board.contacts, PINS["DETECTOR"])]
            assert self.name[1:] not in lines, "the interrupt's line is its number, and is taken"
            self.board.contacts[self.name] = handler
            return
        assert trigger in (self.IRQ_RISING, self.IRQ_RISING | self.IRQ_FALLING)
        self.board.handlers[_EXTI] = handler
        self.board.rising_only = trigger == self.IRQ_RISING


def _timer(board: Board) -> Any:
    class Timer:
        OC_TIMING, HIGH, IC, FALLING = 2, 0, 9, 2

        def __init__(self, number: int) -> None:
            assert number in (2, 3, 8)
            self.number = number
            self.callbacks: dict[int, Callable[[Any], None]] = {}
            if number == 2:
                board.handlers[_TIMER] = self._interrupt

        def source_freq(self) -> int:
            return 168_000_000 if self.number == 8 else 84_000_000

        def init(self, prescaler: int, period: int) -> None:
            assert repr(prescaler) == ("167" if self.number == 8 else "83"), "a count is a microsecond, a whole number"
            if self.number == 8:
                board.sampler.pace_us = period + 1
                return
            if self.number == 3:
                assert period == 0xFFFF
                return
            board.calls.append(("timer", period))
            board.timer.write(CR1, 0x81)

        def channel(
            self, number: int, mode: int, compare: int = 0, polarity: int = 0, *, callback: Callable[[Any], None]
        ) -> None:
            if self.number == 3:
                assert (number, mode, polarity) == (2, self.IC, self.FALLING)
                board.handlers[_SENSE] = lambda _: board.sense_timer.served(callback)
                return
            assert (number, mode, polarity) == (4, self.OC_TIMING, self.HIGH)
            board.calls.append(("channel", compare))
            self._enable(COMPARE_4, callback)

        def callback(self, function: Callable[[Any], None]) -> None:
            self._enable(UPDATE, function)

        def _enable(self, flag: int, function: Callable[[Any], None]) -> None:
            self.callbacks[flag] = function
            board.timer.write(DIER, board.timer.read(DIER) | flag)

        def _interrupt(self, _: Any) -> None:
            for flag in (UPDATE, COMPARE_4):
                if board.timer.pending() & flag:
                    board.timer.write(SR, ~flag)
                    self.callbacks[flag](self)

    return Timer


def _machine(board: Board, memory: _Memory) -> SimpleNamespace:
    def reset() -> None:
        board.calls.append(("reset",))
        raise Restarted

    def pin(*args: Any, **settings: Any) -> _Pin:
        return _Pin(board, *args, **settings)

    for name in ("IN", "OUT", "ALT", "PULL_UP", "PULL_DOWN", "IRQ_RISING", "IRQ_FALLING"):
        setattr(pin, name, getattr(_Pin, name))
    return SimpleNamespace(
        Pin=pin,
        WDT=lambda timeout: SimpleNamespace(feed=lambda: board.calls.append(("wdt.feed",))),
        WDT_RESET=WDT_RESET,
        reset=reset,
        mem16=memory,
        mem32=memory,
        reset_cause=lambda: board.reset_cause,
    )
