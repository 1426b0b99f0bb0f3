"""Loads the emitted files and steps them in-process, with every driver call recorded for the replay."""

from __future__ import annotations

import importlib.util
import itertools
import math
import random
import sys
from array import array
from collections import deque
from collections.abc import Callable, Generator
from functools import lru_cache
from types import CodeType, ModuleType
from typing import Any

import simpy

from gen.firmware import FirmwareBundle
from gen.words import BLOCKING, CONDUCTING, NOT_FITTED, REASON_NAMES, STATE_NAMES
from sim.bench.flash import Flash, PowerLost
from sim.bench.gate import GateUnit
from sim.bench.pin import Pin
from sim.bench.recording import StateChange
from sim.bench.switch import SolidStateSwitch

MASK = (1 << 30) - 1
METER_QUEUE = 8
LATEST_S = 0.020  # a step comes up to this much late

# Codes of driver calls in a recording; each is CALL_INTS integers: code, four arguments (those it lacks 0), result.
NOW, WAIT, RESTED, INPUTS, CROSSING, CONDUCTION, CURRENT, SET, START, DONE, FIRED, OFF, ALIVE, READ, WRITE = range(15)
RESTART, READ_FILE, WRITE_FILE = range(15, 18)
CALL_NAMES = [
    "now_ms",
    "wait_until",
    "rested_ms",
    "inputs",
    "crossing_us",
    "conduction",
    "primary_current_A",
    "set_half_cycle",
    "start",
    "done",
    "fired",
    "off",
    "alive",
    "read_byte",
    "write",
    "restart",
    "read_file",
    "write_file",
]
CALL_INTS = 6

_runs = itertools.count()


@lru_cache(maxsize=256)
def _code(path: str, text: str) -> CodeType:
    return compile(text, f"<firmware {path}>", "exec")


class Firmware:
    """The emitted application with module state of its own. `supervisor` is its module, `config` its settings."""

    def __init__(self, bundle: FirmwareBundle) -> None:
        self._prefix = f"_weldbeat_firmware_{next(_runs)}"
        self._bundle = bundle
        sys.meta_path.append(self)
        try:
            self.config: Any = self._module("config", bundle.files["config.py"])
            self.supervisor: Any = importlib.import_module(f"{self._prefix}.app.supervisor")
        finally:
            sys.meta_path.remove(self)
            for name in [name for name in sys.modules if name.startswith(self._prefix)]:
                del sys.modules[name]

    def _module(self, name: str, text: str) -> ModuleType:
        module = ModuleType(name)
        exec(_code(name, text), module.__dict__)
        return module

    # The two halves of an import hook (importlib.abc.MetaPathFinder and Loader) for this bundle's package.

    def find_spec(self, name: str, path: object, target: object = None) -> Any:
        if not name.startswith(self._prefix):
            return None
        inner = name[len(self._prefix) :].lstrip(".").replace(".", "/")
        package = inner in ("", "app")
        return importlib.util.spec_from_loader(name, self, is_package=package)  # type: ignore[arg-type]

    def create_module(self, spec: object) -> None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        inner = module.__name__[len(self._prefix) :].lstrip(".").replace(".", "/")
        path = {"": "", "app": "app/__init__.py"}.get(inner, f"{inner}.py")
        if path:
            exec(_code(path, self._bundle.files[path]), module.__dict__)


