"""The board's main loop: steps the emitted application in-process, as main.py does on the board."""

from __future__ import annotations

import math
import random
from collections.abc import Generator

import simpy

from gen.words import REASON_NAMES, STATE_NAMES
from sim.bench.clock import MASK, Clock
from sim.bench.driver import HostDriver
from sim.bench.firmware import Firmware
from sim.bench.flash import PowerLost
from sim.bench.recording import StateChange

LATEST_S = 0.020  # a step comes up to this much late


class StepFailed(Exception):
    """A fault of the interpreter: the step under way raises."""


class Host:
    """One start of the program: step, wait until the wake time or an input's change, come late, and step again."""

    def __init__(
        self, clock: Clock, firmware: Firmware, driver: HostDriver, states: list[StateChange], seed: int
    ) -> None:
        self.supervisor = firmware.supervisor.Supervisor(driver, firmware.config)
        """The application."""
        self._clock = clock
        self._driver = driver
        self._random = random.Random(seed)
        self._states = states
        self._told = (-1, -1)  # state and reason that `states` knows of
        self._waiting = False
        self._dead = False
        self._resumes_s = 0.0
        self._fails = False
        self.process = clock.env.process(self._run())
        """Ends with True where the program restarts the board, False where it leaves it still, None where it was ended."""

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
        self._resumes_s = self._clock.env.now + length_s

    def fail(self) -> None:
        """The next step raises."""
        self._fails = True

    def _run(self) -> Generator[simpy.Event, None, bool | None]:
        maintain = 0
        try:
            yield from self._loop()
            if self._dead:
                return None
            maintain = self.supervisor.maintain
        except PowerLost:
            return False
        except StepFailed:
            pass
        self._driver.off()
        self._driver.restart(maintain)
        return not maintain

    def _loop(self) -> Generator[simpy.Event, None, None]:
        """main.py's loop, until the application asks for a restart or the program is ended."""
        clock, driver, supervisor = self._clock, self._driver, self.supervisor
        env, step, chance = clock.env, supervisor.step, self._random.random
        while not supervisor.maintain:
            if env.now < self._resumes_s:
                yield from self._hung()
            if self._dead:
                return
            now_ms = driver.now_ms()
            if self._fails:
                raise StepFailed
            wake_ms = step(now_ms)
            self._tell()
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
                yield env.event()  # until the board is reset, and this with it
            yield env.timeout(self._resumes_s - env.now)

    def _tell(self) -> None:
        """Note a change of state."""
        supervisor = self.supervisor
        told = (supervisor.state, supervisor.reason)
        if told == self._told:
            return
        self._told = told
        state, reason = STATE_NAMES[told[0]], REASON_NAMES[told[1]]
        if not self._states or (self._states[-1].state, self._states[-1].reason) != (state, reason):
            self._states.append(StateChange(self._clock.env.now, state, reason))
