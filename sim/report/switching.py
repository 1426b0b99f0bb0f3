"""Draws the first half-cycles of a weld on a saturating core, and the same machine switched on at voltage zero."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.words import GATE_END_DEG
from sim.core.impulse import Firing, gate_windows, sine
from sim.core.waves import Wave, wave
from sim.core.weld_current import Assumed
from sim.report.data import ReportData
from sim.report.svg import LINE, NARROW, Scale, filled, hatch, line, number, path, svg, text, ticks, width_of

_LEFT, _RIGHT = 56, 10
_CURRENT, _FLUX = 130, 130  # heights of the tracks
_SHOWN = {True: 5, False: 10}  # half-cycles, narrow and wide
_STROKE = 26  # length of a line in the key


@dataclass(frozen=True)
class Switching:
    """Both waves, each from its worst residue. `unit_Vs`: the steady peak flux at full voltage."""

    scheduled: Wave
    zero: Wave
    half_s: float
    unit_Vs: float
    knee: float

    def first(self, half_cycles: int) -> Switching:
        """Only the first half-cycles."""
        until_s = half_cycles * self.half_s * (1 + 1e-9)
        scheduled, zero = (Wave(tuple(p for p in w.points if p[0] <= until_s)) for w in (self.scheduled, self.zero))
        return Switching(scheduled, zero, self.half_s, self.unit_Vs, self.knee)


def switching_of(data: ReportData) -> Switching:
    """The waves of the patterns used by the checks."""
    currents, mains = data.currents, data.welder.mains
    shown = _SHOWN[False]
    # One half-cycle more than shown, for a current that goes on.
    supply = sine(mains.voltage_V, mains.frequency_Hz, shown + 1)
    until_s = shown * currents.half_s
    scheduled = gate_windows(supply, currents.pattern.delays_deg)
    zero = [Firing(0.0, supply[-1].start_s + GATE_END_DEG / 180 * currents.half_s)]
    unit_Vs = math.sqrt(2) * mains.voltage_V / (2 * math.pi * mains.frequency_Hz)
    return Switching(
        wave(currents.circuit, supply, scheduled, until_s, currents.worst.initial_flux_Vs),
        wave(currents.circuit, supply, zero, until_s, currents.zero_worst.initial_flux_Vs),
        currents.half_s,
        unit_Vs,
        currents.circuit.curve.knee_Vs / unit_Vs,
    )


def assumed_words(assumed: Assumed) -> str:
    """The assumed figures of the core, in words."""
    knee, remanence = number(assumed.knee), number(assumed.remanence)
    return f"a knee at {knee} times the steady peak flux and a remanence of {remanence} of the knee"


def draw_switching(every: Switching, width: int, name: str) -> str:
    """Current above and flux below, over one time axis."""
    shown = every.first(_SHOWN[width == NARROW])
    half_cycles = _SHOWN[width == NARROW]
    x = Scale(0, half_cycles * shown.half_s, _LEFT, width - _RIGHT)
    key, top = _key(shown, width)
    current_top = top + LINE + 8
    flux_top = current_top + _CURRENT + LINE + 14
    bottom = flux_top + _FLUX
    peak_A = max(shown.scheduled.peak_A, shown.zero.peak_A, 1e-9)
    reach = 1.08 * max(shown.scheduled.peak_Vs / shown.unit_Vs, shown.zero.peak_Vs / shown.unit_Vs, shown.knee)
    amperes = Scale(-1.08 * peak_A, 1.08 * peak_A, current_top + _CURRENT, current_top)
    flux = Scale(-reach, reach, bottom, flux_top)
    drawn = [hatch(f"hatch-{name}"), key]
    for n in range(half_cycles + 1):
        at = x(n * shown.half_s)
        drawn += [line(at, current_top, at, amperes.at_low, "grid"), line(at, flux_top, at, bottom, "grid")]
    drawn.append(text(2, current_top - 8, "primary current, A"))
    most = max(ticks(0, peak_A, 4))
    drawn += _levels(amperes, (-most, 0.0, most), width)
    drawn.append(text(2, flux_top - 8, "flux, in units of its steady peak; dashes: the knee"))
    drawn += _levels(flux, (-1.0, 0.0, 1.0) if abs(shown.knee - 1) * flux.per_unit < -LINE else (0.0,), width)
    for value in (shown.knee, -shown.knee):
        drawn.append(line(_LEFT, flux(value), width - _RIGHT, flux(value), "limit"))
        drawn.append(text(_LEFT - 6, flux(value) + 4, number(value), "end", "strong"))
    for side in (1, -1):
        drawn.append(_beyond(shown, side, x, flux, f"hatch-{name}"))
    for class_, drawn_wave in (("current", shown.scheduled), ("other", shown.zero)):
        drawn.append(path([(x(t), amperes(i)) for t, i, _ in drawn_wave.points], class_))
        drawn.append(path([(x(t), flux(f / shown.unit_Vs)) for t, _, f in drawn_wave.points], class_))
    drawn.append(line(_LEFT, bottom, width - _RIGHT, bottom, "axis"))
    for ms in ticks(0, x.high * 1e3, 5 if width == NARROW else 10):
        drawn.append(line(x(ms / 1e3), bottom, x(ms / 1e3), bottom + 5, "axis"))
        drawn.append(text(min(x(ms / 1e3), width - _RIGHT - 8), bottom + 19, number(ms, 4), "middle"))
    drawn.append(text(width - _RIGHT, bottom + 36, "ms after the crossing before the first gate", "end"))
    label = (
        f"Current and flux of the first {half_cycles} half-cycles, at most {number(shown.scheduled.peak_A)} A, "
        f"and switched on at voltage zero, {number(shown.zero.peak_A)} A"
    )
    return svg(width, bottom + 42, "".join(drawn), label, data_px_per_s=x.per_unit, data_left=_LEFT)


def _key(shown: Switching, width: int) -> tuple[str, float]:
    """The legend with each line's peak, and its bottom edge."""
    drawn, x, y = [], 2.0, 12.0
    for class_, words in (
        ("current", f"this schedule: {number(shown.scheduled.peak_A)} A peak here"),
        ("other", f"on at voltage zero and left on: {number(shown.zero.peak_A)} A peak"),
    ):
        needed = _STROKE + 6 + width_of(words)
        if x + needed > width:
            x, y = 2.0, y + LINE
        drawn += [line(x, y - 4, x + _STROKE, y - 4, class_), text(x + _STROKE + 6, y, words)]
        x += needed + 18
    return "".join(drawn), y


def _levels(y: Scale, values: tuple[float, ...], width: int) -> list[str]:
    drawn = []
    for value in values:
        drawn.append(line(_LEFT, y(value), width - _RIGHT, y(value), "axis" if value == 0 else "grid"))
        drawn.append(text(_LEFT - 6, y(value) + 4, number(value), "end"))
    return drawn


def _beyond(shown: Switching, side: int, x: Scale, y: Scale, pattern: str) -> str:
    """Hatching where the flux at zero delay is beyond a knee."""
    points = [(x(t), y(side * max(side * f / shown.unit_Vs, shown.knee))) for t, _, f in shown.zero.points]
    if all(at == y(side * shown.knee) for _, at in points):
        return ""
    edge = y(side * shown.knee)
    return filled([(points[0][0], edge), *points, (points[-1][0], edge)], pattern)
