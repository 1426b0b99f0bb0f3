"""A schedule file as a form, and the form's input as the file's text. Comments and layout of the file stay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

import tomlkit
from tomlkit.items import AoT

from gen.errors import InputError
from gen.schedule import LEAST_PERCENT, Cool, Hold, Off, Pulse, Squeeze, Weld
from gen.units import Duration, Unit, parse_duration
from gen.user_files import FileModel, parsed_toml

UNITS: tuple[str, ...] = get_args(Unit)
PHASES: dict[str, type[FileModel]] = {
    model.__name__.lower(): model for model in (Squeeze, Pulse, Weld, Cool, Hold, Off)
}
ADDED = {"pulse": ("2 cycles", 60), "weld": ("10 cycles", 85), "cool": ("4 cycles", None)}  # phases that may be added
_LONGEST_NUMBER = 30  # characters read as a number
# For a time in each unit: the step of its slider, and the slider's least range.
_STEPS = {"half-cycles": (2.0, 200.0), "cycles": (1.0, 100.0), "ms": (20.0, 2000.0), "s": (0.05, 5.0)}


@dataclass(frozen=True)
class FormField:
    """One key of a phase. `unit` is None where there is no choice of units. `where`: the key in messages."""

    name: str
    key: str
    where: str
    value: str
    unit: str | None
    step: float
    least: float
    most: float


@dataclass(frozen=True)
class FormPhase:
    """One phase, numbered from 0. `fields` are in order; those that the file leaves out are empty."""

    place: int
    kind: str
    fields: tuple[FormField, ...]

    @property
    def movable(self) -> bool:
        """Whether the phase may be removed, and another inserted after it."""
        return self.kind in ADDED


def form_of(text: str, where: str) -> tuple[FormPhase, ...]:
    """The phases of a schedule file as a form. Other content is left out. Raises InputError where the text is not TOML."""
    phases = parsed_toml(text, where).get("phase")
    found = []
    for place, content in enumerate(phases if isinstance(phases, list) else []):
        kind = _kind(content)
        if kind:
            found.append(FormPhase(place, kind, tuple(_fields(place, kind, content))))
    return tuple(found)


def _kind(content: Any) -> str:
    return next((kind for kind in PHASES if kind in content), "") if isinstance(content, dict) else ""


def _fields(place: int, kind: str, content: Mapping[str, Any]) -> list[FormField]:
    found = []
    for key, model_field in PHASES[kind].model_fields.items():
        name, where = f"{place}.{key}", f"phase {place + 1}: {key}"
        given = content.get(key)
        if _is_time(model_field.annotation):
            value, unit = _time(given)
            step, reach = _STEPS[unit]
            number = _number(value)
            found.append(FormField(name, key, where, value, unit, step, 0.0, max(reach, 2 * number)))
        elif model_field.annotation is int:
            value = "" if given is None else str(given)
            found.append(FormField(name, key, where, value, None, 1.0, 1.0, 20.0))
        else:
            value = f"{given:.15g}" if isinstance(given, (int, float)) else "" if given is None else str(given)
            found.append(FormField(name, key, where, value, None, 1.0, LEAST_PERCENT, 100.0))
    return found


def _is_time(annotation: Any) -> bool:
    return any(each is Duration or Duration in get_args(each) for each in (annotation, *get_args(annotation)))


def _time(given: Any) -> tuple[str, str]:
    """Number and unit of a time, as typed."""
    try:
        duration = parse_duration(given)
    except (TypeError, ValueError):
        return ("" if given is None else str(given)), "cycles"
    return f"{float(duration.value):.15g}", duration.unit


def _number(text: str) -> float:
    try:
        return min(float(text), 1e4)
    except ValueError:
        return 0.0


def edited(text: str, given: Mapping[str, str], where: str) -> str:
    """The file's text with the typed values in place of the old ones. Raises InputError where the text is not TOML."""
    form = form_of(text, where)
    document = tomlkit.parse(text)
    tables: Any = document.get("phase", [])
    for phase in form:
        table = tables[phase.place]
        for each in phase.fields:
            if each.name not in given:
                continue
            typed = given[each.name].strip()
            if not typed and each.key != phase.kind:
                table.pop(each.key, None)
                continue
            unit = given.get(f"{each.name}.unit", each.unit or "")
            if each.key in table and typed == each.value and unit == (each.unit or ""):
                continue
            table[each.key] = _written(typed, unit if each.unit is not None else None)
    if "title" in given and given["title"] != document.get("title", ""):
        document["title"] = given["title"]
    return tomlkit.dumps(document)


def _written(typed: str, unit: str | None) -> Any:
    """The value for the file: a time as text, a number as a number. Any other text is passed on, and refused on reading."""
    if unit is not None:
        return f"{typed} {unit}"
    if len(typed) > _LONGEST_NUMBER:
        return typed
    try:
        return int(typed)
    except ValueError:
        pass
    try:
        return float(typed)
    except ValueError:
        return typed


def with_phase(text: str, kind: str, after: int) -> str:
    """The text with a phase of that kind inserted after the phase at index `after`."""
    time, percent = ADDED[kind]
    table = tomlkit.table()
    table[kind] = time
    if percent is not None:
        table["current_percent"] = percent
    document = tomlkit.parse(text)
    phases = document["phase"]
    if isinstance(phases, AoT) and 0 <= after < len(phases):
        phases.insert(after + 1, table)
    return tomlkit.dumps(document)


def without_phase(text: str, place: int) -> str:
    """The text without the phase at that index."""
    document = tomlkit.parse(text)
    phases = document["phase"]
    if isinstance(phases, AoT) and 0 <= place < len(phases):
        del phases[place]
    return tomlkit.dumps(document)


def place_of(error: InputError, form: tuple[FormPhase, ...]) -> str:
    """The name of the field that an error refers to; "" where it refers to none."""
    return next((each.name for phase in form for each in phase.fields if each.where == error.key), "")
