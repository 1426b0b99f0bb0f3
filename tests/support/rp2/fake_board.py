"""A Raspberry Pi Pico as far as the real driver.py touches it: every call recorded, the state machines run by the PIO emulator.

Stands in for MicroPython's `machine`, `rp2`, `time` and `select` (their documentation is the source). The board's clock moves
only when `run` is called, and by `call_us` with every call to the hardware, so that an edge can fall between two statements of
the driver.
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
from gen.pio import pio_module
from tests.support.rp2.asm_recorder import PIO, Recorded, run_source
from tests.support.rp2.converter import ADC, ADC_REQUEST, ROOM_AT, Converter
from tests.support.rp2.pio_bench import CLOCKS_PER_US, PioBench, Steps
from tests.support.rp2.timed_gates import GateEdges, watch_the_gate

DRIVERS = Path(firmware_templates.__file__).parent / "drivers"
BOARD_IO = DRIVERS / "board_io.py"
DRIVER = DRIVERS / "rp2" / "driver.py"
PINS = {
    "STOP": 2,
    "PEDAL": 3,
    "GATE": 4,
    "CONTACTOR": 5,
    "DETECTOR": 6,
    "FORCE": 7,
    "OVER_TEMPERATURE": 8,
    "CONDUCTION": 9,
    "MIRROR": 1,
}
CURRENT_PIN = 27  # where a current transformer is fitted
WDT_RESET, PWRON_RESET = 3, 1
CONDUCTION_TIMER = 5  # the number of its state machine


class Restarted(Exception):
    """The driver reset the board."""


@dataclass
class Board:
    """Set the inputs, then `load()` the driver. Levels of plain inputs are in `levels` by GPIO number."""

    detector: Steps = field(default_factory=lambda: Steps([]))
    stop: Steps = field(default_factory=lambda: Steps([]))
    square: bool = True
    pedal: Steps = field(default_factory=lambda: Steps([]))
    release_stops: bool = True
    call_us: float = 0.0
    config: dict[str, int | None] = field(default_factory=dict)
    levels: dict[int, int] = field(default_factory=dict)
    scratch: dict[int, int] = field(default_factory=dict)
    reset_cause: int = PWRON_RESET
    calls: list[tuple[Any, ...]] = field(default_factory=list)
    received: deque[int] = field(default_factory=deque)  # bytes on the serial line
    sent: bytearray = field(default_factory=bytearray)
    now_us: float = 0.0
    files: dict[str, bytes] = field(default_factory=dict)
    full: bool = False  # no file can be written
    machines: dict[int, "StateMachine"] = field(default_factory=dict)
    sense: Any = field(default_factory=lambda: Steps([]))  # across the switch; low: it blocks
    handlers: dict[int, Callable[[Any], None]] = field(default_factory=dict)  # of rising edges, by GPIO number
    converter: Converter = field(default_factory=Converter)
    stamped: int = 0  # rises of the gate that had their interrupt
    array_kind: Callable[..., Any] = array  # of what the memory is made
    stamp_us: float = 16.0  # from a gate to its interrupt's handler, where there is one

    @property
    def fire(self) -> PioBench:
        return self.machines[0].bench

    def call(self, *what: Any) -> None:
        self.calls.append(what)
        self.run(self.now_us + self.call_us)

    def run(self, until_us: float) -> None:
        if PINS["GATE"] in self.handlers and 0 in self.machines:
            self._run_with_stamps(until_us)
        self._run_all(until_us)

    def _run_with_stamps(self, until_us: float) -> None:
        """With the interrupt of each rise of the gate as late as it is.

        That interrupt does nothing to the state machine, which is run ahead to find the rises: as far as the next change of a
        contact, whose interrupt may.
        """
        firing = self.machines[0]
        while self.now_us < until_us:
            changes = [steps.next_change(round(self.now_us * CLOCKS_PER_US)) for steps in (self.stop, self.pedal)]
            ahead_us = min(until_us, *(clock / CLOCKS_PER_US for clock in changes))
            (firing.bench.run if firing.enabled else firing.bench.idle)(ahead_us)
            rises = [time_us for time_us, level in self.fire.gate_edges if level]
            while self.stamped < len(rises) and rises[self.stamped] + self.stamp_us <= ahead_us:
                self._run_all(rises[self.stamped] + self.stamp_us)
                self.stamped += 1
                self.handlers[PINS["GATE"]](None)
            self._run_all(ahead_us)

    def _run_all(self, until_us: float) -> None:
        before, self.now_us = self.now_us, max(self.now_us, until_us)
        self.converter.run(self.now_us)
        for machine in self.machines.values():
            (machine.bench.run if machine.enabled else machine.bench.idle)(self.now_us)
        for number, steps in ((PINS["STOP"], self.stop), (PINS["PEDAL"], self.pedal)):
            if steps.rises(before, self.now_us) and number in self.handlers:
                self.handlers[number](None)

    def level(self, number: int) -> int:
        clock = round(self.now_us * 4)
        if number == PINS["STOP"]:
            return self.stop.level(clock)
        if number == PINS["PEDAL"] and self.pedal.clocks:
            return self.pedal.level(clock)
        if number == PINS["DETECTOR"]:
            return self.detector.level(clock)
        if number == PINS["CONDUCTION"] and number not in self.levels:
            return int(self.sense.level(clock))
        if number == PINS["GATE"] and 0 in self.machines:
            return self.fire.gate
        return self.levels.get(number, 0)

    def _stat(self, name: str) -> tuple[int, ...]:
        if name not in self.files:
            raise OSError(2, "ENOENT")
        return (0,) * 6 + (len(self.files[name]),)

    def load(self) -> Any:
        """Run driver.py against this board and return its Driver."""
        return self.module()["Driver"]()

    def module(self) -> dict[str, Any]:
        """Run driver.py against this board and return its names; nothing of the hardware is touched yet."""
        return self._run_driver()

    def constant(self, name: str) -> int:
        """A constant of driver.py."""
        value = self._run_driver()[name]
        assert isinstance(value, int)
        return value

    def _run_driver(self) -> dict[str, Any]:
        programs = run_source(pio_module(self.square, self.release_stops))
        pins = {f"PIN_{name}": number for name, number in PINS.items()}
        settings: dict[str, Any] = {"DETECTOR_SQUARE": int(self.square), "OFFSET_RISE_US": 0, "OFFSET_FALL_US": 0}
        settings |= {
            "MAX_HALF_CYCLES": 100,
            "RELEASE_STOPS": int(self.release_stops),
            "WATCHDOG_MS": 2000,
            "PIN_PRIMARY_CURRENT": None,
            "WATCHDOG_SCRATCH": 0x4005800C,
            "ADC": ADC,
            "ADC_REQUEST": ADC_REQUEST,
        }
        settings |= pins | self.config
        modules: dict[str, Any] = {
            "app.words": words,
            "config": SimpleNamespace(**settings),
            "pio_programs": SimpleNamespace(**programs),
            "machine": _machine(self),
            "rp2": SimpleNamespace(StateMachine=_binder(StateMachine, self), DMA=_binder(DMA, self), PIO=PIO),
            "uctypes": SimpleNamespace(addressof=lambda room: ROOM_AT),
            "array": SimpleNamespace(array=self.array_kind),
            "micropython": SimpleNamespace(const=lambda value: value),
            "time": SimpleNamespace(
                ticks_ms=lambda: int(self.now_us // 1000) % 2**30,
                ticks_diff=lambda a, b: (a - b + 2**29) % 2**30 - 2**29,
                sleep_us=lambda us: self.run(self.now_us + us),
                sleep_ms=lambda ms: self.run(self.now_us + 1000 * ms),
            ),
            "os": SimpleNamespace(sync=lambda: self.calls.append(("sync",)), stat=self._stat),
            "select": SimpleNamespace(poll=lambda: _Poll(self), POLLIN=1),
            "sys": SimpleNamespace(
                stdin=SimpleNamespace(buffer=_Stdin(self)), stdout=SimpleNamespace(buffer=_Stdout(self))
            ),
        }

        modules["board_io"] = SimpleNamespace(**self._run(BOARD_IO, modules))
        return self._run(DRIVER, modules)

    def _run(self, path: Path, modules: dict[str, Any]) -> dict[str, Any]:
        def importer(name: str, *rest: Any) -> Any:
            return modules[name] if name in modules else builtins.__import__(name, *rest)

        namespace: dict[str, Any] = {"__name__": path.stem, "__builtins__": {**vars(builtins), "__import__": importer}}
        namespace["__builtins__"]["open"] = lambda name, mode: _File(self, name, mode)
        # MicroPython does not evaluate annotations either.
        exec(
            compile(path.read_text(encoding="utf-8"), str(path), "exec", __future__.annotations.compiler_flag),
            namespace,
        )
        return namespace


def _binder(kind: Callable[..., Any], board: Board) -> Callable[..., Any]:
    return lambda *args, **settings: kind(board, *args, **settings)


class Pin:
    IN, OUT, PULL_UP, PULL_DOWN, IRQ_RISING = "in", "out", "up", "down", 8

    def __init__(self, board: Board, number: int, mode: str, pull: str | None = None, value: int | None = None) -> None:
        self.board, self.number = board, number
        board.calls.append(("pin", number, mode, pull, value))
        if value is not None:
            board.levels[number] = value

    def value(self, level: int | None = None) -> int | None:
        self.board.call("pin.value", self.number, level)
        if level is None:
            return self.board.level(self.number)
        self.board.levels[self.number] = level
        return None

    def irq(self, handler: Callable[[Any], None], trigger: int, hard: bool) -> None:
        assert hard, "a soft interrupt waits for the collector"
        assert trigger == self.IRQ_RISING
        self.board.handlers[self.number] = handler


class StateMachine:
    def __init__(self, board: Board, number: int, program: Recorded, freq: int, **pins: Pin) -> None:
        self.board, self.number, self.enabled = board, number, False
        board.call("sm", number, freq, {name: pin.number for name, pin in pins.items()})
        self.bench = PioBench(program.words, program.wrap_target, board.detector, board.stop, board.pedal)
        if number == CONDUCTION_TIMER:
            watch_the_gate(self.bench, board.sense, GateEdges(board.fire))
        elif number:
            # The meter's IN base is the detector too.
            self.bench.pins = lambda state: 5 * board.detector.level(state.clock)  # type: ignore[method-assign]
        self.bench.idle(board.now_us)
        board.machines[number] = self

    def _call(self, *what: Any) -> None:
        self.board.call(f"sm{self.number}.{what[0]}", *what[1:])

    def active(self, value: int) -> None:
        self.enabled = bool(value)
        self._call("active", value)

    def exec(self, opcode: int) -> None:
        assert isinstance(opcode, int)
        self.bench.execute(opcode)
        self._call("exec", opcode)

    def put(self, value: int) -> None:
        assert 0 <= value < 2**30
        assert len(self.bench.state.transmit_fifo) < 4, "put would wait"
        self.bench.state.transmit_fifo.append(value)
        self._call("put", value)

    def get(self, into: Any = None) -> Any:
        assert self.bench.state.receive_fifo, "get would wait"
        value = self.bench.state.receive_fifo.popleft()
        self._call("get")
        if into is None:
            assert value < 2**30, "get would allocate"
            return value
        into[0] = value
        return into

    def tx_fifo(self) -> int:
        return len(self.bench.state.transmit_fifo)

    def rx_fifo(self) -> int:
        return len(self.bench.state.receive_fifo)

    def restart(self) -> None:
        self.bench.restart()
        self._call("restart")


class DMA:
    """A channel between a buffer and a FIFO; which shows in its `ctrl`: to and from state machine 0, or from the timer's."""

    starved_after: int | None = None  # stop feeding after so many words, as a bus fault would

    def __init__(self, board: Board) -> None:
        self.board = board
        self.settings: dict[str, Any] = {}
        self.count = 0
        self.position = 0

    def pack_ctrl(self, **fields: Any) -> dict[str, Any]:
        return fields

    def _feeds(self) -> bool:
        return isinstance(self.settings.get("write"), StateMachine)

    def config(self, trigger: bool = False, **settings: Any) -> None:
        self.settings |= settings
        if self.settings["ctrl"].get("treq_sel") == 13:
            self._gather(trigger)
            return
        if self.settings["ctrl"].get("treq_sel") == ADC_REQUEST:
            self.board.converter.channel(self, trigger)
            return
        self.board.call("feed.config" if self._feeds() else "report.config", tuple(settings), trigger)
        if not trigger:
            return
        self.count, self.position = self.settings["count"], 0
        fields, bench = self.settings["ctrl"], self.board.fire
        if self._feeds():
            assert fields == {"size": 2, "inc_read": True, "inc_write": False, "treq_sel": 0}
            assert self.count <= len(self.settings["read"]), "DMA past the end of the words"
            words = list(self.settings["read"][: self.count])
            assert all(0 < word < 2**30 for word in words)
            bench.feed.extend(words[: self.starved_after])
            bench._transfer()
        else:
            assert fields == {"size": 0, "inc_read": False, "inc_write": True, "treq_sel": 4}
            assert self.count <= len(self.settings["write"]), "DMA past the end of the results"
            bench.drain = self._take

    def _gather(self, trigger: bool) -> None:
        assert self.settings["ctrl"] == {"size": 1, "inc_read": False, "inc_write": True, "treq_sel": 13}
        if trigger:
            self.count, self.position = self.settings["count"], 0
            assert self.count <= len(self.settings["write"]), "DMA past the end of what is timed"
            self.settings["read"].bench.drain = self._take_half

    def _take_half(self, value: int) -> None:
        if self.count:
            self.settings["write"][self.position] = value & 0xFFFF
            self.position += 1
            self.count -= 1

    def _take(self, value: int) -> None:
        assert self.count, "more reports than words"
        self.settings["write"][self.position] = value & 0xFF
        self.position += 1
        self.count -= 1

    def active(self, value: int) -> None:
        assert value == 0
        if self.settings["ctrl"].get("treq_sel") == ADC_REQUEST:
            self.board.converter.abort()
            return
        if self.settings["ctrl"].get("treq_sel") == 13:
            self.settings["read"].bench.drain = None
        elif self._feeds():
            self.board.fire.feed.clear()
        else:
            self.board.fire.drain = None
        if self.settings["ctrl"].get("treq_sel") != 13:
            self.board.call("feed.abort" if self._feeds() else "report.abort")


