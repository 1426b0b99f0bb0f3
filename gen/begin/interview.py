"""The interview about the user's own machine: the next question, going back, and a summary to change answers in."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from gen.ask import Inquirer, Inquiry, NumberedChoice, Unsure
from gen.begin import questions as q
from gen.boards import boards

Answers = Mapping[str, Any]  # by the question's key; Unsure.UNKNOWN for an answer not known
WRITE = "write"


def known(answers: Answers, inquiry: Inquiry) -> Any:
    """The answer to a question; None if it was not asked yet or is not known."""
    value = answers.get(inquiry.key)
    return None if value is Unsure.UNKNOWN else value


def standard_of(answers: Answers) -> str | None:
    """The standard of the breaker; None if it is not known."""
    breaker = known(answers, q.BREAKER_MARKING) or known(answers, q.BREAKER)
    named = {"IEC": "IEC 60898-1", "UL": "UL 489"}
    return breaker["standard"] if isinstance(breaker, dict) else named.get(breaker)


def course(answers: Answers) -> Iterator[Inquiry]:
    """The questions to ask after these answers, in order."""
    yield q.SUPPLY
    if known(answers, q.SUPPLY) == q.OTHER:
        yield from (q.VOLTAGE, q.FREQUENCY, q.TO_EARTH)
    yield q.BREAKER
    if known(answers, q.BREAKER) in ("IEC", "UL"):
        yield q.BREAKER_MARKING
    if standard_of(answers) == "UL 489":
        yield q.BREAKER_BAND
    yield q.PLATE
    if known(answers, q.PLATE):
        yield from (q.RATING, q.DUTY)
    elif known(answers, q.PLATE) is False:
        yield from (q.CORE, q.WIRE, q.TURNS)
    yield q.MASS
    taps: tuple[NumberedChoice, ...] = ()
    yield q.TAPPED
    if known(answers, q.TAPPED):
        yield q.TAP_VOLTS
        volts = known(answers, q.TAP_VOLTS) or ()
        taps = tuple(NumberedChoice(str(n), f"tap {n}, {volt:g} V") for n, volt in enumerate(volts, 1))
    else:
        yield q.OPEN_VOLTS
    if taps:
        yield replace(q.TAP, choices=taps)
    for reading, tap in ((q.WORKING, q.WORKING_TAP), (q.SHORTED, q.SHORTED_TAP)):
        yield reading
        if taps and known(answers, reading) is not None:
            yield replace(tap, choices=taps)
    yield q.ARM_LENGTH
    if known(answers, q.ARM_LENGTH) is not None:
        yield from (q.THROAT, q.ARM_DIAMETER, q.STEEL)
    yield from _electrodes(answers)
    yield q.SWITCH
    if known(answers, q.SWITCH) is not None:
        yield q.SWITCH_CURRENT
    yield q.DETECTOR
    if known(answers, q.DETECTOR) in ("own square", "own pulse"):
        yield q.OFFSET_RISE
    if known(answers, q.DETECTOR) == "own square":
        yield q.OFFSET_FALL
    yield q.FORCE
    if known(answers, q.FORCE) == "air":
        yield q.FORCE_SWITCH
    yield from (q.GATE_DRIVE, q.FITTED)
    if "residual_current_device" in (known(answers, q.FITTED) or ()):
        yield q.RESIDUAL
    yield replace(
        q.BOARD, choices=tuple(NumberedChoice(name, board.title) for name, board in boards().items() if board.welds)
    )
    if known(answers, q.BOARD) is not None or q.CURRENT.key in answers:
        yield q.CURRENT


def _electrodes(answers: Answers) -> Iterator[Inquiry]:
    yield q.DIAMETER
    if known(answers, q.DIAMETER) is None:
        return
    yield from (q.LENGTH, q.SHAPE)
    yield from _face(answers, q.SHAPE, q.FACE, q.GROOVE)
    yield from (q.ALLOY, q.ALIKE)
    if known(answers, q.ALIKE) is False:
        diameter, length, shape, face, groove, alloy = q.LOWER
        yield from (diameter, length, shape)
        yield from _face(answers, shape, face, groove)
        yield alloy


def _face(answers: Answers, shape: Inquiry, face: Inquiry, groove: Inquiry) -> Iterator[Inquiry]:
    if known(answers, shape) is not None:
        yield face if known(answers, shape) == "flat" else groove


# Answers that imply another: (questions, implied question, its answer).
_IMPLIED: tuple[tuple[tuple[Inquiry, ...], Inquiry, Any], ...] = (
    ((q.VOLTAGE, q.FREQUENCY, q.TO_EARTH), q.SUPPLY, q.OTHER),
    ((q.RATING, q.DUTY), q.PLATE, True),
    ((q.CORE, q.WIRE, q.TURNS), q.PLATE, False),
    ((q.TAP_VOLTS,), q.TAPPED, True),
    ((q.OPEN_VOLTS,), q.TAPPED, False),
    ((q.FACE,), q.SHAPE, "flat"),
    ((q.GROOVE,), q.SHAPE, "groove"),
    ((q.LOWER[3],), q.LOWER[2], "flat"),
    ((q.LOWER[4],), q.LOWER[2], "groove"),
    (q.LOWER, q.ALIKE, False),
    ((q.OFFSET_RISE, q.OFFSET_FALL), q.DETECTOR, "own square"),
)


def implied(given: Answers) -> dict[str, Any]:
    """The given answers, with those that they imply: a rating implies a plate."""
    found = dict(given)
    for causes, effect, value in _IMPLIED:
        if any(cause.key in found for cause in causes):
            found.setdefault(effect.key, value)
    return found


def without_asking(given: Answers) -> dict[str, Any]:
    """The given answers, and all others not known, for the questions that apply."""
    answers = implied(given)
    while (inquiry := _next(answers)) is not None:
        answers[inquiry.key] = Unsure.UNKNOWN
    return _applicable(answers)


def _applicable(answers: Answers) -> dict[str, Any]:
    """The answers to the questions that apply, in the order of the questions."""
    return {inquiry.key: answers[inquiry.key] for inquiry in course(answers)}


def _next(answers: Answers) -> Inquiry | None:
    return next((inquiry for inquiry in course(answers) if inquiry.key not in answers), None)


def interview(ask: Inquirer, given: Answers, wrong: Callable[[Answers], str]) -> dict[str, Any]:
    """Ask for the answers not given, until the user chooses to write the files. Errors of `ask` pass through.

    `wrong` returns what is wrong with the answers so far, or "". Going back removes the last answer. In the summary an
    answer is changed by its number.
    """
    answers, asked = implied(given), list[str]()
    changing: tuple[str, Any] | None = None
    while True:
        inquiry = _next(answers) or _summary(answers)
        reply = ask.put(inquiry)
        if reply is Unsure.BACK:
            if changing is not None:
                answers[changing[0]] = changing[1]
                changing = None
            elif asked:
                del answers[asked.pop()]
            else:
                ask.tell("This is the first question.")
        elif inquiry.key == q.WRITE.key:
            if reply == WRITE:
                return _applicable(answers)
            changing = (reply, answers.pop(reply))
        else:
            answers[inquiry.key] = reply
            if said := wrong(answers):
                ask.tell(said)
                del answers[inquiry.key]
                continue
            changing = None
            asked = [key for key in asked if key != inquiry.key] + [inquiry.key]


def _summary(answers: Answers) -> Inquiry:
    """The answers, each with a number by which to change it."""
    lines = tuple(
        NumberedChoice(inquiry.key, f"{inquiry.label}: {answer_text(inquiry, answers[inquiry.key])}")
        for inquiry in course(answers)
    )
    return replace(q.WRITE, choices=(NumberedChoice(WRITE, "write the two files"), *lines))


def answer_text(inquiry: Inquiry, value: Any) -> str:
    """An answer in a few words."""
    if value is Unsure.UNKNOWN:
        return f"not known ({inquiry.meanwhile})"
    if isinstance(value, dict):
        letter = value["characteristic"] or ""
        return f"{letter}{value['rating_A']:g} A, {value['standard']}"
    if inquiry.many:
        return ", ".join(str(each).replace("_", " ") for each in value) or "none"
    if isinstance(value, tuple):
        return " ".join(f"{each:.4g}" for each in value)
    same = (choice.text for choice in inquiry.choices if (choice.value, type(choice.value)) == (value, type(value)))
    return next(same, "") or (f"{value:.4g}" if isinstance(value, (int, float)) else str(value))
