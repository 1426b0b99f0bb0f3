"""The boards and what each can do, read from `boards/*.toml`."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

from pydantic import Field

from gen.user_files import FileModel


class Capabilities(FileModel):
    random_phase_firing: bool
    conduction_sense: bool
    primary_current: bool
    hardware_bounded_count: bool


class BoardLimits(FileModel):
    rows: int = Field(gt=0)
    half_cycles: int = Field(gt=0)
    timing_error_us: float = Field(gt=0)


class Board(FileModel):
    """One board: its chip family names the driver folder; pins are GPIO numbers."""

    name: str
    title: str
    family: str
    chip: str
    logic_V: float
    micropython_min: str
    micropython_file: str
    stubs: str
    stubs_version: str
    welds: bool
    capabilities: Capabilities
    limits: BoardLimits
    pins: dict[str, int]


@cache
def boards() -> dict[str, Board]:
    """Every board, by name."""
    found = sorted((f for f in files("boards").iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    read = [Board.model_validate(tomllib.loads(f.read_text(encoding="utf-8"))) for f in found]
    return {board.name: board for board in read}