class _File:
    """A file on the board's flash: what is written counts when it is flushed or closed."""

    def __init__(self, board: Board, name: str, mode: str) -> None:
        self.board, self.name = board, name
        board.calls.append(("open", name, mode))
        if mode == "rb" and name not in board.files:
            raise OSError(2, "ENOENT")
        self.data = b"" if mode == "wb" else board.files[name]

    def __enter__(self) -> "_File":
        return self

    def __exit__(self, *error: object) -> None:
        self.flush()

    def read(self, most: int) -> bytes:
        if self.data == b"unreadable":
            raise OSError(5, "EIO")
        return self.data[:most]

    def write(self, data: memoryview) -> int:
        self.board.calls.append(("write", len(data)))
        if self.board.full:
            raise OSError(28, "ENOSPC")
        self.data += bytes(data)
        return len(data)

    def flush(self) -> None:
        self.board.calls.append(("flush",))
        self.board.files[self.name] = self.data


class _Memory:
    def __init__(self, board: Board) -> None:
        self.board = board

    def __getitem__(self, address: int) -> int:
        if ADC <= address < ADC + 0x100:
            return self.board.converter.read(address - ADC)
        return self.board.scratch.get(address, 0)

    def __setitem__(self, address: int, value: int) -> None:
        assert 0 <= value < 2**30
        if ADC <= address < ADC + 0x100:
            self.board.converter.write(address - ADC, value, self.board.now_us)
            return
        self.board.scratch[address] = value
        self.board.calls.append(("mem32", address, value))


