"""Draws the trials of a joint: weld time across, percent current downwards, outcomes as the shapes of marks.

It is readable in black and white: nothing is shown by colour alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gen.trials.belief import Belief
from gen.trials.joints import Known, tried_of
from gen.trials.values import Expulsion, Outcome, Window
from sim.report.svg import Scale, filled, hatch, line, number, path, svg, text, width_of

_LEFT, _RIGHT = 56, 16
_STEP = 20  # between rows of marks
_BAR = 14  # height of the window
_TITLE = 24  # room for the title
_GAP = 18  # between two percents
_R = 5.0  # half the width of a mark
_MOST_NUMBERS = 4  # at one mark
_WINDOW = "good window, 95 % limits"
_LEGEND: tuple[tuple[str, Outcome, Expulsion], ...] = (
    ("no bond", "no bond", "none"),
    ("broke at joint", "broke at joint", "none"),
    ("tore parent metal", "tore parent", "none"),
    ("expelled early", "tore parent", "early"),
    ("expelled late", "tore parent", "late"),
)


@dataclass(frozen=True)
class Mark:
    """One trial: its number, weld time in s and result. Equal trials are one mark, whose `number` lists all."""

    number: int | str
    time_s: float
    outcome: Outcome
    expulsion: Expulsion


@dataclass(frozen=True)
class Lane:
    """The trials at one percent, with the estimated window and the kept time there, each None if there is none."""

    percent: float
    window: Window | None
    marks: tuple[Mark, ...]
    kept_s: float | None = None


def lanes_of(known: Known, belief: Belief | None) -> tuple[Lane, ...]:
    """The trials to draw, by percent."""
    kept = known.kept
    percents = {*(known.percents or (known.percent,)), *([kept.percent] if kept else [])}
    lanes = []
    for percent in sorted(percents):
        marks = []
        for record in known.records:
            tried = tried_of(record, known.joint)
            if record.percent == percent:
                marks.append(Mark(record.number, record.weld_s, tried.outcome, tried.expulsion))
        kept_s = kept.weld_s if kept and kept.percent == percent else None
        lanes.append(Lane(percent, belief.window(percent) if belief else None, tuple(marks), kept_s))
    return tuple(lanes)


@dataclass(frozen=True)
class LogTime:
    """A map from seconds to user units on a logarithmic axis. Times beyond its ends are drawn at the ends."""

    low_s: float
    high_s: float
    at_low: float
    at_high: float

    def __call__(self, time_s: float) -> float:
        along = Scale(math.log(self.low_s), math.log(self.high_s), self.at_low, self.at_high)
        return along(math.log(min(max(time_s, self.low_s), self.high_s)))


def draw_trials(lanes: Sequence[Lane], width: int, name: str, title: str = "") -> str:
    """The lanes with the highest percent on top, over one logarithmic axis of time, and `title` above them."""
    x = LogTime(*_range(lanes), _LEFT, width - _RIGHT)
    legend, top = _legend(width, f"hatch-{name}", _TITLE if title else 0)
    if title:
        legend.append(text(2, _TITLE - 8, title, class_="strong"))
    y = top
    lines: list[str] = []
    for lane in sorted(lanes, key=lambda lane: -lane.percent):
        marks = _alike(lane.marks)
        rows = _rows(marks, x)
        base = y + _STEP * max(1, max(rows, default=0) + 1)
        for mark, row in zip(marks, rows, strict=True):
            at = base - _STEP * row - _STEP / 2
            lines += _mark(x(mark.time_s), at, mark.outcome, mark.expulsion)
            lines.append(text(x(mark.time_s) + _number_offset(mark), at + 6, str(mark.number)))
        lines.append(text(_LEFT - 8, base + _BAR - 2, f"{number(lane.percent)} %", "end", "strong"))
        if lane.window is not None:
            lines += _window(lane.window, x, base, f"hatch-{name}")
        y = base + _BAR
        if lane.window is not None and (words := _limits(lane.window, width - _LEFT - _RIGHT)):
            lines.append(text(_LEFT, y + 14, words))
            y += 16
        if lane.kept_s is not None:
            at = x(lane.kept_s)
            lines.append(path([(at, y + 2), (at - 5, y + 10), (at + 5, y + 10)], "full", closed=True))
            lines.append(text(min(at + 9, width - _RIGHT - width_of("kept")), y + 13, "kept"))
            y += 12
        y += _GAP
    bottom = y - _GAP / 2
    label = f"Outcomes of {sum(len(lane.marks) for lane in lanes)} trials against weld time and percent current"
    drawn = [hatch(f"hatch-{name}"), *legend, *_axis(x, top, bottom), *lines]
    return svg(width, bottom + 42, "".join(drawn), label)


def _range(lanes: Sequence[Lane]) -> tuple[float, float]:
    """The range of the axis: from below the shortest to above the longest time drawn. Limits far away are cut off."""
    times = [mark.time_s for lane in lanes for mark in lane.marks]
    times += [lane.kept_s for lane in lanes if lane.kept_s is not None]
    for lane in lanes:
        if lane.window is not None:
            times += [lane.window.low_s.median, lane.window.high_s.median]
    ends = min(times) / 1.3, max(times) * 1.3
    limits = [
        end for lane in lanes if (w := lane.window) for end in (w.low_s.low, w.low_s.high, w.high_s.low, w.high_s.high)
    ]
    low = min([ends[0], *(max(limit / 1.1, ends[0] / 3) for limit in limits)])
    high = max([ends[1], *(min(limit * 1.1, ends[1] * 3) for limit in limits)])
    return low, high


def _legend(width: int, pattern: str, above: float = 0) -> tuple[list[str], float]:
    """The legend, with as many entries on a line as fit, and its bottom edge."""
    drawn: list[str] = []
    x, y = 12.0, 12.0 + above
    for words in (*(words for words, _, _ in _LEGEND), _WINDOW):
        needed = 24 + width_of(words)
        if x + needed > width - 4:
            x, y = 12.0, y + 20
        if words == _WINDOW:
            drawn += _box(x - 6, x + 9, y - 6, 12, pattern)
        else:
            _, outcome, expulsion = next(entry for entry in _LEGEND if entry[0] == words)
            drawn += _mark(x, y, outcome, expulsion)
        drawn.append(text(x + 19, y + 4, words))
        x += needed + 4
    return drawn, y + 24


def _axis(x: LogTime, top: float, bottom: float) -> list[str]:
    """Lines at 1, 2 and 5 of each decade, or more on a short axis, with their times below."""
    span = math.log10(x.high_s / x.low_s)
    steps = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8) if span < 0.7 else (1, 1.5, 2, 3, 5, 7) if span < 1.1 else (1, 2, 5)
    decades = range(math.floor(math.log10(x.low_s)), math.ceil(math.log10(x.high_s)) + 1)
    drawn = [line(x.at_low, bottom, x.at_high, bottom, "axis")]
    edge = 0.0
    for time_s in (step * 10.0**decade for decade in decades for step in steps):
        if not x.low_s <= time_s <= x.high_s:
            continue
        at, words = x(time_s), number(time_s)
        drawn.append(line(at, top, at, bottom, "grid"))
        drawn.append(line(at, bottom, at, bottom + 5, "axis"))
        half = width_of(words) / 2
        if at - half > edge and at + half < x.at_high + _RIGHT:
            drawn.append(text(at, bottom + 19, words, "middle"))
            edge = at + half + 4
    return [*drawn, text(x.at_high, bottom + 36, "weld time, s", "end")]


def _alike(marks: Sequence[Mark]) -> list[Mark]:
    """One mark for all trials of the same time and outcome, with their numbers, or their count."""
    groups: dict[Mark, list[str]] = {}
    for mark in marks:
        groups.setdefault(replace(mark, number=""), []).append(str(mark.number))
    return [
        replace(mark, number=", ".join(numbers) if len(numbers) <= _MOST_NUMBERS else f"{len(numbers)} trials")
        for mark, numbers in groups.items()
    ]


def _rows(marks: Sequence[Mark], x: LogTime) -> list[int]:
    """For each mark the lowest row in which it and its number overlap no other."""
    taken: list[float] = []
    rows = [0] * len(marks)
    for n in sorted(range(len(marks)), key=lambda n: (marks[n].time_s, n)):
        begin = x(marks[n].time_s) - _R - 9
        end = x(marks[n].time_s) + _number_offset(marks[n]) + 2 + width_of(str(marks[n].number))
        row = next((r for r, edge in enumerate(taken) if edge <= begin), len(taken))
        if row == len(taken):
            taken.append(end)
        taken[row] = end
        rows[n] = row
    return rows


def _number_offset(mark: Mark) -> float:
    """The distance from the middle of a mark to its number, clear of the rays of a late expulsion."""
    return _R + (11 if mark.expulsion == "late" else 5)


def _mark(x: float, y: float, outcome: Outcome, expulsion: Expulsion) -> list[str]:
    """Open ring: no bond. Ring with a cross: broke. Full square: tore. Ray to the left: early expulsion; to the right: late."""
    found = []
    if outcome == "tore parent":
        found.append(
            path([(x - _R, y - _R), (x + _R, y - _R), (x + _R, y + _R), (x - _R, y + _R)], "full", closed=True)
        )
    else:
        ring = [(x + _R * math.cos(a * math.pi / 8), y + _R * math.sin(a * math.pi / 8)) for a in range(16)]
        found.append(path(ring, "mark", closed=True))
        if outcome == "broke at joint":
            found += [line(x - _R, y, x + _R, y, "mark"), line(x, y - _R, x, y + _R, "mark")]
    if expulsion != "none":
        side = -1 if expulsion == "early" else 1
        rays = ((2, 0, 8, 1), (2, -2, 8, -4), (0, -2, 3, -8))  # from the corner of the mark, in either direction
        corner_x, corner_y = x + side * _R, y - _R
        found += [
            line(corner_x + side * x1, corner_y + y1, corner_x + side * x2, corner_y + y2, "mark")
            for x1, y1, x2, y2 in rays
        ]
    return found


def _box(left: float, right: float, top: float, height: float, pattern: str) -> list[str]:
    corners = [(left, top), (right, top), (right, top + height), (left, top + height)]
    return [filled(corners, pattern), path(corners, "beyond", closed=True)]


def _limits(window: Window, room: float) -> str:
    """The window's ends in words, each with its limits where there is room for them."""
    low, high = window.low_s, window.high_s
    if not low.median < high.median:
        return ""
    ends = [f"{number(end.median)} s ({number(end.low)} to {number(end.high)})" for end in (low, high)]
    whole = f"good from {ends[0]} to {ends[1]}"
    return whole if width_of(whole) <= room else f"good from {number(low.median)} to {number(high.median)} s"


def _window(window: Window, x: LogTime, base: float, pattern: str) -> list[str]:
    """The window between its medians, hatched, with the limits of either end as whiskers."""
    low, high = window.low_s, window.high_s
    found = []
    if low.median < high.median:
        found += _box(x(low.median), x(high.median), base, _BAR, pattern)
    for end, at in ((low, base + _BAR / 2 - 3), (high, base + _BAR / 2 + 3)):
        found.append(line(x(end.low), at, x(end.high), at, "true"))
        found += [line(x(edge), at - 3, x(edge), at + 3, "true") for edge in (end.low, end.high)]
    return found
