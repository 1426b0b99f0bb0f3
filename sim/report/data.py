"""The data of a report, and the figures common to its sections."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from functools import cached_property

from gen.boards import Board
from gen.firmware import FirmwareBundle, duty_limit
from gen.machine.welder import Welder
from gen.table import TimingTable, heat
from sim.bench.recording import ObservedWeld, Recording, StateChange
from sim.bench.switch import Conduction
from sim.core.weld_current import WeldCurrents
from sim.faults.runs import FaultRuns
from sim.run import Run
from sim.verdict import Finding, Verdict
from sim.verdict.finding import Subject
from sim.verdict.flux import flux_path

MINUTE_S = 60.0
FLUX_CHECK = "flux-balance"  # the finding whose limit is drawn with the flux path
_LEAST_POINTS, _MOST_POINTS = 4, 24  # points of the flux path to a conduction


@dataclass(frozen=True)
class ReportData:
    """A run, as read by the sections of the report."""

    run: Run
    faults: tuple[FaultRuns, ...] = ()
    """The runs of each fault injected into the same job."""

    @property
    def title(self) -> str:
        """The schedule's title, or its name."""
        return self.run.job.schedule.title or self.run.job.schedule.name

    @property
    def table(self) -> TimingTable:
        return self.run.job.table

    @property
    def welder(self) -> Welder:
        return self.run.job.welder

    @property
    def board(self) -> Board:
        return self.run.job.board

    @property
    def bundle(self) -> FirmwareBundle:
        return self.run.job.bundle

    @property
    def recording(self) -> Recording:
        return self.run.recording

    @property
    def verdict(self) -> Verdict:
        return self.run.verdict

    @property
    def welds_per_minute(self) -> float:
        return self.run.welds_per_minute

    @property
    def currents(self) -> WeldCurrents:
        """The currents of one weld, as used by the checks of electrics and heat."""
        return self.run.currents

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, gravest first."""
        order = ("refuse", "caution", "passed")
        return tuple(sorted(self.verdict.findings, key=lambda f: order.index(f.severity)))

    def of(self, subject: Subject) -> tuple[Finding, ...]:
        """The findings about one subject, gravest first."""
        return tuple(finding for finding in self.findings if finding.subject == subject)

    @cached_property
    def shown_weld(self) -> ObservedWeld | None:
        """The first weld with a gate."""
        return next((weld for weld in self.recording.welds if weld.gates), None)

    def gates_of(self, weld: ObservedWeld) -> list[tuple[float, float]]:
        """The gates of a weld, (on, off) in seconds of the run."""
        gates = self.recording.gates
        begin, end = (bisect_left(gates, (time_s,)) for time_s in (weld.asked_s, weld.ended_s))
        return list(gates[begin:end])

    def conductions_of(self, weld: ObservedWeld) -> list[Conduction]:
        """The currents of a weld."""
        begin, end = (bisect_left(self.recording.conductions, t, key=_start) for t in (weld.asked_s, weld.ended_s))
        return list(self.recording.conductions[begin:end])

    def state_at(self, time_s: float) -> StateChange | None:
        """The state at a time of the run."""
        found = bisect_right(self.recording.states, time_s, key=lambda change: change.time_s)
        return self.recording.states[found - 1] if found else None

    @cached_property
    def minute(self) -> Minute:
        return busiest_minute(self)


def _start(conduction: Conduction) -> float:
    return conduction.start_s


@dataclass(frozen=True)
class Minute:
    """The minute of the run with the most heat, in half-cycles at full conduction as counted by the board."""

    start_s: float
    end_s: float
    path: tuple[tuple[float, float], ...]
    """(Time, heat in the minute before it)."""
    used: float
    limit: float
    thermal_A: float
    """The steady current with the same heating as the simulated currents of this minute."""
    thermal_limit_A: float
    """The steady current that the rating plate allows."""


def busiest_minute(data: ReportData) -> Minute:
    """The minute of the run with the most heat."""
    recording, welder = data.recording, data.welder
    charges = _charges(data)
    path: list[tuple[float, float]] = [(0.0, 0.0)]
    used, oldest = 0.0, 0
    most, most_s = 0.0, 0.0
    for time_s, cost in charges:
        while charges[oldest][0] <= time_s - MINUTE_S:
            gone_s, gone = charges[oldest]
            path.append((gone_s + MINUTE_S, used))
            used -= gone
            path.append((gone_s + MINUTE_S, used))
            oldest += 1
        path.append((time_s, used))
        used += cost
        path.append((time_s, used))
        if used > most + 1e-9:
            most, most_s = used, time_s
    path.append((recording.length_s, used))
    end_s = min(recording.length_s, max(most_s, MINUTE_S))
    start_s = max(0.0, end_s - MINUTE_S)
    heating = sum(c.rms_A**2 * c.current.half.length_s for c in recording.conductions if start_s <= c.start_s < end_s)
    return Minute(
        start_s=start_s,
        end_s=end_s,
        path=_cut(path, start_s, end_s),
        used=most,
        limit=duty_limit(welder) / 100,
        thermal_A=math.sqrt(heating / MINUTE_S),
        thermal_limit_A=welder.transformer.working_current_A * math.sqrt(welder.allowed_duty),
    )


def _cut(path: list[tuple[float, float]], start_s: float, end_s: float) -> tuple[tuple[float, float], ...]:
    """The part of a stepped path between two times."""
    before = [value for time_s, value in path if time_s < start_s]
    inside = [point for point in path if start_s <= point[0] <= end_s]
    begin = [(start_s, before[-1])] if before else []
    last = inside[-1][1] if inside else 0.0
    return (*begin, *inside, (end_s, last))


def _charges(data: ReportData) -> list[tuple[float, float]]:
    """(Time, heat) of each gate, by its row of the table; a gate without a row counts as full conduction."""
    costs = [
        heat(row) / 100 for row in data.table.rows if row.firing_delay_us is not None for _ in range(row.half_cycles)
    ]
    charges: list[tuple[float, float]] = []
    for weld in data.recording.welds:
        for n, (on_s, _) in enumerate(data.gates_of(weld)):
            charges.append((on_s, costs[n] if n < len(costs) else 1.0))
    known = {time_s for time_s, _ in charges}
    charges += [(on_s, 1.0) for on_s, _ in data.recording.gates if on_s not in known]
    return sorted(charges)


@dataclass(frozen=True)
class Flux:
    """Flux in the core during one weld, in units of its steady peak."""

    path: tuple[tuple[float, float], ...]
    peak: float
    """The greatest flux, with its sign."""
    residue: float
    """The flux at the end of the weld."""
    limit: float | None
    """The verdict's limit; None if it did not judge the flux."""


