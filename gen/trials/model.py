"""What is assumed of a joint, and what one weld then says of it: the likelihood of `believe`, on grids.

The latent heat of a weld is x = log(weld time / s) + g log(percent / the prior's percent) - d n: at one current the heat
goes as the time; with current as its power g, 2 if none were lost (percent squared), about 2.5 as it is lost; and each of
the n welds since the electrodes were dressed takes d from it, as a worn face spreads the current. Over x there are

- an ordered probit: a weld bonds at all with the chance Phi((x - b) / s), and tears the parent metal with
  Phi((x - t) / s), b below t. A weld that does either is told apart by how it broke, so these three are ordered;
- a curve of its own for late expulsion, Phi((x - e) / r): a weld may tear the parent metal and expel, so that expulsion is
  no fourth rung of the same ladder;
- the setdown where it is measured: log share = log(upper limit wanted) + k (x - u) + normal scatter, u being where the
  limit is reached.

An outcome or an expulsion is written down wrongly now and then, so each likelihood is mixed with that of the others: one slip
of the pen may not outweigh all the other welds. Early expulsion comes before the heat does, of force, dirt or no upslope;
such a weld says nothing of time here, not even by how it broke.

Given t, the other two edges e and u and all that shapes the curves are taken as independent. So the posterior is a handful of
small tables for each (g, d), summed exactly, without sampling: the same welds always give the same answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, roots_hermitenorm, roots_laguerre  # type: ignore[import-untyped,unused-ignore]
from scipy.stats import norm  # type: ignore[import-untyped,unused-ignore]
from scipy.stats import t as student

from gen.trials.values import OUTCOMES, Outcome, Prior, Tried

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LogNormal:
    """A positive quantity: its median, and the standard deviation of its natural logarithm."""

    median: float
    sigma: float


@dataclass(frozen=True)
class Assumptions:
    """Where the estimate begins: our assumptions where no source is named. Heat is in natural logarithms of time.

    `tear_scale`, `tear_freedom`: t about the handbook's range is Student's t, heavy-tailed since a suggestion may be half or
    double. `lobe`: e - t, mean and standard deviation; the current ranges of ISO 14373 at medium force span a factor of
    1.29 to 1.5, which is 0.5 to 0.8 in heat. `bond_gap`: t - b. `scatter`: s and r, weld to weld. `exponent`: g, mean and
    standard deviation; the class table of gen/handbook gives 2.0 to 2.7 from class A to class C (from memory) of sheets
    from 0.5 to 2 mm. `wear`: the mean of d, exponentially distributed. `mislabelled`: the share of outcomes, and of
    expulsions, written down wrongly. `setdown_power`: k; the cross-wire table's 15 and 30 % give about 0.9.
    `setdown_scatter`: of the log share. `limit_scale`: standard deviation of u - t about what k makes of the setdown wanted.
    """

    tear_scale: float = 0.45
    tear_freedom: float = 4.0
    lobe: tuple[float, float] = (0.55, 0.35)
    bond_gap: LogNormal = LogNormal(0.35, 0.6)
    scatter: LogNormal = LogNormal(0.12, 0.5)
    exponent: tuple[float, float] = (2.5, 0.4)
    wear: float = 0.004
    mislabelled: float = 0.05
    setdown_power: LogNormal = LogNormal(0.9, 0.25)
    setdown_scatter: LogNormal = LogNormal(0.2, 0.4)
    limit_scale: float = 0.4


ASSUMED = Assumptions()

STEP = 0.03  # of the grid of edges, in heat: a quarter of a common scatter
_PARTS = 4  # a weld's heat is rounded to a fourth of the step
TEAR_REACH = 2.1  # a suggestion more than a factor of 8 off is not reckoned with
_BELOW, _ABOVE = 2.4, 3.3  # reach of the grid about the middle of the prior: room for t, and for e and u above it
_ODD_SETDOWN = 1.0  # scatter of the log share of a setdown that was measured wrongly
_LEAST = 1e-300  # keeps logarithms finite where no slip of the pen is assumed
_LEAST_SHARE = 0.005  # below this a setdown cannot be measured


@dataclass(frozen=True)
class Edges:
    """The grid of heat on which each edge lies, (T,), and what is believed of the edges before any weld.

    `tear`: (T,), of t. `expel` and `limit`: (T, T), of e and u given t, a row each t; `limit` is None where no setdown is
    wanted.
    """

    heat: Floats
    tear: Floats
    expel: Floats
    limit: Floats | None


@cache
def edges(prior: Prior, assumed: Assumptions) -> Edges:
    """What the handbook's range says of the edges: its middle is the middle of the lobe, its width adds to the doubt."""
    middle = 0.5 * math.log(prior.low_s * prior.high_s)
    heat = np.asarray(middle + np.arange(-round(_BELOW / STEP), round(_ABOVE / STEP) + 1) * STEP, dtype=np.float64)
    low, scale = tear_prior(prior, assumed)
    tear = np.asarray(student.pdf((heat - low) / scale, assumed.tear_freedom), dtype=np.float64)
    tear[np.abs(heat - low) > TEAR_REACH] = 0.0
    mean, deviation = assumed.lobe
    limit = None
    if prior.setdown_share is not None:
        limit = _given_tear(heat, *limit_prior(prior.setdown_share, assumed))
    return Edges(heat, tear / tear.sum(), _given_tear(heat, mean, deviation), limit)


