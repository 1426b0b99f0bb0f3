"""Shared ground of the tests: a machine, a schedule, and a quick way to run one on the bench."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from gen.boards import Board, boards
from gen.firmware import FirmwareBundle, render
from gen.schedule import Schedule
from gen.table import TimingTable
from gen.timing import compile_schedule
from gen.welder import Welder

# Folders and files that cannot even be read where something is missing, and what.
_NEEDS = {
    "pio": ("the PIO assembler, which is for Linux", find_spec("adafruit_pioasm") is not None),
    "link/test_board.py": ("pseudo-terminals", sys.platform != "win32"),
    "link/test_commission.py": ("pseudo-terminals", sys.platform != "win32"),
    "link/test_client.py": ("pseudo-terminals", sys.platform != "win32"),
    "link/test_flashing.py": ("pseudo-terminals", sys.platform != "win32"),
}
collect_ignore = [name for name, (_, there) in _NEEDS.items() if not there]


def pytest_report_header() -> list[str]:
    """Say what steps aside on this platform, and why."""
    return [f"left out: tests/{name}, which needs {what}" for name, (what, there) in _NEEDS.items() if not there]


WELDER: dict[str, Any] = {
    "mains": {"voltage_V": 230, "frequency_Hz": 50},
    "transformer": {"rating_kVA": 3.0, "rating_duty_percent": 50, "working_current_A": 20},
    "force": {"source": "foot_lever"},
    "protection": {
        "gate_drive": "one_shot",
        "isolator": True,
        "contactor": True,
        "stop_cuts_gate_supply": True,
        "stop_cuts_contactor": True,
        "over_temperature_contact": True,
        "secondary_earthed": True,
    },
    "board": {"name": "pico"},
}


def make_welder(**tables: dict[str, Any]) -> Welder:
    """The tests' own machine (invented), with keys of any table replaced: make_welder(mains={"frequency_Hz": 60})."""
    content = {name: dict(table) for name, table in WELDER.items()}
    for name, table in tables.items():
        content[name] = content.get(name, {}) | table
    return Welder.model_validate(content)


# What the checks of electrics and heat want to know besides (invented, and well inside every limit).
KNOWN: dict[str, Any] = {
    "mains": {"source_resistance_ohm": 0.3, "source_inductance_mH": 0.5},
    "breaker": {"characteristic": "C", "rating_A": 20},
    "transformer": {"open_secondary_V": 2.4},
    "electrodes": {"diameter_mm": 12, "length_mm": 40, "face_diameter_mm": 8, "alloy": "CuCr1Zr"},
    "switch": {
        "rated_current_A": 55,
        "surge_current_A": 1000,
        "foster": [[0.05, 0.005], [0.15, 0.05], [0.25, 0.4]],
    },
}


def known_welder(**tables: dict[str, Any]) -> Welder:
    """The same machine with every check's data given."""
    names = KNOWN.keys() | tables.keys()
    return make_welder(**{name: KNOWN.get(name, {}) | tables.get(name, {}) for name in names})


def make_schedule(*phases: dict[str, Any], frequency_Hz: int = 50, name: str = "test") -> Schedule:
    """A schedule of the given middle phases, between a squeeze, a hold and an off time."""
    everything = ({"squeeze": "0.2 s"}, *phases, {"hold": "5 cycles"}, {"off": "0.5 s"})
    return Schedule.model_validate({"name": name, "frequency_Hz": frequency_Hz, "phases": everything})


def compiled(welder: Welder, *phases: dict[str, Any]) -> TimingTable:
    """The timing table of `phases` on `welder`."""
    schedule = make_schedule(*phases, frequency_Hz=welder.mains.frequency_Hz)
    return compile_schedule(schedule, welder, boards()["pico"], Path("test.toml"))


def firmware(welder: Welder, *phases: dict[str, Any]) -> tuple[FirmwareBundle, TimingTable]:
    """The firmware of `phases` on `welder`, and its table."""
    table = compiled(welder, *phases)
    return render(table, welder, boards()["pico"]), table


@pytest.fixture
def pico() -> Board:
    return boards()["pico"]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to stand in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path
