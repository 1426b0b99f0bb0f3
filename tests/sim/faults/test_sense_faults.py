"""Each fault of the senses on the bench: noticed by its name, or shown not to be; and none makes a weld longer.

Gates and currents are the bench's own. No source outside: the faults are those of the parts (common practice, no source).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from gen.job import Job
from sim.bench.world import bench_for, simulate
from sim.faults.senses import SENSE_FAULTS, SenseOutcome, inject_sense_faults
from tests.support.machines import job_of, make_welder

CURRENT: dict[str, Any] = {"turns": 1000, "burden_ohm": 22}
FITTED = {"both senses": (CURRENT, True), "the current alone": (CURRENT, False), "the switch alone": (None, True)}


@cache
def job(fitted: str) -> Job:
    current, switch = FITTED[fitted]
    tables = {"current_sense": current} if current else {}
    return job_of(
        make_welder(board={"conduction_sense": switch}, **tables), {"weld": "10 cycles", "current_percent": 80}
    )


@cache
def struck(fitted: str) -> list[SenseOutcome]:
    return inject_sense_faults(job(fitted), 2)


def test_each_fault_is_played_where_its_sense_is_fitted() -> None:
    """All of them on a machine with both senses; none on one with neither."""
    assert [outcome.fault for outcome in struck("both senses")] == list(SENSE_FAULTS)
    assert all(outcome.fault.of_current for outcome in struck("the current alone"))
    assert not any(outcome.fault.of_current for outcome in struck("the switch alone"))
    assert inject_sense_faults(job_of(make_welder(), {"weld": "10 cycles"}), 2) == []


@pytest.mark.parametrize("fitted", FITTED)
def test_without_a_fault_the_weld_is_whole(fitted: str) -> None:
    """Else what follows would show nothing."""
    made = job(fitted)
    bench = bench_for(made.welder, made.table, minutes=0.001, seed=2)
    assert [weld.ending for weld in simulate(made.bundle, made.table, bench).welds] == ["completed"]


@pytest.mark.parametrize("fitted", FITTED)
def test_each_is_noticed_by_its_name_or_the_way_to_find_it_is_reported(fitted: str) -> None:
    """It locks out for one of its reasons, or the weld goes on; none makes it longer."""
    for outcome in struck(fitted):
        fault = outcome.fault
        assert not outcome.longer, fault.name
        if outcome.reason:
            assert outcome.reason in fault.noticed_as(job(fitted).welder), fault.name
        else:
            assert fault.found_by, f"{fault.name} goes unnoticed, and nobody is told how to find it"
        assert fault.found_by or fault.noticed_as(job(fitted).welder)
