"""What a verdict is passed on: a job at a pace, and what the bench recorded of it."""

from __future__ import annotations

from dataclasses import dataclass

from gen.boards import Board
from gen.job import Job
from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.bench.recording import Recording
from sim.core.weld_current import WeldCurrents


@dataclass(frozen=True, eq=False, kw_only=True)
class PacedJob:
    """A job worked at a pace, before anything is simulated."""

    job: Job
    welds_per_minute: float
    currents: WeldCurrents  # of one weld: computed once for every check
    names_safe_pace: bool = (
        True  # advice names the pace that a part would bear, or what a start would draw: long to find
    )

    @property
    def table(self) -> TimingTable:
        return self.job.table

    @property
    def welder(self) -> Welder:
        return self.job.welder

    @property
    def board(self) -> Board:
        return self.job.board


@dataclass(frozen=True, eq=False, kw_only=True)
class SimulatedJob(PacedJob):
    """The same with what the bench recorded while the firmware ran."""

    recording: Recording
    open_electrodes: Recording  # of one weld with nothing between the electrodes
