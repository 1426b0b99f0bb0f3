"""How hot each part is after a run, a minute later and for ever, how fast it could go, and how long it must rest."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.verdict.fastest import parts_at_their_pace
from sim.verdict.finding import PacedJob
from sim.verdict.hot_parts import HotPart, hot_parts


@dataclass(frozen=True)
class Temperature:
    """One part, degC: its peak in a weld, or with `by_mean` its mean, since that is what its limit is of.

    `fastest_pace`: welds a minute for ever, 0: not one. `time_to_limit_s` None: the limit is not passed at this pace.
    `rest_s`: after the burst asked for, None where none was asked for or the limit is of the mean; inf: no rest is enough.
    """

    name: str
    after_run_C: float
    minute_later_C: float
    for_ever_C: float
    limit_C: float
    by_mean: bool
    fastest_pace: float
    time_to_limit_s: float | None
    rest_s: float | None


def temperatures(run: PacedJob, welds: int, burst: int | None = None) -> tuple[Temperature, ...]:
    """Each part after `welds` welds at this pace. `burst` welds follow one another as fast as the schedule lets them."""
    currents, table, welder = run.currents, run.table, run.welder
    period_s = table.half_cycles * 0.5 / table.frequency_Hz
    weld_s = period_s - table.time_of("off") * 0.5 / table.frequency_Hz
    pace = min(run.welds_per_minute, 60 / weld_s)
    fastest = parts_at_their_pace(currents, welder, period_s)
    return tuple(
        _temperature(part, pace, welds, at_its_pace.fastest(period_s), period_s, burst)
        for part, at_its_pace in zip(hot_parts(currents, welder, pace), fastest, strict=True)
    )


def _temperature(
    part: HotPart, pace: float, welds: int, fastest: float, period_s: float, burst: int | None
) -> Temperature:
    outlook = part.outlook(pace, welds)
    now, later, for_ever = (
        cycle.mean_degC if part.by_mean else cycle.peak_degC
        for cycle in (outlook.now, outlook.minute_later, outlook.equilibrium)
    )
    passes_s = part.time_to_limit_s(pace) if for_ever > part.limit_C else math.inf
    rest_s = None if burst is None or part.by_mean else part.rest_s(60 / period_s, burst)
    return Temperature(
        part.name,
        now,
        later,
        for_ever,
        part.limit_C,
        part.by_mean,
        fastest,
        passes_s if math.isfinite(passes_s) else None,
        rest_s,
    )