def _machine(board: Board) -> SimpleNamespace:
    def reset() -> None:
        board.calls.append(("reset",))
        raise Restarted

    pin = _binder(Pin, board)
    for name in ("IN", "OUT", "PULL_UP", "PULL_DOWN", "IRQ_RISING"):
        setattr(pin, name, getattr(Pin, name))
    watchdog = SimpleNamespace(feed=lambda: board.calls.append(("wdt.feed",)))

    def make_watchdog(timeout: int) -> SimpleNamespace:
        board.calls.append(("wdt", timeout))
        return watchdog

    return SimpleNamespace(
        Pin=pin,
        WDT=make_watchdog,
        ADC=board.converter.wake,
        WDT_RESET=WDT_RESET,
        reset=reset,
        mem32=_Memory(board),
        reset_cause=lambda: board.reset_cause,
    )


class _Poll:
    def __init__(self, board: Board) -> None:
        self.board = board

    def register(self, stream: Any, flags: int) -> None:
        assert stream
        assert flags == 1

    def ipoll(self, timeout_ms: int) -> list[tuple[str, int]]:
        assert timeout_ms == 0
        return [("stdin", 1)] if self.board.received else []


class _Stdin:
    def __init__(self, board: Board) -> None:
        self.board = board

    def readinto(self, buffer: bytearray) -> int:
        number = min(len(buffer), len(self.board.received))
        for n in range(number):
            buffer[n] = self.board.received.popleft()
        return number


class _Stdout:
    def __init__(self, board: Board) -> None:
        self.board = board

    def write(self, data: bytes) -> int:
        self.board.sent += data
        return len(data)
