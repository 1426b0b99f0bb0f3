"""What goes into the estimate of a joint's good window, and what comes out."""

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
    """Weld time under current, s, and percent current. Both above 0."""

    time_s: float
    percent: float

    def __post_init__(self) -> None:
        if not (self.time_s > 0 and 0 < self.percent <= 100):
            raise ValueError(f"a setting needs a time above 0 and 0 to 100 percent, not {self}")


@dataclass(frozen=True)
class Tried:
    """One weld on scrap, in the order in which they were made.

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
    """What the handbook suggests: a range of weld time, s, at `percent`; the setdown wanted, from..to, as a share.

    `force_held`: what keeps the force alike from weld to weld, and so how much the heat is expected to scatter.
    `within`: where the range is computed and its error is measured, the standard deviation of the logarithm of its lower end,
    where welds begin to tear; None: as assumed of handbook ranges, about the middle.
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
    """What a model of the joint makes of the good weld times at `percent`, s, and by how much it is off: see `Prior`."""

    low_s: float
    high_s: float
    percent: float
    within: float


@dataclass(frozen=True)
class Credible:
    """The median of an estimate, and the ends of its central 95 %."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Window:
    """The good weld times at one percent, s, and the probability that there are any at all.

    From where a weld tears the parent metal as often as not, up to where it expels late as often as not, or where its
    setdown passes the upper limit wanted as often as not, whichever comes first. So its edges stay where they are however much
    the welds scatter; how often a weld inside is good does not, and is told apart (`Chances.good`). "The true window" of a
    simulated joint is the same, by its own law. Where `chance` is low, `low_s` may be above `high_s`.
    """

    low_s: Credible
    high_s: Credible
    chance: float


@dataclass(frozen=True)
class Chances:
    """What the next weld at a setting may come to, each a probability.

    The first three sum to 1. `expelled`: late. `good`: tears the parent metal, does not expel late, and its setdown stays
    below the upper limit where one was given. That chance is reckoned over all that is uncertain, the scatter from weld to weld
    with it; `good_least` is its lower limit: with a probability of one in ten it is below. Early expulsion is left out, since it
    is of force and dirt, not of the setting.
    """

    no_bond: float
    broke: float
    tore: float
    expelled: float
    good: float
    good_least: float


@dataclass(frozen=True)
class Advice:
    """The next weld to try and why, in one line. `setting` is None where no candidate is allowed.

    `settled`: the setting is one to keep. Its next weld is predicted good with a high chance, the lower limit of that chance is
    high too, and it had enough good welds.
    """

    setting: Setting | None
    why: str
    settled: bool
