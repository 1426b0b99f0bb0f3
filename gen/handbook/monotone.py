"""A smooth curve through points that rises and falls only where they do."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise


@dataclass(frozen=True)
class MonotoneCurve:
    """Cubics from point to point, their slopes by Fritsch and Butland (1984). SciPy's takes longer to import than a command.

    `x` rises. At a point the slope is the weighted harmonic mean of the secants' on either side, 0 where these differ in sign.
    """

    x: tuple[float, ...]
    y: tuple[float, ...]

    def __call__(self, at: float) -> float:
        """The curve at a place; beyond the ends the last cubic goes on."""
        n = min(max(bisect_right(self.x, at) - 1, 0), len(self.x) - 2)
        h, secant = self.x[n + 1] - self.x[n], (self.y[n + 1] - self.y[n]) / (self.x[n + 1] - self.x[n])
        first, last, s = self._slopes[n], self._slopes[n + 1], at - self.x[n]
        square, cube = (3 * secant - 2 * first - last) / h, (first + last - 2 * secant) / h**2
        return self.y[n] + s * (first + s * (square + s * cube))

    @cached_property
    def _slopes(self) -> tuple[float, ...]:
        steps = [b - a for a, b in pairwise(self.x)]
        secants = [(b - a) / h for (a, b), h in zip(pairwise(self.y), steps, strict=True)]
        inner = [
            (h1 + 2 * h2 + 2 * h1 + h2) / ((h1 + 2 * h2) / d1 + (2 * h1 + h2) / d2) if d1 * d2 > 0 else 0.0
            for (h1, h2), (d1, d2) in zip(pairwise(steps), pairwise(secants), strict=True)
        ]
        ends = _end(*steps[:2], *secants[:2]), _end(*steps[:-3:-1], *secants[:-3:-1])
        return ends[0], *inner, ends[1]


def _end(near: float, next_one: float, secant: float, next_secant: float) -> float:
    """The slope at an end: of the parabola through three points, held so that the curve does not turn (Moler 2004)."""
    slope = ((2 * near + next_one) * secant - near * next_secant) / (near + next_one)
    if slope * secant <= 0:
        return 0.0
    return 3 * secant if secant * next_secant < 0 and abs(slope) > 3 * abs(secant) else slope
