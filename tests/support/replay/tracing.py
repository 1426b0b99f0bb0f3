"""Watches the application's state as it runs: which transitions a run makes, and why."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

from gen import words
from sim.bench.host import Host

# (state before a step, state after it, why): the reason of a lockout, the ending of a weld, or "".
Transition = tuple[str, str, str]


@contextmanager
def traced() -> Iterator[list[Transition]]:
    """Every transition of the runs simulated inside, in order."""
    seen: list[Transition] = []

    class TracedHost(Host):
        def __init__(self, *arguments: Any) -> None:
            super().__init__(*arguments)
            supervisor, step = self.supervisor, self.supervisor.step

            def told() -> tuple[int, int]:
                return supervisor.state, supervisor.reason

            def traced_step(now_ms: int) -> int:
                before, reason = told()
                wake_ms: int = step(now_ms)
                if told() != (before, reason):
                    seen.append(_transition(supervisor, before, reason))
                return wake_ms

            supervisor.step = traced_step

    with patch("sim.bench.board.Host", TracedHost):
        yield seen


def _transition(supervisor: Any, before: int, reason: int) -> Transition:
    why = ""
    if supervisor.state == words.LOCKED_OUT:
        why = words.REASON_NAMES[supervisor.reason]
    elif before == words.LOCKED_OUT:
        why = words.REASON_NAMES[reason]
    elif supervisor.state == words.OFF:
        why = words.ENDING_NAMES[supervisor.ending]
    return words.STATE_NAMES[before], words.STATE_NAMES[supervisor.state], why
