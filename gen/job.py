"""The main job as a value: a schedule, its machine, the compiled timing table and the rendered firmware."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from gen.boards import Board, boards
from gen.correction import strongest, weakest
from gen.errors import InputError
from gen.firmware import FirmwareBundle, render
from gen.machine.welder import WELDER_FILE, Welder, read_welder
from gen.schedule import Schedule, read_schedule
from gen.table import TimingTable
from gen.timing import compile_schedule
from gen.user_files import Wrong, written


@dataclass(frozen=True)
class Job:
    """A schedule on a machine, to be simulated or flashed."""

    schedule: Schedule
    welder: Welder
    board: Board
    table: TimingTable
    bundle: FirmwareBundle

    @cached_property
    def strongest(self) -> TimingTable:
        """The most that the board may make of the table from weld to weld; the table itself where it corrects nothing."""
        return strongest(self.table, self.welder, self.board)

    @cached_property
    def weakest(self) -> TimingTable:
        """The least, likewise."""
        return weakest(self.table, self.welder, self.board)


def read_job(schedule_path: Path, welder_path: Path | None = None) -> Job:
    """Read both files, compile and render. The welder file is found as `find_welder` does. Raises InputError."""
    welder = find_welder(welder_path)
    return make_job(read_schedule(schedule_path), welder, schedule_path)


def make_job(schedule: Schedule, welder: Welder, source: Path) -> Job:
    """Compile and render. `source` names the schedule's file in a message. Raises InputError."""
    board = board_of(welder)
    table = compile_schedule(schedule, welder, board, source)
    return Job(schedule, welder, board, table, render(table, welder, board))


def find_welder(welder_path: Path | None = None) -> Welder:
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
    check_board(welder, path)
    return welder


def check_board(welder: Welder, path: Path) -> None:
    """Raise InputError, which names the file `path`, for an unknown board or for pins that it does not have."""
    if welder.board.name not in boards():
        names = ", ".join(str(written(name)) for name in boards())
        raise InputError(path, "board.name", written(welder.board.name), f"allowed: {names}; see `weldbeat boards`")
    try:
        board_of(welder)
    except Wrong as wrong:
        raise InputError(path, f"board.{wrong.key}", wrong.given, str(wrong)) from None


def board_of(welder: Welder) -> Board:
    """The board and pins chosen in a welder file. `find_welder` has checked both."""
    return boards()[welder.board.name].with_pins(welder.board.pins)
