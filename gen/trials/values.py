"""Inputs and results of the estimate of a joint's good window."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from gen.joint import ForceHeld

Outcome = Literal["no bond", "broke at joint", "tore parent"]
Expulsion = Literal["none", "early", "late"]

OUTCOMES: tuple[Outcome, ...] = ("no bond", "broke at joint", "tore parent")  # by rising heat
EXPULSIONS: tuple[Expulsion, ...] = ("none", "early", "late")


@dataclass(frozen=True)
class Setting:
    """Weld time (with current), s, and percent current. Both above 0."""

    time_s: float
    percent: float

    def __post_init__(self) -> None:
        if not (self.time_s > 0 and 0 < self.percent <= 100):
            raise ValueError(f"a setting needs a time above 0 and 0 to 100 percent, not {self}")


@dataclass(frozen=True)
class Tried:
    """One weld on scrap.

    `expulsion`: "early" as the current comes on, "late" once the metal is hot. `setdown_share`: setdown over the thinner
    part's thickness or diameter. `dressed`: the electrodes were dressed just before this weld.
    """

    setting: Setting
    outcome: Outcome
    expulsion: Expulsion = "none"
    setdown_share: float | None = None
    dressed: bool = False


@dataclass(frozen=True)
class Prior:
    """The range of weld time suggested by handbook, model or user, s, at `percent`; the setdown wanted, from..to, as a share.

    `force_held`: the source of the force, which sets the expected scatter of the heat. `within`: for a computed range with a
    measured error, the standard deviation of the logarithm of its lower end, where welds begin to tear. None: the uncertainty
    assumed of handbook ranges, about the middle.
    """

    low_s: float
    high_s: float
    percent: float
    setdown_share: tuple[float, float] | None = None
    force_held: ForceHeld = "hand"
    within: float | None = None

    def __post_init__(self) -> None:
        if not (0 < self.low_s <= self.high_s and 0 < self.percent <= 100):
            raise ValueError(f"a prior needs a range of times above 0 and 0 to 100 percent, not {self}")
        if self.setdown_share is not None and not 0 <= self.setdown_share[0] < self.setdown_share[1]:
            raise ValueError(f"the setdown wanted goes from a smaller share to a greater, not {self.setdown_share}")


@dataclass(frozen=True)
class ComputedTimes:
    """The good weld times at `percent` by a model of the joint, s, and the model's error: see `Prior`."""

    low_s: float
    high_s: float
    percent: float
    within: float


@dataclass(frozen=True)
class Credible:
    """The median of an estimate, and the limits of its central 95 %."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Window:
    """The good weld times at one percent, s, and the probability that any exist.

    The window begins where half of the welds tear the parent metal. It ends where half expel late, or where half exceed the
    upper limit of the setdown wanted, whichever is earlier. So its edges do not depend on the scatter. The chance that a weld
    inside is good does depend on it, and is stated separately (`Chances.good`). "The true window" of a simulated joint is
    defined in the same way by that joint's law. Where `chance` is low, `low_s` may be above `high_s`.
    """

    low_s: Credible
    high_s: Credible
    chance: float


@dataclass(frozen=True)
class Chances:
    """The probabilities of the outcomes of the next weld at a setting.

    The first three sum to 1. `expelled`: late. `good`: the weld tears the parent metal, does not expel late, and its setdown
    stays below the upper limit, if there is one. It is the mean over the posterior, with the scatter from weld to weld.
    `good_least` is its lower limit: the chance is below it with a probability of one in ten. Early expulsion is left out, since
    it depends on force and dirt, not on the setting.
    """

    no_bond: float
    broke: float
    tore: float
    expelled: float
    good: float
    good_least: float


@dataclass(frozen=True)
class Advice:
    """The next weld to try and the reason, in one line. `setting` is None where no candidate is allowed.

    `settled`: the setting may be kept. The predicted chance of a good weld and the lower limit of that chance are high, and it
    had enough good welds.
    """

    setting: Setting | None
    why: str
    settled: bool
