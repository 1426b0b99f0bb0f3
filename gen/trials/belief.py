"""The estimate of a joint's good window from the welds tried (the belief): `believe`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d  # type: ignore[import-untyped,unused-ignore]
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
LEAST = 0.1  # probability that a chance is below its lower limit
_BINS = 100  # bins of a chance, for finding its lower limit
_NOTHING = 1e-5  # a probability that counts as zero
_HARDLY = 1e-5  # weights below this share of the greatest are left out of the lower limit of a chance
_FARTHEST = 300.0  # cut-off of a logarithm: the product of two such exponentials is within the range of a float
_BEST_STEP = 0.02  # step in heat of the times among which `best` chooses


@dataclass(frozen=True)
class Posterior:
    """The posterior under one wear and one power of current, or under all powers where only one percent was tried.

    The letters are those of gen/trials/model.py. `powers`: (g, weight), weights summing to 1. `log_evidence`: of the welds,
    under this wear and power. Only scatters and edges with any weight are kept: `scatters`, their places among the S; `heat`
    (T,), of t; `upper` (U,), of e and u. The joint probability of s, t and e is `of_tear` (S, T) times `of_expel` (S, U) times
    `apart` (T, U), and sums to 1. It factors so because, given s, each observation depends on one edge alone, and only the
    prior couples the two edges. The full table is therefore rarely needed.
    `gap` (G, S, T): given s and t. `limit` (T, U): of u given t. `limit_shape` (K, C, U): given u.
    """

    powers: tuple[tuple[float, float], ...]
    worn_heat: float
    log_evidence: float
    scatters: slice
    heat: Floats
    upper: Floats
    of_tear: Floats
    of_expel: Floats
    apart: Floats
    gap: Floats
    limit: Floats | None
    limit_shape: Floats | None

    @cached_property
    def tear(self) -> Floats:
        """(S, T): of s and t."""
        return self.of_tear * (self.of_expel @ self.apart.T)

    @cached_property
    def expel(self) -> Floats:
        """(S, U): of s and e."""
        return self.of_expel * (self.of_tear @ self.apart)

    @cached_property
    def edges(self) -> Floats:
        """(T, U): of t and e."""
        return (self.of_tear.T @ self.of_expel) * self.apart

    @property
    def whole(self) -> Floats:
        """(S, T, U): of s, t and e."""
        return self.of_tear[:, :, None] * self.of_expel[:, None, :] * self.apart

    def late(self, expelled: Floats) -> Floats:
        """(S, N, T): probability of s, t and a late expulsion, from its chances `expelled` (S, N, U) given s and e."""
        found = (expelled * self.of_expel[:, None, :]) @ self.apart.T
        return np.asarray(found * self.of_tear[:, None, :], dtype=np.float64)

    @cached_property
    def _beyond(self) -> Floats:
        """(T, U + 1): probability of t with both upper edges at or above each place. The last column is 0."""
        above = _tail(self.edges)
        return above if self.limit is None else above * _tail(self.limit)

    @cached_property
    def rise(self) -> Floats:
        """(T, U): the rise of each upper edge above t."""
        return self.upper[None, :] - self.heat[:, None]

    @cached_property
    def high(self) -> Floats:
        """(T, U): probability of t and of the window's upper edge, which is the lower of e and u."""
        return self._beyond[:, :-1] - self._beyond[:, 1:]

    @cached_property
    def has_window(self) -> float:
        """The probability that a good window exists."""
        return float(self.high[self.rise > STEP / 2].sum())


def _span(held: npt.NDArray[np.bool_]) -> slice:
    """The slice from the first to the last true element."""
    places = np.flatnonzero(held)
    return slice(int(places[0]), int(places[-1]) + 1)


def _tail(rows: Floats) -> Floats:
    """Sums from each column to the last, and a last column of 0."""
    tails = np.cumsum(rows[:, ::-1], axis=1)[:, ::-1]
    return np.concatenate([tails, np.zeros((len(rows), 1))], axis=1)


