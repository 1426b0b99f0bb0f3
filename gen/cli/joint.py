"""The commands of the joint model: `joint show` draws one weld, `joint window` computes the good weld times."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gen.cautions import AT_THE_ELECTRODES
from gen.cli.commands import Listed
from gen.cli.options import USER_PATH, json_option, number, welder_option
from gen.cli.said import said, said_all, say, say_object
from gen.cli.trial import joint_argument
from gen.handbook import Suggestion, table_force_N, with_electrodes
from gen.job import find_welder, make_job
from gen.joint import Joint, read_joint
from gen.machine import Change, Welder
from gen.quantities import parts
from gen.schedule import read_schedule
from gen.trials.values import ComputedTimes
from gen.user_files import written
from gen.writing import cached, check_drawn, write_whole

if TYPE_CHECKING:
    from sim.joint.estimate import ElectrodeResult, JointWork
    from sim.joint.window import JointWindow

_COMMANDS = {
    "show": ("joint", "Draw the joint at six instants of a weld, with its ending."),
    "window": ("joint", "Compute which weld times and percents make a good weld."),
}


@click.group(
    "joint", cls=Listed, sections={"Commands": _COMMANDS}, context_settings={"help_option_names": ["-h", "--help"]}
)
def joint_command() -> None:
    """Compute the heat, setdown, nugget and resistance of a joint on this machine."""


@click.command("show")
@joint_argument
@click.argument("schedule", type=USER_PATH, required=False)
@click.option("-o", "--output", type=USER_PATH, help="Write the page to this file (.html).")
@welder_option
@json_option
def show_command(
    joint: Path, schedule: Path | None, output: Path | None, welder_path: Path | None, as_json: bool
) -> None:
    """Draw a weld of JOINT by SCHEDULE, or at 100 % current until it is good: sections, curves and ending.

    It is computed, not measured, and takes some seconds. Rust, zinc and worn faces are left out: test the weld on scrap.
    """
    from sim.joint.estimate import as_input_error
    from sim.report.joint_course import course_page, render_course

    files = [joint, *([schedule] if schedule else [])]
    check_drawn("--output", output, ".html", files)
    wanted, welder = read_joint(joint), find_welder(welder_path)
    table = make_job(read_schedule(schedule), welder, schedule).table if schedule else None
    with as_input_error(joint, welder_path):
        page = course_page(joint.stem, with_electrodes(wanted, welder), welder, table, table_force_N(wanted, welder))
    trust = [f"{sentence[:1].upper()}{sentence[1:]}." for sentence in (*page.assumed, *page.outcome.doubts)]
    if output:
        write_whole(output, render_course(page))
    if as_json:
        say_object(
            {
                "ending": page.outcome.ending,
                "why": page.outcome.why,
                "figures": [{"name": name, "says": words} for name, words in page.lines],
                "trust": trust,
                "cautions": AT_THE_ELECTRODES,
                "written": None if output is None else str(output),
            }
        )
        return
    say(said(f"Computed, not measured: {page.outcome.ending}; {page.outcome.why}.", ""))
    width = max(len(name) for name, _ in page.lines) + 2
    for name, words in page.lines:
        say(said(f"{name:<{width}}{words}"))
    say("\n".join(said_all("How far to trust it", trust)))
    say("\n".join(said_all("Cautions", AT_THE_ELECTRODES)))
    if output:
        say(f"\nWritten: {output}. Open it in a browser, or print it.")


def by_model(joint: Joint, welder: Welder, found: Suggestion, where: Path | str) -> tuple[str, ...]:
    """The model's sentences on a suggestion. Raises InputError, as `joint show` does."""
    from sim.joint.estimate import as_input_error, model_sentences

    with as_input_error(where, None):
        return model_sentences(with_electrodes(joint, welder), welder, found, table_force_N(joint, welder))


def _percents(text: str) -> tuple[int, ...]:
    """Whole percents, rising, each once."""
    read = number(1, 100)
    found = {read(part) for part in parts(text)}
    if not found or len(found) != len(parts(text)) or any(each != int(each) for each in found):
        raise click.BadParameter(
            f"{written(text)} given; allowed: whole percents from 1 to 100, each once, such as 80,100"
        )
    return tuple(sorted(int(each) for each in found))


