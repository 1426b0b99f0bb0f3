"""Welds laid over each other: when each half-cycle was fired, and the resistance over the reactance behind it.

Readable in black and white: welds differ by their dashes, and each bears its name.
"""

from __future__ import annotations

from collections.abc import Sequence

from gen.measured import Course
from sim.report.joint_page import svg_file
from sim.report.svg import WIDE, Scale, line, number, path, rect, svg, text, ticks, width_of

_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 96, 28, 40
_HIGH = 260
_CLASSES = ("curve", "other", "limit", "current", "leader")


def standalone_welds(courses: Sequence[Course], short: Course | None) -> str:
    """The picture as an SVG file. `short`: a weld with shorted electrodes, which is taken off."""
    return svg_file(draw_welds(courses, short), WIDE)


def draw_welds(courses: Sequence[Course], short: Course | None) -> str:
    """Half-cycles under current along; the schedule of the first as bars behind, high where it is fired early."""
    most = max(len(course.seen) for course in courses)
    values = [course.work(short) if short is not None else course.cycles for course in courses]
    ratios = [ratio for pairs in values for _, ratio in pairs] or [0.0, 1.0]
    low, high = min(ratios), max(ratios)
    room = (high - low) * 0.1 or 0.1
    x = Scale(0, most, _LEFT, WIDE - _RIGHT)
    y = Scale(low - room, high + room, _TOP + _HIGH, _TOP)
    drawn = [_schedule(courses[0], x)]
    for value in ticks(y.low, y.high, 6):
        drawn += [
            line(_LEFT, y(value), WIDE - _RIGHT, y(value), "grid"),
            text(_LEFT - 6, y(value) + 4, number(value), "end"),
        ]
    for value in ticks(0, most, 10):
        drawn += [
            line(x(value), _TOP + _HIGH, x(value), _TOP + _HIGH + 5, "weld"),
            text(x(value), _TOP + _HIGH + 20, number(value), "middle"),
        ]
    drawn.append(line(_LEFT, _TOP + _HIGH, WIDE - _RIGHT, _TOP + _HIGH, "weld"))
    what = (
        "the work's resistance over the reactance" if short is not None else "the loop's resistance over its reactance"
    )
    drawn.append(text(_LEFT, _TOP - 12, f"{what}; bars: the half-cycle's part under gate", class_="strong"))
    drawn.append(text(WIDE - _RIGHT, _TOP + _HIGH + 36, "half-cycles under current", "end"))
    taken: list[float] = []
    for course, pairs, class_ in zip(courses, values, _CLASSES * (1 + len(courses) // len(_CLASSES)), strict=False):
        drawn.append(path([(x(gate + 1), y(ratio)) for gate, ratio in pairs], class_))
        if pairs:
            at = y(pairs[-1][1]) + 4
            while any(abs(at - other) < 14 for other in taken):
                at += 14
            taken.append(at)
            name = f"{course.weld.boot}/{course.weld.count}"
            drawn.append(text(min(x(pairs[-1][0] + 1) + 6, WIDE - width_of(name)), at, name))
    label = f"{what} of {len(courses)} welds by half-cycle"
    return svg(WIDE, _TOP + _HIGH + _BOTTOM, "".join(drawn), label)


def _schedule(course: Course, x: Scale) -> str:
    bars = []
    for seen in course.seen:
        high = _HIGH * max(0.0, 1 - seen.delay_deg / 180)
        bars.append(rect(x(seen.gate), _TOP + _HIGH - high, x.per_unit, high, "area", fill="#e4e4e4"))
    return "".join(bars)
