"""The input of a check (a job at a pace, and its recording) and its result (a finding)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from gen.boards import Board
from gen.job import Job
from gen.machine.welder import Welder
from gen.table import TimingRow, TimingTable
from sim.bench.recording import Recording
from sim.core.impulse import Impulse
from sim.core.weld_current import WeldCurrents

Severity = Literal["refuse", "caution", "passed"]
Subject = Literal["weld", "cut-off"]
NEAREST = 3
_WELL_INSIDE = 0.8  # greatest share of a limit that counts as well within it

SEVERITY_WORDS: dict[Severity, str] = {"refuse": "refused", "caution": "caution", "passed": "passed"}


@dataclass(frozen=True)
class Finding:
    """One judgement: a figure of the run against a limit.

    `says`, `unit`, `conditions`, `meaning`, `source` and `advice` are only printed; no decision reads them.
    """

    name: str
    severity: Severity
    """`caution` and `refuse` come with advice."""
    figure: float
    limit: float | None
    """The limit in the unit of `figure`; None if it is not known."""
    unit: str
    source: str
    """The source of the limit."""
    advice: str
    """What to change; "" where the check passed."""
    time_s: float | None = None
    """Time in the run; None for the run as a whole."""
    low: bool = False
    """Whether the limit is a minimum, not a maximum."""
    conditions: tuple[str, ...] = ()
    """The conditions of the figure, printed after the unit."""
    meaning: str = ""
    """The meaning of the figure in this run, printed after the conditions."""
    zero: float = 0.0
    """Zero of the scale of figure and limit: the ambient for a temperature."""
    says: str = ""
    """Figure and limit as a sentence that a person reads."""
    subject: Subject = "weld"
    """The subject: the weld, or the parts that end a faulty weld."""
    half_cycle: int | None = None
    """Place in the schedule at which the figure is reached, in half-cycles from its begin; None for the whole schedule."""

    @property
    def unit_parts(self) -> tuple[str, ...]:
        """The unit, its conditions, the figure's meaning, and a note if the limit is not known."""
        notes = (self.meaning, "limit not known" if self.limit is None else "")
        return (self.unit, *self.conditions, *(note for note in notes if note))

    @property
    def unit_text(self) -> str:
        """All parts of the unit in one line."""
        return ", ".join(self.unit_parts)

    @property
    def sentence(self) -> str:
        """The finding and the advice, in one line."""
        return f"{self.says} {self.advice}".rstrip()

    @property
    def share(self) -> float:
        """The used part of the limit: 1 at it. inf: beyond it without a ratio, or not known. nan: within a limit of 0."""
        if self.limit is None:
            return math.inf
        if self.limit == 0:
            return math.nan if self.severity == "passed" else math.inf
        figure, limit = self.figure - self.zero, self.limit - self.zero
        above, below = (limit, figure) if self.low else (figure, limit)
        return max(0.0, above / below) if below > 0 else math.inf

    @property
    def strain(self) -> float:
        """The figure over its limit: 1 is at the limit, less within it; nan if a ratio has no meaning."""
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
    says: str = "",
    zero: float = 0.0,
    half_cycle: int | None = None,
) -> Finding:
    """A finding that passes if `figure` is at most `limit` (with `low`: at least), and is `otherwise` beyond it.

    The exact figure is judged. It is reported to `digits` after the point, or to more if rounding would contradict the
    judgement. `says`: the sentence, with `{figure}`, `{limit}` and `{percent}` (the used part of the limit) in place.
    """

    def keeps(figure: float, limit: float) -> bool:
        rounding = 1e-9 * abs(limit)  # of floating point, in a figure that equals the limit
        return figure >= limit - rounding if low else figure <= limit + rounding

    kept = keeps(figure, limit)
    shown = round(figure, digits), round(limit, digits)
    if keeps(*shown) == kept:
        figure, limit = shown
    found = Finding(
        name,
        "passed" if kept else otherwise,
        figure,
        limit,
        unit,
        source,
        "" if kept else advice,
        time_s,
        low,
        zero=zero,
        half_cycle=half_cycle,
    )
    places = next(n for n in range(3, 16) if n == 15 or keeps(*(_in_digits(x, n) for x in (figure, limit))) == kept)
    figure_text, limit_text = (f"{_in_digits(x, places):.12g}" for x in (figure, limit))
    return replace(found, says=says.format(figure=figure_text, limit=limit_text, percent=percent_of(found.share)))