@click.command("window")
@joint_argument
@click.option("-o", "--output", type=USER_PATH, help="Draw it to this file (.svg).")
@click.option(
    "--percent",
    "percents",
    type=_percents,
    metavar="N[,N]",
    help="Only at these percents, such as 80,100, which is quicker.",
)
@click.option(
    "--draws", type=number(1, 200), metavar="NUMBER", help="Draws of the uncertain properties, 1 to 200; by default 12."
)
@welder_option
@json_option
def window_command(
    joint: Path,
    output: Path | None,
    percents: tuple[int, ...] | None,
    draws: int | None,
    welder_path: Path | None,
    as_json: bool,
) -> None:
    """Compute the ending of welds of JOINT over weld time and percent current on this machine.

    It is computed, not measured. The first run takes up to a minute and a half; the result is kept until joint or machine change.
    """
    from sim.joint.estimate import as_input_error, trust
    from sim.joint.outcome import doubts
    from sim.report.joint_window import standalone_window, window_lines

    check_drawn("--output", output, ".svg", [joint])
    wanted, welder = read_joint(joint), find_welder(welder_path)
    with as_input_error(joint, welder_path):
        given, window = computed_window(wanted, welder, percents, draws)
    if output:
        write_whole(output, standalone_window(window, f"{joint.stem}: {wanted.title}"))
    sentences = (*given.assumed, *doubts(given.work), *trust(given.work))
    trusted = [f"{sentence[:1].upper()}{sentence[1:]}." for sentence in sentences]
    lines = window_lines(window)
    if as_json:
        told = [
            {
                "percent": each.percent,
                "settings": [
                    {"weld_s": time_s, "ending": each.cell(time_s), "good_share": each.share(time_s, "good")}
                    for time_s in window.times_s
                ],
            }
            for each in window.percents
        ]
        say_object(
            {
                "windows": [{"name": name, "says": words} for name, words in lines],
                "percents": told,
                "trust": trusted,
                "cautions": AT_THE_ELECTRODES,
                "written": None if output is None else str(output),
            }
        )
        return
    say(said(f"{wanted.title}. Computed, not measured; in brackets, the range of the edge over the draws.", ""))
    for name, words in lines:
        say(said(f"{name:<7}{words}"))
    say("\n".join(said_all("How far to trust it", trusted)))
    say("\n".join(said_all("Cautions", AT_THE_ELECTRODES)))
    if output:
        say(f"\nWritten: {output}")


def computed_window(
    joint: Joint, welder: Welder, percents: tuple[int, ...] | None = None, draws: int | None = None
) -> tuple[JointWork, JointWindow]:
    """The joint in the form of the model, and its window: the cached one, or one computed on all processors and then cached.

    Raises as `asked` and `window_of` do.
    """
    from sim.joint.kept import window_kept
    from sim.joint.window import planned, processors

    given, plan = planned(joint, welder, percents, draws)
    return given, window_kept(plan, cached, processors(), _progress)


def by_electrodes(joint: Path, welder: Welder, change: Change) -> tuple[ElectrodeResult, ElectrodeResult]:
    """A joint's weld under two pairs of electrodes. Raises InputError, about the joint's file."""
    from sim.joint.estimate import as_input_error, by_both_electrodes

    wanted = read_joint(joint)
    with as_input_error(joint, None):
        return by_both_electrodes(wanted, welder, change, table_force_N(wanted, welder))


def by_window(joint: Joint, welder: Welder) -> ComputedTimes | None:
    """The good weld times by the model, at the highest percent that has any. None where the model has no result."""
    from sim.joint.kept import computed_times
    from sim.joint.window import processors

    return computed_times(joint, welder, cached, processors(), _progress)


@contextmanager
def _progress(welds: int) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error, if that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=welds, label="Welds computed", file=sys.stderr) as bar:
        yield bar.update