def tear_prior(prior: Prior, assumed: Assumptions) -> tuple[float, float]:
    """Location and scale of t before any weld, cut off `TEAR_REACH` from it.

    The handbook's range counts as two standard deviations either way, besides the doubt about all such suggestions.
    """
    middle, spread = 0.5 * math.log(prior.low_s * prior.high_s), 0.25 * math.log(prior.high_s / prior.low_s)
    return middle - assumed.lobe[0] / 2, math.hypot(assumed.tear_scale, spread)


def limit_prior(wanted: tuple[float, float], assumed: Assumptions) -> tuple[float, float]:
    """Mean and standard deviation of u - t: the setdown wanted begins where welds tear, if its lower end says anything."""
    least, most = wanted
    if least < _LEAST_SHARE:
        return assumed.lobe
    return math.log(most / least) / assumed.setdown_power.median, assumed.limit_scale


def _given_tear(heat: Floats, mean: float, deviation: float) -> Floats:
    rows = np.asarray(norm.pdf(heat[None, :] - heat[:, None], mean, deviation), dtype=np.float64)
    return np.asarray(rows / rows.sum(axis=1, keepdims=True), dtype=np.float64)


@dataclass(frozen=True)
class Shapes:
    """What shapes the curves, each with its weights before any weld: gap (G,), scatter (S,), power (K,), its scatter (R,)."""

    gap: Floats
    gap_weight: Floats
    scatter: Floats
    scatter_weight: Floats
    power: Floats
    power_weight: Floats
    setdown_scatter: Floats
    setdown_scatter_weight: Floats


@cache
def shapes(assumed: Assumptions) -> Shapes:
    """The nodes of the shapes, evenly spaced in logarithms, since welds sharpen them within the prior."""
    return Shapes(
        *_nodes(assumed.bond_gap, 11),
        *_nodes(assumed.scatter, 9),
        *_nodes(assumed.setdown_power, 7),
        *_nodes(assumed.setdown_scatter, 5),
    )


def _nodes(quantity: LogNormal, count: int) -> tuple[Floats, Floats]:
    z = np.linspace(-2.4, 2.4, count)
    weights = np.exp(-0.5 * z**2)
    return quantity.median * np.exp(quantity.sigma * z), weights / weights.sum()


@cache
def exponents(assumed: Assumptions) -> tuple[tuple[float, float], ...]:
    """(g, weight): three nodes, exact for its mean and standard deviation."""
    nodes, weights = roots_hermitenorm(3)
    mean, deviation = assumed.exponent
    total = float(weights.sum())
    return tuple((mean + deviation * float(z), float(w) / total) for z, w in zip(nodes, weights))


@cache
def wears(assumed: Assumptions) -> tuple[tuple[float, float], ...]:
    """(d, weight): three nodes of the exponential distribution; one where no wear is assumed."""
    if assumed.wear == 0:
        return ((0.0, 1.0),)
    nodes, weights = roots_laguerre(3)
    return tuple((assumed.wear * float(z), float(w)) for z, w in zip(nodes, weights))


def as_written(chances: Floats, assumed: Assumptions) -> Floats:
    """Chances (N, ...) of what truly is, as chances of what is written down: one taken for another of the N now and then."""
    wrong = assumed.mislabelled
    return (1 - wrong) * chances + wrong * (1 - chances) / (len(chances) - 1)


