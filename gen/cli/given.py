"""What the command line takes, with the same plain messages as the files: what was given, and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Annotated, Any

import click
from pydantic import ConfigDict, TypeAdapter, ValidationError

from gen.user_files import FileModel, Written, allowed, written


def number(least: float, most: float, words: Mapping[str, float] | None = None) -> Callable[[str], float]:
    """An option's type: a number from `least` to `most`, a whole one where both are, or one of `words` for its number."""
    whole = isinstance(least, int) and isinstance(most, int)
    words = words or {}

    def convert(text: str) -> float:
        if text in words:
            return words[text]
        try:
            value: float = int(text) if whole else float(text)
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            what = f"{'a whole number' if whole else 'a number'} from {least:g} to {most:.15g}"
            raise _refused(text, ", or ".join((what, *words)))
        return value

    return convert


def value_of(model: type[FileModel], key: str) -> Callable[[Any], Any]:
    """The type of an option or answer that goes into a user's file, with the rules of its key."""
    field = model.model_fields[key]
    adapter: TypeAdapter[Any] = TypeAdapter(
        Annotated[field.annotation, field],  # type: ignore[arg-type]
        config=ConfigDict(allow_inf_nan=False),
    )

    def convert(text: Any) -> Any:
        try:
            return adapter.validate_python(float(text) if _is_number(text) else text)
        except ValidationError:
            raise _refused(text, allowed(field)) from None

    return convert


def _refused(text: Any, what: str) -> click.BadParameter:
    shown = Written(text) if _is_number(text) else written(text)
    return click.BadParameter(f"{shown} given; allowed: {what}")


def _is_number(text: Any) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
