"""The statistical model of a joint: the prior, and the likelihood of one weld, on grids.

The latent heat of a weld is x = log(weld time / s) + g log(percent / the prior's percent) - d n. At constant current the heat
is proportional to time. It rises with the power g of current: 2 without losses (percent squared), about 2.5 with them. Each
of the n welds since the electrodes were dressed lowers it by d, as a worn face spreads the current. Welds at one setting
differ in heat, because force and fit-up differ: s is the standard deviation of x. Over x there are

- an ordered probit of the outcome: a weld bonds with the chance Phi((x - b) / s), and tears the parent metal with
  Phi((x - t) / s), b below t. The three outcomes (no bond, broke at the joint, tore the parent metal) are so ordered;
- a separate curve of late expulsion, Phi((x - e) / (h s)). The factor h is there because the heat levels off in a long weld,
  so that the same scatter corresponds to more time at the upper edge. A weld may both tear the parent metal and expel, so
  expulsion is not a fourth outcome;
- the setdown, where it is measured: log share = log(upper limit wanted) + k (x - u) + normal scatter. The limit is reached
  at u.

An outcome or an expulsion is occasionally recorded wrongly. So each likelihood is mixed with that of the others: one wrong
record must not outweigh all other welds. Early expulsion is caused by force, dirt or a missing upslope, before the heat. Such
a weld is not used for the estimate, not even its outcome.

Given t, s and h, the edges e and u and the other parameters of the curves are assumed independent. So the posterior is a small
table over (s and h, t, e - t) for each (g, d), with a few smaller tables. It is summed exactly, without sampling: the same
welds always have the same result.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, roots_hermitenorm, roots_laguerre  # type: ignore[import-untyped,unused-ignore]

from gen.joint import ForceHeld
from gen.trials.values import OUTCOMES, Outcome, Prior, Tried

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LogNormal:
    """A positive quantity: its median, and the standard deviation of its natural logarithm."""

    median: float
    sigma: float


@dataclass(frozen=True)
class Assumptions:
    """The assumptions of the estimate, our own where no source is named. Heat is in natural logarithms of time.

    `tear_scale`, `tear_freedom`: t about the handbook's range is Student's t, heavy-tailed since a suggestion may be half or
    double. `lobe`: e - t, mean and standard deviation; the current ranges of ISO 14373 at medium force span a factor of
    1.29 to 1.5, which is 0.5 to 0.8 in heat. `bond_gap`: t - b. `by_air`, `by_spring`, `by_hand`: s, by the source of the
    force; few welds are little evidence of it. FORCE_WITHIN of gen/joint.py (common practice, no source) assumes a force error
    of 5, 15 and 35 % respectively. The share of it that appears in the heat, and the addition of fit-up and surface, are our
    assumptions. `flatter`: h. `exponent`: g, mean and standard deviation; the class table of gen/handbook gives 2.0 to 2.7
    from class A to class C (from memory) of sheets from 0.5 to 2 mm. `wear`: the mean of d, exponentially distributed.
    `mislabelled`: the share of outcomes, and of expulsions, recorded wrongly. `setdown_power`: k; the cross-wire table's
    15 and 30 % give about 0.9. `setdown_scatter`: of the log share. `limit_scale`: standard deviation of u - t about the value
    that k gives for the setdown wanted.
    """

    tear_scale: float = 0.45
    tear_freedom: float = 4.0
    lobe: tuple[float, float] = (0.55, 0.35)
    bond_gap: LogNormal = LogNormal(0.35, 0.6)
    by_air: LogNormal = LogNormal(0.06, 0.4)
    by_spring: LogNormal = LogNormal(0.12, 0.35)
    by_hand: LogNormal = LogNormal(0.26, 0.3)
    flatter: LogNormal = LogNormal(1.25, 0.3)
    exponent: tuple[float, float] = (2.5, 0.4)
    wear: float = 0.004
    mislabelled: float = 0.05
    setdown_power: LogNormal = LogNormal(0.9, 0.25)
    setdown_scatter: LogNormal = LogNormal(0.2, 0.4)
    limit_scale: float = 0.4

    def scatter(self, held: ForceHeld) -> LogNormal:
        """The prior of s, by the source of the force."""
        return {"air": self.by_air, "spring": self.by_spring, "hand": self.by_hand}[held]


ASSUMED = Assumptions()

STEP = 0.03  # step of the grid of edges, in heat
_PARTS = 4  # a weld's heat is rounded to a fourth of the step
TEAR_REACH = 2.1  # half-width of the prior of t: a suggestion is assumed to be at most a factor of 8 off
_EDGE_REACH = 3.0  # half-width of the priors of e - t and u - t, in standard deviations
_BEYOND = 12.0  # half-width of the table around an edge, in heat: beyond it every outcome is certain
_ODD_SETDOWN = 1.0  # scatter of the log share of a wrongly measured setdown
_LEAST = 1e-300  # keeps logarithms finite where no wrong record is assumed
_LEAST_SHARE = 0.005  # below this a setdown cannot be measured


@dataclass(frozen=True)
class Edges:
    """The grid of heat for the edges, and the prior of the edges on it.

    `heat`: (T,), of t. `rise`: (R,), of e - t and of u - t, multiples of `STEP`. `upper`: (U,), of e and u, U = T + R - 1, from
    the lowest t with the least rise to the highest t with the greatest. `tear`: (T,), the weights of t. `expel` and `limit`:
    (T, U), the weights of e and u given t, 0 outside the rises. `limit` is None where no setdown is wanted.
    """

    heat: Floats
    rise: Floats
    upper: Floats
    tear: Floats
    expel: Floats
    limit: Floats | None


@cache
def edges(prior: Prior, assumed: Assumptions) -> Edges:
    """The prior of the edges from the handbook's range: its middle is the middle of the lobe, its width adds uncertainty."""
    low, scale = tear_prior(prior, assumed)
    steps = round(TEAR_REACH / STEP)
    heat = np.asarray(low + np.arange(-steps, steps + 1) * STEP, dtype=np.float64)
    # Densities without their constants, since the sum is made 1: Student's t and normal. scipy.stats is slow to import.
    tear = (1 + ((heat - low) / scale) ** 2 / assumed.tear_freedom) ** (-(assumed.tear_freedom + 1) / 2)
    rises = [assumed.lobe]
    if prior.setdown_share is not None:
        rises.append(limit_prior(prior.setdown_share, assumed))
    least = min(math.floor((mean - _EDGE_REACH * deviation) / STEP) for mean, deviation in rises)
    most = max(math.ceil((mean + _EDGE_REACH * deviation) / STEP) for mean, deviation in rises)
    rise = np.asarray(np.arange(min(least, 0), most + 1) * STEP, dtype=np.float64)
    of_rises = [np.exp(-(((rise - mean) / deviation) ** 2) / 2) for mean, deviation in rises]
    of_expel, *of_limit = (weights / weights.sum() for weights in of_rises)
    upper = heat[0] + rise[0] + np.arange(len(heat) + len(rise) - 1) * STEP
    return Edges(
        heat,
        rise,
        upper,
        tear / tear.sum(),
        _given_tear(of_expel, len(heat)),
        _given_tear(of_limit[0], len(heat)) if of_limit else None,
    )


