"""`weldbeat weld`: the currents of the welds kept by `watch`."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import click

from gen.cli.commands import Listed
from gen.cli.options import USER_PATH, json_option, number, welder_option
from gen.cli.said import say, say_data, say_object
from gen.errors import InputError
from gen.job import find_welder
from gen.machine import WELDER_FILE, Welder
from gen.measured import GATES, Course, Drift, correction_text, course_of, drift_of, job_of, to_csv, work_ohms
from gen.records import GateRecord, Records, WeldRecord
from gen.user_files import figure, written
from gen.words import NOT_TIMED, RUNS_ON_US
from gen.writing import check_drawn, write_whole

_COMMANDS = {
    "show": ("weld", "Print or draw load angle and resistance of each half-cycle."),
    "export": ("weld", "Write the half-cycles as CSV, one a line."),
}


@click.group(
    "weld", cls=Listed, sections={"Commands": _COMMANDS}, context_settings={"help_option_names": ["-h", "--help"]}
)
def weld_command() -> None:
    """Show, draw or write recorded welds, half-cycle by half-cycle: timed by the board, and kept by `weldbeat watch`."""


def weld_named(text: str) -> tuple[int, int]:
    """BOOT/COUNT as typed. Raises BadParameter."""
    found = re.fullmatch(r"(\d{1,9})/(\d{1,9})", text)
    if found is None:
        allowed = "allowed: boot and count of a weld, as `weldbeat watch --json` prints them, such as 7/12"
        raise click.BadParameter(f"{written(text)} given; {allowed}")
    return int(found[1]), int(found[2])


_welds_argument = click.argument("welds", nargs=-1, type=weld_named, metavar="[BOOT/COUNT]...")


TimedWeld = tuple[Course, list[GateRecord]]


def _timed(records: Records, named: tuple[tuple[int, int], ...]) -> list[TimedWeld]:
    """The welds named, or the last one that was timed. Raises InputError for one that was not timed."""
    kept = records.welds()
    if not named:
        for weld in reversed(kept):
            if gates := records.curve(weld):
                return [(course_of(weld, gates), gates)]
        raise InputError("records.sqlite", "no weld was timed", None, _ALLOWED)
    return [_one(records, kept, which) for which in named]


_ALLOWED = (
    "allowed: a weld that `weldbeat watch` kept of a board with a sense across the switch (board.conduction_sense) or a "
    "current transformer (current_sense)"
)


def _one(records: Records, kept: list[WeldRecord], which: tuple[int, int]) -> TimedWeld:
    for weld in reversed(kept):
        if (weld.boot, weld.count) == which and (gates := records.curve(weld)):
            return course_of(weld, gates), gates
    raise InputError("command line", "BOOT/COUNT", f"{which[0]}/{which[1]}", f"was not timed; {_ALLOWED}")


def course_named(records: Records, which: tuple[int, int]) -> Course:
    """The weld of that boot and count. Raises InputError where it was not timed."""
    return _one(records, records.welds(), which)[0]


def courses_last(records: Records, count: int) -> list[Course]:
    """The last welds that were timed, newest first. Raises InputError where there are fewer."""
    found = [course_of(weld, gates) for weld in reversed(records.welds()) if (gates := records.curve(weld))][:count]
    if len(found) < count:
        raise InputError("records.sqlite", f"{len(found)} welds were timed", None, _ALLOWED)
    return found


VOLTS = (90.0, 480.0)  # limits of the mains voltage


@click.command("show")
@_welds_argument
@click.option(
    "--shorted", type=weld_named, metavar="BOOT/COUNT", help="A weld with shorted electrodes, to separate the work."
)
@click.option(
    "--since",
    type=weld_named,
    metavar="BOOT/COUNT",
    help="First weld after dressing the electrodes, for the trend.",
)
@click.option("--volts", type=number(*VOLTS), metavar="NUMBER", help="Mains voltage before these welds, to give ohms.")
@click.option("-o", "--output", type=USER_PATH, help="Draw the welds, overlaid, in this SVG file.")
@welder_option
@json_option
def show_command(
    welds: tuple[tuple[int, int], ...],
    shorted: tuple[int, int] | None,
    since: tuple[int, int] | None,
    volts: float | None,
    output: Path | None,
    welder_path: Path | None,
    as_json: bool,
) -> None:
    """Each half-cycle of these welds, or of the last: firing, load angle, resistance over reactance, RMS primary current.

    The reactance of the loop does not change within a weld, so the ratio follows the resistance. Its changes are accurate to
    about one per cent; its level depends on the errors of coupler and mains. With --volts, and the loop that `weldbeat calibrate
    --loop` measured, the current gives the work's resistance in ohms, referred to the primary: half of the cycles within 3 %,
    19 of 20 within 10 %. The trend over the welds of the last one's job shows when to dress the electrodes.
    """
    loop = _loop(find_welder(welder_path), volts)
    check_drawn("--output", output, ".svg", keep=(welder_path or Path(WELDER_FILE),))
    with Records.beside(welder_path or Path(WELDER_FILE)) as records:
        timed = _timed(records, welds)
        short = _timed(records, (shorted,))[0][0] if shorted is not None else None
        courses = [course for course, _ in timed]
        drift = _drift(records, courses[-1].weld, since)
    if output is not None:
        from sim.report.welds import standalone_welds

        write_whole(output, standalone_welds(courses, short))
    if as_json:
        say_data(json.dumps([_data(course, short, drift) | {"work_ohm": loop(course)} for course in courses], indent=2))
        return
    for course in courses:
        say("\n".join(_lines(course, short, loop(course))))
    if drift is not None:
        say(drift.text)
    if output is not None:
        say(f"Written: {output}")


def _loop(welder: Welder, volts: float | None) -> Callable[[Course], tuple[tuple[int, float], ...] | None]:
    """The function that gives a weld's work in ohms, by the first gate of each cycle; None without `volts`. Raises InputError."""
    if volts is None:
        return lambda course: None
    loop, tap = welder.shorted_loop, welder.transformer.tap
    if loop is None or (loop.tap or tap) != tap:
        allowed = (
            "allowed: with [shorted_loop] in the welder file, measured on the tap in use (`weldbeat calibrate --loop`)"
        )
        raise InputError("command line", "--volts", figure(volts), allowed)
    return lambda course: work_ohms(course, loop, volts, welder.mains.frequency_Hz)


