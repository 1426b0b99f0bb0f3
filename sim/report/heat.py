"""Draws the temperature of each part from cold at the pace asked, and prepares the table of heat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.report.data import ReportData
from sim.report.svg import LINE, NARROW, Scale, filled, hatch, line, number, path, spread, svg, text, ticks
from sim.thermal import Cycle, nth_cycle
from sim.verdict.heat import Temperature, temperatures
from sim.verdict.hot_parts import HotPart, hot_parts

BURST = 10  # welds
_POINTS = 28  # points of a curve
_LEFT, _TOP, _HEIGHT = 44, 22, 80  # margins and height of a panel
_LEAST_MIN, _MOST_MIN = 60, 240
_NAMES = {"electrode-heat": "electrode face", "electrode-peak": "electrode peak"}


@dataclass(frozen=True)
class PartHeat:
    """One part: its figures from the checks, and its curve."""

    name: str
    said: Temperature
    final: Cycle
    """The cycle in continuous work."""
    curve: tuple[tuple[float, float, float], ...]
    """(Minutes, peak, mean) of welds from cold, in degC."""
    burst_welds: int
    """Welds before the limit is passed, of `BURST` without a pause."""

    @property
    def passes_s(self) -> float | None:
        """Time at which a peak passes the limit; None for never, and if the limit is of the mean."""
        return None if self.said.by_mean else self.said.time_to_limit_s


@dataclass(frozen=True)
class Heat:
    """All parts at one pace. `most_pace`: without pauses beyond the off time. `made`: the welds of this run."""

    parts: tuple[PartHeat, ...]
    pace: float
    most_pace: float
    made: int
    minutes: float


def heat_of(data: ReportData) -> Heat:
    """The heat of every part judged by the checks."""
    table, currents = data.table, data.currents
    half_s = 0.5 / table.frequency_Hz
    weld_s = (table.half_cycles - table.time_of("off")) * half_s
    pace = min(data.welds_per_minute, 60 / weld_s)  # as in the checks of heat
    most_pace = 60 / (table.half_cycles * half_s)
    hot, made = hot_parts(currents, data.welder, pace), data.run.weld_count.made
    slowest_min = max((part.slow or part.network).slowest_s for part in hot) / 60
    minutes = min(max(30 * math.ceil(3 * slowest_min / 30 - 1e-9), _LEAST_MIN), _MOST_MIN)
    said = temperatures(replace(data.run, welds_per_minute=pace), made, BURST)
    parts = tuple(_part(part, t, pace, most_pace, minutes) for part, t in zip(hot, said, strict=True))
    return Heat(parts, pace, most_pace, made, minutes)


def _part(part: HotPart, said: Temperature, pace: float, most_pace: float, minutes: float) -> PartHeat:
    passes_s = math.inf if part.by_mean else part.time_to_limit_s(most_pace)
    return PartHeat(
        _NAMES.get(part.name, part.name),
        said,
        part.outlook(pace, 1).equilibrium,
        _curve(part, pace, minutes),
        BURST if math.isinf(passes_s) else min(BURST, math.floor(passes_s * most_pace / 60)),
    )


def _curve(part: HotPart, pace: float, minutes: float) -> tuple[tuple[float, float, float], ...]:
    """Points of welds from cold, densest at first, when the temperature changes most."""
    period_s = 60 / pace
    last = max(2, math.floor(minutes * pace))
    points = []
    for weld in sorted({round(n) for n in np.geomspace(1, last, _POINTS)}):
        cycle = nth_cycle(part.network, part.profile, period_s, weld, part.output)
        points.append((((weld - 1) * period_s + cycle.peak_at_s) / 60, cycle.peak_degC, cycle.mean_degC))
    return tuple(points)


def time_words(seconds: float) -> str:
    """A time in seconds, minutes or hours."""
    if seconds < 100:
        return f"{number(seconds)} s"
    return f"{number(seconds / 60)} min" if seconds < 6000 else f"{number(seconds / 3600)} h"


def fastest_words(part: PartHeat, heat: Heat) -> str:
    """The fastest safe pace in words; any, if `most_pace` is safe."""
    fastest = part.said.fastest_pace
    if fastest <= 0:
        return "not one weld"
    return f"any, up to {number(heat.most_pace)}" if fastest >= 0.999 * heat.most_pace else number(fastest)


def rest_words(part: PartHeat) -> str:
    """The rest after a burst, and whether the burst itself passes the limit."""
    rest_s = part.said.rest_s
    if rest_s is None:
        return "none: its limit is of the mean"
    if math.isinf(rest_s):
        return "never safe"
    rest = "none" if rest_s < 0.05 else time_words(rest_s)
    return rest if part.burst_welds >= BURST else f"{rest}; too hot from weld {part.burst_welds + 1}"


def draw_heat(heat: Heat, ambient_C: float, width: int, name: str) -> str:
    """One panel for each part with its own scale of temperature, over one axis of minutes."""
    right = width - (88 if width == NARROW else 168)
    x = Scale(0, heat.minutes, _LEFT, right)
    drawn, top = [hatch(f"hatch-{name}")], 0.0
    for part in heat.parts:
        drawn.append(_panel(part, ambient_C, x, top, width, f"hatch-{name}"))
        top += _TOP + _HEIGHT + 14
    bottom = top - 14
    for minutes in ticks(0, heat.minutes, 5 if width == NARROW else 9):
        drawn.append(line(x(minutes), bottom, x(minutes), bottom + 5, "axis"))
        drawn.append(text(x(minutes), bottom + 19, number(minutes), "middle"))
    drawn.append(text(right, bottom + 36, "minutes of work from cold", "end"))
    label = "Temperatures along time at this pace: " + ", ".join(
        f"{part.name} {number(part.said.for_ever_C)} of {number(part.said.limit_C)} °C in continuous work"
        for part in heat.parts
    )
    return svg(width, bottom + 42, "".join(drawn), label)


def _panel(part: PartHeat, ambient_C: float, x: Scale, top: float, width: int, pattern: str) -> str:
    final, limit_C, by_mean = part.final, part.said.limit_C, part.said.by_mean
    passes_s, limited = part.passes_s, math.isfinite(limit_C)
    most = max(final.peak_degC, *(peak for _, peak, _ in part.curve), limit_C if limited else 0)
    y = Scale(ambient_C, ambient_C + 1.06 * (most - ambient_C), top + _TOP + _HEIGHT, top + _TOP)
    title = f"{part.name}, °C"
    drawn = [text(2, top + 13, title, class_="strong")]
    if passes_s is not None:
        drawn.append(text(x.at_high, top + 13, f"beyond its limit after {time_words(passes_s)}", "end"))
    for minutes in ticks(0, x.high, 9):
        drawn.append(line(x(minutes), y.at_high, x(minutes), y.at_low, "grid"))
    drawn.append(line(_LEFT, y.at_low, x.at_high, y.at_low, "axis"))
    for value in [ambient_C, *(v for v in ticks(ambient_C, y.high, 4) if y(ambient_C) - y(v) > LINE)]:
        drawn += [
            line(_LEFT - 4, y(value), _LEFT, y(value), "axis"),
            text(_LEFT - 7, y(value) + 4, number(value), "end"),
        ]
    if limited and final.peak_degC > limit_C and not by_mean:
        edge = y(limit_C)
        points = [(x(m), min(y(peak), edge)) for m, peak, _ in part.curve]
        drawn.append(filled([(points[0][0], edge), *points, (points[-1][0], edge)], pattern))
    narrow = width == NARROW
    after = "" if narrow else ", continuous"
    labels: list[tuple[float, str, str]] = []
    if limited:
        drawn.append(line(_LEFT, y(limit_C), x.at_high, y(limit_C), "limit"))
        labels.append((limit_C, "limit of the mean" if by_mean and not narrow else "limit", "strong"))
    drawn.append(path([(x(m), y(peak)) for m, peak, _ in part.curve], "curve" if by_mean else "current"))
    labels.append((final.peak_degC, f"peak{after}", ""))
    if by_mean:
        drawn.append(path([(x(m), y(mean)) for m, _, mean in part.curve], "current"))
        labels.append((final.mean_degC, f"mean{after}", ""))
    drawn.append(_labels(labels, x, y))
    if passes_s is not None and passes_s / 60 <= x.high:
        at, limit = x(passes_s / 60), y(limit_C)
        drawn += [
            line(at - 4, limit - 4, at + 4, limit + 4, "mark"),
            line(at - 4, limit + 4, at + 4, limit - 4, "mark"),
        ]
    return "".join(drawn)


def _labels(labels: Sequence[tuple[float, str, str]], x: Scale, y: Scale) -> str:
    """A label for each line, right of its end; labels do not overlap."""
    ordered = sorted(labels, key=lambda label: y(label[0]))
    wanted = [y(value) for value, _, _ in ordered]
    places = spread(wanted, [LINE] * len(ordered), y.at_high - LINE, y.at_low + LINE / 2)
    assert places is not None, "three lines of text fit beside a panel"
    drawn = []
    for (value, words, class_), at, place in zip(ordered, wanted, places, strict=True):
        drawn.append(path([(x.at_high, at), (x.at_high + 4, at), (x.at_high + 9, place)], "leader"))
        drawn.append(text(x.at_high + 12, place + 4, f"{words} {number(value)}", class_=class_))
    return "".join(drawn)
