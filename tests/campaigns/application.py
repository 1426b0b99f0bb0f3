"""The emitted application under whatever may happen, at length: `python -m tests.campaigns.application [examples] [seed]`.

Two thousand examples of sixty steps unless told otherwise, other ones for each seed. Prints how many welds there were, and
how often each state and lockout was come to; exit 1 with the shortest way to it where something did not hold.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import Any, ClassVar

import hypothesis
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.support.app.application_machine import Application

STEPS = 60


class Counted(Application):
    """The same, with a tally of all examples."""

    tally: ClassVar[Counter[str]] = Counter()

    def teardown(self) -> None:
        board = self.board
        self.tally["examples"] += 1
        self.tally["welds begun"] += len(board.welded)
        self.tally["welds completed"] += board.completed
        self.tally["starts of the board"] += 1 + board.restarts
        self.tally["minutes on the board"] += board.time_ms // 60_000
        self.tally.update(board.passed)


def main(examples: int = 2000, seed: int = 0) -> int:
    began = time.monotonic()
    given = settings(
        max_examples=examples,
        stateful_step_count=STEPS,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    machine: Any = hypothesis.seed(seed)(Counted)
    try:
        run_state_machine_as_test(machine, settings=given)
        wrong = 0
    except AssertionError as error:
        print(error, *getattr(error, "__notes__", ()), sep="\n")
        wrong = 1
    for name, number in sorted(Counted.tally.items()):
        print(f"{number:>8} {name}")
    print(f"{wrong} wrong, {time.monotonic() - began:.0f} s")
    return wrong


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
