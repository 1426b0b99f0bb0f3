"""The fastest pace for ever: at it nothing that goes with the pace trips, one step faster something does."""

from __future__ import annotations

import math
from typing import Any

import pytest

from gen.job import Job
from gen.machine.welder import Welder
from sim.core.weld_current import weld_currents
from sim.thermal import nth_cycle
from sim.verdict import judge_plan
from sim.verdict.heat import FastestPace, PaceLimit, Temperature, fastest_pace, temperatures
from sim.verdict.hot_parts import hot_parts
from tests.support.machines import job_of, known_welder, paced_job

LONG = {"weld": "100 cycles"}
BIG_PLATE = {"rating_kVA": 20.0, "rating_duty_percent": 100}
WITH_THE_PACE = {"duty", "breaker-heat", "junction", "case", "winding", "electrode-heat", "electrode-peak"}


def tripped(job: Job, pace: float) -> set[str]:
    found = judge_plan(paced_job(job, pace)).findings
    return {f.name for f in found if f.severity != "passed"} & WITH_THE_PACE


def found_for(welder: Welder, weld: dict[str, Any]) -> tuple[Job, FastestPace]:
    job = job_of(welder, weld)
    return job, fastest_pace(job, weld_currents(job.table, welder))


CASES: dict[str, dict[str, dict[str, Any]]] = {
    "duty": {},
    "breaker-heat": {"transformer": BIG_PLATE, "breaker": {"rating_A": 10}},
    "junction": {
        "transformer": BIG_PLATE,
        "switch": {"foster": [[8.0, 2.0]], "junction_limit_C": 80},
        "heat_sink": {"K_per_W": 2.0, "J_per_K": 100},
    },
    "case": {
        "transformer": BIG_PLATE,
        "heat_sink": {"K_per_W": 9.0},
        "switch": {"junction_limit_C": 200},
        "breaker": {"rating_A": 40},
    },
    "winding": {"ambient": {"temperature_C": 60}, "transformer": {"load_angle_min_deg": 58, "load_angle_max_deg": 60}},
    "electrode-heat": {
        "transformer": BIG_PLATE | {"open_secondary_V": 1.8},
        "electrodes": {"alloy": "Cu-ETP", "diameter_mm": 12, "face_diameter_mm": 12, "length_mm": 80},
        "breaker": {"rating_A": 40},
    },
    "electrode-peak": {
        "transformer": BIG_PLATE | {"open_secondary_V": 1.8},
        "electrodes": {"alloy": "Cu-ETP", "diameter_mm": 16, "face_diameter_mm": 16, "length_mm": 150},
        "breaker": {"rating_A": 40},
    },
}


@pytest.mark.parametrize("name", CASES)
def test_fastest_pace_boundary(name: str) -> None:
    """Each limit in its turn: at the pace told nothing trips, and one step of two per cent faster it does, first of all."""
    welder = known_welder(**CASES[name])
    job, found = found_for(welder, {"weld": "10 cycles"} if name == "electrode-heat" else LONG)
    assert found.limit.name == name
    assert tripped(job, found.limit.welds_per_minute * 0.999) == set()
    assert name in tripped(job, found.limit.welds_per_minute * 1.02)
    assert 0 <= found.limit.welds_per_minute - found.welds_per_minute < 0.1 + 1e-9


def test_schedule_is_the_limit_of_a_machine_that_stays_cool() -> None:
    """A short weld on a big plate: squeeze 0.2, weld 0.2, hold 0.1, off 0.5 s, and a little for the hand."""
    welder = known_welder(transformer=BIG_PLATE)
    job, found = found_for(welder, {"weld": "10 cycles"})
    assert found.limit.name == "schedule"
    assert 48 < found.welds_per_minute < 60
    assert tripped(job, found.welds_per_minute) == set()


def test_paces_are_rounded_down_to_tenths() -> None:
    """Never up, and a pace that is a tenth already stays."""
    for pace, expected in ((7.99, 7.9), (8.0, 8.0), (0.3, 0.3), (0.05, 0.0)):
        assert FastestPace((PaceLimit("duty", pace),)).welds_per_minute == expected


def test_duty_pace_is_the_plate() -> None:
    """Closed form: 3 kVA at 50 % on 230 V carries (13.04 / 20)^2 x 50 % of a minute at 20 A, in welds of 200 half-cycles.

    Each of them at the most that 100 % delivers, which tests/outside/test_delivered_current.py holds against SciPy.
    """
    job, found = found_for(known_welder(), LONG)
    limits = {limit.name: limit.welds_per_minute for limit in found.limits}
    heat = sum(row.half_cycles * row.share[1] ** 2 for row in job.table.impulse_rows) / 200
    assert 0.85 < heat < 1
    assert limits["duty"] == pytest.approx(60 * 0.5 * (3000 / 230 / 20) ** 2 / 2 / heat, rel=1e-6)


def test_temperatures_tell_now_soon_and_for_ever() -> None:
    """From the same answers as the findings: rising to equilibrium, and the limit passed after the time told."""
    welder = known_welder(**CASES["case"])
    pace = 18.0
    plan = paced_job(job_of(welder, LONG), pace)
    currents = plan.currents
    hot = {t.name: t for t in temperatures(plan, welds=3, burst=40)}
    findings = {f.name: f for f in judge_plan(plan).findings}
    for name, t in hot.items():
        assert t.after_run_C <= t.minute_later_C <= t.for_ever_C
        assert round(t.for_ever_C, 1) == findings[name].figure
        assert (t.time_to_limit_s is not None) == (findings[name].severity != "passed")
    case = hot["case"]
    assert case.time_to_limit_s is not None
    (part,) = (p for p in hot_parts(currents, welder, pace) if p.name == "case")
    weld = math.floor(case.time_to_limit_s / (60 / pace)) + 1  # the weld in which it passes
    before, after = (nth_cycle(part.network, part.profile, 60 / pace, n, "case").peak_degC for n in (weld - 1, weld))
    assert before <= 85 < after


def test_rest_after_a_burst_is_that_of_a_sink() -> None:
    """Textbook: a sink cools as exp(-t / RC), so the rest is RC ln(what is left over what one more weld leaves room for)."""
    welder = known_welder(**CASES["case"])
    plan = paced_job(job_of(welder, LONG), 4)
    table, currents = plan.table, plan.currents

    def case_after(burst: int) -> Temperature:
        return next(t for t in temperatures(plan, 1, burst) if t.name == "case")

    assert case_after(2).rest_s == 0
    fast_pace = 60 / (table.half_cycles * 0.01)
    (part,) = (p for p in hot_parts(currents, welder, 4) if p.name == "case")
    swings = currents.settled.swings
    losses_W = [
        abs(s.charge_C) / 0.01 * currents.scale + 0.005 * (s.primary_rms_A * currents.scale) ** 2 for s in swings
    ]
    mean_W, tau_s, weld_s = sum(losses_W) / len(losses_W), 9.0 * 300, 2.0
    room_K = 85 - 25 - 0.2 * losses_W[-1]
    left_K = part.for_ever(fast_pace).peak_degC - 25 - 0.2 * losses_W[-1]
    one_more_K = 9.0 * mean_W * -math.expm1(-weld_s / tau_s)
    rest_s = tau_s * math.log(left_K / (room_K - one_more_K)) - weld_s
    assert rest_s > 60
    assert case_after(9999).rest_s == pytest.approx(rest_s, rel=0.02)
