"""What a user is asked and how an answer is read, whoever does the asking: a terminal, a page, or a test."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Annotated, Any, Protocol, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from gen.user_files import FileModel, Written, allowed, written

T = TypeVar("T")


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


def number(least: float, most: float, words: Mapping[str, float] | None = None) -> Callable[[str], float]:
    """Reads a number from `least` to `most`, a whole one where both are, or one of `words` for its number."""
    whole = isinstance(least, int) and isinstance(most, int)
    words = words or {}

    def read(text: str) -> float:
        if text in words:
            return words[text]
        try:
            value: float = int(text) if whole else float(text)
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            what = f"{'a whole number' if whole else 'a number'} from {least:g} to {most:.15g}"
            raise _not_taken(text, ", or ".join((what, *words)))
        return value

    return read


def value_of(model: type[FileModel], key: str) -> Callable[[Any], Any]:
    """Reads what goes into a user's file, with the rules of its key."""
    field = model.model_fields[key]
    adapter: TypeAdapter[Any] = TypeAdapter(
        Annotated[field.annotation, field],  # type: ignore[arg-type]
        config=ConfigDict(allow_inf_nan=False),
    )

    def read(text: Any) -> Any:
        try:
            return adapter.validate_python(float(text) if _is_number(text) else text)
        except ValidationError:
            raise _not_taken(text, allowed(field)) from None

    return read


def _not_taken(text: Any, what: str) -> NotTaken:
    shown = Written(text) if _is_number(text) else written(text)
    return NotTaken(shown, what)


def _is_number(text: Any) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
