"""What the command line takes, with the same plain messages as the files: what was given, and what is allowed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

import gen.ask
from gen.ask import NotTaken
from gen.user_files import FileModel

T = TypeVar("T")


def taken(read: Callable[[Any], T]) -> Callable[[Any], T]:
    """An option's type: what `read` makes of it."""

    def convert(text: Any) -> T:
        try:
            return read(text)
        except NotTaken as error:
            raise click.BadParameter(str(error)) from None

    return convert


def number(least: float, most: float, words: Mapping[str, float] | None = None) -> Callable[[str], float]:
    """An option's type, as `gen.ask.number` reads it."""
    return taken(gen.ask.number(least, most, words))


def value_of(model: type[FileModel], key: str) -> Callable[[Any], Any]:
    """An option's type, as `gen.ask.value_of` reads it."""
    return taken(gen.ask.value_of(model, key))


class Asked:
    """A terminal asks, as gen.ask.Ask wants it. `indent` goes before each question."""

    def __init__(self, indent: str = "") -> None:
        self._indent = indent

    def yes(self, question: str) -> bool:
        return click.confirm(f"{self._indent}{question}")

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        found: T = click.prompt(f"{self._indent}{question}", default=typical, value_proc=taken(read))
        return found
