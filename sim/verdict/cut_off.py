"""The parts that end a faulty weld (gen.machine.cut_off) as findings; a missing one is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from gen.boards import Board
from gen.machine import cut_off
from gen.machine.cut_off import CutOff, Fitted
from gen.machine.welder import Welder
from sim.verdict.finding import Finding, PacedJob, judged


def fitted_of(welder: Welder, board: Board) -> Fitted:
    """The parts that a machine and its board name."""
    over_run = board.over_run
    worst = f"boards/{board.name}.toml: {over_run.worst}"
    return Fitted(welder.protection, welder.force, welder.contactor.open_after_ms, over_run.gate_ends_itself, worst)


def finding_of(found: CutOff | None) -> Finding | None:
    """One part as a finding; None for a part that does not apply."""
    if found is None:
        return None
    finding = judged(
        found.name,
        found.there,
        found.wanted,
        found.unit,
        found.source,
        found.advice,
        low=not found.at_most,
        otherwise="refuse" if found.must else "caution",
        says=found.says,
    )
    return replace(finding, subject="cut-off")


def findings_of(fitted: Fitted) -> tuple[Finding, ...]:
    """The findings of all parts, in order."""
    found = (finding_of(judge(fitted)) for judge in cut_off.ALL)
    return tuple(finding for finding in found if finding is not None)


def _check(judge: Callable[[Fitted], CutOff | None]) -> Callable[[PacedJob], Finding | None]:
    return lambda run: finding_of(judge(fitted_of(run.welder, run.board)))


CHECKS: tuple[Callable[[PacedJob], Finding | None], ...] = tuple(_check(judge) for judge in cut_off.ALL)
