"""The monotone curve of the handbook's fits against SciPy's `PchipInterpolator`."""

from __future__ import annotations

import random

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from gen.handbook.monotone import MonotoneCurve
from gen.handbook.rods import _LONGER, _SHARES

FITTED = [(_SHARES, tuple(1 / each for each in row)) for rows in _LONGER.values() for row in rows.values()]


def drawn(chance: random.Random) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Points at uneven places, some of them level with their neighbours."""
    x = sorted(chance.uniform(-5, 5) for _ in range(chance.randint(3, 9)))
    return tuple(x), tuple(float(chance.choice((chance.uniform(-3, 3), chance.randint(-1, 1)))) for _ in x)


@pytest.mark.parametrize("points", FITTED + [drawn(random.Random(seed)) for seed in range(20)])
def test_it_is_scipys(points: tuple[tuple[float, ...], tuple[float, ...]]) -> None:
    """At every point, between them and a little beyond."""
    x, y = points
    places = [*x, *np.linspace(x[0] - 0.1, x[-1] + 0.1, 40)]
    ours = [MonotoneCurve(x, y)(float(place)) for place in places]
    assert ours == pytest.approx(PchipInterpolator(x, y)(places).tolist(), rel=1e-9, abs=1e-12)
