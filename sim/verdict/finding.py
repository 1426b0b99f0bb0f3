"""What a check reads, a job at a pace and what the bench recorded of it; and what it says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from gen.boards import Board
from gen.job import Job
from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.bench.recording import Recording
from sim.core.weld_current import WeldCurrents

Severity = Literal["refuse", "caution", "note"]


@dataclass(frozen=True)
class Finding:
    """One judgement: a figure of the run against a limit.

    Nothing decides by `unit`, `conditions`, `meaning`, `source` or `advice`: they are only printed.
    """

    name: str
    severity: Severity
    """`note`: the check passed. `caution` and `refuse` come with advice."""
    figure: float
    limit: float | None
    """In the unit of `figure`; None where the limit is not known."""
    unit: str
    source: str
    """Where the limit comes from."""
    advice: str
    """What to change; "" for a note."""
    time_s: float | None = None
    """When in the run; None for the run as a whole."""
    low: bool = False
    """Whether the limit is the least that will do, and not the most."""
    conditions: tuple[str, ...] = ()
    """What the figure holds for, printed after the unit."""
    meaning: str = ""
    """What the figure comes to in this run, printed after the conditions."""
    zero: float = 0.0
    """Where the scale of figure and limit begins: the ambient for a temperature."""

    @property
    def unit_parts(self) -> tuple[str, ...]:
        """The unit, its conditions, what the figure comes to, and whether the limit is not known."""
        told = (self.meaning, "limit not known" if self.limit is None else "")
        return (self.unit, *self.conditions, *(part for part in told if part))

    @property
    def unit_text(self) -> str:
        """All parts of the unit in one line."""
        return ", ".join(self.unit_parts)

    @property
    def limit_note(self) -> str:
        """The limit in brackets; "" where it is not known."""
        return "" if self.limit is None else f" (limit {self.limit:g})"

    @property
    def sentence(self) -> str:
        """Figure, limit and what to change, in one line."""
        return f"{self.name}, {self.figure:g} {self.unit_text}{self.limit_note}. {self.advice}"

    @property
    def strain(self) -> float:
        """How near the limit: 1 is at it, less within it; nan where a ratio says nothing."""
        if self.limit is None:
            return math.nan
        above, below = (self.limit, self.figure) if self.low else (self.figure, self.limit)
        return above / below if below > 0 else math.nan


@dataclass(frozen=True)
class Verdict:
    """All findings of one run, gravest first."""

    findings: tuple[Finding, ...]

    @property
    def refused(self) -> bool:
        return any(f.severity == "refuse" for f in self.findings)

    @property
    def word(self) -> str:
        """ "refused", "passed with cautions" or "passed"."""
        if self.refused:
            return "refused"
        return "passed with cautions" if any(f.severity == "caution" for f in self.findings) else "passed"


def judged(
    name: str,
    figure: float,
    limit: float,
    unit: str,
    source: str,
    advice: str,
    *,
    low: bool = False,
    otherwise: Severity = "refuse",
    time_s: float | None = None,
    digits: int = 3,
) -> Finding:
    """A finding that is a note while `figure` keeps to `limit` (at most, or with `low` at least), and `otherwise` beyond it.

    Judged as it is and told to `digits` after the point, unless so few would tell another story.
    """

    def keeps(figure: float, limit: float) -> bool:
        hair = 1e-9 * abs(limit)  # what floating point may add to a figure that is the limit itself
        return figure >= limit - hair if low else figure <= limit + hair

    kept = keeps(figure, limit)
    shown = round(figure, digits), round(limit, digits)
    if keeps(*shown) == kept:
        figure, limit = shown
    return Finding(
        name, "note" if kept else otherwise, figure, limit, unit, source, advice if not kept else "", time_s, low
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class PacedJob:
    """A job worked at a pace, before anything is simulated."""

    job: Job
    welds_per_minute: float
    currents: WeldCurrents  # of one weld: computed once for every check
    advises: bool = (
        True  # whether advice is searched for, such as the pace that a hot part would bear: it takes longest
    )

    @property
    def table(self) -> TimingTable:
        return self.job.table

    @property
    def welder(self) -> Welder:
        return self.job.welder

    @property
    def board(self) -> Board:
        return self.job.board


@dataclass(frozen=True, eq=False, kw_only=True)
class SimulatedJob(PacedJob):
    """The same with what the bench recorded while the firmware ran."""

    recording: Recording
    open_electrodes: Recording  # of one weld with nothing between the electrodes