def flux_of(data: ReportData, weld: ObservedWeld) -> Flux:
    """The path of the verdict's check, with more points between its own."""
    welder = data.welder
    unit = welder.mains.voltage_V * math.sqrt(2) / (2 * math.pi * welder.mains.frequency_Hz)
    begins = {c.start_s: c for c in data.conductions_of(weld)}
    points = max(_LEAST_POINTS, min(_MOST_POINTS, 2000 // max(len(begins), 1)))
    path: list[tuple[float, float]] = []
    for point in flux_path(data.recording, welder, weld.asked_s, weld.ended_s):
        path.append((point.time_s, point.flux))
        c = begins.pop(point.time_s, None)
        if c is not None:
            step = (c.end_s - c.start_s) / points
            times = [c.start_s + n * step for n in range(1, points)]
            path += [(t, point.flux + c.current.volt_seconds(c.start_s, t) / unit) for t in times]
    path.sort(key=lambda p: p[0])
    peak = max((value for _, value in path), key=abs)
    limit = next((f.limit for f in data.findings if f.name == FLUX_CHECK), None)
    return Flux(tuple(path), peak, path[-1][1], limit)


@dataclass(frozen=True)
class Refusal:
    """A press of the pedal that began no weld, and the board's state at that time."""

    pressed_s: float
    state: str
    reason: str


def refusals(data: ReportData) -> list[Refusal]:
    """Every press, up to the end of the run, that began no weld before the next press."""
    recording = data.recording
    presses = [t for t in recording.presses if t < recording.length_s]
    asked = [weld.asked_s for weld in recording.welds]
    found = []
    for pressed_s, next_s in itertools.pairwise([*presses, recording.length_s]):
        if bisect_left(asked, pressed_s) < bisect_left(asked, next_s):
            continue
        change = data.state_at(pressed_s)
        state, reason = (change.state, change.reason) if change else ("starting", "none")
        found.append(Refusal(pressed_s, state, "" if reason == "none" else reason))
    return found