def _lines(course: Course, short: Course | None, work: tuple[tuple[int, float], ...] | None) -> list[str]:
    weld = course.weld
    lines = [f"Weld {weld.boot}/{weld.count}, {weld.ended_at}: {weld.ending}, {len(course.seen)} half-cycles timed."]
    if told := correction_text(weld):
        lines.append(f"  {told}")
    lines.append("  half-cycle  fired at  current for  load angle      R/X  current")
    for seen in course.seen:
        length = {NOT_TIMED: "", 0: "none", RUNS_ON_US: "runs on"}.get(
            seen.length_us, f"{seen.length_us / 1000:.2f} ms"
        )
        angle = "" if seen.angle_deg is None else f"{seen.angle_deg.low:.1f} to {seen.angle_deg.high:.1f}"
        ratio = "" if seen.ratio is None else f"{seen.ratio:.3f}"
        current = "" if seen.current_A is None else f"{seen.current_A:.1f} A"
        row = f"  {seen.gate + 1:>10}{seen.delay_deg:>10.1f}{length:>13}  {angle:<14}{ratio:>5}{current:>9}"
        lines.append(row.rstrip())
    if work:
        cycles = ", ".join(f"{ohm:.3g}" for _, ohm in work)
        lines.append(
            f"The work in ohms, seen from the primary, cycle by cycle from half-cycle {work[0][0] + 1}: {cycles}."
        )
    for gate in course.sudden_falls:
        lines.append(f"The resistance fell suddenly at half-cycle {gate + 1}: expulsion is likely.")
    if short is not None and course.cycles:
        values = [value for _, value in course.work(short)]
        lines.append(f"The work alone, over the reactance: {min(values):.3f} to {max(values):.3f}.")
    return lines


def _drift(records: Records, weld: WeldRecord, since: tuple[int, int] | None) -> Drift | None:
    """Over the job of a weld."""
    kept = records.welds()
    first = None if since is None else _one(records, kept, since)[0].weld
    return drift_of([course_of(one, records.curve(one)[:GATES]) for one in job_of(weld, kept, first)])


def _data(course: Course, short: Course | None, drift: Drift | None) -> dict[str, object]:
    return {
        "drift": None if drift is None else {"of": drift.of, **vars(drift.slope), "drifts": drift.slope.drifts},
        "weld": vars(course.weld),
        "half_cycles": [
            {**vars(seen), "angle_deg": None if seen.angle_deg is None else [seen.angle_deg.low, seen.angle_deg.high]}
            for seen in course.seen
        ],
        "sudden_falls": list(course.sudden_falls),
        "work_over_reactance": None if short is None else [list(pair) for pair in course.work(short)],
    }


@click.command("export")
@click.argument("output", type=USER_PATH)
@_welds_argument
@welder_option
@json_option
def export_command(output: Path, welds: tuple[tuple[int, int], ...], welder_path: Path | None, as_json: bool) -> None:
    """Write the half-cycles of the welds named, or of the last, into the CSV file OUTPUT."""
    find_welder(welder_path)
    check_drawn("OUTPUT", output, ".csv", keep=(welder_path or Path(WELDER_FILE),))
    with Records.beside(welder_path or Path(WELDER_FILE)) as records:
        timed = _timed(records, welds)
    write_whole(output, to_csv(timed))
    count = sum(len(gates) for _, gates in timed)
    if as_json:
        say_object({"written": str(output), "half_cycles": count})
        return
    say(f"Written: {output}, {count} half-cycles.")
