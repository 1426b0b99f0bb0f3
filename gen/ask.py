"""What a user is asked and how an answer is read, whoever does the asking: a terminal, a page, or a test."""

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
_LONGEST_PATH = 1000  # bytes, of which a system allows 260 to 4096
# Controls, and the surrogates that stand for bytes that are not UTF-8 (Unicode, chapter 4.5).
_UNWRITABLE = ("Cc", "Cs")


class NotTaken(ValueError):
    """An answer or option that will not do: what was given, and what is allowed."""

    def __init__(self, given: str, allowed: str) -> None:
        super().__init__(f"{given} given; allowed: {allowed}")
        self.allowed = allowed


class Stopped(Exception):
    """The user ended it. What was done before stays."""


class Ask(Protocol):
    """How a front end asks its user. Each call returns once there is an answer, or raises what ends the whole: `Stopped`."""

    def yes(self, question: str) -> bool:
        """Whether the user says yes."""

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        """What `read` makes of the answer. One that it refuses with `NotTaken` is asked for again, with those words.

        `typical`: what an empty answer stands for; None: there must be one.
        """


class Unsure(Enum):
    """Replies to an `Inquiry` that are no value."""

    UNKNOWN = "do not know"
    BACK = "back"


@dataclass(frozen=True)
class NumberedChoice:
    """One of the answers to pick from: its value, and what it means in a few words."""

    value: Any
    text: str

    @property
    def name(self) -> str:
        """What may be typed for it beside its number."""
        return self.text if isinstance(self.value, bool) else str(self.value)


@dataclass(frozen=True)
class Inquiry:
    """One thing to ask. `key` names the answer, `label` stands for it in a summary, `purpose` says what it is for.

    `where`: where to find it. `choices` are numbered; with `many` several may be picked. `read` takes what is typed beside
    them. `meanwhile`: what is taken where it is not known; "": there must be an answer.
    """

    key: str
    label: str
    text: str
    purpose: str
    where: str
    meanwhile: str
    choices: tuple[NumberedChoice, ...] = ()
    read: Callable[[Any], Any] | None = None
    many: bool = False


class Inquirer(Protocol):
    """How a front end puts one question after another."""

    def put(self, inquiry: Inquiry) -> Any:
        """The value that `reply_of` makes of what the user says, or one of `Unsure`; what it refuses is asked for again."""

    def tell(self, text: str) -> None:
        """Say something that is no question."""


_NOT_KNOWN = {"", "?", "unknown", "do_not_know", "don't_know", "dont_know", "not_known"}
_BACK = {"b", "back"}


def reply_of(inquiry: Inquiry, text: str, *, by_number: bool = True) -> Any:
    """What a reply means: a choice by its number or name, or what is typed; nothing at all is not known.

    After the choices comes one number more, for not known. Where no list is shown, nothing goes by number. Raises NotTaken.
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
    """What may be typed for each choice."""
    known = {plain(choice.name).replace("_", ""): choice.value for choice in inquiry.choices}
    known |= {choice.name[0]: choice.value for choice in inquiry.choices if isinstance(choice.value, bool)}
    return known | ({str(n): choice.value for n, choice in enumerate(inquiry.choices, 1)} if by_number else {})


def _several(inquiry: Inquiry, text: str, by_number: bool) -> tuple[Any, ...]:
    """The choices that are named, with commas between, or spaces between numbers; none for `none` or 0."""
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
    """Reads a number from `least` to `most`, a whole one where both are, or one of `words` for its number.

    What is a number already, such as what stands for an empty answer, is read as if it were typed.
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


def value_of(model: type[FileModel], key: str) -> Callable[[Any], Any]:
    """Reads what goes into a user's file, with the rules of its key, as a bench writes it.

    A measure may have a unit or a fraction, a name spaces for underscores, and yes stands for true.
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
                raise ValueError  # which the adapter would take as well
            return adapter.validate_python(value)
        except ValueError:  # pydantic's is one too
            what = allowed(field) if not hint else f"{allowed(field)} ({hint})"
            raise _not_taken(text, what) from None

    return read


def plain(text: str) -> str:
    """A name as it is compared: small letters, and no difference between spaces, hyphens and underscores."""
    return "_".join(text.lower().replace("-", " ").replace("_", " ").split())


def path_of(text: str) -> Path:
    """Reads the name of a file or folder, one that every system, message and page can hold."""
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
    """What was typed as a message shows it: in quotes unless it is a number."""
    try:
        typed_number(text if isinstance(text, str) else f"{text:g}")
    except ValueError:
        return written(text)
    return Written(text)


def _is_number_to_python(text: str) -> bool:
    """Whether Python alone would take it, such as 1_0 or another script's digits."""
    try:
        float(text)
    except ValueError:
        return False
    return True
