"""Welds laid over each other: when each half-cycle was fired, the resistance over the reactance behind it, and its current.

Readable in black and white: welds differ by their dashes, and each bears its name.
"""

from __future__ import annotations

from collections.abc import Sequence

from gen.measured import Course
from sim.report.joint_page import svg_file
from sim.report.svg import LINE, WIDE, Scale, line, number, path, rect, svg, text, ticks, width_of

_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 96, 40, 40
_HIGH = 260
_CLASSES = ("curve", "other", "limit", "current", "leader")


def standalone_welds(courses: Sequence[Course], short: Course | None) -> str:
    """The picture as an SVG file. `short`: a weld with shorted electrodes, which is taken off."""
    return svg_file(draw_welds(courses, short), WIDE)


def draw_welds(courses: Sequence[Course], short: Course | None, width: int = WIDE) -> str:
    """Half-cycles under current along; the schedule of the first as bars behind, high where it is fired early."""
    most = max(len(course.seen) for course in courses)
    x = Scale(0, most, _LEFT, width - _RIGHT)
    values = [course.work(short) if short is not None else course.cycles for course in courses]
    ratios = [ratio for pairs in values for _, ratio in pairs] or [0.0, 1.0]
    low, high = min(ratios), max(ratios)
    room = (high - low) * 0.1 or 0.1
    what = (
        "the work's resistance over the reactance" if short is not None else "the loop's resistance over its reactance"
    )
    y = Scale(low - room, high + room, _TOP + _HIGH, _TOP)
    curves = [[(gate + 1.0, ratio) for gate, ratio in pairs] for pairs in values]
    drawn = [_schedule(courses[0], x)]
    drawn += _panel(courses, curves, x, y, f"{what}; bars: the half-cycle's part under gate")
    high_px = _TOP + _HIGH + _BOTTOM
    currents = [[(gate + 0.5, amperes) for gate, amperes in course.currents] for course in courses]
    if any(currents):
        greatest = max(amperes for curve in currents for _, amperes in curve)
        y = Scale(0, 1.1 * greatest or 1.0, high_px + _TOP + _HIGH, high_px + _TOP)
        drawn += _panel(courses, currents, x, y, "RMS primary current, A")
        high_px *= 2
    return svg(width, high_px, "".join(drawn), f"{what} of {len(courses)} welds by half-cycle")


def _panel(
    courses: Sequence[Course], curves: Sequence[Sequence[tuple[float, float]]], x: Scale, y: Scale, what: str
) -> list[str]:
    """One curve of each weld over the half-cycles, with its axes; each weld bears its name at the end."""
    foot, head = y(y.low), y(y.high)
    drawn = []
    for value in ticks(y.low, y.high, 6):
        drawn += [
            line(_LEFT, y(value), x.at_high, y(value), "grid"),
            text(_LEFT - 6, y(value) + 4, number(value), "end"),
        ]
    for value in ticks(x.low, x.high, 10):
        drawn += [
            line(x(value), foot, x(value), foot + 5, "weld"),
            text(x(value), foot + 20, number(value), "middle"),
        ]
    drawn.append(line(_LEFT, foot, x.at_high, foot, "weld"))
    # Two lines where one would not fit, and then from the picture's own edge.
    heads = [what] if width_of(what) < x.at_high + _RIGHT - _LEFT else what.split("; ")
    for n, words in enumerate(reversed(heads)):
        drawn.append(text(_LEFT if len(heads) == 1 else 4, head - 8 - LINE * n, words, class_="strong"))
    drawn.append(text(x.at_high, foot + 36, "half-cycles under current", "end"))
    taken: list[float] = []
    for course, curve, class_ in zip(courses, curves, _CLASSES * (1 + len(courses) // len(_CLASSES)), strict=False):
        drawn.append(path([(x(gate), y(value)) for gate, value in curve], class_))
        if curve:
            at = y(curve[-1][1]) + 4
            while any(abs(at - other) < 14 for other in taken):
                at += 14
            taken.append(at)
            name = f"{course.weld.boot}/{course.weld.count}"
            drawn.append(text(min(x(curve[-1][0]) + 6, x.at_high + _RIGHT - width_of(name)), at, name))
    return drawn


def _schedule(course: Course, x: Scale) -> str:
    bars = []
    for seen in course.seen:
        high = _HIGH * max(0.0, 1 - seen.delay_deg / 180)
        bars.append(rect(x(seen.gate), _TOP + _HIGH - high, x.per_unit, high, "area", fill="#e4e4e4"))
    return "".join(bars)
