"""The welder file as a form of every key, and the form's input as the file's text. Comments and layout stay."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

import tomlkit

from gen.boards import boards
from gen.commissioning import marked_typical, with_values
from gen.errors import InputError
from gen.machine.tables import WelderTables
from gen.page.labels import words_and_unit
from gen.units import Duration
from gen.user_files import FileModel, allowed, parsed_toml

_BOARD = "board.name"
_YES, _NO = "true", "false"
_GIST = 4  # values
_LONGEST_LITERAL = 2000  # characters of a typed list or table


@dataclass(frozen=True)
class MachineField:
    """One key: `name` is `table.key`. `choices`: its allowed values, empty where it is typed. `typical`: its value if absent.

    `marked`: the file marks its value as typical. `long`: it is a list or table, typed in the file's notation.
    """

    name: str
    key: str
    value: str
    choices: tuple[str, ...]
    typical: str
    marked: bool
    allowed: str
    long: bool

    @property
    def words(self) -> str:
        """The label of the field."""
        return words_and_unit(self.key)[0]

    @property
    def unit(self) -> str:
        """What stands behind it; "" for none."""
        return words_and_unit(self.key)[1]


@dataclass(frozen=True)
class MachineTable:
    """One table of the welder file. `given`: whether the file has it."""

    name: str
    given: bool
    fields: tuple[MachineField, ...]

    @property
    def gist(self) -> str:
        """The first values that the file gives, for a table that is folded away: each with its unit, or what is there."""
        found = [
            each.words if each.value == _YES else f"{each.value} {each.unit}".rstrip()
            for each in self.fields
            if each.value and each.value != _NO and not each.long
        ]
        return ", ".join(found[:_GIST]) + (" …" if len(found) > _GIST else "")


def form_of(text: str, path: Path) -> tuple[MachineTable, ...]:
    """The welder file's text as a form. Raises InputError where it is not TOML."""
    content, typical = parsed_toml(text, path), marked_typical(text)
    found = []
    for name, model in _tables().items():
        held = content.get(name, {})
        held = held if isinstance(held, dict) else {}
        fields = tuple(_field(name, key, model, held, typical) for key in model.model_fields)
        found.append(MachineTable(name, name in content, fields))
    return tuple(found)


def _tables() -> dict[str, type[FileModel]]:
    return {name: _kind(field.annotation) for name, field in WelderTables.model_fields.items()}


def _field(
    table: str, key: str, model: type[FileModel], held: Mapping[str, Any], typical: frozenset[str]
) -> MachineField:
    described = model.model_fields[key]
    name, kind = f"{table}.{key}", _kind(described.annotation)
    left_out = None if described.is_required() else described.get_default(call_default_factory=True)
    return MachineField(
        name=name,
        key=key,
        value=_shown(held.get(key)),
        choices=_choices(name, kind),
        typical=_shown(left_out) if left_out else "",
        marked=name in typical,
        allowed=allowed(described),
        long=not (kind in (int, float, str, bool) or get_origin(kind) is Literal or _is_time(kind)),
    )


def _kind(annotation: Any) -> Any:
    """The type without an optional None."""
    if get_origin(annotation) in (Union, UnionType):
        return next(each for each in get_args(annotation) if each is not NoneType)
    return annotation


def _is_time(kind: Any) -> bool:
    return kind is Duration or Duration in get_args(kind)


def _choices(name: str, kind: Any) -> tuple[str, ...]:
    if name == _BOARD:
        return tuple(boards())
    if kind is bool:
        return (_YES, _NO)
    return tuple(str(each) for each in get_args(kind)) if get_origin(kind) is Literal else ()


def _shown(value: Any) -> str:
    """A value as typed: in the file's notation, texts without quotes."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return _YES if value else _NO
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        return str(inline.as_string())
    if isinstance(value, (list, tuple)):
        return str(tomlkit.item(list(value)).as_string())
    return str(value)


def edited(text: str, given: Mapping[str, str], path: Path) -> str:
    """The text with the typed values. Emptied keys are removed. The result may be invalid.

    Raises InputError where the text is not TOML.
    """
    values: dict[str, Any] = {}
    gone: list[tuple[str, str]] = []
    for table in form_of(text, path):
        for each in table.fields:
            typed = given.get(each.name, each.value).strip()
            if typed == each.value:
                continue
            if typed:
                values[each.name] = _read(typed, _kind(_tables()[table.name].model_fields[each.key].annotation))
            else:
                gone.append((table.name, each.key))
    changed = with_values(text, values, path)
    if gone:
        document: Any = tomlkit.parse(changed)
        for table_name, key in gone:
            document[table_name].pop(key, None)
        changed = tomlkit.dumps(document)
    return changed


def _read(typed: str, kind: Any) -> Any:
    """The value for the file. Input that cannot be read is passed on as text, and refused on reading."""
    choices = get_args(kind) if get_origin(kind) is Literal else ()
    if kind is str or _is_time(kind) or any(isinstance(each, str) for each in choices):
        return typed
    if "\n" in typed or "\r" in typed or len(typed) > _LONGEST_LITERAL:
        return typed
    try:
        value = tomllib.loads(f"v = {typed}")["v"]
        return tomlkit.parse(f"v = {typed}")["v"] if isinstance(value, (dict, list)) else value
    except (ValueError, RecursionError):
        return typed


def place_of(error: InputError, form: tuple[MachineTable, ...]) -> str:
    """The name of the field that an error refers to; "" where it refers to none."""
    names = {each.name for table in form for each in table.fields}
    key = ".".join(error.key.split(".")[:2])
    return key if key in names else ""