def _in_digits(value: float, places: int) -> float:
    return float(f"{value:.{places}g}")


def percent_of(share: float) -> str:
    """A share of a limit. Rounded up above 1 and down below it, so that a figure beyond its limit never reads 100 %."""
    if not math.isfinite(share):
        return "beyond"
    return f"{math.ceil(100 * share - 1e-9) if share > 1 else math.floor(100 * share + 1e-9)} %"


@dataclass(frozen=True)
class Summary:
    """A verdict as a person reads it. `headline`, `others` and `named` are sentences.

    `cut_off`: the findings on parts that end a faulty weld, unless passed; `named`: how many of these parts are fitted.
    `refusals`, `cautions` and `nearest` are of all other checks; those of `nearest` passed, the nearest to its limit first.
    """

    headline: str
    cut_off: tuple[Finding, ...]
    named: str
    refusals: tuple[Finding, ...]
    cautions: tuple[Finding, ...]
    nearest: tuple[Finding, ...]
    others: str


def cut_off_named(findings: Sequence[Finding]) -> str:
    """The number of fitted parts that end a faulty weld, in words."""
    there = sum(finding.severity != "refuse" for finding in findings)
    if there == len(findings):
        return f"all {there} are fitted."
    return f"{there} of {len(findings)} {'is' if there == 1 else 'are'} fitted."


def summarised(verdict: Verdict, welds_per_minute: float) -> Summary:
    """The summary of a verdict at a pace."""
    of_weld = [f for f in verdict.findings if f.subject == "weld"]
    refusals, cautions, passed = (
        tuple(f for f in of_weld if f.severity == severity) for severity in ("refuse", "caution", "passed")
    )
    measured = sorted((f for f in passed if not math.isnan(f.share)), key=lambda f: -f.share)
    nearest, rest = tuple(measured[:NEAREST]), len(passed) - len(measured[:NEAREST])
    inside = (
        "well within their limits"
        if all(f.share <= _WELL_INSIDE for f in measured[NEAREST:])
        else "within their limits"
    )
    wanted = [f for f in verdict.findings if f.subject == "cut-off"]
    return Summary(
        f"{verdict.word}, at {welds_per_minute:g} welds a minute.",
        tuple(f for f in wanted if f.severity != "passed"),
        cut_off_named(wanted),
        refusals,
        cautions,
        nearest,
        "" if not rest else f"{rest} other check{' is' if rest == 1 else 's are'} {inside}.",
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class PacedJob:
    """A job at a pace, before it is simulated."""

    job: Job
    welds_per_minute: float
    currents: WeldCurrents
    """The currents of one weld, computed once for all checks."""
    advises: bool = True
    """Whether to search for advice, such as a safe pace. The search takes the most time."""

    @property
    def table(self) -> TimingTable:
        """The table by which the plan is judged: the strongest that the board may make of the schedule."""
        return self.job.strongest

    @property
    def welder(self) -> Welder:
        return self.job.welder

    @property
    def first_fired(self) -> int:
        """Half-cycles from the schedule's begin to its first that is fired."""
        rows = self.table.rows
        return sum(row.half_cycles for row in rows[: rows.index(self.table.impulse_rows[0])])

    def begin_of(self, row: TimingRow, table: TimingTable | None = None) -> int:
        """Half-cycles from the schedule's begin to that of the first such row of `table`, or of that judged by."""
        rows = (table or self.table).rows
        return sum(each.half_cycles for each in rows[: rows.index(row)])

    def peak_at(self, worst: Impulse) -> int | None:
        """The half-cycle of the schedule in which the greatest primary peak begins; None where nothing flows."""
        swings = self.currents.pattern.whole(worst.swings)
        if not swings:
            return None
        return self.first_fired + max(swings, key=lambda swing: swing.primary_peak_A).half_cycle

    @property
    def board(self) -> Board:
        return self.job.board


@dataclass(frozen=True, eq=False, kw_only=True)
class SimulatedJob(PacedJob):
    """A job at a pace with the bench's recordings."""

    recording: Recording
    open_electrodes: Recording
    """The recording of one weld with open electrodes."""

    @property
    def table(self) -> TimingTable:
        """The table with which the recording is compared: the schedule as compiled."""
        return self.job.table

    @property
    def plan(self) -> PacedJob:
        """The job before its simulation."""
        return PacedJob(
            job=self.job, welds_per_minute=self.welds_per_minute, currents=self.currents, advises=self.advises
        )
