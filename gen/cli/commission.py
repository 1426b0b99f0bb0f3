"""The commands of commissioning: `commission` walks the steps, `calibrate` writes readings to the welder file."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from gen.boards import Board, boards
from gen.cautions import CAUTIONS, caution_lines
from gen.cli.options import USER_PATH, json_option, number, welder_option
from gen.cli.said import say, say_data, say_object, visible
from gen.cli.show import verdict_text
from gen.cli.terminal import Asked
from gen.cli.weld import VOLTS, course_named, courses_last, weld_named
from gen.commissioning import (
    Judged,
    Narrowed,
    RecordLine,
    Shot,
    Step,
    calibrated,
    difference,
    last_walk,
    measured_values,
    narrowed,
    record_html,
    record_lines,
    sheet_html,
    steps,
    values_of_last_walk,
    values_of_loop,
    values_of_welds,
    walking,
)
from gen.errors import InputError
from gen.job import find_welder
from gen.machine.welder import WELDER_FILE, Welder, welder_from
from gen.records import RECORDS_FILE, Records
from gen.user_files import figure, written
from gen.writing import check_targets, write_whole

_WIDTH = 78


@click.command("commission")
@click.argument("port", required=False)
@welder_option
@click.option("--sheet", type=USER_PATH, help="Write the numbered steps as a sheet, one HTML file; no walk.")
@click.option("--record", type=USER_PATH, help="Write the last walk as a record to sign, HTML; no walk.")
@click.option("--anew", is_flag=True, help="Begin a new walk, from the first step.")
@json_option
def commission_command(
    port: str | None, welder_path: Path | None, sheet: Path | None, record: Path | None, anew: bool, as_json: bool
) -> int:
    """Walk the steps that take the welder from unpowered to its first weld, with the board on PORT.

    Each step says what must be off and on and what to read, and is judged against a limit with its source. A failed step
    ends the walk (exit code 1); repair the fault, and the same command continues there. Readings are kept in records.sqlite.
    Without PORT the only board found is used; without any, the steps that need one report "not checked". With --json no walk is
    made: the steps and the results of the last walk are printed.
    """
    welder, path = find_welder(welder_path), welder_path or Path(WELDER_FILE)
    board = boards()[welder.board.name]
    kept = path.absolute().parent / RECORDS_FILE
    check_targets({"--sheet": sheet, "--record": record}, keep=(path, kept))
    if sheet is not None or record is not None or as_json:
        for what, given in (("PORT", port), ("--anew", anew or None)):
            if given is not None:
                shown = None if given is True else written(given)
                raise InputError(
                    "command line", what, shown, "no walk is made; allowed: without --sheet, --record and --json"
                )
        made = _print(sheet, record, welder, board, kept)
        if as_json:
            checks = last_walk(kept)
            told = [_data(line) for line in record_lines(steps(welder, board), checks)]
            number = checks[-1].walk if checks else None
            say_object({"walk": number, "steps": told, "written": [str(path) for path in made], "cautions": CAUTIONS})
            return 0
        for path in made:
            say(f"Written: {path}")
        return 0
    with walking(welder, board, kept, _Guide(board), port, anew) as walk:
        for line in caution_lines():
            say(line)
        walked = walk.go()
        if walked.failed is not None:
            say(
                f"Stopped at step {walked.failed}. Isolate, lock off, repair the fault; the same command continues there."
            )
            return 1
        say("")
        say(f"Walk {walked.number}: {walked.count - len(walked.left_out)} of {walked.count} steps passed.")
        if walked.left_out:
            say(f"Not checked: {', '.join(walked.left_out)}.")
        say("The record to sign: weldbeat commission --record FILE.html. A new walk: weldbeat commission --anew.")
        if walked.values:
            say("The readings, in place of the welder file's values:")
            _offer(path, walked.values, (), yes=False)
    return 0


def _print(sheet: Path | None, record: Path | None, welder: Welder, board: Board, kept: Path) -> list[Path]:
    """Write the printable files, and return their paths. Both are made before the first is written."""
    made: list[tuple[Path, str]] = []
    if sheet is not None:
        made.append((sheet, sheet_html(welder, board, steps(welder, board))))
    if record is not None:
        made.append((record, record_html(welder, board, steps(welder, board), last_walk(kept))))
    for path, text in made:
        write_whole(path, text)
    return [path for path, _ in made]


def _data(line: RecordLine) -> dict[str, Any]:
    """A step and its checks as JSON data. A limit is null where there is none, or none on that side."""
    step = line.step
    low, high = (None if math.isinf(end) else end for end in (step.limit.low, step.limit.high))
    limit = {"low": low, "high": high, "unit": step.limit.unit, "source": step.limit.source}
    return {
        "key": step.key,
        "title": step.title,
        "stage": step.stage.title,
        "state": step.stage.state,
        "do": step.do,
        "read": step.read,
        "limit": limit if step.limit_text else None,
        "lacking": step.lacking,
        "needs_board": step.needs_board,
        "outcome": line.outcome,
        "tried": [vars(check) for check in line.tried],
    }


class _Guide(Asked):
    """A walk in a terminal."""

    def __init__(self, board: Board) -> None:
        super().__init__("  ")
        self._board = board

    def begin(self, place: int, count: int, step: Step, enters: bool) -> bool:
        say("")
        if enters:
            say(step.stage.title)
            for line in step.stage.state:
                self.say(line)
            for caution in step.stage.cautions:
                self.say(f"- {CAUTIONS[caution]}")
            if not self.yes("Is all of this so?"):
                return False
        say(f"Step {place} of {count}: {step.title}")
        return True

    def say(self, text: str) -> None:
        for line in textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False):
            say(line)

    def lets_by(self, shot: Shot) -> bool:
        from sim.run import run as run_job

        run = run_job(shot.job(self._board), 1, seed=0)
        if run.verdict.refused:
            say(verdict_text(run))
        return not run.verdict.refused

    def came_of(self, judged: Judged) -> None:
        outcome = "FAILED" if judged.outcome == "failed" else judged.outcome
        self.say(f"{outcome}: {judged.why}" if judged.why else outcome)


@click.command("calibrate")
@click.argument("values", nargs=-1, metavar="[KEY=VALUE]...")
@welder_option
@click.option("--working", type=weld_named, metavar="BOOT/COUNT", help="Take current and load angle from this weld.")
@click.option("--shorted", type=weld_named, metavar="BOOT/COUNT", help="Take the shorted current from this weld.")
@click.option(
    "--loop",
    type=weld_named,
    multiple=True,
    metavar="BOOT/COUNT",
    help="Take the loop from this weld with shorted electrodes; repeat it for several.",
)
@click.option(
    "--loop-last", type=number(1, 20), metavar="NUMBER", help="Take the loop from this number of last measured welds."
)
@click.option(
    "--volts", type=number(*VOLTS), metavar="NUMBER", help="The mains before the welds of the loop, read at the outlet."
)
@click.option("--yes", is_flag=True, help="Do not ask before the welder file is written.")
@json_option
def calibrate_command(
    values: tuple[str, ...], welder_path: Path | None, yes: bool, as_json: bool, **welds: Any
) -> None:
    """Write measured values to the welder file, in place of assumed ones, such as detector.offset_rise_us=412.

    Without KEY=VALUE the readings of the last commissioning are used. Welds that `watch` kept, on the work (--working) and
    on shorted electrodes (--shorted), give current and load angle where both were measured. Shorted welds at three firing
    delays or more (--loop, with --volts) give impedance and angle of the loop, and how late gates come. Make them on the tap in
    use, with reading_factor set: pulses of 4 cycles at 85, 70, 55 and 45 per cent, pushed as for shorted electrodes.

    The change, and the narrowing of the ranges, are shown first. The file is checked before it is written, and comments
    stay. With --json nothing is asked, and the file is written only with --yes.
    """
    welder, path = find_welder(welder_path), welder_path or Path(WELDER_FILE)
    kept = path.absolute().parent / RECORDS_FILE
    measured = measured_values(values)
    measured |= _of_welds(welder, path, **welds)
    measured = measured or values_of_last_walk(kept, welder)
    text = calibrated(path, measured)
    ranges = narrowed(welder, welder_from(text, path))
    if not as_json:
        _offer(path, measured, ranges, yes)
        return
    change = difference(path, text)
    if change and yes:
        write_whole(path, text)
    told = {r.name: {"before": [r.before.low, r.before.high], "after": [r.after.low, r.after.high]} for r in ranges}
    written_to = str(path) if change and yes else None
    say_object({"values": measured, "ranges": told, "difference": change, "written": written_to})


def _of_welds(
    welder: Welder,
    path: Path,
    working: tuple[int, int] | None,
    shorted: tuple[int, int] | None,
    loop: tuple[tuple[int, int], ...],
    loop_last: float | None,
    volts: float | None,
) -> dict[str, float | int | str]:
    """The values that recorded welds give; none where no weld is named. Raises InputError."""
    by_loop = bool(loop) or loop_last is not None
    if loop and loop_last is not None:
        raise InputError(
            "command line", "--loop-last", figure(loop_last), "allowed: --loop or --loop-last, one of them"
        )
    if volts is not None and not by_loop:
        raise InputError("command line", "--volts", figure(volts), "allowed: with --loop or --loop-last")
    if by_loop and volts is None:
        raise InputError(
            "command line", "--volts", None, "missing; allowed: the mains before these welds, read at the outlet"
        )
    if not by_loop and working is None and shorted is None:
        return {}
    with Records.beside(path) as records:
        on_work, on_short = (None if which is None else course_named(records, which) for which in (working, shorted))
        of_loop = [course_named(records, which) for which in dict.fromkeys(loop)]
        if loop_last is not None:
            of_loop = courses_last(records, int(loop_last))
    found = values_of_loop(welder, of_loop, volts) if volts is not None else {}
    return found | values_of_welds(welder, on_work, on_short, by_angle=not by_loop and welder.shorted_loop is None)


def _offer(path: Path, values: Mapping[str, float | int | str], ranges: Sequence[Narrowed], yes: bool) -> None:
    """Show the change of the welder file and the narrowing of its ranges. Write the file after a yes."""
    text = calibrated(path, values)
    shown = difference(path, text)
    if not shown:
        say(f"{path} holds these values already.")
        return
    say_data(shown)
    for one in ranges:
        say(one.text)
    if not yes and not click.confirm(visible(f"Write {path}?")):
        say("Nothing was written.")
        return
    write_whole(path, text)
    say(f"Written: {path}. The firmware uses these only after you simulate, build and flash anew.")
