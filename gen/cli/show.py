"""How tables, verdicts and temperatures look in a terminal."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from gen.current import delivered
from gen.job import Job
from gen.ranges import shown
from gen.units import milliseconds, us_to_degrees

if TYPE_CHECKING:
    from sim.run import Run
    from sim.verdict import Finding
    from sim.verdict.fastest import FastestPace, Temperature


def table_text(job: Job) -> str:
    """The timing table as a person reads it."""
    table, f = job.table, job.table.frequency_Hz
    working = job.welder.machine.in_use.working
    lines = [
        f"{table.name}{': ' + job.schedule.title if job.schedule.title else ''}",
        f"{f} Hz on {job.board.title}, digest {table.digest}",
        "",
        f"{'phase':<10}{'half-cycles':>12}{'ms':>9}{'current':>9}{f'delivers, {working.unit}':>17}"
        f"{'firing delay':>22}{'total ms':>10}",
    ]
    total = 0
    for row in table.rows:
        total += row.half_cycles
        delay = current = flows = ""
        if row.firing_delay_us is not None:
            delay = f"{row.firing_delay_us} us = {us_to_degrees(row.firing_delay_us, f):.1f} deg"
            current = f"{row.current_percent:g} %"
            flows = delivered(working, row.share).span
        ms = f"{milliseconds(row.half_cycles, f):.5g}"
        lines.append(
            f"{row.phase:<10}{row.half_cycles:>12}{ms:>9}{current:>9}{flows:>17}{delay:>22}{milliseconds(total, f):>10.0f}"
        )
    lines += ["", f"{table.fired_half_cycles} half-cycles of current, {milliseconds(table.fired_half_cycles, f):g} ms"]
    lines += [f"- {note}" for note in table.notes]
    return "\n".join(lines)


def finding_line(finding: Finding) -> str:
    """One finding on one line, and its advice on the next."""
    text = f"{finding.severity:<8}{finding.name:<17}{finding.figure:>8g} {finding.unit_text}{finding.limit_note}"
    if finding.severity != "note":
        text += f"\n{'':8}{finding.advice}"
    return text


def verdict_text(run: Run) -> str:
    """The verdict, gravest finding first, with what was made at the pace asked."""
    count = run.weld_count
    lines = [f"Verdict: {run.verdict.word}, at {run.welds_per_minute:g} welds a minute"]
    lines += [finding_line(finding) for finding in run.verdict.findings]
    lines.append(f"Welds: {count.asked} asked for, {count.made} made, {count.refused} not accepted.")
    assumed = run.job.welder.assumed()
    if assumed:
        lines.append(
            f"Typical values stand in for {len(assumed)} keys that the welder file leaves out; the report lists them."
        )
    return "\n".join(lines)


_HEADS = ("part", "after the run", "minute later", "for ever", "limit", "fastest pace", "passed after")


def heat_text(run: Run, hot: tuple[Temperature, ...], burst: int | None) -> str:
    """Temperatures as a small table, the fastest pace and what limits it, and the rest after a burst."""
    rows: list[tuple[str, ...]] = [_HEADS]
    fits = 120 * run.job.table.frequency_Hz / run.job.table.half_cycles
    for t in hot:
        passed = "" if t.time_to_limit_s is None else _duration(t.time_to_limit_s)
        degrees = (f"{x:.1f}" for x in (t.after_run_C, t.minute_later_C, t.for_ever_C))
        name = f"{t.name}, mean" if t.by_mean else t.name
        pace = "any" if t.fastest_pace > 0.999 * fits else shown(t.fastest_pace)
        rows.append((name, *degrees, f"{t.limit_C:.4g}", pace, passed))
    lines = [f"Temperatures in degC, peaks unless it says mean, at {run.welds_per_minute:g} welds a minute"]
    lines += [f"  {row[0]:<22}{''.join(f'{cell:>14}' for cell in row[1:])}".rstrip() for row in rows]
    fastest = run.fastest
    limit = fastest.limit
    lines.append(
        f"Fastest pace for ever: {fastest.welds_per_minute:g} welds a minute, limited by {_named(limit.name)}."
        if fastest.possible
        else f"No pace can go on for ever: {_named(limit.name)} forbids it."
    )
    if burst is not None:
        rests = {t.name: t.rest_s for t in hot if t.rest_s is not None}
        longest = max(rests, key=lambda name: rests[name])
        rest = rests[longest]
        after = f"After {burst} weld{'s' if burst > 1 else ''} straight after one another"
        lines.append(f"{after}: {'no rest is needed' if not rest else f'rest {_duration(rest)} for the {longest}'}.")
    return "\n".join(lines)


def heat_json(fastest: FastestPace, hot: tuple[Temperature, ...], burst: int | None) -> dict[str, Any]:
    """The same for another program; null where a time never comes, or no rest is enough."""
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
    return "the schedule's own length" if name == "schedule" else name


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _duration(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "for ever (no rest is enough)"
    return (
        f"{seconds:.3g} s"
        if seconds < 120
        else f"{seconds / 60:.3g} min"
        if seconds < 7200
        else f"{seconds / 3600:.3g} h"
    )