class Curves:
    """The chances of outcomes and expulsion over all edges of a grid of `count`, looked up by how far a weld is from them.

    Each look-up is a slice of a table over the differences of heat, made once; that is what makes a belief quick.
    """

    def __init__(self, assumed: Assumptions, count: int) -> None:
        self._count = count
        self._reach = (count + round(3.0 / STEP)) * _PARTS  # a weld may lie off the grid; beyond this all is certain
        d = np.arange(-self._reach, self._reach + 1) * (STEP / _PARTS)
        made = shapes(assumed)
        gap, scatter = made.gap[:, None, None], made.scatter[None, :, None]
        above_tear, above_bond = d[None, None, :] / scatter, (d[None, None, :] + gap) / scatter
        tore = np.broadcast_to(ndtr(above_tear), above_bond.shape)
        # Each difference in the tail where it keeps its digits.
        broke = np.where(above_tear > 0, ndtr(-above_tear) - ndtr(-above_bond), ndtr(above_bond) - ndtr(above_tear))
        each = np.stack([ndtr(-above_bond), broke, tore])
        self._outcome: Floats = each  # (3, G, S, differences)
        self._log_outcome: Floats = np.log(as_written(each, assumed) + _LEAST)
        expelled = ndtr(d[None, :] / made.scatter[:, None])
        self._expelled: Floats = expelled  # (S, differences)
        both = np.stack([ndtr(-d[None, :] / made.scatter[:, None]), expelled])
        self._log_expelled: Floats = np.log(as_written(both, assumed) + _LEAST)

    def _slice(self, above_first: float) -> slice:
        """Where to look for a weld's heat above each edge of the grid, its heat above the first edge being given."""
        last = (self._count - 1) * _PARTS
        start = self._reach + round(above_first * _PARTS / STEP)
        start = min(max(start, last), 2 * self._reach)
        stop = start - last - 1
        return slice(start, stop if stop >= 0 else None, -_PARTS)

    def log_outcome(self, outcome: Outcome, above_first: float) -> Floats:
        """Log likelihood of an outcome as written down, (G, S, T)."""
        found: Floats = self._log_outcome[OUTCOMES.index(outcome)][..., self._slice(above_first)]
        return found

    def log_expelled(self, late: bool, above_first: float) -> Floats:
        """Log likelihood of late expulsion, or none, as written down, (S, T)."""
        found: Floats = self._log_expelled[int(late)][..., self._slice(above_first)]
        return found

    def outcome(self, above_first: float) -> Floats:
        """Chances of the three outcomes as they truly are, (3, G, S, T)."""
        found: Floats = self._outcome[..., self._slice(above_first)]
        return found

    def expelled(self, above_first: float) -> Floats:
        """Chance of late expulsion as it truly is, (S, T)."""
        found: Floats = self._expelled[..., self._slice(above_first)]
        return found


@cache
def curves(assumed: Assumptions, count: int) -> Curves:
    """The one table of its kind."""
    return Curves(assumed, count)


def log_setdown(share: float, heat: float, limit: float, grid: Floats, assumed: Assumptions) -> Floats:
    """Log likelihood of a measured setdown share for each place of u on the grid, (K, R, T)."""
    made = shapes(assumed)
    miss = math.log(max(share, _LEAST_SHARE) / limit) - made.power[:, None, None] * (heat - grid[None, None, :])
    scatter = made.setdown_scatter[None, :, None]
    right = np.exp(-0.5 * (miss / scatter) ** 2) / scatter
    wrong = np.exp(-0.5 * (miss / _ODD_SETDOWN) ** 2) / _ODD_SETDOWN
    return np.asarray(
        np.log((1 - assumed.mislabelled) * right + assumed.mislabelled * wrong + _LEAST), dtype=np.float64
    )


def within_limit(heat: float, grid: Floats, assumed: Assumptions) -> Floats:
    """Chance that the next weld's setdown stays below the limit, (K, R, T)."""
    made = shapes(assumed)
    above = made.power[:, None, None] * (heat - grid[None, None, :]) / made.setdown_scatter[None, :, None]
    return np.asarray(ndtr(-above), dtype=np.float64)


def welds_since_dressing(tried: tuple[Tried, ...]) -> tuple[int, ...]:
    """For each weld tried, and for the next, how many have worn the electrodes since they were dressed.

    A weld that expelled early is left out, like all else that it says: it moves the window neither way.
    """
    counts, worn = [], 0
    for one in tried:
        worn = 0 if one.dressed else worn
        counts.append(worn)
        worn += one.expulsion != "early"
    return (*counts, worn)
