"""A run that was simulated before is not simulated again: the same job at the same pace gives the same run."""

from __future__ import annotations

from typing import Any

import pytest

import sim.run
from gen.job import Job
from sim.run import Run
from sim.verdict import PacedJob


def judge_once(patch: pytest.MonkeyPatch, made: dict[str, Run]) -> None:
    """Have `sim.run.run` look into `made` first, by the whole of what it takes."""
    simulated = sim.run.run

    def once(job: Job, *rest: Any, **more: Any) -> Run:
        key = repr((job, rest, more))
        if key not in made:
            made[key] = simulated(job, *rest, **more)
        return made[key]

    patch.setattr(sim.run, "run", once)


def simulate_once(patch: pytest.MonkeyPatch, made: dict[str, Run], minutes_unasked: float = 1.0) -> None:
    """Likewise `sim.run.simulated`, by which every command judges.

    `minutes_unasked`: of a run whose length nobody asked for, as where the settings of trials are judged.
    """
    simulated = sim.run.simulated

    def once(plan: PacedJob, seed: int, minutes: float = minutes_unasked) -> Run:
        key = repr((plan.job, plan.welds_per_minute, seed, minutes))
        if key not in made:
            made[key] = simulated(plan, seed, minutes)
        return made[key]

    patch.setattr(sim.run, "simulated", once)
