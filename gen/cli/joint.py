"""The command that shows what the joint model makes of a weld: `joint show`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from gen.cautions import AT_THE_ELECTRODES
from gen.cli.commands import Listed
from gen.cli.options import USER_PATH, json_option, welder_option
from gen.cli.said import said, said_all, say, say_object
from gen.cli.trial import joint_argument
from gen.errors import InputError
from gen.handbook import Suggestion, table_force_N, with_electrodes
from gen.job import find_welder, make_job
from gen.joint import Joint, read_joint
from gen.machine import WELDER_FILE, Welder
from gen.schedule import read_schedule
from gen.user_files import Wrong
from gen.writing import check_drawn, write_whole

_COMMANDS = {"show": ("joint", "Draw the joint at six instants of a weld, and say how it ends.")}


@click.group(
    "joint", cls=Listed, sections={"Commands": _COMMANDS}, context_settings={"help_option_names": ["-h", "--help"]}
)
def joint_command() -> None:
    """What the current does to the work: heat, setdown, nugget and resistance, computed from the joint and this machine."""


@click.command("show")
@joint_argument
@click.argument("schedule", type=USER_PATH, required=False)
@click.option("-o", "--output", type=USER_PATH, help="Write the page to this file (.html).")
@welder_option
@json_option
def show_command(
    joint: Path, schedule: Path | None, output: Path | None, welder_path: Path | None, as_json: bool
) -> None:
    """Draw a weld of JOINT by SCHEDULE, or at 100 % current until it is good: sections, curves, how it ends.

    It is computed and not measured, and takes some seconds. Rust, zinc and worn faces are not in it: try the weld on scrap.
    """
    from sim.report.joint_course import course_page, render_course

    files = [joint, *([schedule] if schedule else [])]
    check_drawn("--output", output, ".html", files)
    wanted, welder = read_joint(joint), find_welder(welder_path)
    table = make_job(read_schedule(schedule), welder, schedule).table if schedule else None
    with _in_one_message(joint, welder_path):
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
    """What the model says beside a suggestion. Raises InputError, as `joint show` does."""
    from sim.joint.asked import told

    with _in_one_message(where, None):
        return told(with_electrodes(joint, welder), welder, found, table_force_N(joint, welder))


@contextmanager
def _in_one_message(where: Path | str, welder_path: Path | None) -> Iterator[None]:
    """What the model refuses, as a message about a file."""
    from sim.joint.field import Diverged
    from sim.joint.machine import NoCurrentKnown

    try:
        yield
    except Wrong as wrong:
        raise InputError(where, wrong.key, wrong.given, str(wrong)) from None
    except NoCurrentKnown as error:
        allowed = "missing; allowed: this or transformer.taps, from which the secondary current follows"
        raise InputError(welder_path or Path(WELDER_FILE), str(error), None, allowed) from None
    except Diverged as error:
        raise InputError(where, "the joint's model", None, f"{error}; no figure is given") from None
