"""Every command that tells another program, typed in a shop of its own: what it printed, by the name of its schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import gen.cli
import gen.cli.begin
import sim.faults.runs
from gen.begin import DEMO_SCHEDULE
from gen.machine import WELDER_FILE
from gen.records import CheckRecord, GateRecord, Records, WeldRecord
from gen.words import RUNS_ON_US
from tests.support.cli.command_line import replaced, typed
from tests.support.judged_once import simulate_once

SHORT = """\
frequency_Hz = 50
[[phase]]
squeeze = "0.1 s"
[[phase]]
weld = "6 cycles"
[[phase]]
hold = "5 cycles"
[[phase]]
off = "10 cycles"
"""

WELDED = ("completed", 40, 40, 30, "job", "0" * 16)

# What is typed, in this order, in a folder with a machine, a joint and two schedules; the first words are the schema's name.
LINES = (
    "demo demo",
    "new mine --breaker C20",
    "next",
    "boards",
    "boards pico",
    "ports",
    "describe",
    "describe --electrode length=44",
    "describe --electrode face=6 --joint tabs.toml",
    "suggest --rods 4,4",
    "suggest --sheets 3,3",
    "table job.toml",
    "choose",
    "wiring -o wiring.html",
    "simulate job.toml --minutes 0.1 --burst 3",
    "simulate short.toml --minutes 0.1 --pace 60",
    "sweep short.toml --machines 2 --workers 1",
    "faults short.toml",
    "build job.toml -o firmware",
    "trial next rungs.toml",
    "trial add rungs.toml job.toml --outcome broke-at-joint",
    "trial add rungs.toml job.toml --outcome tore-parent --expulsion late --setdown 0.4 --note hot",
    "trial next rungs.toml --pace 8",
    "trial show rungs.toml",
    "trial keep rungs.toml -o kept.toml",
    "trial show rungs.toml",
    "trial compare",
    "trial page rungs.toml -o page.html",
    "trial export trials.csv",
    "trial import trials.csv",
    "trial remove rungs.toml 2",
    "paper label -o label.html",
    "paper electrodes -o electrodes.html",
    "paper chart -o chart.html",
    "paper logbook -o logbook.html",
    "trial run rungs.toml --no-board --between 0.1,0.6 --pace 1",
    "commission",
    "commission --sheet sheet.html",
    "calibrate detector.offset_rise_us=412",
    "calibrate detector.offset_rise_us=412 mains.voltage_V=236.4 --yes",
    "calibrate detector.offset_rise_us=412 --yes",
    "weld show 7/1",
    "weld show 7/1 7/2 --shorted 7/2",
    "weld export curve.csv 7/1",
    "joint show tabs.toml job.toml",
    "joint show tabs.toml -o tabs.html",
    "joint window tabs.toml --percent 100 --draws 1 -o window.svg",
    "rescue saved.sqlite",
)
# What is answered, line by line, by the words of the line. Such a command tells an object a line.
ANSWERED = {"trial run": "\nx\nt\nwide\n0,4\n\nl\nb\n\nu\nn\n\nq\n"}
GROUPS = ("trial", "paper", "weld", "joint")


def name_of(line: str) -> str:
    """The schema's name: the command and, in a group, its sub-command."""
    words = line.split()
    return "-".join(words[: 2 if words[0] in GROUPS else 1])


SCHEMAS = Path(gen.cli.__file__).parent / "schemas"


def schema(name: str) -> dict[str, Any]:
    """The schema of a command, words joined by hyphens."""
    found: dict[str, Any] = json.loads((SCHEMAS / f"{name}.json").read_text())
    return found


def keeps_to_schema(line: str, content: Any) -> Any:
    """`content`, which a command told when `line` was typed, if it keeps to the command's schema."""
    jsonschema.Draft202012Validator(schema(name_of(line))).validate(content)
    return content


def samples(folder: Path) -> list[tuple[str, Any]]:
    """(Line, what it told) of each, typed in `folder` as `tests.support.cli.scrap.set_out` leaves it."""
    (folder / "short.toml").write_text(SHORT)
    (folder / "tabs.toml").write_text("sheets_mm = [1, 1]\n")  # sheets are computed sooner than rods
    (folder / "rungs.toml").write_text("rods_mm = [3, 3]\n")  # and thin rods welded sooner
    text = (folder / "welder.toml").read_text()
    text += (
        "\n[electrodes]\ndiameter_mm = 12\nlength_mm = 40\n[arms]\nlength_mm = 250\nthroat_mm = 120\ndiameter_mm = 20\n"
    )
    (folder / "welder.toml").write_text(
        replaced(text, "working_current_A = 22", "working_current_A = 22\nshorted_current_A = 30")
    )
    with Records(folder / "records.sqlite") as records:
        records.add_welds([WeldRecord("pico-1", 7, n, f"2026-01-01T00:00:0{n}Z", *WELDED) for n in (1, 2)])
        for n in (1, 2):  # a sound half-cycle, one without current, one that ran on
            lengths = (7600, 7500, 0, 7400, RUNS_ON_US, 7500)
            records.add_curve(
                [GateRecord("pico-1", 7, n, i, 2500, us, 10_000, None, None) for i, us in enumerate(lengths)]
            )
        records.add_check(CheckRecord(1, "earth", 0, "2026-01-01T00:00:00Z", "", "failed", 0.7, "ohm", "clean"))
        records.add_check(CheckRecord(1, "earth", 0, "2026-01-01T00:01:00Z", "pico-1", "passed", 0.04, "ohm", ""))
        records.add_check(CheckRecord(1, "insulation", 0, "2026-01-01T00:02:00Z", "", "not checked", None, "", "none"))
    with pytest.MonkeyPatch.context() as patch:
        _lighten(patch, {WELDER_FILE: (folder / WELDER_FILE).read_text(), DEMO_SCHEDULE: SHORT})
        return _told()


def _lighten(patch: pytest.MonkeyPatch, demo: dict[str, str]) -> None:
    """Less work where only the shape of an answer counts: brief runs, each fault at one moment, a demonstration in small."""
    simulate_once(patch, {}, 0.05)
    every_moment = sim.faults.runs.inject_all
    patch.setattr(sim.faults.runs, "inject_all", lambda target, seed, *_: every_moment(target, seed, 1))
    patch.setattr(gen.cli.begin, "demo_files", lambda: demo)


def _told() -> list[tuple[str, Any]]:
    found = []
    for line in LINES:
        answers = ANSWERED.get(" ".join(line.split()[:2]), "")
        outcome = typed([*line.split(), "--json"], answers)
        assert outcome.code in (0, 1), (line, outcome)
        assert outcome.err == "", (line, outcome.err)
        told = outcome.out.splitlines() if answers else [outcome.out]
        found += [(line, json.loads(text)) for text in told]
    return found
