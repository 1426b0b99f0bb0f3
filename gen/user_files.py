"""Reads users' files, with bounds, and reports every error in them as one clear message."""

from __future__ import annotations

import itertools
import json
import math
import os
import re
import stat
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError, ValidationInfo
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from gen.errors import InputError, meant
from gen.units import TIME_ALLOWED, TIME_FORMS, Duration, parse_duration

_LONGEST_SHOWN = 60  # characters
_MOST_NEIGHBOURS = 1000

LARGEST_FILE = 1_000_000  # bytes: a thousand times a welder file with its comments
# A dotted key makes a table for each of its parts: a file of such keys alone would take a gigabyte of memory.
_LONGEST_LINE = 1000  # characters, and so of a key
_MOST_DOTS = 10_000  # in one file
_INTEGERS = range(-(2**63), 2**63)  # TOML 1.0.0, "Integer": one outside of 64 bits must be refused

# The TOML reader's message, and instead of it the likely mistake with what is allowed.
_TOML_MISTAKES = (
    ("Illegal character '\\n'", "a text in quotes is not closed; allowed: quotes at both ends, on one line"),
    ("Unterminated string", "a text in quotes is not closed; allowed: quotes at both ends, on one line"),
    ("Cannot overwrite", "a key is given twice; allowed: each key once"),
    (
        "Cannot declare",
        "a table is given twice; allowed: each table once, and [[phase]] in double brackets for each phase",
    ),
)
# The form of a line that cannot be read, and the message for it.
_LINE_MISTAKES = (
    (re.compile(r"\s*[\w.]+\s*=\s*(\d+,\d+)\s*(?:#.*)?$"), "{} has a decimal comma; allowed: a point, such as 2.4"),
    (
        re.compile(r"\s*[\w.]+\s*=\s*(yes|on|True|TRUE)\b"),
        "{} given; allowed: true or false, in small letters without quotes",
    ),
    (
        re.compile(r"\s*[\w.]+\s*=\s*(no|off|False|FALSE)\b"),
        "{} given; allowed: true or false, in small letters without quotes",
    ),
    (
        re.compile(r"\s*[\w.]+\s*=\s*([\d./]+\s*(?:mm|in|kg|kVA|V|A|N|s|ms|cycles?|%|\"))\s*(?:#.*)?$"),
        'the unit belongs to the name of the key; allowed: the number alone, and times in quotes ("0.4 s")',
    ),
)
_TOML_ALLOWED = 'not readable as TOML; allowed: one key = value a line, with times and words in quotes ("0.4 s")'


# A character of a text on one line: no control character, no line break, none that changes the direction of the text after
# it (Unicode Standard Annex 9, "Bidirectional Algorithm", explicit directional formatting).
LETTER = r"[^\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]"


class Written(str):
    """A text that a message shows without Python's quotation marks."""

    def __repr__(self) -> str:
        return str(self)


def written(value: Any) -> Written:
    """A value as written in the user's file, on one line and cut to `_LONGEST_SHOWN`."""
    if isinstance(value, Written):
        return value
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + _printable(value[: _LONGEST_SHOWN + 1]) + '"'
    elif isinstance(value, (dict, BaseModel)):
        text = "a table"
    elif isinstance(value, (list, tuple)):
        text = f"a list of {len(value)}"
    elif isinstance(value, int) and value not in _INTEGERS:
        text = f"a whole number of {value.bit_length()} bits"
    else:
        text = str(value)
    return Written(text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "...")


def figure(value: float) -> Written:
    """A number as a message shows it, without needless decimals."""
    return Written(f"{value:.15g}")


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in text)


class Wrong(ValueError):
    """Raised by a model's own checks, with the wrong key, its value, and what is allowed."""

    def __init__(self, key: str, given: Any, allowed: str) -> None:
        super().__init__(allowed)
        self.key = key
        self.given = given


def _duration(given: Any) -> Duration:
    if isinstance(given, Duration):
        return given
    if not isinstance(given, str):
        raise ValueError(TIME_ALLOWED)
    return parse_duration(given)


Time = Annotated[Duration, BeforeValidator(_duration)]


class FileModel(BaseModel):
    """A table of a user's file: frozen, without unknown keys or values of another type.

    A field's `description` says what is allowed, if its type and bounds are not enough.
    """

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, arbitrary_types_allowed=True, allow_inf_nan=False
    )


Model = TypeVar("Model", bound=FileModel)


def read_toml(path: Path) -> dict[str, Any]:
    """The file's content. Raises InputError if it is missing, a folder, not UTF-8 or not TOML."""
    where = path if path.name else str(path)
    return parsed_toml(read_text(path), where)


