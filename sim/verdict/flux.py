"""Flux in the core, as volt-seconds on the load, in units of its steady peak (Vm / omega)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from gen.machine.welder import Welder
from sim.bench.recording import Recording
from sim.bench.switch import Conduction
from sim.verdict.finding import Finding, SimulatedJob, judged

FLUX_LIMIT = 1.4


@dataclass(frozen=True)
class FluxPoint:
    """Flux at a time: at each end of a conduction, and where the voltage passes zero within it."""

    time_s: float
    flux: float


def flux_path(recording: Recording, welder: Welder, from_s: float, to_s: float) -> list[FluxPoint]:
    """Flux from no residue at `from_s`. It decays all the time through the closed secondary.

    The decay keeps a small difference between the half-cycles from adding up without end.
    """
    unit = welder.mains.voltage_V * math.sqrt(2) / (2 * math.pi * welder.mains.frequency_Hz)
    return path_of(recording.conductions, unit, welder.flux_decay_s, from_s, to_s)


def path_of(conductions: Iterable[Conduction], unit: float, tau: float, from_s: float, to_s: float) -> list[FluxPoint]:
    """The same from currents. `unit`: volt-seconds of the steady peak. `tau`: time constant of the decay in seconds."""
    flux, at_s = 0.0, from_s
    path = [FluxPoint(from_s, 0.0)]
    for c in conductions:
        if not from_s <= c.start_s < to_s:
            continue
        zero_s = min(c.current.half.start_s + c.current.half.length_s, c.end_s)
        for b, volt_seconds in (
            (c.start_s, 0.0),
            (zero_s, c.current.volt_seconds(c.start_s, zero_s)),
            (c.end_s, c.current.volt_seconds(zero_s, c.end_s)),
        ):
            flux = flux * math.exp(-max(0.0, b - at_s) / tau) + volt_seconds / unit
            at_s = max(at_s, b)
            path.append(FluxPoint(b, flux))
    return path


def flux_balance(run: SimulatedJob) -> Finding:
    """Greatest flux of any weld, from no residue at its start."""
    worst = FluxPoint(0.0, 0.0)
    for weld in run.recording.welds:
        worst = max(
            [worst, *flux_path(run.recording, run.welder, weld.asked_s, weld.ended_s)], key=lambda p: abs(p.flux)
        )
    return judged(
        "flux-balance",
        abs(worst.flux),
        FLUX_LIMIT,
        "of the steady peak",
        "textbook: switched on at zero it is 2, at the peak 1; the knee lies between (common practice, no source)",
        "Raise limits.first_delay_deg towards 90, keep impulses and gaps even, or slope the current up.",
        time_s=worst.time_s if worst.flux else None,
        says="The core reaches {percent} of the flux at which it is assumed to saturate.",
    )