def _given_tear(of_rises: Floats, count: int) -> Floats:
    """(T, U): the weights of the rises (R,), shifted for each of `count` t."""
    wide = np.concatenate([of_rises, np.zeros(count)])
    return np.asarray(np.tile(wide, count)[:-count].reshape(count, -1), dtype=np.float64)


def tear_prior(prior: Prior, assumed: Assumptions) -> tuple[float, float]:
    """Location and scale of the prior of t, which is cut off at `TEAR_REACH`.

    The handbook's range counts as two standard deviations either way, in addition to the uncertainty of all such suggestions.
    A computed range begins at t, with the measured error of its model.
    """
    if prior.within is not None:
        return math.log(prior.low_s), prior.within
    middle, spread = 0.5 * math.log(prior.low_s * prior.high_s), 0.25 * math.log(prior.high_s / prior.low_s)
    return middle - assumed.lobe[0] / 2, math.hypot(assumed.tear_scale, spread)


def limit_prior(wanted: tuple[float, float], assumed: Assumptions) -> tuple[float, float]:
    """Mean and standard deviation of u - t. The lower end of the setdown wanted is taken as reached at t."""
    least, most = wanted
    if least < _LEAST_SHARE:
        return assumed.lobe
    return math.log(most / least) / assumed.setdown_power.median, assumed.limit_scale


