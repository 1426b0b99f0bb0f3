"""What can happen to the board itself: its interpreter, its clock, its supply and its watchdog."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Literal, Protocol, cast

import simpy

from sim.bench.flash import Flash
from sim.bench.gate import GateUnit
from sim.bench.pin import Pin
from sim.bench.recording import StateChange

BOOT_S = 0.25  # from a reset to the first step; from memory
SOFT_S = 0.05  # from a soft reset to boot.py, which puts the pins off; from memory
GOODBYE_S = 0.1  # main.py's own restart lets the last answer leave

Happening = Literal["hang", "exception", "soft reset", "watchdog", "brown-out", "leap", "damage"]


@dataclass(frozen=True)
class BoardFault:
    """Something that happens to the board at `at_s`.

    "hang": the interpreter stands still for `length_s` (math.inf: for ever), and the firing hardware goes on by itself.
    "exception": the next step raises, and main.py ends as it must. "soft reset": the interpreter starts again, the pin
    stays as it was until boot.py. "watchdog": it bites. "brown-out": no supply for `length_s`. "leap": the board's clock is
    moved on by `length_s`, as if nothing had happened for so long. "damage": every stored file loses its end.
    """

    kind: Happening
    at_s: float
    length_s: float = 0.0


class ClockedEnvironment:
    """An environment as the board's own clock counts it: `rate` of its seconds in one true second."""

    def __init__(self, env: simpy.Environment, rate: float) -> None:
        self._env = env
        self._rate = rate
        self.process = env.process

    def timeout(self, delay_s: float) -> simpy.Timeout:
        """An event after so many of the board's seconds."""
        return self._env.timeout(delay_s / self._rate)


def clocked(env: simpy.Environment, rate: float) -> simpy.Environment:
    """`env` by the board's own clock, for parts that ask it for processes and timeouts only."""
    return cast(simpy.Environment, ClockedEnvironment(env, rate))


class Program(Protocol):
    """A start of the firmware, as far as a fault can touch it."""

    def wake(self, level: int = 0) -> None: ...
    def die(self) -> None: ...
    def hang(self, length_s: float) -> None: ...
    def fail(self) -> None: ...


class Clocked(Protocol):
    """The driver, as far as a reset or a fault touches it."""

    def restarted(self, rested_ms: int) -> None: ...
    def leap(self, ms: int) -> None: ...


class TimerBoard:
    """Starts the program, lets faults happen to it, and starts it again after a reset.

    `start(number)` makes the program of start `number`. The watchdog runs from the first `fed`, and bites `watchdog_s`
    after the last.
    """

    def __init__(
        self,
        env: simpy.Environment,
        start: Callable[[int], Program],
        gate: GateUnit,
        driver: Clocked,
        bitten: Pin,
        flash: Flash,
        states: list[StateChange],
        watchdog_s: float,
        rested_after_reset_ms: int,
        faults: tuple[BoardFault, ...],
    ) -> None:
        self._env = env
        self._start = start
        self._gate = gate
        self._driver = driver
        self._bitten = bitten
        self._flash = flash
        self._states = states
        self._watchdog_s = watchdog_s
        self._rested_ms = rested_after_reset_ms
        self._resets = 0
        self._fed_s: float | None = None
        self.starts: list[float] = []
        self._program = start(0)
        for fault in sorted(faults, key=lambda f: f.at_s):
            env.process(self._strike(fault))

    def wake(self, level: int = 0) -> None:
        """An input has changed."""
        self._program.wake()

    def fed(self) -> None:
        """The watchdog was fed."""
        begins = self._fed_s is None
        self._fed_s = self._env.now
        if begins:
            self._env.process(self._watch(self._resets))

    def ended(self, again: bool) -> None:
        """The program has ended by itself: it has restarted the board, or nothing runs any more."""
        if again:
            self._reset(GOODBYE_S, bitten=False)
        else:
            self._resets += 1
            self._fed_s = None

    def _watch(self, resets: int) -> Generator[simpy.Event, None, None]:
        while self._resets == resets and self._fed_s is not None:
            left_s = self._fed_s + self._watchdog_s - self._env.now
            if left_s <= 1e-9:
                self._reset(0, bitten=True)
                return
            yield self._env.timeout(left_s)

    def _strike(self, fault: BoardFault) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(fault.at_s)
        if fault.kind == "hang":
            self._program.hang(fault.length_s)
        elif fault.kind == "exception":
            self._program.fail()
        elif fault.kind == "soft reset":
            self._gate.freeze()
            self._reset(SOFT_S, bitten=False, hard=False)
        elif fault.kind == "watchdog":
            self._reset(0, bitten=True)
        elif fault.kind == "brown-out":
            self._reset(fault.length_s, bitten=False)
        elif fault.kind == "leap":
            self._driver.leap(round(fault.length_s * 1000))
        elif fault.kind == "damage":
            self._flash.files.update({name: data[:-1] for name, data in self._flash.files.items()})

    def _reset(self, dark_s: float, *, bitten: bool, hard: bool = True) -> None:
        """End the program at once, and start it again `dark_s` and a boot later."""
        self._program.die()
        self._resets += 1
        self._fed_s = None
        if hard:
            self._gate.off()
        self._states.append(StateChange(self._env.now, "starting", "none"))
        self._env.process(self._restart(self._resets, dark_s, bitten))

    def _restart(self, resets: int, dark_s: float, bitten: bool) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(dark_s)
        if self._resets != resets:
            return
        self._gate.off()  # boot.py
        yield self._env.timeout(BOOT_S)
        if self._resets != resets:
            return
        self._bitten.level = int(bitten)
        self._driver.restarted(self._rested_ms)
        self.starts.append(self._env.now)
        self._program = self._start(resets)
