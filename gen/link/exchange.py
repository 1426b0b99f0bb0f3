"""Whole exchanges with a board: identify it, push a schedule and read it back, pull a schedule as a file."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from gen.ask import NotTaken
from gen.job import Job
from gen.link.client import BoardSchedule, Link
from gen.link.errors import LinkError
from gen.link.messages import NAME_PATTERN
from gen.link.ports import FoundPort
from gen.link.rebuilding import digest_under, rebuilt
from gen.machine import Welder
from gen.records import Records
from gen.user_files import read_text, written

_ASK_S = 1.5  # for a first answer on an unknown port


@dataclass(frozen=True)
class Pushed:
    """The result of a push."""

    held: BoardSchedule
    """The schedule as read back from the board."""
    selected: str
    """The schedule of the next weld."""


def schedule_name(text: str) -> str:
    """Reads a schedule's name."""
    if re.fullmatch(NAME_PATTERN, text) is None:
        allowed = "at most 32 of a to z, 0 to 9, - and _, the first a letter or digit"
        raise NotTaken(written(text), allowed)
    return text


def push(job: Job, schedule: Path, link: Link, records: Records, select: bool) -> Pushed:
    """Store the job's table on the board, read it back, and keep its file in the records. Raises LinkError.

    The caller judges the job before. `select`: make it the schedule of the next weld.
    """
    if link.hello.board != job.board.name:
        raise LinkError(
            link.port,
            f"is a {link.hello.board}, the welder file names {job.board.name}",
            "allowed: the board it names",
        )
    link.push(job.table)
    held = link.read(job.table.name)
    if held.digest != job.table.digest:
        raise LinkError(link.port, f"holds {held.digest}, not {job.table.digest} as sent", "allowed: push it again")
    text = read_text(schedule)
    records.add_pushed(held.digest, held.name, text, datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
    selected = link.select(held.name).selected if select else link.hello.selected
    return Pushed(held, selected)


def as_file(held: BoardSchedule, welder: Welder, records: Records) -> tuple[str, str]:
    """The schedule file, and its origin in words. Raises InputError if no file compiles to the same rows."""
    kept = records.pushed_text(held.digest)
    if kept is not None and digest_under(kept, held.name, welder) == held.digest:
        return kept, "as it was pushed"
    return rebuilt(held, welder), "rebuilt from its rows"


def answer_on(port: FoundPort) -> str:
    """The program that answers on a port, in words. Only ports of timer boards are asked."""
    if not port.board:
        return "not asked: no timer board"
    try:
        with Link(port.device, _ASK_S) as link:
            hello = link.hello
            return f"Weldbeat {hello.version} on {hello.board}, schedule {hello.selected}, {link.status().state}"
    except LinkError as error:
        return error.key
