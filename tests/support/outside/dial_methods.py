"""Three ways to dial a simulated joint in, judged alike: the adviser, fixed steps upward, and bisection.

Each makes one weld after the other until it holds to a setting, which takes `REPEATS` good welds there for all three: the adviser
when it says settled, the others when so many good ones came running at one time. What counts is the number of welds made until
then, and whether the setting held lies in the true window on the electrodes as worn as they then are. One that holds to a
setting outside has not found it, nor has one that holds to none within `MOST_TRIALS`: both count as beyond all numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from gen.joint import ForceHeld
from gen.trials.advice import REPEATS, is_good, next_trial
from gen.trials.belief import believe
from gen.trials.model import ASSUMED
from gen.trials.values import OUTCOMES, Chances, Expulsion, Prior, Setting, Tried, Window
from tests.support.outside.dial_laws import CYCLE_S, HANDBOOK, LAWS, PERCENT, Joint, drawn, own, times

WRONG_LABEL = 1 / 20
EARLY = 0.03  # share of welds that expel early whatever the time, of dirt
MOST_TRIALS = 25
PRIORS = {"right": 1.0, "half": 0.5, "double": 2.0}
# What is taken to hold the force where the heat truly scatters by so much from weld to weld.
HELD: dict[float, ForceHeld] = {0.05: "air", 0.1: "spring", 0.2: "hand", 0.3: "hand"}
SCATTERS = tuple(HELD)
OFTEN = 0.9  # a joint can be welded if the best setting is good at least so often


def prior_times(factor: float, held: ForceHeld) -> Prior:
    """The handbook's suggestion, wrong by a factor, and what is said to hold the force."""
    return replace(HANDBOOK, low_s=HANDBOOK.low_s * factor, high_s=HANDBOOK.high_s * factor, force_held=held)


@dataclass
class Bench:
    """One joint being welded: counts the welds, and writes some of them down wrongly."""

    joint: Joint
    rng: np.random.Generator
    welds: int = 0

    def weld(self, time_s: float) -> Tried:
        """Make one weld and write down what came of it, one outcome in twenty and one expulsion in twenty wrongly."""
        outcome, late = self.joint.weld(self.rng, time_s, self.welds)
        self.welds += 1
        expulsion: Expulsion = "late" if late != (self.rng.random() < WRONG_LABEL) else "none"
        if self.rng.random() < WRONG_LABEL:
            outcome = OUTCOMES[(OUTCOMES.index(outcome) + self.rng.integers(1, 3)) % 3]
        if self.rng.random() < EARLY:
            outcome, expulsion = "broke at joint", "early"
        return Tried(Setting(time_s, PERCENT), outcome, expulsion)


@dataclass(frozen=True)
class Run:
    """How one method fared. `held_s`: the setting that it held to in the end, or None; `trials`: welds made until then.

    `good`: the true chance that the next weld is good there; 0 where it held to none.
    """

    held_s: float | None
    trials: int
    found: bool
    good: float


def _run(held_s: float | None, bench: Bench) -> Run:
    if held_s is None:
        return Run(None, bench.welds, False, 0.0)
    here = held_s, bench.welds
    return Run(held_s, bench.welds, bench.joint.holds(*here), bench.joint.good(*here))


def ours(bench: Bench, prior: Prior) -> tuple[Run, Chances, float, Window]:
    """The adviser, taken at its word until it calls a setting settled; what it predicts of the setting last offered, the true
    chance of a good weld there, and its window."""
    candidates = [Setting(time_s, PERCENT) for time_s in times(HANDBOOK)]
    tried: list[Tried] = []
    while True:
        belief = believe(prior, tried)
        advice = next_trial(belief, candidates, lambda _: True)
        assert advice.setting is not None
        if advice.settled or len(tried) == MOST_TRIALS:
            run = _run(advice.setting.time_s if advice.settled else None, bench)
            true = bench.joint.good(advice.setting.time_s, bench.welds)
            return run, belief.chances(advice.setting), true, belief.window(PERCENT)
        tried.append(bench.weld(advice.setting.time_s))


def by_rule(rule: Callable[[Prior, list[Tried]], Iterator[float]], bench: Bench, prior: Prior) -> Run:
    """A fixed rule, which yields the next time and ends when it has had `REPEATS` good welds running at one time."""
    tried: list[Tried] = []
    for time_s in rule(prior, tried):
        if len(tried) == MOST_TRIALS:
            break
        tried.append(bench.weld(time_s))
        last = tried[-REPEATS:]
        if len(last) == REPEATS and all(t.setting == last[0].setting and is_good(t, None) for t in last):
            return _run(time_s, bench)
    return _run(None, bench)


def _cycles(time_s: float) -> float:
    return max(1, round(time_s / CYCLE_S)) * CYCLE_S


