"""What the welds tried say of the good window: `believe`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.special import xlogy  # type: ignore[import-untyped,unused-ignore]

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
_ALL = slice(None)
_NOTHING = 1e-9  # a probability that counts as none
_BEST_STEP = 0.02  # of the times among which `best` chooses, in heat


@dataclass(frozen=True)
class Posterior:
    """What is believed under one wear and one power of current, or under all powers where only one percent was tried.

    `powers`: (g, weight), summing to 1. `log_evidence`: of the welds under this wear and power. The rest, normalised: `tear`
    (T,) of t; `expel` (T, T) of e and `limit` (T, T) of u given t, a row each t; `shape` (G, S, T) given t; `expel_shape`
    (S, T) given e; `limit_shape` (K, R, T) given u.
    """

    powers: tuple[tuple[float, float], ...]
    worn_heat: float
    log_evidence: float
    tear: Floats
    shape: Floats
    expel: Floats
    expel_shape: Floats
    limit: Floats | None
    limit_shape: Floats | None

    @cached_property
    def _beyond(self) -> Floats:
        """(T, T + 1): chance given t that both upper edges lie at or above each place of the grid; the last column is 0."""
        above = _tail(self.expel)
        return above if self.limit is None else above * _tail(self.limit)

    @cached_property
    def high(self) -> Floats:
        """(T, T): the upper edge of the window, the lower of e and u, given t."""
        return self._beyond[:, :-1] - self._beyond[:, 1:]

    @cached_property
    def inside(self) -> Floats:
        """(T,): the chance that a heat on the grid lies in the window."""
        return np.asarray(self.tear @ np.triu(self._beyond[:, :-1]), dtype=np.float64)

    @cached_property
    def expel_marginal(self) -> Floats:
        """(T,): of e, whatever t."""
        return np.asarray(self.tear @ self.expel, dtype=np.float64)

    @cached_property
    def supports(self) -> tuple[slice, slice]:
        """Where on the grid t and e can lie at all."""
        return _support(self.tear), _support(self.expel_marginal)


def _support(weights: Floats) -> slice:
    held = np.flatnonzero(weights > _NOTHING)
    return slice(int(held[0]), int(held[-1]) + 1)


def _tail(rows: Floats) -> Floats:
    """Sums from each column to the last, and a last column of 0."""
    tails = np.cumsum(rows[:, ::-1], axis=1)[:, ::-1]
    return np.concatenate([tails, np.zeros((len(rows), 1))], axis=1)


@dataclass(frozen=True)
class Belief:
    """What is known of a joint after `tried`, for the electrodes as they are now. Made by `believe`.

    All answers are for the next weld, on electrodes as worn as they then are.
    """

    prior: Prior
    tried: tuple[Tried, ...]
    assumed: Assumptions
    _edges: Edges = field(repr=False)
    _under: tuple[tuple[float, Posterior], ...] = field(repr=False)  # weights sum to 1

    def window(self, percent: float) -> Window:
        """The good window of weld time at `percent` current."""
        low, high, chance = [], [], 0.0
        for weight, shift, p in self._cases(percent):
            places = self._edges.heat - shift
            low.append((places, weight * p.tear))
            high.append((places, weight * (p.tear @ p.high)))
            chance += weight * float(p.tear @ np.triu(p.high, 1).sum(axis=1))
        return Window(_credible(low), _credible(high), min(chance, 1.0))

    def inside(self, setting: Setting) -> float:
        """The probability that `setting` lies in the good window."""
        heat = math.log(setting.time_s)
        return sum(
            weight * float(np.interp(heat + shift, self._edges.heat, p.inside, 0.0, 0.0))
            for weight, shift, p in self._cases(setting.percent)
        )

    def chances(self, setting: Setting) -> Chances:
        """What the next weld at `setting` may come to, written down rightly."""
        total = np.zeros(5)
        heat, grid = math.log(setting.time_s), self._edges.heat
        for weight, shift, p in self._cases(setting.percent):
            outcome, expelled = self._predicted(p, heat + shift)
            whole = 1 - p.expel @ expelled
            if p.limit is not None and p.limit_shape is not None:
                below = within_limit(heat + shift, grid, self.assumed)
                whole = whole * (p.limit @ (below * p.limit_shape).sum(axis=(0, 1)))
            found = [*(outcome @ p.tear), p.expel_marginal @ expelled, p.tear @ (outcome[2] * whole)]
            total += weight * np.array(found)
        return Chances(*(min(max(float(x), 0.0), 1.0) for x in total))

    def best(self, percent: float) -> Setting:
        """The setting at `percent` whose next weld is most likely good."""
        window = self.window(percent)
        ends = sorted(math.log(edge) for edge in (window.low_s.median, window.high_s.median))
        heats = np.arange(ends[0] - 2 * _BEST_STEP, ends[1] + 3 * _BEST_STEP, _BEST_STEP)
        choices = [Setting(math.exp(heat), percent) for heat in heats]
        return max(choices, key=lambda s: self.chances(s).good)

    def information(self, setting: Setting) -> float:
        """How much the next weld at `setting` is expected to tell of where welds tear and where they expel, in nats.

        The mutual information of its outcome and expulsion with t and e (gen/trials/model.py): what is uncertain of the
        result, less what would still be so if both edges were known. Setdown is left out of it: its scatter is the
        same at every heat, so that it tells of its limit nearly as much wherever it is measured.
        """
        heat = math.log(setting.time_s)
        joint = np.zeros((3, 2))
        known = 0.0
        for weight, shift, p in self._cases(setting.percent):
            outcome, expelled = self._predicted(p, heat + shift)
            outcome, expelled = as_written(outcome, self.assumed), as_written(_both(expelled), self.assumed)
            joint += weight * (outcome * p.tear) @ (expelled @ p.expel.T).T
            known += weight * float(p.tear @ _entropy(outcome) + p.expel_marginal @ _entropy(expelled))
        return max(float(_entropy(joint.reshape(6))) - known, 0.0)

    def _predicted(self, p: Posterior, heat: float) -> tuple[Floats, Floats]:
        """Chances of the three outcomes given t, (3, T), and of late expulsion given e, (T,).

        Only where t or e can lie; elsewhere the first outcome, or none, stands for what has no weight.
        """
        table, above_first = self._curves, heat - self._edges.heat[0]
        tears, expels = p.supports
        outcome = np.zeros((3, len(p.tear)))
        outcome[0] = 1.0
        outcome[:, tears] = np.einsum("ogst,gst->ot", table.outcome(above_first)[..., tears], p.shape[..., tears])
        expelled = np.zeros(len(p.tear))
        expelled[expels] = np.einsum("st,st->t", table.expelled(above_first)[:, expels], p.expel_shape[:, expels])
        return outcome, expelled

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
        return curves(self.assumed, len(self._edges.heat))


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
    return Belief(prior, welds, assumed, grid, tuple((float(s), p) for s, (_, p) in zip(shares, found)))


def _posterior(
    prior: Prior,
    welds: tuple[Tried, ...],
    grid: Edges,
    powers: tuple[tuple[float, float], ...],
    wear: float,
    assumed: Assumptions,
) -> Posterior:
    made, table = shapes(assumed), curves(assumed, len(grid.heat))
    tore = np.log(made.gap_weight[:, None] * made.scatter_weight[None, :])[:, :, None] + np.zeros(len(grid.heat))
    expelled = np.log(made.scatter_weight)[:, None] + np.zeros(len(grid.heat))
    limit = np.log(made.power_weight[:, None] * made.setdown_scatter_weight[None, :])[:, :, None]
    limit = limit + np.zeros(len(grid.heat))
    worn = welds_since_dressing(welds)
    for one, count in zip(welds, worn):
        if one.expulsion == "early":
            continue
        heat = math.log(one.setting.time_s) + powers[0][0] * math.log(one.setting.percent / prior.percent)
        heat -= wear * count
        tore += table.log_outcome(one.outcome, heat - grid.heat[0])
        expelled += table.log_expelled(one.expulsion == "late", heat - grid.heat[0])
        if prior.setdown_share is not None and one.setdown_share is not None:
            limit += log_setdown(one.setdown_share, heat, prior.setdown_share[1], grid.heat, assumed)
    evidence_tear, shape, log_tear = _normalised(tore, grid.tear > 0)
    evidence_expel, expel_shape, log_expel = _normalised(expelled)
    tear = grid.tear * evidence_tear
    expel = grid.expel * evidence_expel
    tear *= expel.sum(axis=1)
    of_limit, limit_shape, log_limit = None, None, 0.0
    if grid.limit is not None:
        evidence_limit, limit_shape, log_limit = _normalised(limit)
        of_limit = grid.limit * evidence_limit
        tear *= of_limit.sum(axis=1)
        of_limit /= of_limit.sum(axis=1, keepdims=True) + 1e-300
    expel /= expel.sum(axis=1, keepdims=True) + 1e-300
    total = float(tear.sum())
    log_evidence = math.log(total) + log_tear + log_expel + log_limit
    return Posterior(
        powers, wear * worn[-1], log_evidence, tear / total, shape, expel, expel_shape, of_limit, limit_shape
    )


def _normalised(logs: Floats, held: npt.NDArray[np.bool_] | slice = _ALL) -> tuple[Floats, Floats, float]:
    """Of log weights with the edges last: their sums at each edge, the shares that make them up, and the log taken out.

    `held`: where the edge can lie, so that welds which speak for a place outside cannot leave nothing inside.
    """
    most = float(logs[..., held].max())
    weights = np.exp(np.minimum(logs - most, 0.0))
    sums = weights.sum(axis=tuple(range(weights.ndim - 1)))
    return sums, weights / (sums + 1e-300), most


def _credible(cases: list[tuple[Floats, Floats]]) -> Credible:
    """Quantiles, in seconds, of (places, weights) of one edge; each weight lies evenly over its step of the grid."""
    least, most = min(places[0] for places, _ in cases), max(places[-1] for places, _ in cases)
    at = np.arange(least - STEP, most + STEP, STEP / 8)
    heaped = np.zeros(len(at))
    for places, weights in cases:
        ends = np.append(places - STEP / 2, places[-1] + STEP / 2)
        heaped += np.interp(at, ends, np.append(0.0, np.cumsum(weights)))
    return Credible(*(math.exp(float(np.interp(share * heaped[-1], heaped, at))) for share in _CENTRAL))


def _both(chance: Floats) -> Floats:
    return np.stack([1 - chance, chance])


def _entropy(chances: Floats) -> Floats:
    """Over the first axis, in nats."""
    return np.asarray(-xlogy(chances, chances).sum(axis=0), dtype=np.float64)
