"""Runs to report on: one good one, and the shapes that a report must not stumble over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

from conftest import firmware, make_welder

from gen.boards import boards
from gen.firmware import program_version
from sim.recording import Recording
from sim.report import ReportData
from sim.verdict import Finding, Verdict
from sim.world import Bench, bench_for, simulate

RODS: tuple[dict[str, Any], ...] = (
    {"pulse": "2 cycles", "current_percent": 60, "repeat": 2, "cool": "3 cycles"},
    {"weld": "20 cycles", "current_percent": 75, "upslope": "3 cycles"},
)
LONG: tuple[dict[str, Any], ...] = (
    {"pulse": "2 cycles", "current_percent": 60, "repeat": 20, "cool": "3 cycles"},
    {"weld": "10 cycles", "current_percent": 75, "upslope": "3 cycles", "downslope": "2 cycles"},
)

PASSED = Finding("gate-window", "note", 53.1, 10, "degrees of gate", "common practice, no source", "")
DOUBTFUL = Finding("pace", "caution", 3, 0, "welds not accepted", "the run itself", "Weld more slowly.")
REFUSED = Finding(
    "duty",
    "refuse",
    31.25,
    21.3,
    "% of a minute at full current",
    "plate: 3 kVA at 50 %",
    "Weld no faster than 7 a minute.",
    time_s=12.5,
)
FLUX = Finding("flux-balance", "note", 1.12, 1.4, "of the steady peak", "textbook", "")


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
    bundle, table = firmware(welder, *phases)
    bench = bench_for(welder, table, welds_per_minute=welds_per_minute, open_electrodes=open_electrodes)
    recording = simulate(bundle, table, change(bench))
    return ReportData(
        title,
        table,
        welder,
        boards()["pico"],
        bundle,
        recording,
        Verdict(findings),
        welds_per_minute,
        (("Weldbeat", program_version()),),
    )


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
    return replace(data, recording=recording)


EVERY_SHAPE = (rods, long, refused, without_weld, unlatched, open_electrodes, stopped, dropout, many)
