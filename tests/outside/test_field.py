"""The magnetic field of the secondary loop against a library for magnetic fields, textbook limits and figures computed apart.

Outside: magpylib's line currents; the field on the axis of a square and beside a long wire (textbook).
"""

from __future__ import annotations

import math
import random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gen.machine.field import (
    PUBLIC_T,
    WORKER_T,
    distance_to,
    flux_density_T,
    greatest_T,
    keep_away,
    rectangle,
)
from tests.support.machines import known_welder, make_welder

if TYPE_CHECKING:
    import magpylib

LOOPS = ((0.25, 0.10), (0.6, 0.3), (0.12, 0.4))


def line_current(length_m: float, gap_m: float, current_A: float) -> magpylib.current.Polyline:
    import magpylib  # takes long to read, and one worker needs it

    corners = rectangle(length_m, gap_m)
    return magpylib.current.Polyline(current=current_A, vertices=[*corners, corners[0]])


@pytest.mark.parametrize(("length_m", "gap_m"), LOOPS)
def test_the_field_at_any_point_is_magpylibs(length_m: float, gap_m: float) -> None:
    """A hundred points anywhere about the loop, drawn with a fixed seed."""
    draw = random.Random(1)
    loop = line_current(length_m, gap_m, 2420)
    places = [tuple(draw.uniform(-1, 1.5) for _ in range(3)) for _ in range(100)]
    theirs = np.linalg.norm(loop.getB(places), axis=1)
    ours = [flux_density_T(rectangle(length_m, gap_m), 2420, place) for place in places]  # type: ignore[arg-type]
    assert ours == pytest.approx(theirs.tolist(), rel=1e-6)


@pytest.mark.parametrize(("length_m", "gap_m"), LOOPS)
@pytest.mark.parametrize("level_T", [PUBLIC_T, WORKER_T])
def test_beyond_the_distance_the_field_is_nowhere_above_the_level(
    length_m: float, gap_m: float, level_T: float
) -> None:
    """On thousands of points beyond it, by magpylib; and a fiftieth nearer it is above the level somewhere."""
    distance_m = distance_to(level_T, 8000, length_m, gap_m)
    draw = np.random.default_rng(2)
    low, high = np.array([-1.2, -1.2, -1.2]) * distance_m, np.array([length_m, gap_m, 0]) + 1.2 * distance_m
    places = draw.uniform(low, high, (60_000, 3))
    inside = np.stack([np.clip(places[:, 0], 0, length_m), np.clip(places[:, 1], 0, gap_m)], axis=1)
    nearest = np.full(len(places), np.inf)
    for axis, ends in ((0, (0.0, gap_m)), (1, (0.0, length_m))):
        for end in ends:  # the sides along x lie at y = 0 and gap, those along y at x = 0 and length
            foot = np.zeros_like(places)
            foot[:, axis], foot[:, 1 - axis] = inside[:, axis], end
            nearest = np.minimum(nearest, np.linalg.norm(places - foot, axis=1))
    beyond = places[nearest >= distance_m]
    field = np.linalg.norm(line_current(length_m, gap_m, 8000).getB(beyond), axis=1)
    assert len(beyond) > 5000
    assert field.max() <= level_T * 1.005
    assert greatest_T(rectangle(length_m, gap_m), 8000, 0.98 * distance_m) > level_T


def test_textbook_limits() -> None:
    """Centre of a square of side s: 2 sqrt 2 mu0 I / (pi s). Close to a long side: mu0 I / (2 pi d)."""
    assert flux_density_T(rectangle(0.2, 0.2), 1000, (0.1, 0.1, 0)) == pytest.approx(
        2 * math.sqrt(2) * 4e-7 * 1000 / 0.2
    )
    assert flux_density_T(rectangle(10, 10), 1000, (5, -0.01, 0)) == pytest.approx(2e-7 * 1000 / 0.01, rel=3e-3)


def test_figures_computed_apart() -> None:
    """Before the middle of a loop of 100 by 250 mm at 2,420 A: 1.04 mT at 0.2 m, 373 uT at 0.3 m, 90 uT at 0.5 m."""
    for distance_m, field_T in ((0.2, 1.04e-3), (0.3, 373e-6), (0.5, 90e-6)):
        found = flux_density_T(rectangle(0.25, 0.10), 2420, (0.125, 0.05, distance_m))
        assert found == pytest.approx(field_T, rel=0.02)


def test_the_machines_own_loop_and_current() -> None:
    """Arms and greatest current of the welder file; typical arms where it has none; nothing without a secondary voltage."""
    own = keep_away(known_welder(arms={"length_mm": 250, "throat_mm": 80, "diameter_mm": 20}))
    assert own is not None
    assert (own.length_m, own.gap_m, own.typical) == (0.25, 0.1, False)
    assert own.worker_m < own.public_m
    typical = keep_away(known_welder())
    assert typical is not None
    assert typical.typical
    assert "typical arms" in typical.sentences[1]
    assert keep_away(make_welder()) is None
    words = " ".join(own.sentences)
    for phrase in ("certify nothing", "never clear an implant", "asks a doctor and the implant's maker", "harmonics"):
        assert phrase in words
