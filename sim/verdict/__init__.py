"""The verdict: one function a check, from a run to a finding."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any

from sim.verdict import cut_off
from sim.verdict.electrics import (
    breaker,
    breaker_heat,
    inrush,
    supply_dip,
    switch_current,
    switch_i2t,
    switch_surge,
    triac_commutation,
    zero_cross_relay,
)
from sim.verdict.finding import Finding, PacedJob, Severity, SimulatedJob, Verdict, judged
from sim.verdict.flux import flux_balance
from sim.verdict.heat import case, electrode_heat, electrode_peak, junction, winding
from sim.verdict.planned import (
    cool_time,
    duty,
    latching,
    low_current,
    not_judged,
    table_size,
)
from sim.verdict.recorded import completed, firing, gate_end, gate_window, half_cycles, open_electrodes, pace, polarity

__all__ = ["CHECKS", "Finding", "PacedJob", "Severity", "SimulatedJob", "Verdict", "judge", "judge_plan", "judged"]

_GRAVEST_FIRST = ("refuse", "caution", "passed")


@dataclass(frozen=True)
class Check:
    """One judgement of a run."""

    find: Callable[[Any], Finding | None]
    """None where the welder file lacks the limit or the figures."""
    needs_run: bool
    """Whether it reads the bench's recording."""


def _recorded(find: Callable[[SimulatedJob], Finding | None]) -> Check:
    return Check(find, needs_run=True)


def _planned(find: Callable[[PacedJob], Finding | None]) -> Check:
    return Check(find, needs_run=False)


# In working order: parts that end a faulty weld, what was fired, what was planned, what it does to supply and switch, how
# hot things grow.
CHECKS: tuple[Check, ...] = (
    *(_planned(find) for find in cut_off.CHECKS),
    _recorded(half_cycles),
    _recorded(firing),
    _planned(gate_window),
    _recorded(gate_end),
    _recorded(polarity),
    _recorded(flux_balance),
    _recorded(completed),
    _recorded(pace),
    _recorded(open_electrodes),
    _planned(duty),
    _planned(cool_time),
    _planned(latching),
    _planned(low_current),
    _planned(table_size),
    _planned(inrush),
    _planned(breaker),
    _planned(breaker_heat),
    _planned(supply_dip),
    _planned(switch_current),
    _planned(switch_surge),
    _planned(switch_i2t),
    _planned(triac_commutation),
    _planned(zero_cross_relay),
    _planned(junction),
    _planned(case),
    _planned(winding),
    _planned(electrode_heat),
    _planned(electrode_peak),
    _planned(not_judged),
)


def judge(run: SimulatedJob) -> Verdict:
    """Every check of a job at its pace, with the recording of one weld on open electrodes."""
    plan = run.plan
    findings = [check.find(run if check.needs_run else plan) for check in CHECKS]
    return _verdict(findings)


def judge_plan(run: PacedJob, without: Collection[Callable[[Any], Finding | None]] = ()) -> Verdict:
    """The checks that need no simulated run, except those of `without`."""
    return _verdict([check.find(run) for check in CHECKS if not check.needs_run and check.find not in without])


def _verdict(findings: list[Finding | None]) -> Verdict:
    found = [finding for finding in findings if finding is not None]
    return Verdict(tuple(sorted(found, key=lambda f: _GRAVEST_FIRST.index(f.severity))))
