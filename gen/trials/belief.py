"""What the welds tried say of the good window: `believe`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import as_strided, sliding_window_view
from scipy.special import ndtr, xlogy  # type: ignore[import-untyped,unused-ignore]

from gen.trials.model import (
    ASSUMED,
    STEP,
    Assumptions,
    Curves,
    Edges,
    Floats,
    as_written,
    curves,
    edges,
    exponents,
    log_setdown,
    shapes,
    wears,
    welds_since_dressing,
    within_limit,
)
from gen.trials.values import Chances, Credible, Prior, Setting, Tried, Window

_CENTRAL = (0.5, 0.025, 0.975)
LEAST = 0.1  # the lower limit of a chance: it is below with this probability
_BINS = 100  # of a chance, where its lower limit is sought
_NOTHING = 1e-7  # a probability that counts as none
_FAR = 20.0  # of the logarithm: an edge so much less likely than another is left out
_SOME = 4  # every so manieth rise is looked at to find how likely the likeliest is at least
_BEST_STEP = 0.02  # of the times among which `best` chooses, in heat


@dataclass(frozen=True)
class Posterior:
    """What is believed under one wear and one power of current, or under all powers where only one percent was tried.

    `powers`: (g, weight), summing to 1. `log_evidence`: of the welds under this wear and power. Only the scatters and edges
    that have any weight are kept: `scatters`, which; `heat` (T,), of t; `rise` (R,), of e - t and u - t, from 0 or below.
    `edges` (S, T, R): of s, t and e - t together, summing to 1. `gap` (G, S, T): given s and t. `limit` (T, R): of u - t
    given t. `limit_shape` (K, C, T + R - 1): given u, a place each sum of t and u - t.
    """

    powers: tuple[tuple[float, float], ...]
    worn_heat: float
    log_evidence: float
    scatters: slice
    heat: Floats
    rise: Floats
    edges: Floats
    gap: Floats
    limit: Floats | None
    limit_shape: Floats | None

    @cached_property
    def upper(self) -> Floats:
        """(T + R - 1,): the places where e and u may lie."""
        count = len(self.heat) + len(self.rise) - 1
        return np.asarray(self.heat[0] + self.rise[0] + np.arange(count) * STEP, dtype=np.float64)

    @cached_property
    def tear(self) -> Floats:
        """(S, T): of s and t."""
        return np.asarray(self.edges.sum(axis=2), dtype=np.float64)

    @cached_property
    def expel(self) -> Floats:
        """(S, T + R - 1): of s and e."""
        return np.stack([_at_upper(one) for one in self.edges])

    @cached_property
    def _beyond(self) -> Floats:
        """(T, R + 1): chance of t, and that both upper edges lie at or above each place; the last column is 0."""
        above = _tail(self.edges.sum(axis=0))
        return above if self.limit is None else above * _tail(self.limit)

    @cached_property
    def high(self) -> Floats:
        """(T, R): of t and of the upper edge of the window, the lower of e and u."""
        return self._beyond[:, :-1] - self._beyond[:, 1:]

    @cached_property
    def at_high(self) -> Floats:
        """(T + R - 1,): of the upper edge of the window."""
        return _at_upper(self.high)

    @cached_property
    def inside(self) -> Floats:
        """(T + R - 1,): the chance that a heat at each of `upper` lies in the window."""
        above_tear = np.where(self.rise > -STEP / 2, self._beyond[:, :-1], 0.0)
        return _at_upper(above_tear)

    @cached_property
    def has_window(self) -> float:
        """The chance that there is any."""
        return float(self.high[:, self.rise > STEP / 2].sum())


def _at_upper(weights: Floats) -> Floats:
    """Sums of (T, R) over all t and rises that make one place."""
    count, rises = weights.shape
    places = np.arange(count)[:, None] + np.arange(rises)[None, :]
    return np.asarray(np.bincount(places.ravel(), weights.ravel(), count + rises - 1), dtype=np.float64)


def _by_rise(upper: Floats, rises: int) -> Floats:
    """(..., T, R) of (..., T + R - 1): what stands at each t and rise."""
    shape = (*upper.shape[:-1], upper.shape[-1] - rises + 1, rises)
    return as_strided(upper, shape, (*upper.strides, upper.strides[-1]), writeable=False)


def _span(held: npt.NDArray[np.bool_]) -> slice:
    """From the first to the last that is held."""
    places = np.flatnonzero(held)
    return slice(int(places[0]), int(places[-1]) + 1)


def _tail(rows: Floats) -> Floats:
    """Sums from each column to the last, and a last column of 0."""
    tails = np.cumsum(rows[:, ::-1], axis=1)[:, ::-1]
    return np.concatenate([tails, np.zeros((len(rows), 1))], axis=1)


@dataclass(frozen=True)
class Belief:
    """What is known of a joint after `tried`, for the electrodes as they are now. Made by `believe`.

    All answers are for the next weld, on electrodes as worn as they then are. "The window" is as `Window` defines it.
    """

    prior: Prior
    tried: tuple[Tried, ...]
    assumed: Assumptions
    _under: tuple[tuple[float, Posterior], ...] = field(repr=False)  # weights sum to 1

    def window(self, percent: float) -> Window:
        """The good window of weld time at `percent` current."""
        low, high, chance = [], [], 0.0
        for weight, shift, p in self._cases(percent):
            low.append((p.heat - shift, weight * p.tear.sum(axis=0)))
            high.append((p.upper - shift, weight * p.at_high))
            chance += weight * p.has_window
        return Window(_credible(low), _credible(high), min(chance, 1.0))

    def inside(self, setting: Setting) -> float:
        """The probability that `setting` lies in the good window."""
        heat = math.log(setting.time_s)
        return sum(
            weight * float(np.interp(heat + shift, p.upper, p.inside, 0.0, 0.0))
            for weight, shift, p in self._cases(setting.percent)
        )

    @property
    def scatter(self) -> Credible:
        """From weld to weld, the standard deviation of the logarithm of the heat."""
        each = shapes(self.assumed, self.prior.force_held).scatter
        of_each = np.zeros(len(each))
        for weight, p in self._under:
            of_each[p.scatters] += weight * p.tear.sum(axis=1)
        nodes, which = np.unique(each, return_inverse=True)
        weights = np.bincount(which, of_each)
        step = math.log(nodes[1] / nodes[0])
        ends = np.append(np.log(nodes) - step / 2, math.log(nodes[-1]) + step / 2)
        below = np.append(0.0, np.cumsum(weights))
        return Credible(*(math.exp(float(np.interp(share * below[-1], below, ends))) for share in _CENTRAL))

    @property
    def reachable(self) -> float:
        """The chance of a good weld at the best time once all is known, as far as can be told now; setdown is left out.

        At the best time a weld is about as many scatters above t as below e: by (e - t) / (s + h s).
        """
        made, total = shapes(self.assumed, self.prior.force_held), 0.0
        for weight, p in self._under:
            both = (made.scatter + made.expel_scatter)[p.scatters]
            total += weight * float((p.edges.sum(axis=1) * ndtr(p.rise / both[:, None]) ** 2).sum())
        return total

    def good(self, setting: Setting) -> float:
        """The chance that the next weld at `setting` is good, as `Chances` has it."""
        heat, total = math.log(setting.time_s), 0.0
        for weight, shift, p in self._cases(setting.percent):
            tears, _, kept = self._passing(p, heat + shift)
            total += weight * float((tears * kept).sum(axis=0) @ self._low_enough(p, heat + shift))
        return min(total, 1.0)

    def chances(self, setting: Setting) -> Chances:
        """What the next weld at `setting` may come to, written down rightly."""
        total = np.zeros(5)
        heat = math.log(setting.time_s)
        for weight, shift, p in self._cases(setting.percent):
            outcome = self._outcomes(p, heat + shift)
            tears, expels, kept = self._passing(p, heat + shift)
            good = (tears * kept).sum(axis=0) @ self._low_enough(p, heat + shift)
            total += weight * np.array([*(outcome * p.tear).sum(axis=(1, 2)), (expels * p.expel).sum(), good])
        no_bond, broke, tore, late, good = (min(max(float(x), 0.0), 1.0) for x in total)
        return Chances(no_bond, broke, tore, late, good, self._good_least(setting))

    def _good_least(self, setting: Setting) -> float:
        """What the chance of a good weld is at least, but for a probability of `LEAST`."""
        heat = math.log(setting.time_s)
        chances, weights = [], []
        for weight, shift, p in self._cases(setting.percent):
            tears, expels, _ = self._passing(p, heat + shift)
            whole = tears[:, :, None] * (1 - _by_rise(expels, len(p.rise)))
            held = _binned(np.moveaxis(whole, 1, 0), np.moveaxis(p.edges, 1, 0))
            if p.limit is None or p.limit_shape is None:
                chances.append(_MIDDLES)
                weights.append(weight * held.sum(axis=0))
                continue
            below = within_limit(heat + shift, p.upper, self.assumed)
            given_limit = _binned(np.moveaxis(below, 2, 0), np.moveaxis(p.limit_shape, 2, 0))
            given_tear = sliding_window_view(given_limit, len(p.rise), axis=0)  # (T, bins, R)
            both = held.T @ np.einsum("tbr,tr->tb", given_tear, p.limit)
            chances.append(np.outer(_MIDDLES, _MIDDLES).ravel())
            weights.append(weight * both.ravel())
        chance, share = np.concatenate(chances), np.concatenate(weights)
        order = np.argsort(chance)
        reached = np.searchsorted(np.cumsum(share[order]), LEAST * share.sum())
        return float(chance[order][min(int(reached), len(order) - 1)])

    def best(self, percent: float) -> Setting:
        """The setting at `percent` whose next weld is most likely good."""
        window = self.window(percent)
        ends = sorted(math.log(edge) for edge in (window.low_s.median, window.high_s.median))
        heats = np.arange(ends[0] - 2 * _BEST_STEP, ends[1] + 3 * _BEST_STEP, _BEST_STEP)
        return max((Setting(math.exp(heat), percent) for heat in heats), key=self.good)

    def information(self, setting: Setting) -> float:
        """How much the next weld at `setting` is expected to tell of where welds tear, where they expel and how they scatter,
        in nats.

        The mutual information of its outcome and expulsion with t, e and s (gen/trials/model.py): what is uncertain of the
        result, less what would still be so if these were known. Setdown is left out of it: its scatter is the
        same at every heat, so that it tells of its limit nearly as much wherever it is measured.
        """
        heat = math.log(setting.time_s)
        joint = np.zeros((3, 2))
        known = 0.0
        for weight, shift, p in self._cases(setting.percent):
            outcome = as_written(self._outcomes(p, heat + shift), self.assumed)
            _, expels, _ = self._passing(p, heat + shift)
            expelled = as_written(np.stack([1 - expels, expels]), self.assumed)
            late = _spread(p.edges, expelled[1])
            joint += weight * np.stack(
                [(outcome * (p.tear - late)).sum(axis=(1, 2)), (outcome * late).sum(axis=(1, 2))], 1
            )
            known += weight * float((p.tear * _entropy(outcome)).sum() + (p.expel * _entropy(expelled)).sum())
        return max(float(_entropy(joint.reshape(6))) - known, 0.0)

    def _outcomes(self, p: Posterior, heat: float) -> Floats:
        """Chances of the three outcomes given s and t, (3, S, T)."""
        chances = self._curves.outcome(heat - p.heat[0], len(p.heat))[:, :, p.scatters]
        return np.asarray(np.einsum("ogst,gst->ost", chances, p.gap), dtype=np.float64)

    def _passing(self, p: Posterior, heat: float) -> tuple[Floats, Floats, Floats]:
        """Chances to tear given s and t, (S, T), to expel late given s and e, (S, T + R - 1); of s, t and no late expulsion."""
        tears = self._curves.tore(heat - p.heat[0], len(p.heat))[p.scatters]
        expels = self._curves.expelled(heat - p.upper[0], len(p.upper))[p.scatters]
        return tears, expels, _spread(p.edges, 1 - expels)

    def _low_enough(self, p: Posterior, heat: float) -> Floats:
        """Chance given t that the setdown stays below the limit wanted, (T,)."""
        if p.limit is None or p.limit_shape is None:
            return np.ones(len(p.heat))
        below = (within_limit(heat, p.upper, self.assumed) * p.limit_shape).sum(axis=(0, 1))
        return np.asarray((_by_rise(below, len(p.rise)) * p.limit).sum(axis=1), dtype=np.float64)

    def _cases(self, percent: float) -> Iterator[tuple[float, float, Posterior]]:
        """(weight, what to add to the log of a time for its heat, posterior)."""
        ratio = math.log(percent / self.prior.percent)
        for weight, posterior in self._under:
            if ratio == 0:
                yield weight, -posterior.worn_heat, posterior
                continue
            for power, share in posterior.powers:
                yield weight * share, power * ratio - posterior.worn_heat, posterior

    @property
    def _curves(self) -> Curves:
        return curves(self.assumed, self.prior.force_held)


_MIDDLES = (np.arange(_BINS) + 0.5) / _BINS


def _binned(chances: Floats, weights: Floats) -> Floats:
    """For each place along the first axis the weights of the chances there, by bins of them: (places, _BINS)."""
    count = len(chances)
    bins = np.minimum((chances * _BINS).astype(np.intp), _BINS - 1).reshape(count, -1)
    bins += _BINS * np.arange(count)[:, None]
    found = np.bincount(bins.ravel(), weights.reshape(count, -1).ravel(), count * _BINS)
    return np.asarray(found.reshape(count, _BINS), dtype=np.float64)


def _spread(weights: Floats, of_upper: Floats) -> Floats:
    """(S, T) of weights (S, T, R) and chances (S, T + R - 1) given the upper edge: their sums of products over the rises."""
    return np.asarray(np.einsum("str,str->st", weights, _by_rise(of_upper, weights.shape[2])), dtype=np.float64)


def believe(prior: Prior, tried: Sequence[Tried], assumed: Assumptions = ASSUMED) -> Belief:
    """The belief after the welds `tried`, in the order in which they were made; deterministic."""
    welds = tuple(tried)
    grid = edges(prior, assumed)
    powers = exponents(assumed)
    # Where all were welded at the prior's percent, the power of current makes no difference to what they say.
    one_percent = all(one.setting.percent == prior.percent for one in welds)
    groups = [powers] if one_percent else [((power, 1.0),) for power, _ in powers]
    weights = [1.0] if one_percent else [weight for _, weight in powers]
    found = [
        (math.log(weight * share), _posterior(prior, welds, grid, group, wear, assumed))
        for group, weight in zip(groups, weights)
        for wear, share in wears(assumed)
    ]
    logs = np.array([log + posterior.log_evidence for log, posterior in found])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    return Belief(prior, welds, assumed, tuple((float(s), p) for s, (_, p) in zip(shares, found) if s > _NOTHING))


def _posterior(
    prior: Prior,
    welds: tuple[Tried, ...],
    grid: Edges,
    powers: tuple[tuple[float, float], ...],
    wear: float,
    assumed: Assumptions,
) -> Posterior:
    made, table = shapes(assumed, prior.force_held), curves(assumed, prior.force_held)
    count, count_upper, first, first_upper = len(grid.heat), len(grid.upper), grid.heat[0], grid.upper[0]
    tore = np.log(made.gap_weight)[:, None, None] + np.zeros((len(made.scatter), count))
    expelled = np.log(made.scatter_weight)[:, None] + np.zeros(count_upper)
    limit = np.log(made.power_weight[:, None] * made.setdown_scatter_weight[None, :])[:, :, None] + np.zeros(
        count_upper
    )
    worn = welds_since_dressing(welds)
    for one, before in zip(welds, worn):
        if one.expulsion == "early":
            continue
        heat = math.log(one.setting.time_s) + powers[0][0] * math.log(one.setting.percent / prior.percent)
        heat -= wear * before
        tore += table.log_outcome(one.outcome, heat - first, count)
        expelled += table.log_expelled(one.expulsion == "late", heat - first_upper, count_upper)
        if prior.setdown_share is not None and one.setdown_share is not None:
            limit += log_setdown(one.setdown_share, heat, prior.setdown_share[1], grid.upper, assumed)
    log_tear, gap = _summed(tore)
    log_tear += np.log(grid.tear)
    of_limit, limit_shape = None, None
    if grid.limit is not None:
        log_limit, limit_shape = _summed(limit, 2)
        log_limit = _by_rise(log_limit, len(grid.rise)) + _log(grid.limit)
        log_limits, of_limit = _summed(np.moveaxis(log_limit, 1, 0))
        of_limit = of_limit.T
        log_tear += log_limits
    given = _by_rise(expelled, len(grid.rise)) + _log(grid.expel)
    bound = log_tear.max(axis=0) + given.max(axis=(0, 2))
    some = (log_tear[:, :, None] + given[:, :, ::_SOME]).max(axis=(0, 2))
    near = _span(bound > some.max() - _FAR)
    logs = log_tear[:, near, None] + given[:, near]
    most = float(logs.max())
    weights = np.exp(logs - most)
    total = float(weights.sum())
    weights /= total
    s, t, r = (_span(weights.sum(axis=others) > _NOTHING) for others in ((1, 2), (0, 2), (0, 1)))
    of_t = slice(near.start + t.start, near.start + t.stop)
    if of_limit is not None:
        also = _span(of_limit[of_t].max(axis=0) > _NOTHING)
        r = slice(min(r.start, also.start), max(r.stop, also.stop))
    zero = round(-grid.rise[0] / STEP)
    r = slice(min(r.start, zero), max(r.stop, zero + 1))
    kept = weights[s, t, r]
    return Posterior(
        powers,
        wear * worn[-1],
        math.log(total) + most,
        s,
        grid.heat[of_t],
        grid.rise[r],
        kept / kept.sum(),
        gap[:, s, of_t],
        None if of_limit is None else of_limit[of_t, r],
        None if limit_shape is None else limit_shape[..., of_t.start + r.start : of_t.stop + r.stop - 1],
    )


def _log(weights: Floats) -> Floats:
    return np.asarray(np.log(weights + 1e-300), dtype=np.float64)


def _summed(logs: Floats, axes: int = 1) -> tuple[Floats, Floats]:
    """Over the first `axes` of log weights: the logs of their sums, and the shares that make them up."""
    leading = tuple(range(axes))
    most = logs.max(axis=leading, keepdims=True)
    weights = np.exp(logs - most)
    sums = weights.sum(axis=leading, keepdims=True)
    return (np.log(sums) + most).reshape(logs.shape[axes:]), weights / sums


def _credible(cases: list[tuple[Floats, Floats]]) -> Credible:
    """Quantiles, in seconds, of (places, weights) of one edge; each weight lies evenly over its step of the grid."""
    least, most = min(places[0] for places, _ in cases), max(places[-1] for places, _ in cases)
    at = np.arange(least - STEP, most + STEP, STEP / 8)
    heaped = np.zeros(len(at))
    for places, weights in cases:
        ends = np.append(places - STEP / 2, places[-1] + STEP / 2)
        heaped += np.interp(at, ends, np.append(0.0, np.cumsum(weights)))
    return Credible(*(math.exp(float(np.interp(share * heaped[-1], heaped, at))) for share in _CENTRAL))


def _entropy(chances: Floats) -> Floats:
    """Over the first axis, in nats."""
    return np.asarray(-xlogy(chances, chances).sum(axis=0), dtype=np.float64)
