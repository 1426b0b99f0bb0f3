"""Tables, verdicts and temperatures as text for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from gen.cli.said import folded, said_all
from gen.current import delivered
from gen.job import Job
from gen.machine.cut_off import HEADING
from gen.ranges import shown
from gen.units import milliseconds, us_to_degrees

if TYPE_CHECKING:
    from sim.run import Run
    from sim.verdict import Finding
    from sim.verdict.heat import FastestPace, Temperature


def table_text(job: Job) -> str:
    """The timing table as text."""
    table, f = job.table, job.table.frequency_Hz
    working = job.welder.machine.in_use.working.handy
    lines = [
        f"{table.name}{': ' + job.schedule.title if job.schedule.title else ''}",
        f"{f} Hz on {job.board.title}, digest {table.digest}",
        "",
        f"{'phase':<10}{'half-cycles':>12}{'ms':>8}{'%':>6}{f'delivers, {working.unit}':>16}"
        f"{'delay us':>10}{'deg':>7}{'total ms':>10}",
    ]
    total = 0
    for row in table.rows:
        total += row.half_cycles
        delay = degrees = current = flows = ""
        if row.firing_delay_us is not None:
            delay, degrees = f"{row.firing_delay_us}", f"{us_to_degrees(row.firing_delay_us, f):.1f}"
            current = f"{row.current_percent:g}"
            flows = delivered(working, row.share).span
        ms = f"{milliseconds(row.half_cycles, f):.5g}"
        lines.append(
            f"{row.phase:<10}{row.half_cycles:>12}{ms:>8}{current:>6}{flows:>16}{delay:>10}{degrees:>7}"
            f"{milliseconds(total, f):>10.0f}"
        )
    lines += ["", f"{table.fired_half_cycles} half-cycles of current, {milliseconds(table.fired_half_cycles, f):g} ms"]
    lines += [folded(f"- {note}", "", "  ") for note in table.notes]
    return "\n".join(lines)


def finding_lines(finding: Finding) -> list[str]:
    """The lines of one finding: its severity, its sentence and its advice."""
    word = {"refuse": "Refused", "caution": "Caution", "passed": "Passed"}[finding.severity]
    advice = [folded(finding.advice, "  ")] if finding.advice else []
    return [folded(f"{word}, {finding.name}: {finding.says}", "", "  "), *advice]


def cut_off_lines(amiss: Iterable[Finding], named: str) -> list[str]:
    """The findings on the parts that end a faulty weld, under their heading. `named`: which of these parts there are."""
    lines = ["", f"{HEADING}: {named}"]
    for finding in amiss:
        lines += finding_lines(finding)
    return lines


def cut_off_json(findings: Iterable[Finding]) -> dict[str, Any]:
    """The findings on the parts that end a faulty weld, as data."""
    keys = ("name", "severity", "says", "advice", "source")
    under = [{key: getattr(finding, key) for key in keys} for finding in findings if finding.subject == "cut-off"]
    return {"heading": HEADING, "findings": under}


def verdict_text(run: Run, everything: bool = False) -> str:
    """The verdict: what to change first, and the checks nearest to their limits; or every check."""
    from sim.remedy import remedies
    from sim.verdict.finding import summarised

    found, count = summarised(run.verdict, run.welds_per_minute), run.weld_count
    lines = [f"Verdict: {found.headline}"]
    ends = cut_off_lines(found.cut_off, found.named)
    unsafe = any(finding.severity == "refuse" for finding in found.cut_off)
    lines += ends if unsafe else []
    for finding in found.refusals:
        lines += ["", *finding_lines(finding)]
    ways = [remedy.says for remedy in remedies(run.job, run.welds_per_minute, run.verdict)] if found.refusals else []
    lines += said_all("What to change first" if len(ways) == 1 else "What to change first, one of these", ways)
    for finding in found.cautions:
        lines += ["", *finding_lines(finding)]
    lines += [] if unsafe else ends
    if everything:
        passed = [f for f in run.verdict.findings if f.severity == "passed"]
        lines += said_all("Passed", (f"{finding.name}: {finding.says}" for finding in passed))
    else:
        lines += said_all("Nearest to their limits", (finding.says for finding in found.nearest))
        if found.others:
            lines.append(f"{found.others} `weldbeat simulate --all` shows every one.")
    lines += ["", f"Welds: {count.asked} requested, {count.made} made, {count.refused} not accepted."]
    if assumed := run.job.welder.assumed():
        keys = "1 typical value replaces a key" if len(assumed) == 1 else f"{len(assumed)} typical values replace keys"
        lines.append(f"{keys} that the welder file leaves out.")
    return "\n".join(lines)


_HEADS = ("part", "after run", "min later", "steady", "limit", "pace", "passed")
_WIDTHS = (11, 11, 10, 7, 7, 11)


def heat_text(run: Run, hot: tuple[Temperature, ...], burst: int | None, everything: bool = False) -> str:
    """The temperatures as a small table, the fastest pace with its limit, and the rest after a burst."""
    rows: list[tuple[str, ...]] = [_HEADS]
    fits = 120 * run.job.table.frequency_Hz / run.job.table.half_cycles
    for t in hot:
        passed = "" if t.time_to_limit_s is None else _duration(t.time_to_limit_s)
        degrees = (f"{x:.1f}" for x in (t.after_run_C, t.minute_later_C, t.for_ever_C))
        name = f"{t.name}, mean" if t.by_mean else t.name
        pace = "any" if t.fastest_pace > 0.999 * fits else shown(t.fastest_pace)
        rows.append((name, *degrees, f"{t.limit_C:.4g}", pace, passed))
    lines = []
    if everything:
        lines += [
            "",
            f"Temperatures in degC at {run.welds_per_minute:g} welds a minute. Steady: in continuous work.",
            "Pace: the fastest that is sustained. Passed: the time until the limit is.",
        ]
        for row in rows:
            cells = "".join(f"{cell:>{width}}" for cell, width in zip(row[1:], _WIDTHS, strict=True))
            lines.append(f"  {row[0]:<20}{cells}".rstrip())
    fastest = run.fastest
    limit = fastest.limit
    sentence = (
        f"Fastest sustained pace: {fastest.welds_per_minute:g} welds a minute, limited by {_named(limit.name)}."
        if fastest.possible
        else f"No pace can be sustained: {_named(limit.name)} forbids it."
    )
    lines.append(folded(sentence, "", "  "))
    if burst is not None:
        rests = {t.name: t.rest_s for t in hot if t.rest_s is not None}
        longest = max(rests, key=lambda name: rests[name])
        rest = rests[longest]
        after = f"After {burst} weld{'s without a pause' if burst > 1 else ''}"
        said = "no rest is needed" if not rest else f"rest {_duration(rest)} for the {longest}"
        lines.append(folded(f"{after}: {said}.", "", "  "))
    return "\n".join(lines)


def heat_json(fastest: FastestPace, hot: tuple[Temperature, ...], burst: int | None) -> dict[str, Any]:
    """The times as data; null for a time that is not reached, or if no rest is long enough."""
    return {
        "temperatures": [{key: _finite(value) for key, value in asdict(t).items()} for t in hot],
        "fastest_pace": {
            "welds_per_minute": fastest.welds_per_minute,
            "limited_by": fastest.limit.name,
            "limits": [asdict(limit) for limit in fastest.limits],
        },
        "burst": burst,
    }


def _named(name: str) -> str:
    return "the schedule's length" if name == "schedule" else name


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _duration(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "without end (no rest is enough)"
    return (
        f"{seconds:.3g} s"
        if seconds < 120
        else f"{seconds / 60:.3g} min"
        if seconds < 7200
        else f"{seconds / 3600:.3g} h"
    )