class HostDriver:
    """The driver interface over the simulated parts. Records every call."""

    def __init__(
        self,
        env: simpy.Environment,
        gate: GateUnit,
        detector: Pin,
        inputs: dict[int, Pin],
        switch: SolidStateSwitch,
        sense_fitted: bool,
        square: bool,
        rested_ms: int,
        clock_ms: int,
        serial: deque[int],
        flash: Flash,
        flash_write_s: float,
        clock_rate: float,
        on_alive: Callable[[int], None],
    ) -> None:
        self._env = env
        self._clock_rate = clock_rate
        self._on_alive = on_alive
        self._gate = gate
        self._inputs = list(inputs.items())
        self._switch = switch
        self._sense_fitted = sense_fitted
        self._square = square
        self._rested_ms = rested_ms
        self._clock_ms = clock_ms
        self._serial = serial
        self._flash = flash
        self._flash_write_s = flash_write_s
        self._stall_s = 0.0
        self._lengths: deque[int] = deque()
        self._edge_s: float | None = None
        self._seen = 0
        self.calls = array("i")
        self.call_times = array("d")
        self.sent: list[bytes] = []
        self.files_read: list[bytes] = []
        self.received = bytearray()
        detector.watchers.append(self._edge)

    def _record(self, code: int, a: int = 0, b: int = 0, c: int = 0, d: int = 0, result: int = 0) -> int:
        self.calls.extend((code, a, b, c, d, result))
        self.call_times.append(self._env.now)
        return result

    def _edge(self, level: int) -> None:
        """The period meter: half-cycles between edges, a short queue of them."""
        if not (level or self._square):
            return
        now = self._env.now
        if self._edge_s is not None and len(self._lengths) < METER_QUEUE:
            self._lengths.append(min(round((now - self._edge_s) * 1e6 * self._clock_rate), MASK))
        self._edge_s = now

    def conduction_changed(self, conducting: bool) -> None:
        """The sense across the switch, for the switch to call."""
        self._seen |= BLOCKING | CONDUCTING if conducting else BLOCKING

    def restarted(self, rested_ms: int) -> None:
        """The board was reset: its clock begins anew, and what waited in its queues is gone."""
        self._rested_ms = rested_ms
        self._clock_ms = -int(self._env.now * 1000 * self._clock_rate)
        self._lengths.clear()
        self._edge_s = None
        self._seen = 0
        self._serial.clear()
        self._stall_s = 0.0

    def leap(self, ms: int) -> None:
        """Move the board's clock on."""
        self._clock_ms += ms

    def now_ms(self) -> int:
        return self._record(NOW, result=(int(self._env.now * 1000 * self._clock_rate + 1e-6) + self._clock_ms) & MASK)

    def wait_until(self, wake_ms: int) -> None:
        self._record(WAIT, wake_ms)

    def rested_ms(self) -> int:
        return self._record(RESTED, result=self._rested_ms)

    def inputs(self) -> int:
        bits = 0
        for bit, pin in self._inputs:
            if pin.level:
                bits |= bit
        return self._record(INPUTS, result=bits)

    def crossing_us(self) -> int:
        return self._record(CROSSING, result=self._lengths.popleft() if self._lengths else 0)

    def conduction(self) -> int:
        if not self._sense_fitted:
            return self._record(CONDUCTION, result=NOT_FITTED)
        seen = self._seen | (CONDUCTING if self._switch.seen_conducting else BLOCKING)
        self._seen = 0
        return self._record(CONDUCTION, result=seen)

    def primary_current_A(self) -> int:
        return self._record(CURRENT, result=-1)

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self._record(SET, index, delay_us, end_us, positive)
        self._gate.set_half_cycle(index, delay_us, end_us, positive)

    def start(self, count: int, half_us: int, positive: int) -> int:
        return self._record(START, count, half_us, positive, result=self._gate.start(count, half_us, positive))

    def done(self) -> int:
        return self._record(DONE, result=self._gate.done())

    def fired(self, index: int) -> int:
        return self._record(FIRED, index, result=self._gate.fired(index))

    def off(self) -> int:
        return self._record(OFF, result=self._gate.off())

    def alive(self, contactor: int) -> None:
        self._record(ALIVE, contactor)
        self._on_alive(contactor)

    def read_byte(self) -> int:
        byte = self._serial.popleft() if self._serial else -1
        return self._record(READ, result=byte)

    def write(self, data: bytes) -> None:
        self._record(WRITE, len(data), checksum(data))
        self.sent.append(data)

    def read_file(self, name: str) -> bytes | None:
        data = self._flash.read(name)
        if data is not None:
            self.files_read.append(data)
        # The content stands beside the calls: the result says where.
        self._record(READ_FILE, checksum(name.encode()), result=-1 if data is None else len(self.files_read) - 1)
        return data

    def write_file(self, name: str, data: bytes) -> int:
        self._stall_s += self._flash_write_s
        result = self._flash.write(name, data)
        return self._record(WRITE_FILE, checksum(name.encode()), len(data), checksum(data), result=result)

    def take_stall(self) -> float:
        """How long the program stood still for the flash since the last call, in seconds."""
        stall_s, self._stall_s = self._stall_s, 0.0
        return stall_s

    def restart(self, maintain: int) -> None:
        self._record(RESTART, maintain)


