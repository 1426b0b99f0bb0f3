"""A run next to its bench: requests, mains losses and stops as contacts and mains had them, not as the board saw them."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.bench.recording import Recording
from sim.bench.world import Bench

STEADY_S = 0.020  # a pedal open for less has bounced
# A chattering contact that was open for OPEN_LATELY_S of the last CHATTER_S counts as released and pressed again.
CHATTER_S, OPEN_LATELY_S = 0.040, 0.015
REACTION_S = 0.045  # a wake time, a late step and one half-cycle under way
EDGE_US = 300.0  # the detector's own error
SHAKEN_S = 0.060  # six extra edges, which are three false ones, and a reaction


@dataclass(frozen=True)
class ObservedRun:
    """A run with its table, welder and bench."""

    recording: Recording
    table: TimingTable
    welder: Welder
    bench: Bench

    @cached_property
    def requests(self) -> list[WeldRequest]:
        return list(requests_of(self))

    @cached_property
    def losses(self) -> list[tuple[float, float]]:
        """(start, end) of each time without mains, or without one polarity of it."""
        out: list[tuple[float, float]] = []
        for half in self.recording.half_cycles:
            if half.amplitude_V == 0:
                end_s = half.start_s + half.length_s
                if out and half.start_s - out[-1][1] < 1e-9:
                    out[-1] = (out[-1][0], end_s)
                else:
                    out.append((half.start_s, end_s))
        return out

    @cached_property
    def false_edges(self) -> list[float]:
        """Times at which the detector changed further from a crossing than its offset allows."""
        reach_s = (self.offset_us + EDGE_US) * 1e-6
        pulse = self.bench.detector.kind == "pulse"
        out = []
        for change in self.recording.detector:
            half = self.recording.half_cycle_at(change.time_s)
            since_s = change.time_s - half.start_s
            far = min(since_s, half.length_s - since_s) > reach_s
            if (change.value and far) if pulse else (far or half.positive != bool(change.value)):
                out.append(change.time_s)
        return out

    def shaken(self, time_s: float) -> bool:
        """Whether a false edge came within the `SHAKEN_S` before, so that the program may not have acted yet."""
        at = bisect_right(self.false_edges, time_s)
        return at > 0 and time_s - self.false_edges[at - 1] < SHAKEN_S

    @property
    def offset_us(self) -> float:
        """Greatest distance of an edge of the detector from the true crossing."""
        d = self.bench.detector
        drift_us = d.drift[2] if d.drift is not None else 0.0
        return max(abs(d.rise_us), abs(d.fall_us)) + drift_us

    @property
    def leaps(self) -> bool:
        """Whether the board's clock leapt, so that its minutes are not those of the run."""
        return any(fault.kind == "leap" for fault in self.bench.board.faults)

    @property
    def stopped(self) -> list[tuple[float, float]]:
        """(open, closed again) of the stop circuit."""
        return spans_of([(c.time_s, c.value) for c in self.recording.stops])

    def hung(self, time_s: float) -> bool:
        """Whether the interpreter is hung, or not yet restarted."""
        for fault in self.bench.board.faults:
            if fault.kind == "hang" and fault.at_s - REACTION_S <= time_s:
                begun = min([s for s in self.recording.starts if s > fault.at_s], default=math.inf)
                if time_s < min(fault.at_s + fault.length_s + REACTION_S, begun):
                    return True
        return False


@dataclass(frozen=True)
class WeldRequest:
    """A fresh weld request: the pedal closed at `from_s` after having been open long enough while the board ran.

    It stands until `until_s`: the next request, a stop, a hot contact, a restart or the end of the run.
    """

    from_s: float
    until_s: float
    pedal_opened_s: float


@dataclass(frozen=True)
class Violation:
    """A breach of an invariant, and when it began."""

    invariant: str
    time_s: float
    what: str


def spans_of(changes: list[tuple[float, int]]) -> list[tuple[float, float]]:
    out: list[tuple[float, float]] = []
    for time_s, value in changes:
        if value:
            out.append((time_s, math.inf))
        elif out:
            out[-1] = (out[-1][0], time_s)
    return out


def requests_of(observed: ObservedRun) -> Iterator[WeldRequest]:
    r = observed.recording
    opened_s, found, opens = 0.0, [], []
    starts = [0.0, *r.starts]
    ends = sorted([c.time_s for c in r.stops if c.value] + [t for t, _ in observed.bench.hots] + list(r.starts))
    for change in r.pedal:
        if not change.value:
            opened_s = change.time_s
            continue
        begun_s = starts[bisect_right(starts, change.time_s) - 1]
        opens.append((max(opened_s, begun_s), change.time_s))
        lately = [
            to_s - max(from_s, change.time_s - CHATTER_S) for from_s, to_s in opens if to_s > change.time_s - CHATTER_S
        ]
        if opens[-1][1] - opens[-1][0] >= STEADY_S or sum(max(0.0, span) for span in lately) >= OPEN_LATELY_S:
            found.append(change.time_s)
    ends_s = [*(change.time_s for change in r.pedal[1:]), math.inf]
    let_go = [  # for longer than a bounce
        change.time_s
        for change, end_s in zip(r.pedal, ends_s, strict=False)
        if not change.value and end_s - change.time_s >= STEADY_S
    ]
    for n, from_s in enumerate(found):
        until_s = found[n + 1] if n + 1 < len(found) else math.inf
        n_end = bisect_right(ends, from_s)
        until_s = min([until_s, *ends[n_end : n_end + 1]])
        yield WeldRequest(from_s, until_s, min((t for t in let_go if t > from_s), default=math.inf))


def request_at(requests: list[WeldRequest], time_s: float) -> WeldRequest | None:
    at = bisect_right(requests, time_s, key=lambda request: request.from_s)
    return requests[at - 1] if at else None


def inside(spans: list[tuple[float, float]], time_s: float) -> bool:
    return any(from_s <= time_s < to_s for from_s, to_s in spans)


def gate_rows(observed: ObservedRun) -> Iterator[list[float]]:
    """The times at which the gates of each request rose, up to the next request."""
    ends_s = [*(request.from_s for request in observed.requests[1:]), math.inf]
    for request, end_s in zip(observed.requests, ends_s, strict=False):
        yield [on_s for on_s, _ in observed.recording.gates if request.from_s <= on_s < end_s]
