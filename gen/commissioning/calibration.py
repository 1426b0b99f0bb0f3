"""Calibration: measured values replace assumed ones in the welder file. The rest of the file is unchanged."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import Item, Table

from gen.commissioning.shots import lowest_tap
from gen.commissioning.steps import KEYS
from gen.errors import InputError
from gen.machine.welder import TYPICAL_MARK, Welder
from gen.records import RECORDS_FILE, CheckRecord, Records
from gen.user_files import parsed_toml, read_text, validated, written

# Keys of the welder file that an instrument can measure. The two taps name the tap of a measured current.
MEASURED = (
    "mains.voltage_V",
    "mains.frequency_Hz",
    "mains.source_resistance_ohm",
    "mains.source_inductance_mH",
    "transformer.working_current_A",
    "transformer.working_tap",
    "transformer.open_current_A",
    "transformer.open_secondary_V",
    "transformer.shorted_current_A",
    "transformer.shorted_tap",
    "detector.offset_rise_us",
    "detector.offset_fall_us",
    "current_sense.reading_factor",
)
_WHOLE = ("detector.offset_rise_us", "detector.offset_fall_us")  # keys that take whole numbers only
MARK = "measured"
_ASSUMED = re.compile(rf"#\s*{TYPICAL_MARK}\b")


def calibrated(path: Path, values: Mapping[str, float | int | str]) -> str:
    """The text of the welder file at `path` with `values` (by `table.key`) in it; comments and layout stay.

    A key that is commented out is written in its place. Raises InputError where the changed file is invalid.
    """
    changed = with_values(read_text(path), values, path, MARK)
    validated(Welder, tomllib.loads(changed), path)
    return changed


def with_values(text: str, values: Mapping[str, Any], where: Path, mark: str = "") -> str:
    """`text` with `values` (by `table.key`), each with `mark` in place of "typical". The result may be invalid.

    Raises InputError where the text is not TOML.
    """
    content = parsed_toml(text, where)
    for key, value in values.items():
        table, name = key.split(".")
        if name not in content.get(table, {}):
            text = _given(text, table, name, value, mark)
    document = tomlkit.parse(text)
    _now_measured(document, values)
    for key, value in values.items():
        table, name = key.split(".")
        held = document.setdefault(table, tomlkit.table())
        if name in held and held[name] == value:
            continue
        held[name] = value
        item = held[name]
        if isinstance(held, Table) and isinstance(item, Item) and _ASSUMED.match(item.trivia.comment):
            if mark:
                item.comment(mark)
            else:
                item.trivia.comment = ""
            item.trivia.comment_ws = "  " if mark else ""
    return tomlkit.dumps(document)


def _now_measured(document: tomlkit.TOMLDocument, values: Mapping[str, Any]) -> None:
    """Remove the detector's parts once both offsets were measured."""
    detector = document.get("detector")
    if all(key in values for key in _WHOLE) and isinstance(detector, Table) and "offsets_from" in detector:
        del detector["offsets_from"]


def marked_typical(text: str) -> frozenset[str]:
    """The keys (`table.key`) of a welder file's text whose values are marked as typical."""
    tables = ((name, table) for name, table in tomlkit.parse(text).items() if isinstance(table, Table))
    return frozenset(
        f"{name}.{key}"
        for name, table in tables
        for key in table
        if isinstance(item := table[key], Item) and _ASSUMED.match(item.trivia.comment)
    )


def _given(text: str, table: str, name: str, value: Any, mark: str) -> str:
    """`text` with this key: in place of its line `# name = ...`, or first in its table.

    The text is unchanged where the table has no header of its own.
    """
    lines = text.splitlines(keepends=True)
    head = None
    for number, line in enumerate(lines):
        ending = line[len(line.rstrip("\r\n")) :] or "\n"
        comment = f"  # {mark}" if mark else ""
        given = f"{name} = {tomlkit.item(value).as_string()}{comment}{ending}"
        if header := re.match(r"\s*\[+\s*([^\]]+?)\s*\]", line):
            if head is not None:
                break
            if header[1] == table:
                head = number, line.rstrip("\r\n") + ending + given
        elif head is not None and re.match(rf"#\s*{name}\s*=", line):
            lines[number] = given
            return "".join(lines)
    if head is not None:
        lines[head[0]] = head[1]
    return "".join(lines)


def difference(path: Path, changed: str) -> str:
    """The change of the file as a unified diff; "" for none."""
    before = read_text(path).splitlines()
    lines = difflib.unified_diff(before, changed.splitlines(), str(path), f"{path}, calibrated", lineterm="", n=1)
    return "\n".join(lines)


def measured_key(text: str) -> tuple[str, float | int | str]:
    """KEY=VALUE as typed. Raises InputError where the key is not measurable, or the value is not TOML."""
    key, equals, value = text.partition("=")
    key = key.strip()
    if not equals or key not in MEASURED:
        raise InputError(
            "command line", "KEY=VALUE", written(text), f"allowed: a value for one of {', '.join(MEASURED)}"
        )
    try:
        read = tomllib.loads(f"value = {value}")["value"]
    except (ValueError, RecursionError):
        read = value.strip()
    if not isinstance(read, (int, float, str)):
        raise InputError("command line", key, written(value), "allowed: a number, or a name in quotes")
    return key, read


def measured_values(texts: Iterable[str]) -> dict[str, float | int | str]:
    """Several KEY=VALUE as typed. Raises InputError as `measured_key` does, or where a key occurs twice."""
    pairs = [measured_key(text) for text in texts]
    if len(dict(pairs)) < len(pairs):
        raise InputError("command line", "KEY=VALUE", None, "a key is given twice; allowed: each key once")
    return dict(pairs)


def last_walk(kept: Path) -> list[CheckRecord]:
    """The checks of the last walk in the records at `kept`; empty where there is none. No records file is created."""
    if not kept.exists():
        return []
    with Records(kept) as records:
        checks = records.checks()
    return [check for check in checks if check.walk == checks[-1].walk]


def values_of_last_walk(kept: Path, welder: Welder) -> dict[str, float | int | str]:
    """The readings of the last walk, by welder file key. Raises InputError where there are none."""
    allowed = "allowed: KEY=VALUE, or a walk with `weldbeat commission` before"
    if not kept.exists():
        raise InputError(RECORDS_FILE, "no commissioning in it", None, allowed)
    given = readings_for_file(last_walk(kept), welder)
    if not given:
        raise InputError(RECORDS_FILE, "no reading that belongs into the welder file", None, allowed)
    return given


def readings_for_file(checks: list[CheckRecord], welder: Welder) -> dict[str, float | int | str]:
    """The readings of passed steps, by welder file key."""
    found: dict[str, float | int | str] = {}
    for check in checks:
        if check.outcome == "passed" and check.reading is not None and check.step in KEYS:
            key = KEYS[check.step]
            reading = check.reading
            found[key] = round(reading) if reading == round(reading) or key in _WHOLE else reading
            if key == "detector.offset_rise_us" and welder.detector.kind == "pulse":
                found["detector.offset_fall_us"] = found[key]
            if key == "transformer.shorted_current_A" and welder.transformer.taps:
                found["transformer.shorted_tap"] = lowest_tap(welder.transformer)
    return found
