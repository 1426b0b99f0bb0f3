"""How tables and verdicts look in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gen.current import delivered
from gen.job import Job
from gen.units import milliseconds, us_to_degrees

if TYPE_CHECKING:
    from sim.run import Run
    from sim.verdict import Finding


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
