"""The first and the last half-cycles of a weld, enlarged: voltage, crossings, gate and current."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.bench.mains import HalfCycle
from sim.bench.recording import ObservedWeld, Recording
from sim.bench.switch import Conduction
from sim.report.data import ReportData
from sim.report.svg import NARROW, Scale, filled, fixed, hatch, line, number, path, rect, svg, text, ticks

_LEFT, _RIGHT = 66, 10
_VOLTAGE, _TRUE, _DETECTED, _GATE, _DELAY, _CURRENT, _TIME = 22, 100, 119, 139, 174, 184, 268  # top of each track
_TRACK = 76  # height of the voltage's and the current's
_SAMPLES = 24  # a half-cycle
_BEFORE, _AFTER = 1, 1  # half-cycles shown without a gate


@dataclass(frozen=True)
class View:
    """The data common to both enlargements."""

    recording: Recording
    edges_s: Sequence[float]
    """The detector's edges that mark a crossing."""
    gates: Sequence[tuple[float, float]]
    conductions: Sequence[Conduction]
    zero_s: float
    """The zero of the time axis."""
    numbers: dict[int, int]
    """The number in the weld of each fired half-cycle, by its index in the mains."""
    peak_A: float


def view_of(data: ReportData, weld: ObservedWeld) -> View:
    """A view of one weld, which has at least one gate."""
    recording, gates, conductions = data.recording, data.gates_of(weld), data.conductions_of(weld)
    square = data.welder.detector.kind == "square"  # a pulse detector marks a crossing by its rising edge alone
    edges_s = [change.time_s for change in recording.detector if change.value or square]
    fired = [recording.half_cycle_at(on_s) for on_s, _ in gates]
    numbers = {half.index: n for n, half in enumerate(fired, 1)}
    peak_A = max((c.peak_A for c in conductions), default=0.0) or 1.0
    return View(recording, edges_s, gates, conductions, fired[0].start_s, numbers, peak_A)


def shown_half_cycles(view: View, last: bool, width: int) -> list[HalfCycle]:
    """The half-cycles of one enlargement: the fired ones at that end of the weld, and one next to them."""
    count = 3 if width == NARROW else 5
    fired = sorted(view.numbers)
    if last:
        begin = max(fired[-1] - count + 1, fired[0] - _BEFORE)
        wanted = range(begin, fired[-1] + _AFTER + 1)
    else:
        wanted = range(fired[0] - _BEFORE, fired[0] + count)
    known = view.recording.half_cycles
    return [known[n] for n in wanted if 0 <= n < len(known)]


def draw_half_cycles(view: View, halves: Sequence[HalfCycle], width: int, name: str) -> str:
    """The tracks, one below the other, along one time axis."""
    start_s, end_s = halves[0].start_s, halves[-1].start_s + halves[-1].length_s
    x = Scale(start_s, end_s, _LEFT, width - _RIGHT)
    drawn = [
        hatch(f"hatch-{name}"),
        _crossings(view, halves, x),
        _numbers(view, halves, x),
        _voltage(halves, x),
        _gates(view, x),
        _currents(view, x, f"hatch-{name}"),
        _time_axis(view, x),
    ]
    first, final = halves[0].index, halves[-1].index
    return svg(
        width,
        _TIME + 42,
        "".join(drawn),
        f"Mains half-cycles {first} to {final} of the run, with gate and current",
        data_start_s=f"{start_s:.9f}",
        data_px_per_s=fixed(x.per_unit),
        data_left=_LEFT,
    )


def _numbers(view: View, halves: Sequence[HalfCycle], x: Scale) -> str:
    """The number of each half-cycle, counted from the first fired."""
    drawn = [text(2, 14, "half-cycle")]
    for half in halves:
        n = view.numbers.get(half.index)
        drawn.append(text(x(half.start_s + half.length_s / 2), 14, str(n) if n else "no gate", "middle"))
    return "".join(drawn)


def _crossings(view: View, halves: Sequence[HalfCycle], x: Scale) -> str:
    drawn = [text(2, _TRUE + 14, "crossing"), text(2, _DETECTED + 14, "detected")]
    for half in halves:
        drawn.append(line(x(half.start_s), 20, x(half.start_s), _TIME, "grid"))
        drawn.append(line(x(half.start_s), _TRUE + 3, x(half.start_s), _TRUE + 19, "true"))
    for edge_s in view.edges_s:
        if x.low <= edge_s <= x.high:
            at, tip = x(edge_s), _DETECTED + 3
            drawn.append(path([(at, tip), (at - 4, tip + 12), (at + 4, tip + 12)], "detected", closed=True))
    return "".join(drawn)