def read_text(path: Path, kind: str = "a TOML file", most: int = LARGEST_FILE) -> str:
    """The text of a file of at most `most` bytes, with its own line ends. `kind`: what is allowed, for messages.

    Raises InputError if it is missing, a folder, a pipe, a device, larger or not UTF-8.
    """
    where = path if path.name else str(path)
    try:
        return _read_bytes(path, where, kind, most).decode("utf-8-sig")
    except InputError:
        raise
    except (FileNotFoundError, NotADirectoryError):
        near = meant(path.name, _neighbours(path))
        why = f"looked for as {_printable(str(path))}; {near}{' ' if near else ''}allowed: {kind}"
        raise InputError(where, "no such file", None, why) from None
    except IsADirectoryError:
        raise InputError(where, "this is a folder", None, f"allowed: {kind}") from None
    except UnicodeDecodeError:
        raise InputError(where, "not text in UTF-8", None, f"allowed: {kind}, saved as UTF-8") from None
    except ValueError:  # a name that no file can have
        raise InputError(where, "no such file", None, f"allowed: {kind}") from None
    except OSError as error:
        raise InputError(where, "cannot be read", None, f"{error.strerror}; allowed: {kind}") from None


def _neighbours(path: Path) -> list[str]:
    """Names of the files in the folder of `path` with the same ending; at most a thousand."""
    try:
        with os.scandir(path.parent) as found:
            names = [entry.name for entry in itertools.islice(found, _MOST_NEIGHBOURS)]
    except (OSError, ValueError):
        return []
    return sorted(
        name for name in names if Path(name).suffix in (path.suffix or ".toml", ".toml") and name.isprintable()
    )


def _read_bytes(path: Path, where: str | Path, kind: str, most: int) -> bytes:
    """The content of a regular file. Pipes and devices are not opened: a pipe would wait, and opening a device may act."""
    _check_regular(path.stat().st_mode, where, kind)
    file = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(file, "rb") as opened:
        _check_regular(os.fstat(file).st_mode, where, kind)  # it may have been replaced meanwhile
        content = opened.read(most + 1)
    if len(content) > most:
        raise InputError(where, f"larger than {most} bytes", None, f"allowed: {kind} of at most that")
    return content


def _check_regular(mode: int, where: str | Path, kind: str) -> None:
    if stat.S_ISDIR(mode):
        raise IsADirectoryError
    if not stat.S_ISREG(mode):
        raise InputError(where, "this is a pipe or a device, not a file", None, f"allowed: {kind}")


def parsed_toml(text: str, where: str | Path) -> dict[str, Any]:
    """The content of a TOML text. `where`: its file, for messages. Raises InputError."""
    _check_size(text, where)
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: also a number of more digits than Python will read
        raise InputError(where, *_toml_mistake(str(error), text)) from None
    _check_integers(content, where)
    return content


def _check_size(text: str, where: str | Path) -> None:
    """Raise InputError for a text whose reading could take far more memory than the text."""
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > _LONGEST_LINE:
            allowed = f"{len(line)} characters long; allowed: lines, and so keys, of at most {_LONGEST_LINE} characters"
            raise InputError(where, f"line {number}", None, allowed)
    if text.count(".") > _MOST_DOTS:
        raise InputError(
            where, f"more than {_MOST_DOTS} dots", None, "allowed: at most so many; a dotted key has one or two"
        )


def _check_integers(content: dict[str, Any], where: str | Path) -> None:
    """Raise InputError for a whole number outside of 64 bits."""
    waiting: list[tuple[str, Any]] = list(content.items())[::-1]
    while waiting:
        key, value = waiting.pop()
        if isinstance(value, int) and value not in _INTEGERS:
            raise InputError(where, _printable(key), written(value), "allowed: whole numbers of at most 64 bits")
        if isinstance(value, dict):
            waiting += [(f"{key}.{inner}"[:_LONGEST_LINE], each) for inner, each in value.items()][::-1]
        elif isinstance(value, list):
            waiting += [(key, each) for each in value][::-1]


def _toml_mistake(message: str, text: str) -> tuple[str, None, str]:
    """Key, value and allowed of the message for an unreadable TOML."""
    place = re.search(r"line (\d+)", message)
    lines = text.split("\n")
    line = lines[min(int(place[1]), len(lines)) - 1] if place else lines[-1]
    why = next((why for beginning, why in _TOML_MISTAKES if message.startswith(beginning)), _TOML_ALLOWED)
    why = next((say.format(found[1]) for form, say in _LINE_MISTAKES if (found := form.match(line))), why)
    return f"line {place[1]}" if place else "last line", None, why


