"""Checks of heat at the pace asked: junction, case, winding and electrode, each when the work goes on for ever."""

from __future__ import annotations

import math
from dataclasses import replace

from sim.verdict.fastest import at_its_pace
from sim.verdict.finding import Finding, PacedJob, judged
from sim.verdict.hot_parts import HotPart, case_part, electrode_part, electrode_peak_part, junction_part, winding_part


def junction(run: PacedJob) -> Finding | None:
    """The hotter junction of the switch against its data sheet."""
    part = junction_part(run.currents, run.welder)
    return None if part is None else _judged(part, run)


def case(run: PacedJob) -> Finding:
    """The case of the switch against what its rated current is given at."""
    return _judged(case_part(run.currents, run.welder), run)


def winding(run: PacedJob) -> Finding:
    """The winding against its insulation class."""
    return _judged(winding_part(run.currents, run.welder), run)


def electrode_heat(run: PacedJob) -> Finding | None:
    """An electrode's face against softening in a furnace, by its mean."""
    part = electrode_part(run.currents, run.welder, _pace(run))
    return None if part is None else _judged(part, run)


def electrode_peak(run: PacedJob) -> Finding | None:
    """An electrode's face at its hottest: softening in the time that it is hot, and melting."""
    part = electrode_peak_part(run.currents, run.welder, _pace(run))
    return None if part is None else _judged(part, run)


def _pace(run: PacedJob) -> float:
    """Welds a minute. A pace that leaves no time for the weld is another check's."""
    return min(run.welds_per_minute, 60 / _weld_s(run))


def _weld_s(run: PacedJob) -> float:
    """The schedule without its off time."""
    return (run.table.half_cycles - run.table.time_of("off")) * 0.5 / run.table.frequency_Hz


def _judged(part: HotPart, run: PacedJob) -> Finding:
    """The part at equilibrium against its limit."""
    weld_s = _weld_s(run)
    final = part.for_ever(_pace(run))
    figure = final.mean_degC if part.by_mean else final.peak_degC
    fastest = at_its_pace(part, weld_s).fastest(weld_s) if run.advises and figure > part.limit_C else 0.0
    slower = f" It holds for ever at {_floored(fastest):g} welds a minute." if fastest >= 0.1 else ""
    found = judged(
        part.name,
        figure,
        part.limit_C,
        "degC for ever at this pace",
        part.source,
        part.advice + slower,
        otherwise=part.severity,
        digits=1,
        says=f"{part.called} comes to {{figure}} degC at {'its mean' if part.by_mean else 'its hottest'} when the work goes on "
        "for ever; {limit} degC is allowed.",
        zero=part.network.ambient_degC,
    )
    return replace(found, conditions=("mean" if part.by_mean else "peak",), meaning=part.meaning)


def _floored(pace: float) -> float:
    """A pace that may be typed: not faster, in tenths."""
    return math.floor(10 * pace) / 10
