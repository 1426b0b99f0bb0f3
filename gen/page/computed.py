"""Computations of the page that run in a worker process: functions from plain values to plain values.

Every picture is drawn by the report's code.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from markupsafe import Markup

from gen.boards import Board
from gen.commissioning import Shot
from gen.current import delivered
from gen.firmware import FirmwareBundle
from gen.job import Job, check_board, find_welder, make_job
from gen.link.flashing import bundle_fitted
from gen.machine import Welder
from gen.measured import course_of
from gen.ranges import Figure
from gen.records import Records, WeldRecord
from gen.schedule import read_schedule, schedule_from
from gen.table import TimingTable
from gen.user_files import parsed_toml, validated
from sim.core.weld_current import weld_currents
from sim.report.data import ReportData
from sim.report.margins import draw_margins, margins
from sim.report.sections import flux, half_cycles, headline
from sim.report.svg import number, picture
from sim.report.timeline import ScheduleMark, draw_timeline, grouped, in_ms, segments
from sim.report.welds import draw_welds
from sim.run import paced, refusal, simulated
from sim.verdict import CHECKS, Finding, PacedJob
from sim.verdict.cut_off import findings_of
from sim.verdict.finding import SEVERITY_WORDS
from sim.verdict.heat import electrode_peak

# While a slider moves, only so many half-cycles of a long row are computed; the current then repeats. The full verdict
# computes all.
_FOLLOWED = 12
_NOT_WHILE_TURNED = (electrode_peak,)  # takes longer than all the others together
_NEAREST = 8


@dataclass(frozen=True)
class Told:
    """A finding in words."""

    name: str
    severity: str
    word: str
    says: str
    advice: str


@dataclass(frozen=True)
class Turned:
    """The display while a schedule is edited: its picture, the current delivered, and the nearest limits."""

    timeline: Markup
    picture: str  # names the timeline's schedule and pace, so that marks are put on no other
    phases: tuple[tuple[str, str, str, str, str], ...]  # number, name, half-cycles, ms, current delivered in `unit`
    side: str
    unit: str
    total_ms: str
    fired_ms: str
    nearest: Markup
    beyond: tuple[Told, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class JudgedSchedule:
    """The full verdict on a schedule at a pace, with the pictures of its run."""

    word: str
    refused: bool
    headline: str
    timeline: Markup
    picture: str
    beyond: tuple[Told, ...]
    passed: int
    limits: Markup
    flux: Markup
    half_cycles: Markup
    made: str
    fastest: str


@dataclass(frozen=True)
class Described:
    """The figures derived from a welder file, with range and source, by heading."""

    headings: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...]
    wanted: tuple[str, ...]
    assumed: tuple[str, ...]


@lru_cache(maxsize=8)
def _welder_at(path: Path, changed_ns: int, size: int) -> Welder:
    return find_welder(path)


def _welder(path: Path) -> Welder:
    """The welder file at `path`, read again only where it has changed. Raises InputError."""
    try:
        state = path.stat()
    except OSError:
        return find_welder(path)
    return _welder_at(path, state.st_mtime_ns, state.st_size)


def job_of(text: str, path: Path, welder: Path) -> Job:
    """The job of a schedule file at `path` with this text. Raises InputError."""
    return make_job(schedule_from(text, path), _welder(welder), path)


def turned(text: str, path: Path, welder: Path, pace: float, name: str) -> Turned:
    """Compile, draw, and judge by the plan alone. `name` makes the picture's marks unique on the page. Raises InputError."""
    job = job_of(text, path, welder)
    table, working = job.table, job.welder.machine.in_use.working.handy
    currents = weld_currents(job.strongest, job.welder, longest_row=_FOLLOWED)
    plan = PacedJob(job=job, welds_per_minute=pace, currents=currents, advises=False)
    found = [c.find(plan) for c in CHECKS if not c.needs_run and c.find not in _NOT_WHILE_TURNED]
    findings = [finding for finding in found if finding is not None]
    rows = []
    for n, group in enumerate(grouped(segments(table)), 1):
        for part in group:
            flows = delivered(working, part.share).span if part.fired else ""
            times = f" × {part.times}" if part.times > 1 else ""
            ms = in_ms(part.half_cycles, table.frequency_Hz)
            rows.append((str(n), f"{part.phase}{times}", str(part.half_cycles), ms, flows))
    return Turned(
        timeline=_timeline(table, findings, name),
        picture=_named(table, pace),
        phases=tuple(rows),
        side="secondary" if job.welder.machine.in_use.working_secondary else "primary",
        unit=working.unit,
        total_ms=in_ms(table.half_cycles, table.frequency_Hz),
        fired_ms=in_ms(table.fired_half_cycles, table.frequency_Hz),
        nearest=_limits(findings, f"nearest-{name}", _NEAREST),
        beyond=_told(findings),
        notes=table.notes,
    )


