"""What is judged where welds correct the next: the plan by the most that the board may make of it, a run by what it may do."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from gen.machine.welder import Welder
from sim.bench.recording import Recording
from sim.bench.world import bench_for, simulate, without_detector_error
from sim.verdict import SimulatedJob, judge_plan
from sim.verdict.planned import latching, low_current
from sim.verdict.recorded import firing, gate_window
from tests.support.machines import compiled, job_of, known_welder, paced_job

SENSE: dict[str, Any] = {"current_sense": {"turns": 1000, "burden_ohm": 20}}
WELD = {"weld": "8 cycles", "current_percent": 75}


def welder(within: float | None, **tables: dict[str, Any]) -> Welder:
    return known_welder(**SENSE, **tables, **({"correct": {"within_percent": within}} if within else {}))


def figures(within: float | None, percent: float = 75) -> dict[str, float]:
    plan = paced_job(job_of(welder(within), WELD | {"current_percent": percent}), 6)
    return {finding.name: finding.figure for finding in judge_plan(plan).findings}


@pytest.mark.parametrize("check", ["duty", "breaker-heat", "switch-current", "junction", "case", "winding"])
def test_the_plan_is_judged_by_the_most_that_it_may_become(check: str) -> None:
    """As a schedule of 8 % more current, whose gates come where a correction by 8 % puts them; rounding aside."""
    plain, held, more = figures(None), figures(8), figures(None, 81)
    assert held[check] > plain[check]
    assert held[check] == pytest.approx(more[check], rel=0.01)


def test_a_machine_that_only_the_correction_overloads() -> None:
    """A switch rated between the two currents."""
    severe = {}
    for within in (None, 8):
        plan = paced_job(job_of(welder(within, switch={"rated_current_A": 13.3}), WELD), 6)
        severe[within] = {f.name for f in judge_plan(plan).findings if f.severity == "refuse"}
    assert severe == {None: set(), 8: {"switch-current"}}


def test_what_grows_with_a_late_gate_is_judged_by_the_latest() -> None:
    """Latching and the gate's window by 8 % less; the percentage itself as the schedule asks for it."""
    held, less = (paced_job(job_of(welder(n), WELD | {"current_percent": p}), 6) for n, p in ((8, 75), (None, 69)))
    for check in (latching, gate_window):
        assert check(held).figure == pytest.approx(check(less).figure, rel=0.005)
    assert low_current(held).figure == 75


@cache
def ran(within: float | None, mains: float) -> Recording:
    """Two welds of a board that corrects, on a mains of so much of the nominal voltage."""
    machine = welder(within)
    table = compiled(machine, WELD)
    bench = without_detector_error(bench_for(machine, table, minutes=0.05, welds_per_minute=40), machine)
    bench = replace(bench, mains=replace(bench.mains, voltage_V=mains * bench.mains.voltage_V))
    return simulate(job_of(machine, WELD).bundle, table, bench)


def judged_firing(within: float | None, recording: Recording) -> str:
    job = job_of(welder(within), WELD)
    run = SimulatedJob(**vars(paced_job(job, 6)), recording=recording, open_electrodes=recording)
    return firing(run).severity


def test_gates_may_move_as_far_as_the_correction_and_no_farther() -> None:
    """The second weld on a mains that is 7 % down; by a file without correction, or with less, it is refused."""
    moved = ran(8, 0.93)
    assert len(moved.welds) == 2
    assert [judged_firing(within, moved) for within in (8, 3, None)] == ["passed", "refuse", "refuse"]


def test_the_first_weld_is_fired_by_the_table() -> None:
    """Fired as a corrected one would be, it is refused."""
    moved = ran(8, 0.93)
    assert judged_firing(8, replace(moved, welds=moved.welds[1:])) == "refuse"
