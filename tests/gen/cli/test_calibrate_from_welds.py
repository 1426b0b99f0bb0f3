"""`weldbeat calibrate --working --shorted`: welds measured on the bench replace the guessed ranges.

The reference is the bench's load, which the calibration cannot see: its current at full conduction and its angle.
"""

from __future__ import annotations

import json
import math
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from gen.boards import boards
from gen.firmware import render
from gen.records import GateRecord, Records, WeldRecord
from sim.bench.circuit import SeriesLoad
from sim.bench.sense import SenseSpec
from sim.bench.world import World, bench_for
from tests.support.cli.command_line import WELDER, replaced, typed
from tests.support.machines import compiled, make_welder

WORK_A, WORK_DEG = 22.0, 51.0
SHORT_A = 26.5
MACHINE = make_welder(
    transformer={"working_current_A": 22},
    current_sense={"turns": 1000, "burden_ohm": 18},
    board={"conduction_sense": True},
)
GUESSED = replaced(WELDER, "working_current_A = 22\nload_angle_min_deg = 40\nload_angle_max_deg = 65\n", "")


def loads() -> dict[str, SeriesLoad]:
    """The work adds a resistance to the shorted electrodes, and changes no reactance."""
    work = SeriesLoad.from_working_point(230, WORK_A, WORK_DEG, 50)
    reactance = 2 * math.pi * 50 * work.inductance_H
    resistance = math.sqrt((230 / SHORT_A) ** 2 - reactance**2)
    return {"work": work, "shorted": replace(work, resistance_ohm=resistance)}


@cache
def gates(which: str, number: int) -> tuple[GateRecord, ...]:
    """A weld of the real application on the bench, with a coupler 20 us late, as the board keeps it."""
    table = compiled(MACHINE, {"weld": "8 cycles", "current_percent": 80})
    bundle = render(table, MACHINE, boards()["pico"])
    bench = bench_for(MACHINE, table, minutes=0.001, seed=5)
    world = World(bundle, replace(bench, load=loads()[which], sense=SenseSpec(lit_us=20), length_s=1.3))
    world.run()
    curve = world.board._program.supervisor.curve
    assert curve.count == 16
    return tuple(
        GateRecord(
            "pico", 7, number, n, curve.delays[n], curve.lengths[n], curve.halves[n], curve.currents[n] / 10, curve.peaks[n] / 10
        )
        for n in range(curve.count)
    )  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "welder.toml").write_text(GUESSED)
    monkeypatch.chdir(tmp_path)
    with Records(tmp_path / "records.sqlite") as records:
        for number, which in ((1, "work"), (2, "shorted")):
            ended_at = f"2026-01-01T00:00:0{number}Z"
            records.add_welds([WeldRecord("pico", 7, number, ended_at, "completed", 16, 16, 30, "job", "0" * 16)])
            records.add_curve(gates(which, number))
        records.add_welds([WeldRecord("pico", 7, 3, "2026-01-01T00:00:09Z", "completed", 16, 16, 30, "job", "0" * 16)])
        records.add_curve([replace(gate, count=3, current_A=None, peak_A=None) for gate in gates("work", 1)])
    return tmp_path


def test_two_welds_narrow_the_machine(shop: Path) -> None:
    """The truth lies in what is left: a third or less of the guessed range of the angle, the currents within 3 %."""
    outcome = typed(["calibrate", "--working", "7/1", "--shorted", "7/2", "--yes", "--json"])
    assert outcome.code == 0, outcome.err
    told = json.loads(outcome.out)
    content = tomllib.loads((shop / "welder.toml").read_text(encoding="utf-8"))["transformer"]
    assert content["working_current_A"] == pytest.approx(WORK_A, rel=0.03)
    assert content["shorted_current_A"] == pytest.approx(SHORT_A, rel=0.03)
    assert content["load_angle_min_deg"] < WORK_DEG < content["load_angle_max_deg"]
    before, after = (told["ranges"]["load angle"][key] for key in ("before", "after"))
    assert after[1] - after[0] <= (before[1] - before[0]) / 3
    before, after = (told["ranges"]["working, primary"][key] for key in ("before", "after"))
    assert after[0] < WORK_A < after[1]
    assert after[1] - after[0] < (before[1] - before[0]) / 4


def test_it_says_how_far_they_shrink_and_asks(shop: Path) -> None:
    """In plain lines before the question; without a yes nothing is written."""
    outcome = typed(["calibrate", "--working", "7/1"], "n\n")
    assert "load angle: 40 to 65 degrees before, " in outcome.out
    assert "Nothing was written." in outcome.out
    assert (shop / "welder.toml").read_text() == GUESSED


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (["--working", "7/3"], "--working: 7/3 given; allowed: a weld of which the current"),
        (["--shorted", "7/9"], "was not timed"),
        (["--working", "nine"], "such as 7/12"),
    ],
)
def test_a_weld_that_tells_nothing_is_refused(shop: Path, line: list[str], words: str) -> None:
    """One message, exit code 2, nothing written."""
    outcome = typed(["calibrate", *line, "--yes"])
    assert outcome.code == 2
    assert words in outcome.err
    assert (shop / "welder.toml").read_text() == GUESSED