def name_of(key: str, info: ValidationInfo) -> str:
    """The name of a key where it was given: itself in a file, an option on the command line."""
    called: Mapping[str, str] = info.context or {}
    return called.get(key, key)


def validated(
    model: type[Model], content: Any, where: Path, prefix: str = "", names: Mapping[str, str] | None = None
) -> Model:
    """`content` as `model`. Raises InputError for the first error, with `prefix` before its key.

    `names`: the names of keys where they were given, for `name_of`.
    """
    try:
        return model.model_validate(content, context=names)
    except ValidationError as error:
        errors = error.errors()
        # A misspelt key is both unknown and missing; report it as unknown.
        unknown = [e for e in errors if e["type"] == "extra_forbidden"]
        raise _as_input_error((unknown or errors)[0], model, where, prefix, names or {}) from None


def _as_input_error(
    error: ErrorDetails, model: type[FileModel], where: Path, prefix: str, names: Mapping[str, str]
) -> InputError:
    location = [str(part) for part in error["loc"]]
    if location[-1:] == ["[key]"] and error["type"] != "extra_forbidden":  # pydantic's word for a name that is wrong
        location = location[:-2]
    table, field, place = _find(model, location)
    if field is not None and _is_choice(field.annotation):  # below it pydantic names the kinds that it tried
        location = location[: place + 1]
    key = prefix + ".".join(names.get(part, _printable(part)) if part.strip() else '""' for part in location)
    given = written(error["input"])
    if error["type"] == "missing":
        return InputError(where, key, None, f"missing; allowed: {allowed(field)}")
    if error["type"] == "extra_forbidden":
        near = meant(location[-1], table.model_fields)
        known = f"allowed: {', '.join(table.model_fields)}"
        return InputError(where, key, given, f"unknown key; {near} {known}" if near else f"unknown key; {known}")
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, Wrong):
        inside = f"{key}.{cause.key}" if location else prefix + cause.key
        return InputError(where, inside, None if cause.given is None else written(cause.given), str(cause))
    return InputError(where, key, given, f"allowed: {allowed(field)}")


def _find(model: type[BaseModel], location: list[str]) -> tuple[type[BaseModel], FieldInfo | None, int]:
    """The table and the field at `location`, as far as the model knows it, and the index of the field's name in it."""
    table, field, place = model, None, 0
    for place, part in enumerate(location):
        if field is not None:
            kind = _kind(field.annotation)
            if not _is_table(kind):
                return table, field, place - 1
            table = kind
        field = table.model_fields.get(part)
    return table, field, place


def _is_choice(annotation: Any) -> bool:
    """Whether a value may have several types, not counting None."""
    union = get_origin(annotation) in (Union, UnionType)
    return union and len([a for a in get_args(annotation) if a is not NoneType]) > 1


def _is_table(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def allowed(field: FieldInfo | None) -> str:
    """The values that a field accepts, in words."""
    if field is None:
        return "a table of keys and values"
    if field.description:
        return field.description
    kind = _kind(field.annotation)
    if get_origin(kind) is Literal:
        *others, last = [str(written(choice)) for choice in get_args(kind)]
        return f"{', '.join(others)} or {last}"
    if _is_table(kind):
        return f"a table with {', '.join(kind.model_fields)}"
    if kind is Duration:
        return TIME_FORMS
    if kind is bool:
        return "true or false"
    if kind in (int, float):
        return ("a whole number" if kind is int else "a number") + _bounds(field)
    return "a text in quotes"


def choices_of(field: FieldInfo) -> tuple[str, ...]:
    """The names that a field accepts; empty for a field of another type."""
    kind = _kind(field.annotation)
    return get_args(kind) if get_origin(kind) is Literal and isinstance(get_args(kind)[0], str) else ()


def is_flag(field: FieldInfo) -> bool:
    """Whether a field is true or false."""
    return _kind(field.annotation) is bool


def _kind(annotation: Any) -> Any:
    """The type without an optional None and without its validator."""
    if get_origin(annotation) in (Union, UnionType):
        annotation = next(a for a in get_args(annotation) if a is not NoneType)
    return get_args(annotation)[0] if get_origin(annotation) is Annotated else annotation


def _bounds(field: FieldInfo) -> str:
    found = {name: getattr(m, name) for m in field.metadata for name in ("gt", "ge", "lt", "le") if hasattr(m, name)}
    low, high = found.get("ge", found.get("gt")), found.get("le", math.inf)
    if low is None:
        return ""
    if "gt" in found:
        return f" above {low:g}" + (f" and at most {high:g}" if high < math.inf else "")
    return f" from {low:g} to {high:g}" if high < math.inf else f" of at least {low:g}"