def _voltage(halves: Sequence[HalfCycle], x: Scale) -> str:
    peak = max(max(half.amplitude_V for half in halves), 1.0)
    y = Scale(-1.1 * peak, 1.1 * peak, _VOLTAGE + _TRACK, _VOLTAGE)
    points = []
    for half in halves:
        step = half.length_s / _SAMPLES
        points += [(x(half.start_s + n * step), y(half.voltage(half.start_s + n * step))) for n in range(_SAMPLES + 1)]
    return _value_axis("mains, V", y, x, peak) + path(points, "voltage")


def _gates(view: View, x: Scale) -> str:
    """Each gate as a bar, over its firing delay from the true crossing."""
    drawn = [text(2, _GATE + 14, "gate"), text(2, _DELAY + 4, "delay, ms")]
    drawn.append(line(x(x.low), _GATE + 18, x(x.high), _GATE + 18, "grid"))
    for on_s, off_s in view.gates:
        if not x.low <= on_s < x.high:
            continue
        half = view.recording.half_cycle_at(on_s)
        until = min(x(off_s), x.at_high)
        drawn.append(
            rect(
                x(on_s),
                _GATE + 4,
                until - x(on_s),
                14,
                "gate",
                data_half_cycle=str(half.index),
                data_gate_on_s=f"{on_s:.9f}",
            )
        )
        middle = x(half.start_s + half.length_s / 2)
        drawn.append(text(middle, _DELAY + 4, f"{(on_s - half.start_s) * 1e3:.2f}", "middle"))
    return "".join(drawn)


def _currents(view: View, x: Scale, pattern: str) -> str:
    """Each current from start to end; dashed and without hatching if it never latched."""
    y = Scale(-1.1 * view.peak_A, 1.1 * view.peak_A, _CURRENT + _TRACK, _CURRENT)
    drawn = [_value_axis("primary, A", y, x, view.peak_A)]
    for c in view.conductions:
        begin, end = max(c.start_s, x.low), min(c.end_s, x.high)
        if begin >= end:
            continue
        step = (end - begin) / _SAMPLES
        times = [begin + n * step for n in range(_SAMPLES + 1)]
        points = [(x(t), y(c.current.at(t))) for t in times]
        outline = [(points[0][0], y(0)), *points, (points[-1][0], y(0))]
        if c.latched:
            drawn.append(filled(outline, pattern))
        drawn.append(path(outline, "current" if c.latched else "current unlatched"))
    return "".join(drawn)


def _value_axis(name: str, y: Scale, x: Scale, peak: float) -> str:
    """The track's name and unit over its zero, and its scale."""
    most = max(ticks(0, peak, 4))
    drawn = [text(2, y(0) - 4, name.split(", ")[0] + ","), text(2, y(0) + 12, name.split(", ")[1])]
    drawn.append(line(x.at_low, y(0), x.at_high, y(0), "axis"))
    for value in (most, -most):
        drawn.append(line(x.at_low - 4, y(value), x.at_low, y(value), "axis"))
        drawn.append(text(x.at_low - 6, y(value) + 4, number(value), "end"))
    drawn.append(line(x.at_low, y(most), x.at_low, y(-most), "axis"))
    return "".join(drawn)


def _time_axis(view: View, x: Scale) -> str:
    drawn = [line(x.at_low, _TIME, x.at_high, _TIME, "axis")]
    low, high = (x.low - view.zero_s) * 1e3, (x.high - view.zero_s) * 1e3
    for ms in ticks(low, high, 8):
        time_s = view.zero_s + ms / 1e3
        drawn.append(line(x(time_s), _TIME, x(time_s), _TIME + 5, "axis tick", data_time_s=f"{time_s:.9f}"))
        if x.at_low + 8 < x(time_s) < x.at_high - 8:
            drawn.append(text(x(time_s), _TIME + 19, number(ms, 4), "middle"))
    drawn.append(text(x.at_high, _TIME + 36, "ms after the crossing before the first gate", "end"))
    return "".join(drawn)
