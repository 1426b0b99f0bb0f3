"""Where in the schedule a finding happens: the half-cycle that it names, against a count of the table's rows by hand."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from gen.begin import demo_files
from gen.job import make_job
from gen.machine.welder import Welder
from gen.schedule import schedule_from
from sim.core.weld_current import weld_currents
from sim.report.timeline import ScheduleMark, draw_timeline
from sim.verdict import CHECKS, Finding, PacedJob

WELDER = demo_files()["welder.toml"]
# 0 to 40 squeeze, 40 to 44 pulse, 44 to 52 cool, 52 to 132 weld, 132 to 152 hold, then off.
SCHEDULE = """
frequency_Hz = 50
[[phase]]
squeeze = "20 cycles"
[[phase]]
pulse = "2 cycles"
current_percent = 30
[[phase]]
cool = "4 cycles"
[[phase]]
weld = "40 cycles"
current_percent = 90
[[phase]]
hold = "10 cycles"
[[phase]]
off = "2 s"
"""


@pytest.fixture(scope="module")
def found() -> dict[str, Finding]:
    path = Path("job.toml")
    welder = Welder.model_validate(tomllib.loads(WELDER))
    job = make_job(schedule_from(SCHEDULE, path), welder, path)
    found: dict[str, Finding] = {}
    for longest_row in (None, 12):  # the full verdict, and while a slider is turned
        plan = PacedJob(
            job=job, welds_per_minute=30, currents=weld_currents(job.table, welder, longest_row=longest_row)
        )
        told = [check.find(plan) for check in CHECKS if not check.needs_run]
        each = {finding.name: finding for finding in told if finding is not None}
        places = {
            name: finding.half_cycle for name, finding in each.items() if name != "case"
        }  # equally hot throughout
        assert not found or places == {name: found[name].half_cycle for name in places}
        found = each
    return found


def test_what_has_a_place_names_it(found: dict[str, Finding]) -> None:
    assert found["low-current"].half_cycle == 40  # the pulse
    assert found["gate-window"].half_cycle == 40  # which fires latest
    assert found["cool-time"].half_cycle == 44
    assert found["inrush"].half_cycle is not None
    assert 40 <= found["inrush"].half_cycle < 132
    assert found["electrode-peak"].half_cycle == 131  # hottest as the current ends


def test_what_is_of_the_whole_has_none(found: dict[str, Finding]) -> None:
    for name in ("duty", "breaker-heat", "supply-dip", "winding"):
        assert found[name].half_cycle is None


def test_a_mark_stands_over_its_half_cycle() -> None:
    """Between the edges of its phase, as far in as it is into the phase; those at one place share a line."""
    path = Path("job.toml")
    table = make_job(schedule_from(SCHEDULE, path), Welder.model_validate(tomllib.loads(WELDER)), path).table
    drawn = draw_timeline(
        table, 800, "x", [ScheduleMark(52, "begin"), ScheduleMark(131, "end"), ScheduleMark(130, "near")]
    )
    assert drawn.count('class="limit"') == 2
    places = [float(part.split('"')[1]) for part in drawn.split("<line ")[1:] if 'class="limit"' in part]
    assert places == sorted(places)
    assert ">near, end</text>" in drawn
    assert ">begin</text>" in drawn
    assert draw_timeline(table, 800, "x") == draw_timeline(table, 800, "x", [])
