"""Commands to begin with: `demo` and `new`."""

from __future__ import annotations

import shlex
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from gen.ask import Inquiry, NotTaken, Unsure, reply_of
from gen.begin import (
    DEMO_SCHEDULE,
    FIRST_SCHEDULE,
    INQUIRIES,
    demo_files,
    interview,
    machine_files,
    without_asking,
    wrong_with,
)
from gen.cautions import CAUTIONS, caution_lines
from gen.cli.options import USER_PATH, json_option, taken
from gen.cli.prove import reported, run_json, write_results
from gen.cli.said import say, say_object
from gen.cli.show import table_text, verdict_text
from gen.cli.terminal import Asked
from gen.commissioning import marked_typical
from gen.errors import InputError
from gen.job import read_job
from gen.machine.welder import WELDER_FILE
from gen.user_files import written
from gen.writing import check_bundle_folder, check_own_folder, check_without, write_bundle, write_whole

DEMO_PACE = 4.0
_BEFORE = (
    "Weldbeat asks about the machine, one thing at a time. A number picks a choice,",
    "words will do as well, Enter alone means that you do not know, and `back`",
    "goes one question back. Nothing is written before the summary at the end.",
)


def _activate() -> str:
    """The command line that lets a shell find `weldbeat` in every folder."""
    if sys.platform == "win32":
        return str(Path(sys.prefix, "Scripts", "activate"))
    return f". {shlex.quote(str(Path(sys.prefix, 'bin', 'activate')))}"


@click.command("demo")
@click.argument("folder", type=USER_PATH)
@json_option
def demo_command(folder: Path, as_json: bool) -> int:
    """Write a worked example into FOLDER: welder and schedule files, firmware, report, waveforms."""
    texts = demo_files()
    check_own_folder("FOLDER", folder, texts)
    with TemporaryDirectory() as scratch:
        for name, text in texts.items():
            write_whole(Path(scratch, name), text)
        job = read_job(Path(scratch, DEMO_SCHEDULE), Path(scratch, WELDER_FILE))
    check_bundle_folder(folder / "firmware", job.bundle, "FOLDER")
    from sim.run import run as run_job

    run = run_job(job, DEMO_PACE, seed=1)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        write_whole(folder / name, text)
    write_bundle(folder / "firmware", job.bundle)
    write_results(run, (folder / "report.html", reported(run)), folder / "trace.vcd", folder / "weld.csv")
    made = (
        (WELDER_FILE, "the machine"),
        (DEMO_SCHEDULE, "the schedule"),
        ("firmware", f"{len(job.bundle.files)} files for the board, digest {job.bundle.digest}"),
        ("report.html", "the run as pictures, the findings, the cautions: open it in a browser"),
        ("trace.vcd", "the waveforms, for a waveform viewer"),
        ("weld.csv", "every current that flowed"),
    )
    if as_json:
        say_object(run_json(run) | {"written": [str(folder / name) for name, _ in made]})
        return 1 if run.verdict.refused else 0
    say(table_text(run.job))
    say("")
    say(verdict_text(run))
    say(f"\nWritten to {folder}:")
    for name, what in made:
        say(f"  {name:<20}{what}")
    say("\nInvented figures on an invented machine: for yours, go on with")
    if shutil.which("weldbeat") is None:  # called by its path: the shell does not find the commands below
        say(f"  {_activate()}")
    say("  weldbeat new my-welder")
    say("  cd my-welder")
    say(f"  weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    return 1 if run.verdict.refused else 0


def _reply(inquiry: Inquiry) -> Callable[[Any], Any]:
    """An option's type: the text is read as an answer to the question."""

    def read(text: Any) -> Any:
        if (found := reply_of(inquiry, str(text), by_number=False)) is Unsure.BACK:
            raise NotTaken(written(text), "an answer")
        return found

    return taken(read)


def _options(command: Any) -> Any:
    """One option for each question, in order. The help lists them together, because `new` explains each question."""
    for inquiry in reversed(INQUIRIES):
        option = click.option(_option(inquiry.key), inquiry.key, type=_reply(inquiry), metavar="ANSWER", hidden=True)
        command = option(command)
    return command


def _option(key: str) -> str:
    return f"--{key.replace('_', '-')}"


@click.command(
    "new",
    epilog=f"Options for answers, each after two dashes: {', '.join(inquiry.key.replace('_', '-') for inquiry in INQUIRIES)}.",
)
@click.argument("folder", type=USER_PATH)
@_options
@click.option("--typical", is_flag=True, help="Ask nothing: answers without an option are not known.")
@json_option
def new_command(folder: Path, typical: bool, as_json: bool, **options: Any) -> None:
    """Write commented welder and schedule files for a machine of your own into FOLDER.

    It asks one question at a time, and accepts "do not know" everywhere. Nothing is written before you say so. Each answer
    may be given as an option instead, in the same words: --breaker C20, --supply 120V, --force "foot lever".
    With --json or --typical it asks nothing.
    """
    check_without("FOLDER", folder, (WELDER_FILE, FIRST_SCHEDULE))
    given = {key: value for key, value in options.items() if value is not None}
    if typical or as_json:
        answers = without_asking(given)
    else:
        for line in _BEFORE:
            say(line)
        answers = interview(Asked(), given, wrong_with)
    not_applicable = [key for key in given if key not in answers]
    if not_applicable:
        allowed = "it belongs to another answer; allowed: only with that"
        raise InputError("command line", _option(not_applicable[0]), None, allowed)
    texts = machine_files(answers)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        write_whole(folder / name, text)
    if as_json:
        typical_keys = sorted(marked_typical(texts[WELDER_FILE]))
        written_files = [str(folder / name) for name in texts]
        say_object({"written": written_files, "typical": typical_keys, "cautions": CAUTIONS})
        return
    say(f"\nWritten: {folder / WELDER_FILE} and {folder / FIRST_SCHEDULE}. Values marked typical are guesses.")
    say(f"Then, in {folder}: weldbeat simulate {FIRST_SCHEDULE} --report report.html")
    say("")
    for line in caution_lines():
        say(line)
    say("\nNext:")
    say(f"  cd {folder}")
    say("  weldbeat next")
