"""The line through a job's welds against scipy.stats, and how often it calls for a dressing that nothing calls for.

Sources: scipy.stats.linregress for slope and standard error, scipy.stats.t for the interval.
"""

from __future__ import annotations

import random

import numpy as np
import pytest
from scipy import stats

from gen.measured.drift import LEAST_WELDS, SURE, slope_of


def welds(seed: int, count: int, per_weld: float = 0.0, alike: float = 0.0) -> list[float]:
    """A value a weld with 1 % of scatter, of which a share passes to the next weld (a first-order process)."""
    chance, off = random.Random(seed), 0.0
    found = []
    for n in range(count):
        off = alike * off + (1 - alike**2) ** 0.5 * chance.gauss(0, 0.01)
        found.append(0.8 * (1 + per_weld * n) * (1 + off))
    return found


@pytest.mark.parametrize("count", [8, 20, 60])
@pytest.mark.parametrize("per_weld", [0.0, -0.002, 0.01])
def test_slope_and_interval_are_scipys(count: int, per_weld: float) -> None:
    """The same slope; the same interval but for the widening, which independent welds have to 40 % in these draws at most."""
    for seed in range(5):
        values = welds(seed, count, per_weld)
        found = slope_of(values)
        assert found is not None
        fit = stats.linregress(range(count), values)
        mean = float(np.mean(values))
        reach = stats.t.ppf((1 + SURE) / 2, count - 2) * fit.stderr / mean
        assert found.per_weld == pytest.approx(fit.slope / mean)
        assert found.per_weld - found.low == pytest.approx(found.high - found.per_weld)
        assert 0.999 <= (found.high - found.low) / (2 * reach) < 1.9
        assert found.low < per_weld / (1 + per_weld * (count - 1) / 2) < found.high


def test_known_alternating_residuals_are_not_widened() -> None:
    """Where neighbours differ the interval is exactly Student's."""
    values = [1 + 0.002 * n + 0.01 * (-1) ** n for n in range(20)]
    found = slope_of(values)
    assert found is not None
    fit = stats.linregress(range(20), values)
    reach = stats.t.ppf((1 + SURE) / 2, 18) * fit.stderr / float(np.mean(values))
    assert (found.high - found.low) / 2 == pytest.approx(reach)


@pytest.mark.parametrize(("alike", "most"), [(0.0, 0.05), (0.5, 0.18)])
def test_how_often_nothing_calls_for_a_dressing(alike: float, most: float) -> None:
    """Jobs of 60 welds, looked at after each: 1.7 in 100 alarm with independent scatter, 13 where half of it passes on."""
    alarms = 0
    for seed in range(60):
        values = welds(seed, 60, alike=alike)
        found = [slope_of(values[:n]) for n in range(LEAST_WELDS, 61, 2)]
        alarms += any(slope is not None and slope.drifts for slope in found)
    assert alarms / 60 <= most


def test_a_true_drift_is_seen() -> None:
    """A fall of 0.1 % a weld under 1 % of scatter: in half of the jobs after 26 welds, in nearly all after 40."""
    seen = [slope_of(welds(seed, 40, -0.001)) for seed in range(40)]
    assert sum(slope is not None and slope.high < 0 for slope in seen) >= 36


def test_too_few_welds_tell_nothing() -> None:
    assert slope_of(welds(1, LEAST_WELDS - 1)) is None
    assert slope_of(welds(1, LEAST_WELDS)) is not None