@dataclass(frozen=True)
class Belief:
    """The estimate of a joint after the welds `tried`, for the electrodes' present wear. Made by `believe`.

    All results are for the next weld. "The window" is as `Window` defines it. Methods that take settings return one value
    each, (N,), since that is much quicker than one call a setting.
    """

    prior: Prior
    tried: tuple[Tried, ...]
    assumed: Assumptions
    _under: tuple[tuple[float, Posterior], ...] = field(repr=False)  # weights sum to 1

    def window(self, percent: float) -> Window:
        """The good window of weld time at `percent` current."""
        low, high, chance = [], [], 0.0
        for weight, shift, p in self._cases([percent]):
            low.append((p.heat - shift, weight * p.tear.sum(axis=0)))
            high.append((p.upper - shift, weight * p.high.sum(axis=0)))
            chance += weight * p.has_window
        return Window(_credible(low), _credible(high), min(chance, 1.0))

    @property
    def scatter(self) -> Credible:
        """The scatter from weld to weld: the standard deviation of the logarithm of the heat."""
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
        """The expected chance of a good weld at the best time, were t, e and s known. Setdown is left out.

        At the best time a weld is about as many scatters above t as below e: (e - t) / (s + h s).
        """
        made, total = shapes(self.assumed, self.prior.force_held), 0.0
        for weight, p in self._under:
            both = (made.scatter + made.expel_scatter)[p.scatters]
            total += weight * float((p.whole * ndtr(p.rise / both[:, None, None]) ** 2).sum())
        return total

    def good(self, settings: Sequence[Setting]) -> Floats:
        """The chance that the next weld at each of `settings` is good, as defined in `Chances`, (N,)."""
        total = np.zeros(len(settings))
        for weight, heat, p in self._heats(settings):
            total += weight * self._good(p, heat)
        return np.minimum(total, 1.0)

    def chances(self, setting: Setting) -> Chances:
        """The chances of each true outcome of the next weld at `setting`."""
        total = np.zeros(5)
        for weight, heat, p in self._heats([setting]):
            outcome, expels = self._outcomes(p, heat)[:, :, 0], self._expels(p, heat)[:, 0]
            happens = [*(outcome * p.tear).sum(axis=(1, 2)), (expels * p.expel).sum(), self._good(p, heat)[0]]
            total += weight * np.array(happens)
        no_bond, broke, tore, late, good = (min(max(float(x), 0.0), 1.0) for x in total)
        return Chances(no_bond, broke, tore, late, good, self.good_least(setting))

    def good_least(self, setting: Setting) -> float:
        """The lower limit of the chance of a good weld: the chance is below it with probability `LEAST`."""
        chances, weights = [], []
        for weight, heat, p in self._heats([setting]):
            held = self._held(p, heat)
            if p.limit is None or p.limit_shape is None:
                chances.append(_MIDDLES)
                weights.append(weight * held.sum(axis=0))
                continue
            below = np.moveaxis(within_limit(float(heat[0]), p.upper, self.assumed), 2, 0)
            place = np.arange(len(p.upper))[:, None, None]
            given_limit = _binned(place, below, np.moveaxis(p.limit_shape, 2, 0), len(p.upper))
            both = held.T @ (p.limit @ given_limit)
            chances.append(np.outer(_MIDDLES, _MIDDLES).ravel())
            weights.append(weight * both.ravel())
        chance, share = np.concatenate(chances), np.concatenate(weights)
        order = np.argsort(chance)
        reached = np.searchsorted(np.cumsum(share[order]), LEAST * share.sum())
        return float(chance[order][min(int(reached), len(order) - 1)])

    def _held(self, p: Posterior, heat: Floats) -> Floats:
        """For each t, the weights of the chance to tear without late expulsion, by bins of that chance, (T, _BINS)."""
        whole = p.whole
        s, t, u = np.nonzero(whole > _HARDLY * whole.max())
        chance = self._tears(p, heat)[s, 0, t] * (1 - self._expels(p, heat)[s, 0, u])
        return _binned(t, chance, whole[s, t, u], len(p.heat))

    def best(self, percent: float) -> Setting:
        """The setting at `percent` whose next weld is most likely good."""
        window = self.window(percent)
        ends = sorted(math.log(edge) for edge in (window.low_s.median, window.high_s.median))
        heats = np.arange(ends[0] - 2 * _BEST_STEP, ends[1] + 3 * _BEST_STEP, _BEST_STEP)
        settings = [Setting(math.exp(heat), percent) for heat in heats]
        return settings[int(np.argmax(self.good(settings)))]

    def information(self, settings: Sequence[Setting]) -> Floats:
        """The expected information of the next weld at each of `settings` on t, e and s (gen/trials/model.py), in nats, (N,).

        It is the mutual information of the weld's outcome and expulsion with t, e and s: the entropy of the result, less its
        entropy given these. Setdown is left out: its scatter is the same at every heat, so it is about equally informative
        at every setting.
        """
        joint, known = np.zeros((3, 2, len(settings))), np.zeros(len(settings))
        for weight, heat, p in self._heats(settings):
            outcome = as_written(self._outcomes(p, heat), self.assumed)
            expels = self._expels(p, heat)
            expelled = as_written(np.stack([1 - expels, expels]), self.assumed)
            late = p.late(expelled[1])
            each = np.stack([p.tear[:, None] - late, late])
            joint += weight * np.einsum("osnt,xsnt->oxn", outcome, each)
            known += weight * np.einsum("snt,st->n", _entropy(outcome), p.tear)
            known += weight * np.einsum("snu,su->n", _entropy(expelled), p.expel)
        return np.maximum(_entropy(joint.reshape(6, -1)) - known, 0.0)

    def _good(self, p: Posterior, heat: Floats) -> Floats:
        """Chances of a good weld, (N,)."""
        kept = self._tears(p, heat) * (p.tear[:, None] - p.late(self._expels(p, heat)))
        if p.limit is None or p.limit_shape is None:
            return np.asarray(kept.sum(axis=(0, 2)), dtype=np.float64)
        low = [(within_limit(x, p.upper, self.assumed) * p.limit_shape).sum(axis=(0, 1)) for x in heat]
        below = np.array(low).reshape(len(heat), len(p.upper))
        return np.asarray((kept.sum(axis=0) * (below @ p.limit.T)).sum(axis=1), dtype=np.float64)

    def _outcomes(self, p: Posterior, heat: Floats) -> Floats:
        """Chances of the three outcomes given s and t, (3, S, N, T)."""
        by_gap = self._curves.no_bond(heat - p.heat[0], len(p.heat), p.scatters)
        no_bond, tears = np.einsum("gsnt,gst->snt", by_gap, p.gap), self._tears(p, heat)
        return np.stack([no_bond, np.maximum(1 - no_bond - tears, 0.0), tears])

    def _tears(self, p: Posterior, heat: Floats) -> Floats:
        """Chances to tear given s and t, (S, N, T)."""
        return self._curves.tore(heat - p.heat[0], len(p.heat), p.scatters)

    def _expels(self, p: Posterior, heat: Floats) -> Floats:
        """Chances to expel late given s and e, (S, N, U)."""
        return self._curves.expelled(heat - p.upper[0], len(p.upper), p.scatters)

    def _heats(self, settings: Sequence[Setting]) -> Iterator[tuple[float, Floats, Posterior]]:
        """Each case as (weight, heat of each of the settings, posterior)."""
        times = np.log([setting.time_s for setting in settings])
        percents = [setting.percent for setting in settings]
        for weight, shift, p in self._cases(percents):
            yield weight, times + shift, p

    def _cases(self, percents: Sequence[float]) -> Iterator[tuple[float, Floats, Posterior]]:
        """Each case as (weight, addend at each percent from the log of a time to its heat, posterior)."""
        ratio = np.log(np.array(percents) / self.prior.percent)
        for weight, posterior in self._under:
            powers = posterior.powers if ratio.any() else ((0.0, 1.0),)
            for power, share in powers:
                yield weight * share, power * ratio - posterior.worn_heat, posterior

    @cached_property
    def _curves(self) -> Curves:
        return curves(self.assumed, self.prior.force_held)


