"""What most commands begin with: read the files, compile, render, run, judge."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gen.boards import Board, boards
from gen.errors import InputError
from gen.firmware import FirmwareBundle, render
from gen.machine.welder import WELDER_FILE, Welder, read_welder
from gen.schedule import Schedule, read_schedule
from gen.table import TimingTable
from gen.timing import compile_schedule
from gen.user_files import Wrong, written

if TYPE_CHECKING:
    from sim.bench.recording import Recording
    from sim.verdict import Verdict


@dataclass(frozen=True)
class Job:
    """A schedule on a machine, compiled."""

    schedule: Schedule
    welder: Welder
    board: Board
    table: TimingTable

    @property
    def firmware(self) -> FirmwareBundle:
        return render(self.table, self.welder, self.board)


@dataclass(frozen=True)
class Run:
    """A job that was run on the bench, and judged."""

    job: Job
    bundle: FirmwareBundle
    recording: Recording
    verdict: Verdict
    welds_per_minute: float


def find_welder(welder_path: Path | None) -> Welder:
    """The welder file named, or `welder.toml` in the current folder. Raises InputError."""
    path = welder_path or Path(WELDER_FILE)
    if welder_path is None and not path.exists():
        raise InputError(
            WELDER_FILE,
            "no such file",
            None,
            "looked for in this folder; allowed: name one with --welder, or make one with `weldbeat new`",
        )
    welder = read_welder(path)
    if welder.board.name not in boards():
        names = ", ".join(str(written(name)) for name in boards())
        raise InputError(path, "board.name", written(welder.board.name), f"allowed: {names}; see `weldbeat boards`")
    try:
        board_of(welder)
    except Wrong as wrong:
        raise InputError(path, f"board.{wrong.key}", wrong.given, str(wrong)) from None
    return welder


def board_of(welder: Welder) -> Board:
    """The board of a welder file that `find_welder` let pass, with the pins that it chooses."""
    return boards()[welder.board.name].with_pins(welder.board.pins)


def read_job(schedule_path: Path, welder_path: Path | None) -> Job:
    """Read and compile. The welder file is found as `find_welder` does. Raises InputError."""
    welder = find_welder(welder_path)
    board = board_of(welder)
    schedule = read_schedule(schedule_path)
    return Job(schedule, welder, board, compile_schedule(schedule, welder, board, schedule_path))


def run_job(job: Job, minutes: float, welds_per_minute: float, seed: int) -> Run:
    """Simulate at the pace asked, and once with open electrodes, and judge both."""
    from sim.bench.world import bench_for, simulate
    from sim.verdict import judge

    bundle = job.firmware
    bench = bench_for(job.welder, job.table, minutes=minutes, welds_per_minute=welds_per_minute, seed=seed)
    recording = simulate(bundle, job.table, bench)
    one_weld = bench_for(job.welder, job.table, minutes=0.02, welds_per_minute=1, seed=seed, open_electrodes=True)
    unloaded = simulate(bundle, job.table, one_weld)
    verdict = judge(recording, unloaded, job.table, job.welder, job.board, welds_per_minute)
    return Run(job, bundle, recording, verdict, welds_per_minute)
