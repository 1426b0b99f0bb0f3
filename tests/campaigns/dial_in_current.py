"""Whether the dial-in takes fewer welds if told the measured currents: `python -m tests.campaigns.dial_in_current 80`.

Two seconds a joint. Joints of the estimator's own law, as `dial_in` draws them. The current of each weld is off its plan by a
deviation of `CURRENT`, as under a mains that wanders; it makes part of the heat's scatter, which is the same in total. The same
welds are dialled in twice: told the planned percent, and the percent measured within `ERROR`. The setting that is offered and
judged stays the planned one. Prints for each the share settled, the welds until then or MOST_TRIALS, and the true chance of a
good weld there.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace

import numpy as np

from gen.joint import ForceHeld
from gen.trials.advice import next_trial
from gen.trials.belief import believe
from gen.trials.model import ASSUMED
from gen.trials.values import OUTCOMES, Expulsion, Setting, Tried
from tests.support.outside.dial_laws import HANDBOOK, PERCENT, drawn, own, times
from tests.support.outside.dial_methods import EARLY, MOST_TRIALS, WRONG_LABEL, prior_times

CURRENT = 0.02  # standard deviation of its logarithm: mains within 4 % nearly always; common practice, no source
ERROR = 0.005  # of the measurement from weld to weld; a constant error changes nothing
EXPONENT = ASSUMED.exponent[0]
HOLDS: tuple[ForceHeld, ...] = ("air", "spring", "hand")


def dialled_in(held: ForceHeld, seed: int, told: bool) -> tuple[bool, int, float]:
    """Whether it settled, after how many welds, and the true chance of a good weld at the setting offered last."""
    rng = np.random.default_rng(seed)
    whole = max(drawn(rng, ASSUMED.scatter(held)), 1.05 * EXPONENT * CURRENT)
    rest = math.sqrt(whole**2 - (EXPONENT * CURRENT) ** 2)
    state = rng.bit_generator.state
    joint = own(rng, rest)
    rng.bit_generator.state = state
    in_all = own(rng, whole)  # the same edges
    prior = prior_times(1.0, held)
    planned: list[Tried] = []
    measured: list[Tried] = []
    while True:
        belief = believe(prior, measured if told else planned)
        belief = replace(belief, tried=tuple(planned))  # welds repeat one another by their plan
        advice = next_trial(belief, [Setting(time_s, PERCENT) for time_s in times(HANDBOOK)], lambda _: True)
        assert advice.setting is not None
        time_s, worn = advice.setting.time_s, len(planned)
        if advice.settled or worn == MOST_TRIALS:
            return advice.settled, worn, in_all.good(time_s, worn)
        chance = np.random.default_rng((seed, worn))
        off, error = chance.normal(0, CURRENT), chance.normal(0, ERROR)
        outcome, late = joint.weld(chance, time_s * math.exp(EXPONENT * off), worn)
        expulsion: Expulsion = "late" if late != (chance.random() < WRONG_LABEL) else "none"
        if chance.random() < WRONG_LABEL:
            outcome = OUTCOMES[(OUTCOMES.index(outcome) + chance.integers(1, 3)) % 3]
        if chance.random() < EARLY:
            outcome, expulsion = "broke at joint", "early"
        planned.append(Tried(Setting(time_s, PERCENT), outcome, expulsion))
        measured.append(Tried(Setting(time_s, PERCENT * math.exp(off + error)), outcome, expulsion))


def main(joints: int = 100) -> None:
    """Print both, by what holds the force, and what is saved joint by joint."""
    for held in HOLDS:
        counts = []
        for told in (False, True):
            runs = [dialled_in(held, seed, told) for seed in range(joints)]
            counts.append(np.array([welds for _, welds, _ in runs]))
            good = np.mean([good for settled, _, good in runs if settled])
            share = np.mean([settled for settled, _, _ in runs])
            print(
                f"{held:6} {'measured' if told else 'planned':8}: {share:4.0%} settled, good {good:.3f}; welds: "
                f"{np.median(counts[-1]):.0f} by the median, {counts[-1].mean():.2f} in the mean",
                flush=True,
            )
        saved = counts[0] - counts[1]
        print(f"{held:6} saved: {saved.mean():+.2f} +- {saved.std() / math.sqrt(joints):.2f} welds", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
