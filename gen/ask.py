"""Questions to a user and the reading of answers, for every front end: a terminal, a page, a test."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Annotated, Any, Protocol, TypeVar

from pydantic import ConfigDict, TypeAdapter

from gen.quantities import NoQuantity, measure, unit_of
from gen.units import typed_number, typed_whole
from gen.user_files import FileModel, Written, allowed, choices_of, is_flag, written

T = TypeVar("T")
_LEAST_S, _MOST_S = 0.01, 60.0  # limits of a weld time
_LONGEST_PATH = 1000  # bytes; systems allow 260 to 4096
# Control characters, and the surrogates of bytes that are not UTF-8 (Unicode, chapter 4.5).
_UNWRITABLE = ("Cc", "Cs")


class NotTaken(ValueError):
    """An answer or option that is not accepted: the text given, and what is allowed."""

    def __init__(self, given: str, allowed: str) -> None:
        super().__init__(f"{given} given; allowed: {allowed}")
        self.allowed = allowed


class Stopped(Exception):
    """The user ended the questions. What was done before stays."""


class Ask(Protocol):
    """The questions of a front end to its user. Each call returns an answer, or raises `Stopped`."""

    def yes(self, question: str) -> bool:
        """Whether the user says yes."""

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        """The answer as read by `read`. If it raises `NotTaken` its message is shown and the question asked again.

        `typical`: the answer for an empty reply; None: an empty reply is not accepted.
        """


class Unsure(Enum):
    """Replies to an `Inquiry` that are no value."""

    UNKNOWN = "do not know"
    BACK = "back"


@dataclass(frozen=True)
class NumberedChoice:
    """One choice: its value, and its meaning in a few words."""

    value: Any
    text: str

    @property
    def name(self) -> str:
        """The text that may be typed instead of its number."""
        return self.text if isinstance(self.value, bool) else str(self.value)


@dataclass(frozen=True)
class Inquiry:
    """One question."""

    key: str
    """Names the answer."""
    label: str
    """Names the answer in a summary."""
    text: str
    """The question."""
    purpose: str
    """The use of the answer."""
    where: str
    """Where to find the answer."""
    meanwhile: str
    """The value assumed if the answer is not known; "" if an answer is required."""
    choices: tuple[NumberedChoice, ...] = ()
    read: Callable[[Any], Any] | None = None
    """Reads an answer that is no choice; None: only choices."""
    many: bool = False
    """Whether several choices may be picked."""


class Inquirer(Protocol):
    """Puts the questions of an interview to the user, one after another."""

    def put(self, inquiry: Inquiry) -> Any:
        """The reply as read by `reply_of`, a value or one of `Unsure`. If it raises `NotTaken` the question is asked again."""

    def tell(self, text: str) -> None:
        """Show a text."""


_NOT_KNOWN = {"", "?", "unknown", "do_not_know", "don't_know", "dont_know", "not_known"}
_BACK = {"b", "back"}


def reply_of(inquiry: Inquiry, text: str, *, by_number: bool = True) -> Any:
    """The meaning of a reply: a choice by its number or name, or a value. An empty reply is not known. Raises NotTaken.

    The number after the last choice means not known. Without `by_number`, where no list is shown, numbers mean nothing.
    """
    said = plain(text)
    if said in _BACK:
        return Unsure.BACK
    known = _named(inquiry, by_number)
    if inquiry.meanwhile and (said in _NOT_KNOWN or (by_number and said == str(len(inquiry.choices) + 1) and known)):
        return Unsure.UNKNOWN
    if inquiry.many:
        return _several(inquiry, text, by_number)
    if said.replace("_", "") in known:
        return known[said.replace("_", "")]
    if inquiry.read is not None:
        return inquiry.read(text)
    raise NotTaken(written(text), _pickable(inquiry, by_number))


def _named(inquiry: Inquiry, by_number: bool) -> dict[str, Any]:
    """The value of each choice, by all texts that may be typed for it."""
    known = {plain(choice.name).replace("_", ""): choice.value for choice in inquiry.choices}
    known |= {choice.name[0]: choice.value for choice in inquiry.choices if isinstance(choice.value, bool)}
    return known | ({str(n): choice.value for n, choice in enumerate(inquiry.choices, 1)} if by_number else {})


def _several(inquiry: Inquiry, text: str, by_number: bool) -> tuple[Any, ...]:
    """The choices named, separated by commas, or numbers by spaces; empty for `none` or 0."""
    if plain(text) in ("none", "0"):
        return ()
    known = _named(inquiry, by_number)
    names = text.split(",") if "," in text else text.split() if text.replace(" ", "").isdigit() else [text]
    found = []
    for name in names:
        if plain(name).replace("_", "") not in known:
            raise NotTaken(written(name.strip()), f"none, or of {_pickable(inquiry, by_number)}")
        found.append(known[plain(name).replace("_", "")])
    return tuple(dict.fromkeys(found))


def _pickable(inquiry: Inquiry, by_number: bool) -> str:
    names = ", ".join(choice.name for choice in inquiry.choices)
    return f"a number from 1 to {len(inquiry.choices)}, or {names}" if by_number else names


def number(least: float, most: float, words: Mapping[str, float] | None = None) -> Callable[[str], float]:
    """Reads a number from `least` to `most`, a whole one if both are, or one of `words` as its number.

    A number, such as the typical answer, is read as if it were typed.
    """
    whole = isinstance(least, int) and isinstance(most, int)
    words = words or {}

    def read(given: str | float) -> float:
        text = str(given)
        if text in words:
            return words[text]
        try:
            value: float = typed_whole(text) if whole else typed_number(text)
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            what = f"{'a whole number' if whole else 'a number'} from {least:g} to {most:.15g}"
            raise _not_taken(text, ", or ".join((what, *words)))
        return value

    return read


def expected_times(text: str) -> tuple[float, float]:
    """Reads the two times, in s, between which a weld time is expected."""
    try:
        low, high = (typed_number(part) for part in text.split(","))
    except ValueError:
        low = high = 0.0
    if not _LEAST_S <= low < high <= _MOST_S:
        allowed = f"two times in s from {_LEAST_S:g} to {_MOST_S:g}, the smaller first, such as 0.5,2"
        raise NotTaken(str(written(text)), allowed)
    return low, high


def value_of(model: type[FileModel], key: str) -> Callable[[Any], Any]:
    """Reads a typed value for a key of a user's file, by the rules of that key.

    A measure may have a unit or a fraction, a name may have spaces for underscores, and yes means true.
    """
    field = model.model_fields[key]
    adapter: TypeAdapter[Any] = TypeAdapter(
        Annotated[field.annotation, field],  # type: ignore[arg-type]
        config=ConfigDict(allow_inf_nan=False),
    )
    unit, names, flag = unit_of(key), choices_of(field), is_flag(field)

    def read(text: Any) -> Any:
        value: Any = text
        hint = ""
        if isinstance(text, str):
            with suppress(ValueError):
                value = typed_number(text)
        if isinstance(value, str):
            if names:
                value = next((name for name in names if plain(name) == plain(value)), value)
            elif flag:
                value = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}.get(
                    plain(value), value
                )
            elif unit:
                try:
                    value, hint = measure(value, unit), unit
                except NoQuantity as error:
                    hint = str(error)
        try:
            if isinstance(value, str) and _is_number_to_python(value):
                raise ValueError  # the adapter would accept it
            return adapter.validate_python(value)
        except ValueError:  # pydantic's error is one too
            what = allowed(field) if not hint else f"{allowed(field)} ({hint})"
            raise _not_taken(text, what) from None

    return read


def plain(text: str) -> str:
    """A name for comparison: in small letters, with spaces and hyphens as underscores."""
    return "_".join(text.lower().replace("-", " ").replace("_", " ").split())


def path_of(text: str) -> Path:
    """Reads the name of a file or folder that every system, message and page can show."""
    unwritable = any(unicodedata.category(letter) in _UNWRITABLE for letter in text)
    if not text or unwritable or len(text.encode()) > _LONGEST_PATH:
        allowed = (
            f"the name of a file or folder in UTF-8, without control characters and of at most {_LONGEST_PATH} bytes"
        )
        raise NotTaken(written(text), allowed)
    return Path(text)


def _not_taken(text: Any, what: str) -> NotTaken:
    return NotTaken(_typed(text), what)


def _typed(text: Any) -> Written:
    """A typed text as a message shows it: in quotes unless it is a number."""
    try:
        typed_number(text if isinstance(text, str) else f"{text:g}")
    except ValueError:
        return written(text)
    return Written(text)


def _is_number_to_python(text: str) -> bool:
    """Whether Python would read it as a number, such as 1_0 or another script's digits."""
    try:
        float(text)
    except ValueError:
        return False
    return True
