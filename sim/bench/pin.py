"""A wire with a level, and all the wires of the bench."""

from __future__ import annotations

from collections.abc import Callable

import simpy


class Pin:
    """A wire at level 0 or 1, driven by one part and read by others."""

    def __init__(self, env: simpy.Environment, level: int = 0) -> None:
        self._env = env
        self._changed: simpy.Event | None = None
        self.level = level
        self.watchers: list[Callable[[int], None]] = []
        """Functions called with the new level at each change, in this order."""

    @property
    def changed(self) -> simpy.Event:
        """The event of the next change, for a waiting process."""
        if self._changed is None:
            self._changed = self._env.event()
        return self._changed

    def set(self, level: int) -> None:
        """Drive the wire. Setting its present level has no effect."""
        if level == self.level:
            return
        self.level = level
        if self._changed is not None:
            changed, self._changed = self._changed, None
            changed.succeed(level)
        for watcher in self.watchers:
            watcher(level)

    def toggle(self) -> None:
        """Invert the level."""
        self.set(1 - self.level)


class Wires:
    """The wires between the parts of the bench. Their first levels are those at rest: nothing pressed, cold, no current."""

    def __init__(self, env: simpy.Environment) -> None:
        self.detector = Pin(env)
        """The zero-crossing detector's output, to the board."""
        self.pedal = Pin(env)
        """1: the contact is closed."""
        self.stop = Pin(env)
        """1: the stop circuit is open."""
        self.hot = Pin(env)
        """1: the over-temperature contact is open."""
        self.force = Pin(env, 1)
        """1: the force switch is closed, or none is fitted."""
        self.bitten = Pin(env)
        """1: the board's last reset was by its watchdog. Inside the board."""
        self.memory_bad = Pin(env)
        """1: this start found the memory of the half-cycles damaged. Inside the board."""
        self.watchdog = Pin(env)
        """Each change feeds the watchdog. Inside the board."""
        self.train = Pin(env)
        """The pulse train to the contactor's supervisor: each change is an edge."""
        self.gate = Pin(env)
        """The board's gate pin, to the gate drive."""
        self.fired = Pin(env)
        """The gate drive's output, to the gate of the switch."""
        self.carrying = Pin(env)
        """1: the switch conducts."""
        self.conduction = Pin(env)
        """The output of the sense across the switch, to the board. 1: conducting."""


class PinTrace:
    """Follows a pin."""

    def __init__(self, env: simpy.Environment, pin: Pin) -> None:
        self._env = env
        self.changes: list[tuple[float, int]] = []
        """(seconds, level) of each change."""
        pin.watchers.append(self._note)

    def _note(self, level: int) -> None:
        self.changes.append((self._env.now, level))