def judged(text: str, path: Path, welder: Path, pace: float | None) -> JudgedSchedule:
    """Simulate, and run every check. Raises InputError."""
    run = simulated(paced(job_of(text, path, welder), pace), seed=0)
    data = ReportData(run)
    count = run.weld_count
    findings = [_placed(finding, data) for finding in data.findings]
    return JudgedSchedule(
        word=run.verdict.word,
        refused=run.verdict.refused,
        headline=headline(data),
        timeline=_timeline(run.table, findings, "this"),
        picture=_named(run.table, pace),
        beyond=_told(findings),
        passed=sum(finding.severity == "passed" for finding in data.findings),
        limits=_limits(data.findings, "limits", None),
        flux=flux(data, [(f.time_s, f.name) for f in _beyond(findings) if f.time_s is not None]),
        half_cycles=half_cycles(data),
        made=f"{count.made} of {count.asked}",
        fastest=number(run.fastest.welds_per_minute),
    )


def refused_by(path: Path, welder: Path, pace: float) -> str:
    """Why the schedule in a file is refused at a pace, as a sentence; "" where the verdict allows it. Raises InputError."""
    found = refusal(make_job(read_schedule(path), _welder(welder), path), pace)
    return "" if found is None else f"{found.name}: {found.sentence}"


def flash_refused_by(bundle: FirmwareBundle) -> tuple[str, ...]:
    """Why a built firmware is not flashed, a sentence each: its machine lacks a part that must end a faulty weld."""
    refused = (finding for finding in findings_of(bundle_fitted(bundle)) if finding.severity == "refuse")
    return tuple(f"{finding.name}: {finding.sentence}" for finding in refused)


def shot_refused_by(shot: Shot, board: Board) -> str:
    """Why the weld of a commissioning is refused, as a sentence; "" where the verdict allows it."""
    found = refusal(shot.job(board), 1)
    return "" if found is None else f"{found.name}: {found.sentence}"


def weld_curves(welds: tuple[WeldRecord, ...], welder: Path) -> Markup:
    """The curves of the welds that the board timed, superimposed, the first drawn boldest. Raises InputError."""
    with Records.beside(welder) as records:
        courses = [course_of(weld, gates) for weld in welds if (gates := records.curve(weld))]
    return picture(lambda width, _: draw_welds(courses, None, width), "welds") if courses else Markup("")


def described(text: str, path: Path) -> Described:
    """The figures derived from a welder file with this text. Raises InputError where the file is invalid."""
    welder = validated(Welder, parsed_toml(text, path), path)
    check_board(welder, path)
    machine = welder.machine

    def rows(figures: Iterable[tuple[str, Figure | None]]) -> tuple[tuple[str, str, str], ...]:
        return tuple((name, figure.text, figure.source) for name, figure in figures if figure)

    taps = [(tap.name, tap is machine.in_use, rows(tap.figures())) for tap in machine.taps]
    return Described(
        headings=(
            *((_tap_words(name, in_use), figures) for name, in_use, figures in taps),
            ("As the primary sees it, on the tap in use", rows(machine.figures())),
        ),
        wanted=tuple(welder.wanted()),
        assumed=tuple(welder.assumed()),
    )


def _tap_words(name: str, in_use: bool) -> str:
    if not name:
        return "Currents at full conduction"
    return f"Tap {name} (in use)" if in_use else f"Tap {name}"


def _beyond(findings: Sequence[Finding]) -> list[Finding]:
    """The findings that refuse, then those that caution."""
    order = ("refuse", "caution")
    return sorted((f for f in findings if f.severity in order), key=lambda f: order.index(f.severity))


def _told(findings: Sequence[Finding]) -> tuple[Told, ...]:
    return tuple(Told(f.name, f.severity, SEVERITY_WORDS[f.severity], f.says, f.advice) for f in _beyond(findings))


def _timeline(table: TimingTable, findings: Sequence[Finding], name: str) -> Markup:
    """The schedule's picture, with a mark at each finding beyond its limit."""
    marks = [ScheduleMark(f.half_cycle, f.name) for f in _beyond(findings) if f.half_cycle is not None]
    return picture(lambda width, each: draw_timeline(table, width, each, marks), f"timeline-{name}")


def _named(table: TimingTable, pace: float | None) -> str:
    return f"{table.digest}-{pace}".replace(".", "-")


def _placed(finding: Finding, data: ReportData) -> Finding:
    """A finding at an instant of the run, with the half-cycle of the schedule at that instant."""
    time_s = finding.time_s
    if time_s is None or finding.half_cycle is not None:
        return finding
    weld = next((weld for weld in data.recording.welds if weld.asked_s <= time_s <= weld.ended_s), None)
    gates = data.gates_of(weld) if weld is not None else []
    if not gates:
        return finding
    first = data.recording.half_cycle_at(gates[0][0]).index
    place = data.run.first_fired + data.recording.half_cycle_at(time_s).index - first
    return replace(finding, half_cycle=min(max(place, 0), data.run.table.half_cycles - 1))


def _limits(findings: Sequence[Finding], name: str, most: int | None) -> Markup:
    found = margins(findings)[:most]
    return picture(lambda width, each: draw_margins(found, width, each), name) if found else Markup("")
