"""Reads the TOML files that users write, and turns whatever is wrong with one into one clear message."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from gen.errors import InputError
from gen.units import TIME_ALLOWED, Duration, parse_duration


def _duration(given: Any) -> Duration:
    if isinstance(given, Duration):
        return given
    if not isinstance(given, str):
        raise ValueError(TIME_ALLOWED)
    return parse_duration(given)


Time = Annotated[Duration, BeforeValidator(_duration)]


class FileModel(BaseModel):
    """A table of a user's file: frozen, and no key is let pass that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True, allow_inf_nan=False)


Model = TypeVar("Model", bound=FileModel)


def read_toml(path: Path) -> dict[str, Any]:
    """The file's content. Raises InputError when it is missing, a folder, not UTF-8 or not TOML."""
    if not path.exists():
        raise InputError(path, "file", None, f"not found; allowed: an existing TOML file ({path})")
    if path.is_dir():
        raise InputError(path, "file", None, "this is a folder; allowed: a TOML file")
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError:
        raise InputError(path, "file", None, "not text in UTF-8; allowed: a TOML file") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(path, "file", None, f"not valid TOML: {error}") from None


def validated(model: type[Model], content: Any, where: Path, prefix: str = "") -> Model:
    """`content` as `model`, or InputError for the first thing wrong, its key preceded by `prefix`."""
    try:
        return model.model_validate(content)
    except ValidationError as error:
        raise _as_input_error(error.errors()[0], model, where, prefix) from None


def _as_input_error(error: ErrorDetails, model: type[FileModel], where: Path, prefix: str) -> InputError:
    location = [str(part) for part in error["loc"]]
    key = prefix + ".".join(location) if location else prefix.rstrip(". ") or "file"
    given = error["input"]
    if error["type"] == "missing":
        return InputError(where, key, None, "missing; allowed: this key with a value")
    if error["type"] == "extra_forbidden":
        return InputError(where, key, given, f"unknown key; allowed: {', '.join(_siblings(model, location))}")
    if error["type"] == "value_error":
        shown = None if isinstance(given, (dict, BaseModel)) else given
        return InputError(where, key, shown, str(error["ctx"]["error"]))
    allowed = error["msg"].replace("Input should be ", "").replace("a valid ", "a ")
    return InputError(where, key, given, f"allowed: {allowed}")


def _siblings(model: type[FileModel], location: list[str]) -> list[str]:
    """The keys that the table holding an unknown key does know."""
    fields = model.model_fields
    for part in location[:-1]:
        annotation = fields[part].annotation if part in fields else None
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            fields = annotation.model_fields
    return list(fields)
