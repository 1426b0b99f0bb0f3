"""The main job's second half: simulate a job's firmware at a pace, and judge the run."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from gen.job import Job
from sim.bench.world import bench_for, simulate
from sim.core.weld_current import weld_currents
from sim.verdict import PacedJob, SimulatedJob, Verdict, judge, judge_plan
from sim.verdict.finding import Finding
from sim.verdict.heat import SLOWEST_PACE, FastestPace, fastest_pace
from sim.verdict.recorded import WeldCount, weld_count

QUICKEST_PACE = 120.0  # welds a minute, the most that can be asked for


@dataclass(frozen=True, eq=False, kw_only=True)
class Run(SimulatedJob):
    """A job that was simulated at a pace, and judged."""

    verdict: Verdict

    @cached_property
    def fastest(self) -> FastestPace:
        """The fastest pace that passes no limit in endless work."""
        return fastest_pace(self.job, self.currents)

    @cached_property
    def weld_count(self) -> WeldCount:
        """The welds asked for, made and not accepted."""
        return weld_count(self.recording)


def run(job: Job, pace: float | None, seed: int, minutes: float = 1.0) -> Run:
    """Simulate for `minutes` at a pace in welds a minute, and judge. None: the fastest pace that passes no limit.

    A second recording has one weld with nothing between the electrodes. Same input, same run.
    """
    return simulated(paced(job, pace), seed, minutes)


def paced(job: Job, pace: float | None) -> PacedJob:
    """The job at a pace, with the currents of one weld. Nothing is simulated yet. `pace` is as in `run`."""
    currents = weld_currents(job.strongest, job.welder)
    if pace is None:
        pace = min(QUICKEST_PACE, max(SLOWEST_PACE, fastest_pace(job, currents).welds_per_minute))
    return PacedJob(job=job, welds_per_minute=pace, currents=currents)


def simulated(plan: PacedJob, seed: int, minutes: float = 1.0) -> Run:
    """Simulate a paced job, and judge it."""
    job, pace = plan.job, plan.welds_per_minute
    bench = bench_for(job.welder, job.table, minutes=minutes, welds_per_minute=pace, seed=seed)
    one_weld = bench_for(job.welder, job.table, minutes=0.02, welds_per_minute=1, seed=seed, open_electrodes=True)
    recorded = SimulatedJob(
        job=job,
        welds_per_minute=pace,
        currents=plan.currents,
        recording=simulate(job.bundle, job.table, bench),
        open_electrodes=simulate(job.bundle, job.table, one_weld),
    )
    return Run(**vars(recorded), verdict=judge(recorded))


def refusal(job: Job, pace: float | None) -> Finding | None:
    """The gravest finding that refuses the job at a pace; None if it is not refused. `pace` is as in `run`.

    The job is simulated only if the checks that need no run pass.
    """
    plan = paced(job, pace)
    verdict = judge_plan(plan)
    if not verdict.refused:
        verdict = simulated(plan, seed=0).verdict
    return next((found for found in verdict.findings if found.severity == "refuse"), None)
