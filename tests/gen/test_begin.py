"""The questions about a machine of one's own, asked by a script; what `weldbeat new` does with them is in cli/test_begin.

No source outside: the rules of each answer are those of its key in the welder file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any, TypeVar

import pytest

from gen.ask import NotTaken
from gen.begin import FITTED, QUESTIONS, TYPICAL, asked, asked_fitted, machine_files
from gen.machine.welder import WELDER_FILE

T = TypeVar("T")


class Script:
    """Gives answers in their order; an empty one stands for the typical value. Notes questions and what was not taken."""

    def __init__(self, *answers: str) -> None:
        self._answers = list(answers)
        self.questions: list[str] = []
        self.not_taken: list[str] = []

    def yes(self, question: str) -> bool:
        raise AssertionError(question)

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        self.questions.append(question)
        while True:
            text = self._answers.pop(0)
            try:
                return read(text or typical)
            except NotTaken as error:
                self.not_taken.append(str(error))


def test_only_what_is_not_given_is_asked_and_the_typical_stays_marked() -> None:
    """Two given, one answered, the rest left: three values without the mark."""
    given = {"voltage_V": 400.0, "frequency_Hz": 60}
    script = Script("4", *[""] * (len(QUESTIONS) - 3))
    answers = asked(script, given)
    assert answers == {"rating_kVA": 4}
    assert script.questions == [question.text for question in QUESTIONS if question.answer not in given]
    text = machine_files(given | answers)[WELDER_FILE]
    for line in text.splitlines():
        key = line.partition(" = ")[0]
        if key in TYPICAL:
            assert line.endswith("# typical") == (key not in ("voltage_V", "frequency_Hz", "rating_kVA")), line
    assert tomllib.loads(text)["transformer"]["rating_kVA"] == 4


def test_an_answer_that_will_not_do_is_asked_for_again() -> None:
    """With what was given and what is allowed, as a message about the file would say."""
    script = Script("lots", "-3", "4")
    given = {question.answer: TYPICAL[question.answer] for question in QUESTIONS if question.answer != "rating_kVA"}
    assert asked(script, given) == {"rating_kVA": 4}
    assert [text.partition(" given; allowed: ")[0] for text in script.not_taken] == ['"lots"', "-3"]


@pytest.mark.parametrize(("typed", "fitted"), [("", ()), ("none", ()), (" , ".join(FITTED), FITTED)])
def test_protections_are_named_or_none(typed: str, fitted: tuple[str, ...]) -> None:
    """Each one named is there in the file, and no other."""
    script = Script("gas lamp", typed)
    assert asked_fitted(script) == fitted
    assert script.not_taken == [f'"gas lamp" given; allowed: none, or of {", ".join(FITTED)}']
    protection = tomllib.loads(machine_files({}, fitted)[WELDER_FILE])["protection"]
    assert {key for key, value in protection.items() if value is True} == set(fitted)