def steps_upward(prior: Prior, tried: list[Tried]) -> Iterator[float]:
    """From the handbook's least time, a tenth of it more each time while the weld is cold; half of the time where it
    expels late. A good weld, or one that expelled early, is made again."""
    step_s, time_s = max(CYCLE_S, 0.1 * prior.low_s), prior.low_s
    while True:
        yield _cycles(time_s)
        last = tried[-1]
        if last.expulsion == "late":
            time_s = max(CYCLE_S, time_s / 2)
        elif last.outcome != "tore parent" and last.expulsion == "none":
            time_s += step_s


def bisection(prior: Prior, tried: list[Tried]) -> Iterator[float]:
    """Halves, in logarithms, a bracket from a quarter of the handbook's range to four times it: up when cold, down when the
    weld expels late. A good weld, or one that expelled early, is made again. A bracket narrower than a cycle must have been
    closed by a wrong label: it is opened again by half and double."""
    low_s, high_s = prior.low_s / 4, prior.high_s * 4
    while True:
        time_s = math.sqrt(low_s * high_s)
        yield _cycles(time_s)
        last = tried[-1]
        if last.expulsion == "late":
            high_s = time_s
        elif last.outcome != "tore parent" and last.expulsion == "none":
            low_s = time_s
        if high_s - low_s < CYCLE_S:
            low_s, high_s = low_s / 2, high_s * 2


@dataclass(frozen=True)
class Trial:
    """One joint: how each method fared, and how true the adviser's figures were when it was done.

    `best`: the true chance of a good weld at the best setting then. `predicted`, `least` and `true`: that chance at the setting
    offered last as it was predicted, its lower limit, and as it is. `covered`: whether our 95 % held each true edge.
    """

    runs: tuple[Run, Run, Run]
    best: float
    predicted: float
    least: float
    true: float
    covered: tuple[bool, bool]

    @property
    def weldable(self) -> bool:
        """Whether its best setting is good often enough."""
        return self.best >= OFTEN

    @property
    def settled(self) -> bool:
        """Whether the adviser came to that."""
        return self.runs[0].held_s is not None


METHODS = ("ours", "steps upward", "bisection")


@dataclass(frozen=True)
class Cell:
    """Joints of one law and scatter, and what is said to hold the force. `scatter`: None for all drawn as assumed."""

    law: str
    scatter: float | None
    held: ForceHeld


def try_out(cell: Cell, seed: int) -> Trial:
    """The joint of this law, scatter and seed, dialled in by each method; the seed also says how the suggestion is wrong.

    Each method has chances of its own.
    """
    rng = np.random.default_rng(seed)
    if cell.scatter is None:
        joint, prior = own(rng, drawn(rng, ASSUMED.scatter(cell.held))), prior_times(1.0, cell.held)
    else:
        joint = LAWS[cell.law](rng, cell.scatter)
        prior = prior_times(tuple(PRIORS.values())[seed % len(PRIORS)], cell.held)
    benches = [Bench(joint, np.random.default_rng((seed, method))) for method in range(3)]
    run, chances, true, window = ours(benches[0], prior)
    others = by_rule(steps_upward, benches[1], prior), by_rule(bisection, benches[2], prior)
    worn = benches[0].welds
    low, high = joint.window(worn)
    covered = window.low_s.low <= low <= window.low_s.high, window.high_s.low <= high <= window.high_s.high
    return Trial((run, *others), joint.most(worn), chances.good, chances.good_least, true, covered)


@dataclass(frozen=True)
class Figures:
    """Of one method over joints that can be welded: median and 90th percentile of welds to a setting inside, infinite where
    more were not found; their mean, one not found counted as `MOST_TRIALS`; the share found; the share held to a setting
    outside; the true chance of a good weld at the settings held."""

    median: float
    mean: float
    ninetieth: float
    found: float
    wrong: float
    good: float


def figures(trials: list[Trial], method: int) -> Figures:
    """The figures of one method. There must be a joint that can be welded."""
    runs = [trial.runs[method] for trial in trials if trial.weldable]
    held = [run for run in runs if run.held_s is not None]
    welds = sorted(run.trials if run.found else math.inf for run in runs)
    return Figures(
        welds[len(welds) // 2],
        sum(min(count, MOST_TRIALS) for count in welds) / len(welds),
        welds[9 * len(welds) // 10],
        sum(run.found for run in runs) / len(runs),
        sum(not run.found for run in held) / len(runs),
        sum(run.good for run in held) / max(1, len(held)),
    )


def coverage(trials: list[Trial]) -> tuple[float, float]:
    """The shares of all joints whose true edges, low and high, our 95 % held when the adviser was done."""
    low, high = np.mean([trial.covered for trial in trials], axis=0)
    return float(low), float(high)


def promised(trials: list[Trial]) -> tuple[float, float]:
    """The mean of the chance of a good weld as it was predicted, and as it is; nan without any."""
    both = [(trial.predicted, trial.true) for trial in trials]
    predicted, true = np.mean(both, axis=0) if both else (math.nan, math.nan)
    return float(predicted), float(true)