_MIDDLES = (np.arange(_BINS) + 0.5) / _BINS


def _binned(place: npt.NDArray[np.intp], chance: Floats, weight: Floats, places: int) -> Floats:
    """For each of `places` places, the weights of the chances there, by bins of the chance: (places, _BINS)."""
    bins = _BINS * place + np.minimum((chance * _BINS).astype(np.intp), _BINS - 1)
    found = np.bincount(bins.ravel(), weight.ravel(), places * _BINS)
    return np.asarray(found.reshape(places, _BINS), dtype=np.float64)


def believe(prior: Prior, tried: Sequence[Tried], assumed: Assumptions = ASSUMED) -> Belief:
    """The estimate after the welds `tried`, in the order in which they were made. Deterministic."""
    welds = tuple(tried)
    grid = edges(prior, assumed)
    powers = exponents(assumed)
    # Where all were welded at the prior's percent, their likelihood does not depend on the power of current.
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
    held = np.log(made.gap_weight)[:, None, None] + np.zeros((len(made.scatter), count))
    tore = np.log(grid.tear) + np.zeros((len(made.scatter), count))
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
        if one.outcome == "tore parent":
            tore += table.log_tore(heat - first, count)
        else:
            held += table.log_held(one.outcome, heat - first, count)
        expelled += table.log_expelled(one.expulsion == "late", heat - first_upper, count_upper)
        if prior.setdown_share is not None and one.setdown_share is not None:
            limit += log_setdown(one.setdown_share, heat, prior.setdown_share[1], grid.upper, assumed)
    log_held, gap = _summed(held)
    log_tear = tore + log_held
    of_limit, limit_shape = None, None
    if grid.limit is not None:
        log_limit, limit_shape = _summed(limit, 2)
        log_limits, of_limit = _summed((log_limit + _log(grid.limit)).T)
        of_limit = of_limit.T
        log_tear += log_limits
    of_tear, of_expel, most = _scaled(log_tear, expelled, len(grid.rise))
    tear, expel = of_tear * (of_expel @ grid.expel.T), of_expel * (of_tear @ grid.expel)
    total = float(tear.sum())
    s, t = (_span(tear.sum(axis=other) > _NOTHING * total) for other in (1, 0))
    u = _span(expel.sum(axis=0) > _NOTHING * total)
    if of_limit is not None:
        also = _span(of_limit[t].max(axis=0) > _NOTHING)
        u = slice(min(u.start, also.start), max(u.stop, also.stop))
    zero = round(-grid.rise[0] / STEP)  # index of the first t among the upper edges
    u = slice(min(u.start, zero + t.start), max(u.stop, zero + t.stop))
    kept, near = of_expel[s, u], grid.expel[t, u]
    return Posterior(
        powers,
        wear * worn[-1],
        math.log(total) + most,
        s,
        grid.heat[t],
        grid.upper[u],
        of_tear[s, t] / float((of_tear[s, t] * (kept @ near.T)).sum()),
        kept,
        near,
        gap[:, s, t],
        None if of_limit is None else of_limit[t, u],
        None if limit_shape is None else limit_shape[..., u],
    )


