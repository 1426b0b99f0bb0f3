"""Primary current and flux over time, for drawing: the solutions of `sim.core.impulse.run`, sampled."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property

from sim.bench.mains import HalfCycle
from sim.core.impulse import Firing, run_anew
from sim.core.transformer import Branch, LinearSolution, TransformerCircuit, fade

_SAMPLES = 48  # a half-cycle: the greatest sample is within two thousandths of the peak
_LEAST = 24  # samples in an interval, however short: a peak in saturation is narrow
_SAME_TIME_S = 1e-9


@dataclass(frozen=True)
class Wave:
    """(Seconds, primary amperes, flux linkage in volt-seconds) at rising times, with every event's among them."""

    points: tuple[tuple[float, float, float], ...]

    @property
    def peak_A(self) -> float:
        """Greatest current drawn."""
        return max(abs(current) for _, current, _ in self.points)

    @property
    def peak_Vs(self) -> float:
        """Greatest flux drawn."""
        return max(abs(flux) for _, _, flux in self.points)


def wave(
    circuit: TransformerCircuit,
    supply: Sequence[HalfCycle],
    gates: Sequence[Firing],
    until_s: float,
    residue_Vs: float = 0.0,
) -> Wave:
    """The wave of `run` with the electrodes closed, from remanence, until `until_s` of the supply. Raises what `run` does."""
    recorder = _RecordingCircuit(*(getattr(circuit, f.name) for f in fields(circuit)))
    impulse = run_anew(recorder, supply, gates, residue_Vs)
    held_A = circuit.curve.current(residue_Vs)
    half_of = {half.index: half for half in supply}
    ends = [half_of[s.half_cycle].start_s + s.end_deg / 180 * half_of[s.half_cycle].length_s for s in impulse.swings]
    step_s = supply[0].length_s / _SAMPLES
    points = [(supply[0].start_s, 0.0, residue_Vs)]

    def idle(to_s: float) -> None:
        """The core alone: its flux fades."""
        from_s, _, flux = points[-1]
        for s in _between(to_s - from_s, step_s):
            points.append((from_s + s, 0.0, fade(circuit, flux, s, held_A)[0]))

    starts = [start_s for start_s, _ in recorder.solutions]
    for (start_s, solution), next_s in zip(recorder.solutions, [*starts[1:], math.inf], strict=True):
        if start_s > points[-1][0] + _SAME_TIME_S:
            idle(start_s)
        end_s = min(ends[min(bisect_right(ends, start_s + _SAME_TIME_S), len(ends) - 1)], next_s)
        for s in _between(end_s - start_s, step_s):
            current, _, flux, _ = solution.at(s)
            points.append((start_s + s, current, flux))
    if until_s > points[-1][0]:
        idle(until_s)
    return Wave(tuple(point for point in points if point[0] <= until_s))


def _between(length_s: float, step_s: float) -> list[float]:
    """Evenly spaced times after the start of an interval, at most `step_s` apart, its end included."""
    if length_s <= 0:
        return []
    count = max(_LEAST, math.ceil(length_s / step_s))
    return [length_s * n / count for n in range(1, count + 1)]


class _RecordingBranch(Branch):
    """A branch that records its solutions."""

    def __init__(
        self, circuit: TransformerCircuit, henry: float, solutions: list[tuple[float, LinearSolution]]
    ) -> None:
        super().__init__(circuit, henry)
        self._solutions = solutions

    def solution(
        self, half: HalfCycle, start_s: float, current_A: float, flux_Vs: float, offset_A: float, closed: bool
    ) -> LinearSolution:
        made = super().solution(half, start_s, current_A, flux_Vs, offset_A, closed)
        self._solutions.append((start_s, made))
        return made


@dataclass(frozen=True)
class _RecordingCircuit(TransformerCircuit):
    """A circuit that records its solutions, each with its start time."""

    solutions: list[tuple[float, LinearSolution]] = field(default_factory=list, init=False)

    @cached_property
    def branches(self) -> tuple[Branch, ...]:
        return tuple(_RecordingBranch(self, henry, self.solutions) for _, _, henry, _ in self.curve.segments)
