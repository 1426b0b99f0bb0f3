"""A machine, a joint and a schedule (all invented) to make trials with, and the words of `weldbeat trial` typed for them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gen.records import Records, WeldRecord
from gen.schedule import Weld, read_schedule
from tests.support.cli.command_line import WELDER, replaced, typed

MACHINE = replaced(WELDER, "rating_duty_percent = 50\n", "rating_duty_percent = 50\nopen_secondary_V = 2.4\n")
JOINT = "rods_mm = [4, 4]\n"
SCHEDULE = """\
# The rungs of a drying rack: Türgitter
frequency_Hz = 50
title = "rungs"

[[phase]]
squeeze = "0.4 s"  # by foot

[[phase]]
weld = '30 cycles'   # to be found
current_percent = 90.0 # of the tap

[[phase]]
hold = "25 cycles"
[[phase]]
off = "3 s"
"""
COMMANDS = ("run", "add", "next", "show", "keep", "compare", "page", "remove", "export", "import")


def set_out(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Put them into `folder` and stand in it."""
    (folder / "welder.toml").write_text(MACHINE)
    (folder / "rungs.toml").write_text(JOINT)
    (folder / "job.toml").write_text(SCHEDULE, encoding="utf-8")
    monkeypatch.chdir(folder)
    return folder


def well(*line: str) -> str:
    """What a command that succeeds prints, within 120 columns."""
    outcome = typed(["trial", *line])
    assert (outcome.code, outcome.err) == (0, ""), outcome
    assert "--json" in line or max(map(len, outcome.out.splitlines())) <= 120
    return outcome.out


def add(outcome: str, *more: str, schedule: str = "job.toml") -> str:
    return well("add", "rungs.toml", schedule, "--outcome", outcome, *more)


def weld_of(path: Path) -> tuple[float, float]:
    """Seconds and percent of a schedule's weld phase."""
    schedule = read_schedule(path)
    phase = next(phase for phase in schedule.phases if isinstance(phase, Weld))
    return float(phase.weld.half_cycles(schedule.frequency_Hz)) / (2 * schedule.frequency_Hz), phase.current_percent


def watched(here: Path, **changes: Any) -> WeldRecord:
    """A weld of job.toml as `watch` keeps it."""
    digest = json.loads(typed(["table", "job.toml", "--json"]).out)["digest"]
    weld = WeldRecord("pico-1", 7, 12, "2026-03-01T08:00:00Z", "completed", 60, 60, 49, "job", digest)
    weld = replace(weld, **changes)
    with Records(here / "records.sqlite") as records:
        records.add_welds([weld])
    return weld
