"""The transformer's circuit once more: the full nonlinear equations stepped by SciPy, and seeded machines.

Written from the circuit and not from sim/: node voltage of the magnetising branch by Millman's theorem, magnetising
current by looking it up, thyristors as an event and a look at the gates. Nothing here knows of pieces.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from sim.bench.mains import HalfCycle
from sim.core.impulse import Firing, Impulse, gate_windows, sine
from sim.core.transformer import MagnetisingCurve, TransformerCircuit

Vector = NDArray[np.float64]
# Greatest error of the closed form against this: fractions, and degrees. Fixed before the first comparison was run.
RMS, PEAK, EXTINCTION_DEG, FLUX = 0.005, 0.01, 0.5, 0.01
SAMPLES = 1440  # a half-cycle, for the peaks


@dataclass(frozen=True)
class Case:
    """A machine, its supply, and what is fired into it from which residue."""

    circuit: TransformerCircuit
    supply: tuple[HalfCycle, ...]
    gates: tuple[Firing, ...]
    residue_Vs: float
    closed: bool


def random_case(seed: int) -> Case:
    """A seeded machine. All ranges are invented: wide enough to hold small bench machines and worse."""
    r = random.Random(seed)
    frequency, voltage = r.choice((50.0, 60.0)), r.choice((115.0, 230.0, 400.0))
    w, z = 2 * math.pi * frequency, voltage / r.uniform(8, 120)
    angle = math.radians(r.uniform(15, 78))
    ohm, henry = z * math.cos(angle), z * math.sin(angle) / w
    source, primary, source_x, primary_x = (
        r.uniform(0, 0.2),
        r.uniform(0.05, 0.4),
        r.uniform(0, 0.2),
        r.uniform(0.05, 0.5),
    )
    steady = math.sqrt(2) * voltage / w
    idle = math.sqrt(2) * voltage / z * r.uniform(0.01, 0.08)
    knee, saturated = r.uniform(1.05, 1.5), z / w * r.uniform(0.03, 0.6)
    knees = [(knee * steady, knee * idle)]
    if r.random() < 0.3:  # a knee with its corner taken off
        knees.append((knee * steady * 1.1, knee * idle * r.uniform(1.5, 3)))
    circuit = TransformerCircuit(
        source * ohm, source_x * henry, primary * ohm, primary_x * henry,
        (1 - source - primary) * ohm, (1 - source_x - primary_x) * henry,
        MagnetisingCurve(tuple(knees), saturated), r.uniform(0, 0.8),
    )  # fmt: skip
    supply = sine(voltage, frequency, r.randint(2, 6), r.random() < 0.5)
    if r.random() < 0.3:  # harmonics, and an amplitude and length that change with every half-cycle
        supply = _distorted(supply, r)
    delay = r.uniform(0, 140)
    delays: list[float | None] = [r.uniform(0, 150), *(delay + r.uniform(-5, 5) for _ in supply[1:])]
    if len(delays) > 2 and r.random() < 0.25:
        delays[r.randrange(1, len(delays))] = None
    delays = [None if d is None else max(d, 0.0) for d in delays]
    if r.random() < 0.2:  # short gates
        gates = tuple(Firing(g.on_s, min(g.off_s, g.on_s + 4e-4)) for g in gate_windows(supply, delays, 175))
    else:
        gates = gate_windows(supply, delays)
    gates = tuple(g for g in gates if g.off_s > g.on_s)
    return Case(circuit, supply, gates, r.uniform(-1, 1) * circuit.remanent_Vs, r.random() < 0.75)


def _distorted(supply: tuple[HalfCycle, ...], r: random.Random) -> tuple[HalfCycle, ...]:
    made: list[HalfCycle] = []
    harmonics = ((3, r.uniform(0, 6), r.uniform(0, 360)), (5, r.uniform(0, 4), r.uniform(0, 360)))
    start = supply[0].start_s
    for half in supply:
        length = half.length_s * r.uniform(0.98, 1.02)
        made.append(
            HalfCycle(half.index, start, length, half.positive, half.amplitude_V * r.uniform(0.9, 1.1), harmonics)
        )
        start += length
    return tuple(made)


@dataclass
class Reference:
    """One swing by SciPy: the fields mean what those of sim.impulse.Swing mean."""

    half: HalfCycle
    positive: bool
    start_deg: float
    end_deg: float = 0.0
    primary_rms: float = 0.0
    primary_peak: float = 0.0
    secondary_rms: float = 0.0
    secondary_peak: float = 0.0
    charge: float = 0.0
    flux_at_end: float = 0.0


def reference(
    case: Case, rtol: float = 1e-9, method: str = "DOP853", peaks: bool = True
) -> tuple[list[Reference], float]:
    """Every swing, and the greatest flux, by solve_ivp with events. Without `peaks` it steps as it likes, for speed."""
    c, supply, closed = case.circuit, case.supply, case.closed
    r1, l1 = c.source_ohm + c.primary_ohm, c.source_H + c.primary_H
    r2, l2 = c.secondary_ohm, c.secondary_H
    reach = 40 * c.curve.knee_Vs
    fluxes = [0.0, *(p[0] for p in c.curve.knees), c.curve.knee_Vs + reach]
    amps = [0.0, *(p[1] for p in c.curve.knees), c.curve.knees[-1][1] + reach / c.curve.saturated_H]
    slopes = [float(v) for v in np.diff(fluxes) / np.diff(amps)]
    scale_A = supply[0].amplitude_V / math.hypot(r1 + r2, 300 * (l1 + l2))
    longest = supply[0].length_s / 30 if peaks else math.inf
    held = 0.0

    def magnetising(flux: float) -> float:
        n = bisect_left(fluxes, abs(flux), 1) - 1
        return math.copysign(amps[n] + (abs(flux) - fluxes[n]) / slopes[n], flux) - held

    def inductance(flux: float) -> float:
        return slopes[bisect_left(fluxes, abs(flux), 1) - 1]

    def on(half: HalfCycle):  # type: ignore[no-untyped-def]
        def slope(t: float, y: Vector) -> list[float]:
            i1, flux = y[0], y[1]
            v = half.voltage(t)
            lm = inductance(flux)
            if closed:
                i2 = i1 - magnetising(flux)
                e = ((v - r1 * i1) / l1 + r2 * i2 / l2) / (1 / l1 + 1 / l2 + 1 / lm)
                di1 = (v - r1 * i1 - e) / l1
            else:
                i2, di1 = 0.0, (v - r1 * i1) / (l1 + lm)
                e = lm * di1
            return [di1, e, i1 * i1, i2 * i2, i1]

        return slope

    def off(t: float, y: Vector) -> list[float]:
        i2, lm = -magnetising(y[1]), inductance(y[1])
        return [0.0, r2 * i2 / (1 + l2 / lm), 0.0, i2 * i2, 0.0]

    now, end = supply[0].start_s, supply[-1].start_s + supply[-1].length_s
    flux, top_flux = case.residue_Vs, abs(case.residue_Vs)
    if not closed:
        held = magnetising(flux)
    swings: list[Reference] = []

    def idle(until: float) -> None:
        nonlocal now, flux
        if until <= now:
            return
        if closed and flux:
            solved = solve_ivp(off, (now, until), [0, flux, 0, 0, 0], method, rtol=rtol, atol=atol(), max_step=longest)
            flux = float(solved.y[1, -1])
            if swings:
                last = swings[-1]
                last.secondary_rms = math.sqrt(last.secondary_rms**2 + solved.y[3, -1] / last.half.length_s)
        now = until

    def atol() -> list[float]:
        length = supply[0].length_s
        a = rtol * 0.01
        return [a * scale_A, a * fluxes[1], a * scale_A**2 * length, a * scale_A**2 * length, a * scale_A * length]

    while True:
        waiting = [g for g in case.gates if g.off_s > now and max(g.on_s, now) < end]
        if not waiting:
            break
        idle(max(min(waiting, key=lambda g: g.on_s).on_s, now))
        if not closed:
            held = 0.0
            held = magnetising(flux)
        swing: Reference | None = None
        conducting = True
        while conducting:
            n = max(k for k, h in enumerate(supply) if h.start_s <= now)
            half = supply[n]
            until = supply[n + 1].start_s if n + 1 < len(supply) else now + 4 * half.length_s
            slope = on(half)
            if swing is None:  # a first bit by itself, so that the search for zero does not begin at zero
                swing = Reference(half, True, (now - half.start_s) / half.length_s * 180)
                swings.append(swing)
                bit = now + 1e-4 * half.length_s
                begun = solve_ivp(
                    slope, (now, bit), [0, flux, 0, 0, 0], "DOP853", rtol=1e-10, atol=[v * 1e-6 for v in atol()]
                )
                now, y, sums = bit, begun.y[:, -1].copy(), begun.y[2:, -1].copy()
                direction = 1 if y[0] > 0 else -1
                swing.positive = direction > 0

            def zero(t: float, y: Vector) -> float:
                return float(y[0])

            zero.terminal, zero.direction = True, -direction  # type: ignore[attr-defined]
            y[2:] = 0
            solved = solve_ivp(
                slope,
                (now, until),
                y,
                method,
                rtol=rtol,
                atol=atol(),
                events=zero,
                dense_output=peaks,
                max_step=longest,
            )
            stop = float(solved.t[-1])
            i1, path = solved.y[:2]
            if peaks:
                i1, path = solved.sol(np.linspace(now, stop, max(int((stop - now) / half.length_s * SAMPLES), 3)))[:2]
            swing.primary_peak = max(swing.primary_peak, float(np.abs(i1).max()))
            if closed:
                i2 = np.array([a - magnetising(b) for a, b in zip(i1, path, strict=True)])
                swing.secondary_peak = max(swing.secondary_peak, float(np.abs(i2).max()))
            top_flux = max(top_flux, float(np.abs(path).max()))
            y = solved.y[:, -1].copy()
            sums += y[2:]
            now = stop if solved.status == 1 else until
            flux = float(y[1])
            if solved.status == 1:
                swing.end_deg = (now - swing.half.start_s) / swing.half.length_s * 180
                swing.primary_rms = math.sqrt(sums[0] / swing.half.length_s)
                swing.secondary_rms = math.sqrt(sums[1] / swing.half.length_s)
                swing.charge, swing.flux_at_end = float(sums[2]), flux
                swing = None
                conducting = now < end and any(g.on_s <= now < g.off_s for g in case.gates)
        if not closed:
            flux = math.copysign(c.remanent_Vs, 1 if swings[-1].positive else -1)
    idle(end)
    return swings, top_flux


@dataclass(frozen=True)
class Errors:
    """Worst of an impulse: RMS and peaks as fractions, extinction in degrees."""

    rms: float
    peak: float
    extinction_deg: float
    flux: float

    @classmethod
    def worst(cls, errors: list[Errors]) -> Errors:
        return cls(*(max(getattr(e, f) for e in errors) for f in ("rms", "peak", "extinction_deg", "flux")))


def compare(found: Impulse, swings: list[Reference], top_flux: float) -> Errors:
    """Swing by swing; AssertionError when the swings are not the same ones.

    Errors are fractions of the swing's own figure, or of 1 % of the impulse's greatest primary one where that is more.
    """
    assert [s.positive for s in found.swings] == [s.positive for s in swings]
    floor = {f: 0.01 * max((getattr(s, "primary_" + f) for s in swings), default=0.0) for f in ("rms", "peak")}
    rms = peak = extinction = 0.0
    for mine, other in zip(found.swings, swings, strict=True):
        assert mine.half_cycle == other.half.index
        extinction = max(extinction, abs(mine.end_deg - other.end_deg), abs(mine.start_deg - other.start_deg))
        for side in ("primary_", "secondary_"):
            off_rms, off_peak = (
                abs(getattr(mine, f"{side}{f}_A") - getattr(other, side + f)) / max(getattr(other, side + f), floor[f])
                for f in ("rms", "peak")
            )
            rms, peak = max(rms, off_rms), max(peak, off_peak)
    return Errors(rms, peak, extinction, abs(found.peak_flux_Vs - top_flux) / max(top_flux, 1e-9))
