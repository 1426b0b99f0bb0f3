"""Simulated joints for the dial-in: the estimator's own law, and three that it does not use.

Invented joints, for judging methods only. Every law knows its own true window, as gen/trials/values.py defines it, and the true
chance of a good weld. `scatter` is the same for every law: from weld to weld, the standard deviation of the logarithm of the
weld time at which a weld comes to tear the parent metal.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from gen.trials.model import ASSUMED, TEAR_REACH, LogNormal, tear_prior
from gen.trials.values import OUTCOMES, Outcome, Prior

CYCLE_S = 0.02  # times are whole cycles at 50 Hz
PERCENT = 80.0
HANDBOOK = Prior(0.3, 0.5, PERCENT)

Chance = Callable[[float, int], float]  # of (weld time s, welds since dressing)


@dataclass(frozen=True)
class Joint:
    """A joint whose truth is known. `weld(rng, time_s, worn)` gives what truly happens: (outcome, late expulsion).

    `good`: the chance that a weld tears the parent metal and does not expel late.
    """

    weld: Callable[[np.random.Generator, float, int], tuple[Outcome, bool]]
    tears: Chance
    expels: Chance
    good: Chance

    def window(self, worn: int) -> tuple[float, float]:
        """The true window, s, after `worn` welds; infinite where it never comes to that."""
        return _half(self.tears, worn), _half(self.expels, worn)

    def holds(self, time_s: float, worn: int) -> bool:
        """Whether a time lies in the true window."""
        low, high = self.window(worn)
        return low <= time_s <= high

    def most(self, worn: int) -> float:
        """The chance of a good weld at the best of the times that may be tried."""
        return max(self.good(time_s, worn) for time_s in times(HANDBOOK))


def _half(chance: Chance, worn: int) -> float:
    ends = math.log(1e-4), math.log(1e4)
    if chance(math.exp(ends[1]), worn) < 0.5:
        return math.inf
    return math.exp(brentq(lambda log: chance(math.exp(log), worn) - 0.5, *ends))


def times(prior: Prior) -> list[float]:
    """Times to choose from: whole cycles, about 8 % apart where a cycle is less, up to five times the handbook's longest."""
    found = [1]
    while found[-1] * CYCLE_S < 5 * prior.high_s:
        found.append(max(found[-1] + 1, round(found[-1] * 1.08)))
    return [n * CYCLE_S for n in found]


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def _independent(bonds: Chance, tears: Chance, expels: Chance) -> Joint:
    """A joint whose expulsion and outcome are drawn apart."""

    def weld(rng: np.random.Generator, time_s: float, worn: int) -> tuple[Outcome, bool]:
        u = rng.random()
        rung = (u < bonds(time_s, worn)) + (u < tears(time_s, worn))
        return OUTCOMES[rung], bool(rng.random() < expels(time_s, worn))

    return Joint(weld, tears, expels, lambda time_s, worn: tears(time_s, worn) * (1 - expels(time_s, worn)))


def drawn(rng: np.random.Generator, quantity: LogNormal) -> float:
    """One value of it."""
    return quantity.median * math.exp(quantity.sigma * rng.standard_normal())


def own(rng: np.random.Generator, scatter: float) -> Joint:
    """The estimator's own law, drawn from what it assumes (gen/trials/model.py), not from its grid; the scatter is given."""
    a = ASSUMED
    location, scale = tear_prior(HANDBOOK, a)
    while abs(off := scale * rng.standard_t(a.tear_freedom)) > TEAR_REACH:
        pass
    t = location + off
    b, e = t - drawn(rng, a.bond_gap), t + rng.normal(*a.lobe)
    r, d = scatter * drawn(rng, a.flatter), rng.exponential(a.wear)
    return _independent(
        lambda time_s, worn: _phi((math.log(time_s) - d * worn - b) / scatter),
        lambda time_s, worn: _phi((math.log(time_s) - d * worn - t) / scatter),
        lambda time_s, worn: _phi((math.log(time_s) - d * worn - e) / r),
    )


def _middle(rng: np.random.Generator) -> float:
    """The middle of a true window, s: the handbook is off by a factor of about 1.4 either way."""
    return math.sqrt(HANDBOOK.low_s * HANDBOOK.high_s) * math.exp(0.35 * rng.standard_normal())


def heating(rng: np.random.Generator, scatter: float) -> Joint:
    """First-order heating with a loss: the temperature nears its end as 1 - exp(-t / tau), and bonds, tears and expels at
    levels of its own with a logistic spread; worn faces lower it a little. As the temperature levels off, the same spread of
    it is more of time where a weld expels than where it tears."""
    tear = rng.uniform(0.35, 0.65)
    expel = min(tear * rng.uniform(1.12, 1.4), 0.97)
    bond = tear * rng.uniform(0.65, 0.9)
    wear = rng.uniform(0, 0.004)
    low, high = -math.log1p(-tear), -math.log1p(-expel)
    rise = low / math.expm1(low)  # of log temperature with log time, where it tears
    spread = scatter * rise * math.sqrt(3) / math.pi
    tau_s = _middle(rng) / math.sqrt(low * high)

    def reaches(level: float) -> Chance:
        def chance(time_s: float, worn: int) -> float:
            hot = -math.expm1(-time_s / tau_s) * (1 - wear) ** worn
            return 0.5 + 0.5 * math.tanh(math.log(hot / level) / (2 * spread))

        return chance

    return _independent(reaches(bond), reaches(tear), reaches(expel))


def threshold(rng: np.random.Generator, scatter: float) -> Joint:
    """One energy a weld, log-normally scattered, decides its outcome and its expulsion both, so that they hang together;
    the electrodes wear by up to 1 % a weld."""
    low = _middle(rng) * math.exp(-0.5 * (ratio := rng.uniform(0.25, 0.9)))
    high, bond = low * math.exp(ratio), low * rng.uniform(0.5, 0.85)
    wear = rng.uniform(0, 0.01)

    def energy(time_s: float, worn: int) -> float:
        return time_s * (1 - wear) ** worn

    def weld(rng: np.random.Generator, time_s: float, worn: int) -> tuple[Outcome, bool]:
        here = energy(time_s, worn) * math.exp(scatter * rng.standard_normal())
        return OUTCOMES[(here > bond) + (here > low)], here > high

    def passes(level: float) -> Chance:
        return lambda time_s, worn: _phi(math.log(energy(time_s, worn) / level) / scatter)

    tears, expels = passes(low), passes(high)
    return Joint(weld, tears, expels, lambda time_s, worn: tears(time_s, worn) - expels(time_s, worn))


def weakest(rng: np.random.Generator, scatter: float) -> Joint:
    """Weibull curves in time, as of a weakest link: lopsided, each up to a quarter steeper or flatter than the scatter says."""
    low = _middle(rng) * math.exp(-0.5 * (ratio := rng.uniform(0.25, 0.9)))

    def passes(half_s: float) -> Chance:
        steepness = math.pi / math.sqrt(6) / scatter * rng.uniform(0.8, 1.25)
        return lambda time_s, worn: -math.expm1(-math.log(2) * (time_s * (1 - wear) ** worn / half_s) ** steepness)

    wear = rng.uniform(0, 0.006)
    tears, expels = passes(low), passes(low * math.exp(ratio))
    bonds_alone = passes(low * rng.uniform(0.5, 0.85))
    return _independent(lambda t, worn: max(bonds_alone(t, worn), tears(t, worn)), tears, expels)


LAWS: dict[str, Callable[[np.random.Generator, float], Joint]] = {
    "own": own,
    "heating": heating,
    "threshold": threshold,
    "weakest": weakest,
}
