"""Draws the flux path of one weld, and the duty minute."""

from __future__ import annotations

from collections.abc import Sequence

from sim.bench.recording import ObservedWeld
from sim.report.data import Flux, Minute, Refusal
from sim.report.svg import FONT, LINE, NARROW, Scale, hatch, line, number, path, rect, svg, text, ticks

_LEFT, _RIGHT = 56, 10
_TOP, _HEIGHT = 24, 170


def draw_flux(flux: Flux, zero_s: float, width: int, marks: Sequence[tuple[float, str]] = ()) -> str:
    """Flux against time since the crossing before the first gate, between its limits.

    `marks`: times of the run, each with words.
    """
    times = [t for t, _ in flux.path if t >= zero_s]
    x = Scale(zero_s, max(times[-1], zero_s + 1e-3), _LEFT, width - _RIGHT)
    reach = 1.12 * max([1.0, abs(flux.peak), *([flux.limit] if flux.limit else [])])
    y = Scale(-reach, reach, _TOP + _HEIGHT, _TOP)
    drawn = [text(2, 12, "flux, in units of its steady peak at full voltage")]
    for value in (-1.0, 0.0, 1.0):
        drawn.append(line(_LEFT, y(value), width - _RIGHT, y(value), "grid" if value else "axis"))
        if not flux.limit or abs(abs(value) - flux.limit) * abs(y.per_unit) > FONT + 2:
            drawn.append(text(_LEFT - 6, y(value) + 4, number(value), "end"))
    if flux.limit:
        for value in (flux.limit, -flux.limit):
            drawn.append(line(_LEFT, y(value), width - _RIGHT, y(value), "limit"))
            drawn.append(text(_LEFT - 6, y(value) + 4, number(value), "end", "strong"))
    drawn.append(path([(x(t), y(value)) for t, value in flux.path if t >= zero_s], "curve"))
    for time_s, words in marks:
        if x.low <= time_s <= x.high:
            drawn.append(line(x(time_s), _TOP, x(time_s), y.at_low, "limit"))
            drawn.append(text(x(time_s) + 5, _TOP + 10, words, class_="strong"))
    ms_high = (x.high - zero_s) * 1e3
    for ms in ticks(0, ms_high, 4 if width == NARROW else 8):
        at = x(zero_s + ms / 1e3)
        drawn.append(line(at, y.at_low, at, y.at_low + 5, "axis"))
        if at < width - _RIGHT - 14:
            drawn.append(text(at, y.at_low + 19, number(ms, 4), "middle"))
    drawn.append(line(_LEFT, y.at_low, width - _RIGHT, y.at_low, "axis"))
    drawn.append(text(width - _RIGHT, y.at_low + 36, "ms after the crossing before the first gate", "end"))
    return svg(width, y.at_low + 42, "".join(drawn), f"Flux path of one weld, peak {number(flux.peak)}")


def draw_minute(
    minute: Minute, welds: Sequence[ObservedWeld], refused: Sequence[Refusal], width: int, name: str
) -> str:
    """Heat in the minute before each moment, against the limit. Below it the welds, and the presses that began none."""
    x = Scale(minute.start_s, max(minute.end_s, minute.start_s + 1), _LEFT, width - _RIGHT)
    y = Scale(0, 1.15 * max(minute.limit, minute.used, 1), _TOP + _HEIGHT, _TOP)
    drawn = [hatch(f"hatch-{name}"), text(2, 12, "heat of the last minute, in half-cycles at full conduction")]
    for value in ticks(0, y.high / 1.05, 4):
        drawn.append(line(_LEFT, y(value), width - _RIGHT, y(value), "grid" if value else "axis"))
        drawn.append(text(_LEFT - 6, y(value) + 4, number(value), "end"))
    drawn.append(line(_LEFT, y(minute.limit), width - _RIGHT, y(minute.limit), "limit"))
    drawn.append(path([(x(t), y(used)) for t, used in minute.path], "curve"))
    # The label of the greatest use is above its height, that of the limit above its line; if they are near, the lower goes below.
    near, over = abs(minute.limit - minute.used) * abs(y.per_unit) < 2 * LINE, minute.used > minute.limit
    for words, value, lower in (("limit", minute.limit, over), ("used", minute.used, not over)):
        at = y(value) + (LINE if near and lower else -5)
        drawn.append(text(width - _RIGHT, at, f"{words} {number(value)}", "end", "strong"))
    strip = y.at_low + 10
    drawn.append(text(2, strip + 12, "welds"))
    for weld in welds:
        begin, end = max(weld.asked_s, x.low), min(weld.ended_s, x.high)
        if begin < end:
            drawn.append(rect(x(begin), strip, x(end) - x(begin), 16, "weld", fill=f"url(#hatch-{name})"))
    bottom = strip + 22
    missed = [x(refusal.pressed_s) for refusal in refused if x.low <= refusal.pressed_s <= x.high]
    if missed:
        drawn.append(text(2, bottom + 10, "no weld"))
        drawn += [line(at - 4, bottom + 2, at + 4, bottom + 10, "mark") for at in missed]
        drawn += [line(at - 4, bottom + 10, at + 4, bottom + 2, "mark") for at in missed]
        bottom += 16
    drawn.append(line(_LEFT, bottom, width - _RIGHT, bottom, "axis"))
    for seconds in ticks(x.low, x.high, 7):
        drawn.append(line(x(seconds), bottom, x(seconds), bottom + 5, "axis"))
        if x(seconds) < width - _RIGHT - 14 or seconds == x.high:
            drawn.append(text(min(x(seconds), width - _RIGHT - 8), bottom + 19, number(seconds, 4), "middle"))
    drawn.append(text(width - _RIGHT, bottom + 36, "s of the run", "end"))
    label = f"Heat used in the busiest minute, {number(minute.used)} of {number(minute.limit)} half-cycles at full conduction"
    return svg(width, bottom + 42, "".join(drawn), label)