@dataclass(frozen=True)
class Shapes:
    """Parameters of the curves with their prior weights: gap (G,), scatter (S,), setdown power (K,), its scatter (C,).

    Each of the S is a pair of s and h: `scatter` is s, of outcomes, and `expel_scatter` is h s, of late expulsion.
    """

    gap: Floats
    gap_weight: Floats
    scatter: Floats
    expel_scatter: Floats
    scatter_weight: Floats
    power: Floats
    power_weight: Floats
    setdown_scatter: Floats
    setdown_scatter_weight: Floats


@cache
def shapes(assumed: Assumptions, held: ForceHeld) -> Shapes:
    """The nodes of the parameters, evenly spaced in logarithms, since the posterior is narrower than the prior."""
    scatter, scatter_weight = _nodes(assumed.scatter(held), 7)
    flatter, flatter_weight = _nodes(assumed.flatter, 3, 1.8)
    return Shapes(
        *_nodes(assumed.bond_gap, 11),
        np.repeat(scatter, len(flatter)),
        np.outer(scatter, flatter).ravel(),
        np.outer(scatter_weight, flatter_weight).ravel(),
        *_nodes(assumed.setdown_power, 7),
        *_nodes(assumed.setdown_scatter, 5),
    )


def _nodes(quantity: LogNormal, count: int, reach: float = 2.4) -> tuple[Floats, Floats]:
    z = np.linspace(-reach, reach, count)
    weights = np.exp(-0.5 * z**2)
    return quantity.median * np.exp(quantity.sigma * z), weights / weights.sum()


@cache
def exponents(assumed: Assumptions) -> tuple[tuple[float, float], ...]:
    """Three nodes (g, weight), exact for the mean and standard deviation of g."""
    nodes, weights = roots_hermitenorm(3)
    mean, deviation = assumed.exponent
    total = float(weights.sum())
    return tuple((mean + deviation * float(z), float(w) / total) for z, w in zip(nodes, weights))


@cache
def wears(assumed: Assumptions) -> tuple[tuple[float, float], ...]:
    """Three nodes (d, weight) of the exponential distribution; one node where no wear is assumed."""
    if assumed.wear == 0:
        return ((0.0, 1.0),)
    nodes, weights = roots_laguerre(3)
    return tuple((assumed.wear * float(z), float(w)) for z, w in zip(nodes, weights))


def as_written(chances: Floats, assumed: Assumptions) -> Floats:
    """Chances (N, ...) of the recorded outcomes, from those of the true outcomes, with a share recorded wrongly."""
    wrong = assumed.mislabelled
    return (1 - wrong) * chances + wrong * (1 - chances) / (len(chances) - 1)