def _scaled(log_tear: Floats, log_expel: Floats, rises: int) -> tuple[Floats, Floats, float]:
    """Both likelihoods (S, .), scaled so that their product is 1 at the likeliest t and e no more than `rises` apart; and the
    logarithm of the scale.

    Where welds contradict each other, one factor is tiny where the other is large. So each s is scaled where both are likely.
    """
    after = maximum_filter1d(log_expel, rises, origin=-((rises - 1) // 2), mode="constant", cval=-np.inf)
    best = log_tear + after[:, : log_tear.shape[1]]
    most = float(best.max())
    here = np.take_along_axis(log_tear, best.argmax(axis=1)[:, None], axis=1)
    of_tear = np.exp(np.minimum(log_tear - here, _FARTHEST))
    of_expel = np.exp(np.minimum(log_expel - (most - here), _FARTHEST))
    return of_tear, of_expel, most


def _log(weights: Floats) -> Floats:
    return np.asarray(np.log(weights + 1e-300), dtype=np.float64)


def _summed(logs: Floats, axes: int = 1) -> tuple[Floats, Floats]:
    """Over the first `axes` of log weights: the logarithms of the sums, and each term's share of its sum."""
    leading = tuple(range(axes))
    most = logs.max(axis=leading, keepdims=True)
    weights = np.exp(logs - most)
    sums = weights.sum(axis=leading, keepdims=True)
    return (np.log(sums) + most).reshape(logs.shape[axes:]), weights / sums


def _credible(cases: list[tuple[Floats, Floats]]) -> Credible:
    """Quantiles of one edge, s, from (places, weights). Each weight is uniform over its step of the grid."""
    least, most = min(places[0] for places, _ in cases), max(places[-1] for places, _ in cases)
    at = np.arange(least - STEP, most + STEP, STEP / 8)
    heaped = np.zeros(len(at))
    for places, weights in cases:
        ends = np.append(places - STEP / 2, places[-1] + STEP / 2)
        heaped += np.interp(at, ends, np.append(0.0, np.cumsum(weights)))
    return Credible(*(math.exp(float(np.interp(share * heaped[-1], heaped, at))) for share in _CENTRAL))


def _entropy(chances: Floats) -> Floats:
    """The entropy over the first axis, in nats."""
    return np.asarray(-xlogy(chances, chances).sum(axis=0), dtype=np.float64)
