"""A scripted person behind `Guide`, and the walk that it makes without a board."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from gen.ask import NotTaken
from gen.boards import boards
from gen.commissioning import Judged, Shot, Step, Walked, walking
from gen.machine.welder import Welder

T = TypeVar("T")
PICO = boards()["pico"]


# No step may be passed over that anybody can read with a cheap meter.
GOOD = {
    "earth": ["0.1"],
    **{f"insulation{pair}": ["20"] for pair in ("", "-welding", "-secondary")},
    "open-contacts": ["20"],
    "bond": ["0.1"],
    "supply-leads": ["0.1"],
    "usb-isolator": ["20"],
    "pull-downs": ["6500"],
    "pull-ups": ["6500"],
    "detector-diode": ["0.6"],
    "phase": ["230"],
    "board-supply": ["5"],
    "coil-supply": ["24"],
    **{name: ["0"] for name in ("stop-cuts", "heat-cuts", "train-stops", "coil-switches", "gate-stands", "discharge")},
}


class Scripted:
    """Answers by the key of the step, in order, "none" where nothing is written for it; notes what it was shown."""

    def __init__(self, **answers: list[str]) -> None:
        self._answers = {name: list(given) for name, given in (GOOD | answers).items()}
        self._step = ""
        self.shown: list[str] = []
        self.stages: list[str] = []
        self.refused: list[str] = []
        self.says_yes = True

    def yes(self, question: str) -> bool:
        self.shown.append(question)
        return self.says_yes

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        self.shown.append(question)
        waiting = self._answers.setdefault(self._step, ["none"])
        while waiting:
            try:
                return read(waiting.pop(0))
            except NotTaken as error:
                self.refused.append(str(error))
        raise AssertionError(f"{self._step}: {self.refused}")

    def begin(self, place: int, count: int, step: Step, enters: bool) -> bool:
        self._step = step.key
        if enters:
            self.stages.append(step.stage.key)
            self.shown.append(f"stage {step.stage.title}")
        self.shown.append(f"{place}/{count} {step.key}")
        return self.says_yes or not enters

    def say(self, text: str) -> None:
        self.shown.append(text)

    def lets_by(self, shot: Shot) -> bool:
        raise AssertionError("no shot is made without a board")

    def came_of(self, judged: Judged) -> None:
        self.shown.append(judged.outcome)


def walked(welder: Welder, kept: Path, guide: Scripted, anew: bool = False) -> Walked:
    with walking(welder, PICO, kept, guide, anew=anew) as walk:
        return walk.go()