def checksum(data: bytes) -> int:
    """A sum of what was written that tells order, below 2**24."""
    total = 0
    for byte in data:
        total = (total * 31 + byte) & 0xFFFFFF
    return total


class StepFailed(Exception):
    """A fault of the interpreter: the step under way raises."""


class Host:
    """The board's main loop as a process: step, then wait until the wake time or an input's change, and come late.

    `on_end(again)` is called when it has ended, and says whether it starts again. `states` is where changes of state are kept.
    """

    def __init__(
        self,
        env: simpy.Environment,
        firmware: Firmware,
        driver: HostDriver,
        seed: int,
        clock_rate: float,
        states: list[StateChange],
        on_end: Callable[[bool], None],
    ) -> None:
        self._env = env
        self._driver = driver
        self._random = random.Random(seed)
        self._clock_rate = clock_rate
        self._on_end = on_end
        self._waiting = False
        self._dead = False
        self._resumes_s = 0.0
        self._fails = False
        self.supervisor = firmware.supervisor.Supervisor(driver, firmware.config)
        self.states = states
        self.process = env.process(self._run())

    def wake(self, level: int = 0) -> None:
        """An input has changed."""
        if self._waiting:
            self._waiting = False
            self.process.interrupt()

    def die(self) -> None:
        """The board was reset or has lost its power: nothing of this program runs any more."""
        self._dead = True
        self.wake()

    def hang(self, length_s: float) -> None:
        """The interpreter does nothing for so long (math.inf: for ever). Nothing else on the board notices."""
        self._resumes_s = self._env.now + length_s

    def fail(self) -> None:
        """The next step raises."""
        self._fails = True

    def _run(self) -> Generator[simpy.Event, None, None]:
        driver, supervisor = self._driver, self.supervisor
        maintain = 0
        try:
            while not supervisor.maintain:
                yield from self._hung()
                if self._dead:
                    return
                yield from self._step()
                if self._dead:
                    return
            maintain = supervisor.maintain
        except PowerLost:
            self._on_end(False)
            return
        except StepFailed:
            pass
        driver.off()
        driver.restart(maintain)
        self._on_end(not maintain)

    def _hung(self) -> Generator[simpy.Event, None, None]:
        while self._env.now < self._resumes_s and not self._dead:
            if self._resumes_s == math.inf:
                yield self._env.event()  # until the board is reset, and this with it
            yield self._env.timeout(self._resumes_s - self._env.now)

    def _step(self) -> Generator[simpy.Event, None, None]:
        """One round of main.py's loop."""
        env, driver, supervisor = self._env, self._driver, self.supervisor
        now_ms = driver.now_ms()
        if self._fails:
            raise StepFailed
        wake_ms = supervisor.step(now_ms)
        self._tell()
        if stall_s := driver.take_stall():
            yield env.timeout(stall_s)
        driver.wait_until(wake_ms)
        self._waiting = True
        try:
            yield env.timeout(((wake_ms - now_ms) & MASK) * 1e-3 / self._clock_rate)
            self._waiting = False
        except simpy.Interrupt:
            pass
        yield env.timeout(self._random.random() * LATEST_S)

    def _tell(self) -> None:
        """Note a change of state."""
        state = STATE_NAMES[self.supervisor.state]
        reason = REASON_NAMES[self.supervisor.reason]
        if not self.states or (self.states[-1].state, self.states[-1].reason) != (state, reason):
            self.states.append(StateChange(self._env.now, state, reason))
