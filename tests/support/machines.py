"""The tests' own machine, a schedule for it, the job of both, and that job at a pace."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gen.boards import boards
from gen.firmware import FirmwareBundle, render
from gen.job import Job
from gen.machine.welder import Welder
from gen.schedule import Schedule
from gen.table import TimingRow, TimingTable
from gen.timing import compile_schedule
from sim.core.weld_current import weld_currents
from sim.verdict import PacedJob

WELDER: dict[str, Any] = {
    "mains": {"voltage_V": 230, "frequency_Hz": 50},
    "transformer": {"rating_kVA": 3.0, "rating_duty_percent": 50, "working_current_A": 20},
    "force": {"source": "foot_lever"},
    "protection": {
        "gate_drive": "one_shot",
        "isolator": True,
        "contactor": True,
        "mirror_contact": True,
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
    if not content["protection"]["contactor"]:
        del content["protection"]["mirror_contact"]  # it is one of the contactor's
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


def fired_row(phase: str, half_cycles: int, delay_us: int, percent: float) -> TimingRow:
    """A row made by hand, which delivers its percentage of the current at full conduction whatever the load angle."""
    return TimingRow(phase, half_cycles, delay_us, percent, (percent / 100, percent / 100))


def job_of(welder: Welder, *phases: dict[str, Any], table: TimingTable | None = None) -> Job:
    """The job of `phases` on `welder`; or of a table made by hand, which no schedule file stands behind."""
    pico, made = boards()["pico"], table or compiled(welder, *phases)
    schedule = make_schedule(*(phases or ({"weld": "1 cycle"},)), frequency_Hz=welder.mains.frequency_Hz)
    return Job(schedule, welder, pico, made, render(made, welder, pico))


def paced_job(job: Job, pace: float) -> PacedJob:
    """The job at a pace, with the currents of one weld."""
    return PacedJob(job=job, welds_per_minute=pace, currents=weld_currents(job.strongest, job.welder))
