"""The commissioning on paper: the numbered sheet to fill in by hand, and the record of a walk to sign."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from gen.boards import Board
from gen.cautions import CAUTIONS
from gen.commissioning.steps import SHORT_CIRCUIT
from gen.commissioning.values import NOT_DONE, Step
from gen.errors import InputError
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.records import RECORDS_FILE, CheckRecord
from gen.templates import html_templates

_KEYS = {"shorted": ("shorted", SHORT_CIRCUIT)}  # steps with more than one check


@dataclass(frozen=True)
class RecordLine:
    """A step with its number and, in a record, every attempt."""

    number: int
    step: Step
    tried: tuple[CheckRecord, ...]

    @property
    def outcome(self) -> str:
        """The last outcome."""
        return self.tried[-1].outcome if self.tried else "not reached"


def record_lines(steps: Sequence[Step], walk: Sequence[CheckRecord]) -> list[RecordLine]:
    """The steps, each with its checks of the walk."""
    return [
        RecordLine(number, step, tuple(check for check in walk if check.step in _KEYS.get(step.key, (step.key,))))
        for number, step in enumerate(steps, 1)
    ]


def sheet_html(welder: Welder, board: Board, steps: Sequence[Step]) -> str:
    """The numbered steps as one self-contained HTML page, with room for readings and initials."""
    return _rendered("Commissioning sheet", welder, board, record_lines(steps, ()), "")


def record_html(welder: Welder, board: Board, steps: Sequence[Step], walk: Sequence[CheckRecord]) -> str:
    """The record of one walk as one self-contained HTML page: every attempt at every step, and a line to sign.

    Limits and instructions are those in force at each attempt. Raises InputError where the walk has no checks.
    """
    if not walk:
        allowed = "allowed: a walk with `weldbeat commission` before"
        raise InputError(RECORDS_FILE, "no commissioning in it", None, allowed)
    title = f"Commissioning record, walk {walk[-1].walk}"
    return _rendered(title, welder, board, record_lines(steps, walk), walk[-1].checked_at)


def _rendered(title: str, welder: Welder, board: Board, lines: Sequence[RecordLine], ended_at: str) -> str:
    environment = html_templates("gen.commissioning")
    environment.filters["shown"] = shown
    by_stage = [list(group) for _, group in itertools.groupby(lines, key=lambda line: line.step.stage.key)]
    stages = [(group[0].step.stage.title, group) for group in by_stage]
    return environment.get_template("sheet.html.j2").render(
        title=title,
        welder=welder,
        board=board,
        stages=stages,
        cautions=CAUTIONS,
        not_done=NOT_DONE,
        ended_at=ended_at,
        boards_told=sorted({check.board for line in lines for check in line.tried if check.board}),
    )
