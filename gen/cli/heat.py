"""The table of temperatures that `simulate` prints, the fastest pace, and the rest after a burst."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from gen.ranges import shown

if TYPE_CHECKING:
    from sim.run import Run
    from sim.verdict.fastest import FastestPace
    from sim.verdict.temperatures import Temperature

_HEADS = ("part", "after the run", "minute later", "for ever", "limit", "fastest pace", "passed after")


def heat_text(run: Run, hot: tuple[Temperature, ...], burst: int | None) -> str:
    """Temperatures as a small table, the fastest pace and what limits it, and the rest after a burst."""
    rows: list[tuple[str, ...]] = [_HEADS]
    fits = 120 * run.job.table.frequency_Hz / run.job.table.half_cycles
    for t in hot:
        passed = "" if t.time_to_limit_s is None else _time(t.time_to_limit_s)
        degrees = (f"{x:.1f}" for x in (t.after_run_C, t.minute_later_C, t.for_ever_C))
        name = f"{t.name}, mean" if t.by_mean else t.name
        pace = "any" if t.fastest_pace > 0.999 * fits else shown(t.fastest_pace)
        rows.append((name, *degrees, f"{t.limit_C:g}", pace, passed))
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
        lines.append(f"{after}: {'no rest is needed' if not rest else f'rest {_time(rest)} for the {longest}'}.")
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


def _time(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "for ever (no rest is enough)"
    return (
        f"{seconds:.3g} s"
        if seconds < 120
        else f"{seconds / 60:.3g} min"
        if seconds < 7200
        else f"{seconds / 3600:.3g} h"
    )
