"""Loads the emitted files and steps them in-process, like the board's main loop."""

from __future__ import annotations

import importlib.util
import io
import itertools
import math
import random
import sys
from collections.abc import Generator
from functools import lru_cache
from types import CodeType, ModuleType
from typing import Any

import simpy

from gen.firmware import SUMS, FirmwareBundle
from gen.words import REASON_NAMES, STATE_NAMES
from sim.bench.chip import MASK, Clock, PowerLost
from sim.bench.driver import HostDriver
from sim.bench.recording import StateChange

_runs = itertools.count()
SELF_TEST = "app/self_test.py"


@lru_cache(maxsize=256)
def _code(path: str, text: str) -> CodeType:
    return compile(text, f"<firmware {path}>", "exec")


def damaged_file(bundle: FirmwareBundle) -> str:
    """What the emitted self-test finds of files that lie so on the board: the name of the first damaged one, or ""."""
    module = ModuleType("self_test")
    exec(_code(SELF_TEST, bundle.files[SELF_TEST]), module.__dict__)

    def opened(name: str, mode: str) -> io.BytesIO:
        if name not in bundle.files:
            raise FileNotFoundError(name)
        return io.BytesIO(bundle.files[name].encode())

    found: str = module.__dict__["damaged"](opened, SUMS)
    return found


class Firmware:
    """The emitted application, loaded as modules of its own."""

    config: Any
    """The module of the settings."""
    supervisor: Any
    """The module with the application's entry."""
    failure: Any
    """The module that records the cause of the program's end."""

    def __init__(self, bundle: FirmwareBundle) -> None:
        self._prefix = f"_weldbeat_firmware_{next(_runs)}"
        self._bundle = bundle
        sys.meta_path.append(self)
        try:
            self.config = self._module("config", bundle.files["config.py"])
            self.supervisor = importlib.import_module(f"{self._prefix}.app.supervisor")
            self.failure = importlib.import_module(f"{self._prefix}.app.failure")
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


LATEST_S = 0.020  # greatest delay of a step


class StepFailed(Exception):
    """An injected fault of the interpreter, raised in a step."""


class Host:
    """One start of the program: step, wait for the wake time or an input's change, add a delay, step again."""

    def __init__(
        self, clock: Clock, firmware: Firmware, driver: HostDriver, states: list[StateChange], seed: int
    ) -> None:
        self.supervisor = firmware.supervisor.Supervisor(driver, firmware.config)
        """The application."""
        self._keep = firmware.failure.keep
        self._clock = clock
        self._driver = driver
        self._random = random.Random(seed)
        self._states = states
        self._noted = (-1, -1)  # the last state and reason in `states`
        self._waiting = False
        self._dead = False
        self._resumes_s = 0.0
        self._fails = False
        self.process = clock.env.process(self._run())
        """The program's process. Its value: True to restart the board, False to leave it off, None if ended from outside."""

    def wake(self, level: int = 0) -> None:
        """An input has changed."""
        if self._waiting:
            self._waiting = False
            self.process.interrupt()

    def die(self) -> None:
        """End the program for good: the board was reset or has lost its power."""
        self._dead = True
        self.wake()

    def hang(self, length_s: float) -> None:
        """Stop the interpreter for `length_s` (math.inf: for ever). The rest of the board continues."""
        self._resumes_s = self._clock.env.now + length_s

    def fail(self) -> None:
        """Make the next step raise."""
        self._fails = True

    def _run(self) -> Generator[simpy.Event, None, bool | None]:
        maintain, failed = 0, None
        try:
            yield from self._loop()
            if self._dead:
                return None
            maintain = self.supervisor.maintain
        except PowerLost:
            return False
        except StepFailed as error:
            failed = error
        self._driver.off()
        if failed is not None:
            self._keep(self._driver, failed)
        self._driver.restart(maintain)
        return not maintain

    def _loop(self) -> Generator[simpy.Event, None, None]:
        """main.py's loop, until the application requests a restart or the program is ended."""
        clock, driver, supervisor = self._clock, self._driver, self.supervisor
        env, step, chance = clock.env, supervisor.step, self._random.random
        while not supervisor.maintain:
            if env.now < self._resumes_s:
                yield from self._hung()
            if self._dead:
                return
            now_ms = driver.now_ms()
            if self._fails:
                raise StepFailed("of the simulator")
            wake_ms = step(now_ms)
            self._note_state()
            if stall_s := driver.take_stall():
                yield env.timeout(stall_s)
            driver.wait_until(wake_ms)
            self._waiting = True
            try:
                yield clock.timeout(((wake_ms - now_ms) & MASK) * 1e-3)
                self._waiting = False
            except simpy.Interrupt:
                pass
            yield env.timeout(chance() * LATEST_S)
            if self._dead:
                return

    def _hung(self) -> Generator[simpy.Event, None, None]:
        env = self._clock.env
        while env.now < self._resumes_s and not self._dead:
            if self._resumes_s == math.inf:
                yield env.event()  # until a reset of the board ends this process
            yield env.timeout(self._resumes_s - env.now)

    def _note_state(self) -> None:
        """Note a change of state."""
        supervisor = self.supervisor
        now = (supervisor.state, supervisor.reason)
        if now == self._noted:
            return
        self._noted = now
        state, reason = STATE_NAMES[now[0]], REASON_NAMES[now[1]]
        if not self._states or (self._states[-1].state, self._states[-1].reason) != (state, reason):
            self._states.append(StateChange(self._clock.env.now, state, reason))
