"""Simulated joints for the dial-in: the estimator's own law, and three that it does not use.

Invented joints, for judging methods against each other only. Every law knows its own true window: from where a weld tears the
parent metal as often as not to where it expels late as often as not.
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
    """A joint whose truth is known. `weld(rng, time_s, worn)` gives what truly happens: (outcome, late expulsion)."""

    weld: Callable[[np.random.Generator, float, int], tuple[Outcome, bool]]
    tears: Chance
    expels: Chance

    def window(self, worn: int) -> tuple[float, float]:
        """The true window, s, after `worn` welds; infinite where it never comes to that."""
        return _half(self.tears, worn), _half(self.expels, worn)

    def holds(self, time_s: float, worn: int) -> bool:
        """Whether a time lies in the true window."""
        low, high = self.window(worn)
        return low <= time_s <= high

    def weldable(self) -> bool:
        """Whether any time that may be tried lies in the window when the electrodes are new."""
        return any(self.holds(time_s, 0) for time_s in times(HANDBOOK))


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

    return Joint(weld, tears, expels)


def _drawn(rng: np.random.Generator, quantity: LogNormal) -> float:
    return quantity.median * math.exp(quantity.sigma * rng.standard_normal())


def own(rng: np.random.Generator) -> Joint:
    """The estimator's own law, drawn from what it assumes (gen/trials/model.py), not from its grid."""
    a = ASSUMED
    location, scale = tear_prior(HANDBOOK, a)
    while abs(off := scale * rng.standard_t(a.tear_freedom)) > TEAR_REACH:
        pass
    t = location + off
    b, e = t - _drawn(rng, a.bond_gap), t + rng.normal(*a.lobe)
    s, r, d = _drawn(rng, a.scatter), _drawn(rng, a.scatter), rng.exponential(a.wear)
    return _independent(
        lambda time_s, worn: _phi((math.log(time_s) - d * worn - b) / s),
        lambda time_s, worn: _phi((math.log(time_s) - d * worn - t) / s),
        lambda time_s, worn: _phi((math.log(time_s) - d * worn - e) / r),
    )


def _middle(rng: np.random.Generator) -> float:
    """The middle of a true window, s: the handbook is off by a factor of about 1.4 either way."""
    return math.sqrt(HANDBOOK.low_s * HANDBOOK.high_s) * math.exp(0.35 * rng.standard_normal())


def heating(rng: np.random.Generator) -> Joint:
    """First-order heating with a loss: the temperature nears its end as 1 - exp(-t / tau), and bonds, tears and expels at
    levels of its own with a logistic spread; worn faces lower it a little."""
    tear = rng.uniform(0.35, 0.65)
    expel = min(tear * rng.uniform(1.12, 1.4), 0.97)
    bond = tear * rng.uniform(0.65, 0.9)
    spread = rng.uniform(0.03, 0.06)
    wear = rng.uniform(0, 0.004)
    low, high = -math.log1p(-tear), -math.log1p(-expel)
    tau_s = _middle(rng) / math.sqrt(low * high)

    def reaches(level: float) -> Chance:
        def chance(time_s: float, worn: int) -> float:
            hot = -math.expm1(-time_s / tau_s) * (1 - wear) ** worn
            return 0.5 + 0.5 * math.tanh(math.log(hot / level) / (2 * spread))

        return chance

    return _independent(reaches(bond), reaches(tear), reaches(expel))


def threshold(rng: np.random.Generator) -> Joint:
    """One energy a weld, log-normally scattered, decides its outcome and its expulsion both, so that they hang together;
    the electrodes wear by up to 1 % a weld."""
    low = _middle(rng) * math.exp(-0.5 * (ratio := rng.uniform(0.25, 0.9)))
    high, bond = low * math.exp(ratio), low * rng.uniform(0.5, 0.85)
    sigma = rng.uniform(0.06, 0.2)
    wear = rng.uniform(0, 0.01)

    def energy(time_s: float, worn: int) -> float:
        return time_s * (1 - wear) ** worn

    def weld(rng: np.random.Generator, time_s: float, worn: int) -> tuple[Outcome, bool]:
        here = energy(time_s, worn) * math.exp(sigma * rng.standard_normal())
        return OUTCOMES[(here > bond) + (here > low)], here > high

    def passes(level: float) -> Chance:
        return lambda time_s, worn: _phi(math.log(energy(time_s, worn) / level) / sigma)

    return Joint(weld, passes(low), passes(high))


def weakest(rng: np.random.Generator) -> Joint:
    """Weibull curves in time, as of a weakest link: lopsided, each with a steepness of its own."""
    low = _middle(rng) * math.exp(-0.5 * (ratio := rng.uniform(0.25, 0.9)))

    def passes(half_s: float) -> Chance:
        steepness = rng.uniform(5, 14)
        return lambda time_s, worn: -math.expm1(-math.log(2) * (time_s * (1 - wear) ** worn / half_s) ** steepness)

    wear = rng.uniform(0, 0.006)
    tears, expels = passes(low), passes(low * math.exp(ratio))
    bonds_alone = passes(low * rng.uniform(0.5, 0.85))
    return _independent(lambda t, worn: max(bonds_alone(t, worn), tears(t, worn)), tears, expels)


LAWS: dict[str, Callable[[np.random.Generator], Joint]] = {
    "own": own,
    "heating": heating,
    "threshold": threshold,
    "weakest": weakest,
}
