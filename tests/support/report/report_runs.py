"""Runs to report on: one good one, and the shapes that a report must not stumble over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

from gen.job import Job
from sim.bench.recording import Recording
from sim.bench.world import Bench, bench_for, simulate
from sim.report import ReportData
from sim.run import Run
from sim.verdict import Finding, Verdict, judge
from tests.support.machines import KNOWN, job_of, make_welder, paced_job

RODS: tuple[dict[str, Any], ...] = (
    {"pulse": "2 cycles", "current_percent": 60, "repeat": 2, "cool": "3 cycles"},
    {"weld": "20 cycles", "current_percent": 75, "upslope": "3 cycles"},
)
LONG: tuple[dict[str, Any], ...] = (
    {"pulse": "2 cycles", "current_percent": 60, "repeat": 20, "cool": "3 cycles"},
    {"weld": "10 cycles", "current_percent": 75, "upslope": "3 cycles", "downslope": "2 cycles"},
)

PASSED = Finding(
    "gate-window",
    "passed",
    53.1,
    10,
    "degrees of gate",
    "common practice, no source",
    "",
    low=True,
    says="The gate is left 53.1 degrees.",
)
DOUBTFUL = Finding(
    "pace",
    "caution",
    3,
    0,
    "welds not accepted",
    "the run itself",
    "Weld more slowly.",
    says="3 presses began no weld.",
)
REFUSED = Finding(
    "duty",
    "refuse",
    31.25,
    21.3,
    "% of a minute at full conduction",
    "plate: 3 kVA at 50 %",
    "Weld no faster than 7 a minute.",
    time_s=12.5,
    says="Current flows for 31.2 % of each minute; 21.3 % is allowed.",
)
FLUX = Finding("flux-balance", "passed", 1.12, 1.4, "of the steady peak", "textbook", "")


def run(
    *phases: dict[str, Any],
    findings: tuple[Finding, ...] = (PASSED, FLUX),
    welds_per_minute: float = 4,
    title: str = "Crossed rods, 6 mm",
    change: Callable[[Bench], Bench] = lambda bench: bench,
    open_electrodes: bool = False,
    **tables: dict[str, Any],
) -> ReportData:
    """Simulate `phases` and put the recording beside a verdict made by hand. `tables` replace keys of the welder file."""
    welder = make_welder(**tables)
    job = job_of(welder, *phases)
    job = replace(job, schedule=job.schedule.model_copy(update={"title": title}))
    bench = bench_for(welder, job.table, welds_per_minute=welds_per_minute, open_electrodes=open_electrodes)
    recording = simulate(job.bundle, job.table, change(bench))
    made = Run(
        **vars(paced_job(job, welds_per_minute)),
        recording=recording,
        open_electrodes=recording,
        verdict=Verdict(findings),
    )
    return ReportData(made)


def changed(data: ReportData, **fields: Any) -> ReportData:
    """The same with fields of its run, or of its run's job, replaced."""
    of_job = {name: value for name, value in fields.items() if name in Job.__dataclass_fields__}
    of_run = {name: value for name, value in fields.items() if name not in of_job}
    return replace(data, run=replace(data.run, job=replace(data.run.job, **of_job), **of_run))


@cache
def rods() -> ReportData:
    """Crossed rods at 50 Hz: pulses, an upslope, 75 %."""
    return run(*RODS)


@cache
def long() -> ReportData:
    """Twenty pulses before the weld."""
    return run(*LONG, title="Twenty pulses")


@cache
def refused() -> ReportData:
    """A verdict with every severity, out of order, and a duty guard that refuses welds."""
    small = {"rating_kVA": 1.0, "working_current_A": 30}
    return run(*RODS, findings=(PASSED, DOUBTFUL, REFUSED, FLUX), welds_per_minute=10, transformer=small)


@cache
def without_weld() -> ReportData:
    """Nobody pressed the pedal."""
    return run(*RODS, change=lambda bench: replace(bench, pedal=replace(bench.pedal, presses=())))


@cache
def unlatched() -> ReportData:
    """Open electrodes, and a switch that needs more than their current to latch."""
    return run(*RODS, open_electrodes=True, transformer={"open_current_A": 0.1})


@cache
def open_electrodes() -> ReportData:
    """Magnetising current only; it latches and lags by nearly a quarter of a cycle."""
    return run(*RODS, open_electrodes=True)


@cache
def stopped() -> ReportData:
    """The stop is opened in the middle of the first weld."""
    return run(*RODS, change=lambda bench: replace(bench, stops=((1.2, 0.5),)))


@cache
def dropout() -> ReportData:
    """The mains is gone for a while from the middle of the first weld."""
    return run(*RODS, change=lambda bench: replace(bench, mains=replace(bench.mains, sags=((1.2, 0.3, 0.0),))))


@cache
def many() -> ReportData:
    """Far more welds than any list should show, one of them odd."""
    data = rods()
    made = data.recording.welds[0]
    welds = tuple(replace(made, asked_s=made.asked_s + n, ended_s=made.ended_s + n) for n in range(2000))
    odd = replace(welds[1500], conducted=made.conducted - 1, ending="ended early")
    recording: Recording = replace(
        data.recording,
        length_s=welds[-1].ended_s + 1,
        presses=tuple(weld.asked_s - 0.01 for weld in welds),
        welds=(*welds[:1500], odd, *welds[1501:]),
    )
    return changed(data, recording=recording)


def judged(data: ReportData) -> ReportData:
    """The same with the verdict that the checks come to."""
    bench = bench_for(data.welder, data.table, minutes=0.02, welds_per_minute=1, open_electrodes=True)
    unloaded = simulate(data.bundle, data.table, bench)
    with_both = replace(data.run, open_electrodes=unloaded)
    return changed(data, open_electrodes=unloaded, verdict=judge(with_both))


@cache
def little() -> ReportData:
    """A welder file that gives what it must and no more: no breaker, no electrodes, no thermal impedance."""
    return judged(run(*RODS, title="Little is known"))


TAPS = {
    "tap": "high",
    "taps": {"low": 1.8, "middle": 2.1, "high": 2.4},
    "working_tap": "high",
    "shorted_current_A": 26,
    "shorted_tap": "high",
    "mass_kg": 12,
}
ALL: dict[str, Any] = KNOWN | {
    "transformer": TAPS,
    "arms": {"length_mm": 250, "throat_mm": 100, "diameter_mm": 20},
}


@cache
def everything() -> ReportData:
    """A welder file that gives all, three taps among it."""
    return judged(run(*RODS, title="All is known", **ALL))


@cache
def too_hot() -> ReportData:
    """Too small a transformer, switch and electrode, worked too fast."""
    small = {
        "transformer": TAPS | {"rating_kVA": 1.0, "winding_time_constant_min": 10},
        "electrodes": {"diameter_mm": 6, "length_mm": 45, "alloy": "Cu-ETP"},
        "switch": {
            "rated_current_A": 12,
            "surge_current_A": 30,
            "foster": [[1.5, 0.005], [3.0, 0.05], [4.0, 0.4]],
            "junction_limit_C": 95,
        },
        "heat_sink": {"K_per_W": 9, "J_per_K": 60},
    }
    return judged(run(*RODS, title="Too hot", welds_per_minute=12, **(ALL | small)))


EVERY_SHAPE = (
    rods,
    long,
    refused,
    without_weld,
    unlatched,
    open_electrodes,
    stopped,
    dropout,
    many,
    little,
    everything,
    too_hot,
)
