"""The joint on the bench: a resistance that changes during the weld."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace

from sim.bench.circuit import SeriesLoad

REST_S = 0.25  # after this time without current the next current welds a new joint


@dataclass(frozen=True)
class JointCurve:
    """The resistance of the work, referred to the primary, by the time since the weld's first current.

    `points`: (seconds, ohms) by rising time, joined by straight lines. It is constant before the first and after the last.
    """

    points: tuple[tuple[float, float], ...]

    def ohm(self, since_s: float) -> float:
        """The resistance `since_s` after the first current."""
        times = [time for time, _ in self.points]
        place = bisect_right(times, since_s)
        if place in (0, len(times)):
            return self.points[max(place - 1, 0)][1]
        (from_s, low), (to_s, high) = self.points[place - 1], self.points[place]
        return low + (high - low) * (since_s - from_s) / (to_s - from_s)


class BenchWork:
    """The loop with the work between the electrodes: the load of each conduction."""

    def __init__(self, loop: SeriesLoad, curve: JointCurve | None) -> None:
        self._loop = loop
        self._curve = curve
        self._first_s = self._last_s = float("-inf")

    def load_at(self, start_s: float) -> SeriesLoad:
        """The load of a current that begins at `start_s`. It is constant within one current."""
        if self._curve is None:
            return self._loop
        if start_s - self._last_s > REST_S:
            self._first_s = start_s
        self._last_s = start_s
        ohm = self._curve.ohm(start_s - self._first_s)
        return replace(self._loop, resistance_ohm=self._loop.resistance_ohm + ohm)
