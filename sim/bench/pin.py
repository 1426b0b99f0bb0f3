"""A wire with a level, that processes can wait on."""

from __future__ import annotations

from collections.abc import Callable

import simpy


class Pin:
    """A level of 0 or 1. `changed` is the event of its next change; `watchers` are called at each."""

    def __init__(self, env: simpy.Environment, level: int = 0) -> None:
        self._env = env
        self.level = level
        self.changed = env.event()
        self.watchers: list[Callable[[int], None]] = []

    def set(self, level: int) -> None:
        """Drive the wire; nothing happens when it already stands so."""
        if level == self.level:
            return
        self.level = level
        changed, self.changed = self.changed, self._env.event()
        changed.succeed(level)
        for watcher in self.watchers:
            watcher(level)
