"""Random words in the place of all that is only there to be read: units, sources, advice, titles, reasons."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest

from gen.commissioning.values import Contact, Judged, Stage, Step
from gen.errors import InputError
from gen.handbook.suggestion import Suggestion
from gen.machine.breaker import Judgement
from gen.ranges import Figure
from sim.faults.runs import Outcome
from sim.verdict import Finding

READ_ONLY: dict[type[Any], tuple[str, ...]] = {
    Figure: ("unit", "source"),
    Finding: ("says", "unit", "conditions", "source", "advice"),
    Judgement: ("unit", "source"),
    Suggestion: ("why_not", "helps", "assumptions", "cautions", "against", "practice"),
    Stage: ("title", "state"),
    Step: ("title", "stage", "do", "read", "mend", "lacking"),
    Contact: ("act", "undo", "wrong_at_rest", "never"),
    Judged: ("why",),
    Outcome: ("did", "ended_by"),
    InputError: ("allowed",),
}


@contextmanager
def reworded(seed: int) -> Iterator[None]:
    """Inside, each value of READ_ONLY that is made has random words in these fields; "" stays "", and a count stays a count."""
    chance = random.Random(seed)
    with pytest.MonkeyPatch.context() as patch:
        for kind, names in READ_ONLY.items():
            patch.setattr(kind, "__init__", _scrambling(kind.__init__, names, chance))
        yield


def _scrambling(init: Any, names: tuple[str, ...], chance: random.Random) -> Any:
    def made(self: Any, *args: Any, **kwargs: Any) -> None:
        init(self, *args, **kwargs)
        for name in names:
            object.__setattr__(self, name, _other(getattr(self, name), chance))

    return made


def _other(value: Any, chance: random.Random) -> Any:
    if isinstance(value, Stage):
        return replace(value)  # made before, so made again
    if isinstance(value, tuple):
        return tuple(_other(part, chance) for part in value)
    return f"x{chance.getrandbits(64):x}" if value else value