class Curves:
    """The chances of outcomes and expulsion over all edges of a grid, by a weld's distance from them in heat.

    Each chance is read from a table over the differences of heat, computed once, which makes the estimate quick. A look-up
    takes the distance of one weld, or of N welds, above the first edge of the grid, and the number of edges.
    """

    def __init__(self, assumed: Assumptions, held: ForceHeld) -> None:
        self._part = STEP / _PARTS
        self._reach = round(_BEYOND / self._part)
        d = np.arange(-self._reach, self._reach + 1) * self._part
        made = shapes(assumed, held)
        gap, scatter = made.gap[:, None, None], made.scatter[None, :, None]
        above_tear, above_bond = d[None, None, :] / scatter, (d[None, None, :] + gap) / scatter
        tore = np.broadcast_to(ndtr(above_tear), above_bond.shape)
        # Each difference is taken in the tail in which it keeps its precision.
        broke = np.where(above_tear > 0, ndtr(-above_tear) - ndtr(-above_bond), ndtr(above_bond) - ndtr(above_tear))
        each = np.stack([ndtr(-above_bond), broke, tore])
        self._no_bond: Floats = each[0]  # (G, S, differences)
        self._tore: Floats = each[2, 0]  # (S, differences)
        logs = np.log(as_written(each, assumed) + _LEAST)
        self._log_held: Floats = logs[:2]  # (2, G, S, differences): no bond, and broke at the joint
        self._log_tore: Floats = logs[2, 0]
        above_expel = d[None, :] / made.expel_scatter[:, None]
        self._expelled: Floats = ndtr(above_expel)
        both = np.stack([ndtr(-above_expel), self._expelled])
        self._log_expelled: Floats = np.log(as_written(both, assumed) + _LEAST)

    def _slice(self, above_first: float, count: int) -> slice:
        last = (count - 1) * _PARTS
        start = self._reach + round(above_first / self._part)
        start = min(max(start, last), 2 * self._reach)
        stop = start - last - 1
        return slice(start, stop if stop >= 0 else None, -_PARTS)

    def _places(self, above_first: Floats, count: int) -> npt.NDArray[np.intp]:
        """(N, count): indices into the table."""
        start = self._reach + np.rint(above_first / self._part).astype(np.intp)
        start = np.minimum(np.maximum(start, (count - 1) * _PARTS), 2 * self._reach)
        return np.asarray(start[:, None] - _PARTS * np.arange(count), dtype=np.intp)

    def log_held(self, outcome: Outcome, above_first: float, count: int) -> Floats:
        """Log likelihood of a recorded no bond, or break at the joint, (G, S, count)."""
        found: Floats = self._log_held[OUTCOMES.index(outcome)][..., self._slice(above_first, count)]
        return found

    def log_tore(self, above_first: float, count: int) -> Floats:
        """Log likelihood of a recorded tear of the parent metal, the same for every gap, (S, count)."""
        found: Floats = self._log_tore[:, self._slice(above_first, count)]
        return found

    def log_expelled(self, late: bool, above_first: float, count: int) -> Floats:
        """Log likelihood of a recorded late expulsion, or none, (S, count)."""
        found: Floats = self._log_expelled[int(late)][:, self._slice(above_first, count)]
        return found

    def no_bond(self, above_first: Floats, count: int, scatters: slice) -> Floats:
        """True chances of no bond, (G, S, N, count)."""
        return np.take(self._no_bond[:, scatters], self._places(above_first, count), axis=2)

    def tore(self, above_first: Floats, count: int, scatters: slice) -> Floats:
        """True chances to tear the parent metal, (S, N, count)."""
        return np.take(self._tore[scatters], self._places(above_first, count), axis=1)

    def expelled(self, above_first: Floats, count: int, scatters: slice) -> Floats:
        """True chances of late expulsion, (S, N, count)."""
        return np.take(self._expelled[scatters], self._places(above_first, count), axis=1)


@cache
def curves(assumed: Assumptions, held: ForceHeld) -> Curves:
    """The table for these assumptions and this source of force, computed once."""
    return Curves(assumed, held)


def log_setdown(share: float, heat: float, limit: float, grid: Floats, assumed: Assumptions) -> Floats:
    """Log likelihood of a measured setdown share for each place of u on the grid, (K, C, places)."""
    made = shapes(assumed, "hand")  # the parameters of setdown do not depend on the source of the force
    miss = math.log(max(share, _LEAST_SHARE) / limit) - made.power[:, None, None] * (heat - grid[None, None, :])
    scatter = made.setdown_scatter[None, :, None]
    right = np.exp(-0.5 * (miss / scatter) ** 2) / scatter
    wrong = np.exp(-0.5 * (miss / _ODD_SETDOWN) ** 2) / _ODD_SETDOWN
    return np.asarray(
        np.log((1 - assumed.mislabelled) * right + assumed.mislabelled * wrong + _LEAST), dtype=np.float64
    )


def within_limit(heat: float, grid: Floats, assumed: Assumptions) -> Floats:
    """Chance that the next weld's setdown stays below the limit, (K, C, places)."""
    made = shapes(assumed, "hand")
    above = made.power[:, None, None] * (heat - grid[None, None, :]) / made.setdown_scatter[None, :, None]
    return np.asarray(ndtr(-above), dtype=np.float64)


def welds_since_dressing(tried: tuple[Tried, ...]) -> tuple[int, ...]:
    """For each weld tried, and for the next, the number of welds since the electrodes were dressed.

    A weld that expelled early does not count, as it is not used for the estimate.
    """
    counts, worn = [], 0
    for one in tried:
        worn = 0 if one.dressed else worn
        counts.append(worn)
        worn += one.expulsion != "early"
    return (*counts, worn)
