"""Which weld to try next, and what to mind besides the time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from gen.trials.belief import Belief
from gen.trials.values import Advice, Setting, Tried

SURE = 0.8  # predicted chance of a good weld from which on a setting is repeated, and may be settled
SURE_LEAST = 0.7  # its lower limit (values.Chances.good_least) before it is settled
REPEATS = 4  # good welds at a setting before it is settled, whatever is predicted
TELLING = 8  # welds before it is said that the scatter stands in the way
ALIKE = 0.1  # welds whose times differ by no more than this share count as repeats
LIKELY = 0.9  # a trial is sought among settings at least so likely good, against the likeliest that is allowed


def next_trial(belief: Belief, candidates: Sequence[Setting], allowed: Callable[[Setting], bool]) -> Advice:
    """The candidate whose weld is expected to tell most, among those that `allowed` lets by.

    It is sought among the settings about as likely good at the next weld as any, since each weld of these is also one that may
    be kept; `Belief.information` says which of them tells most. Once the next weld at one is good with a chance of `SURE`, that
    one is offered again. It is settled when besides the lower limit of that chance has come to `SURE_LEAST`, with `REPEATS` good
    welds at it or so near that they are repeats.

    `allowed` may be slow: it is asked of a setting only when that is about to be offered, best first, and once.
    """
    answers: dict[Setting, bool] = {}

    def may(setting: Setting) -> bool:
        if setting not in answers:
            answers[setting] = allowed(setting)
        return answers[setting]

    good = dict(zip(candidates, belief.good(candidates)))
    sure = [setting for setting in candidates if good[setting] >= SURE]
    repeats = {setting: _good_welds(setting, belief) for setting in sure}
    for setting in sorted(sure, key=lambda s: (-min(repeats[s], REPEATS), -good[s], s.time_s)):
        if may(setting):
            why = f"likely enough good to be made again; good welds at it or close by: {repeats[setting]}"
            enough = repeats[setting] >= REPEATS
            return Advice(setting, why, enough and belief.good_least(setting) >= SURE_LEAST)
    best = next((s for s in sorted(good, key=lambda s: (-good[s], s.time_s)) if may(s)), None)
    if best is None:
        return Advice(None, "none of the settings to choose from is allowed", False)
    likely = [s for s in candidates if good[s] >= LIKELY * good[best] and answers.get(s, True)]
    tells = dict(zip(likely, belief.information(likely)))
    setting = next(s for s in sorted(likely, key=lambda s: (-tells[s], s.time_s)) if may(s))
    return Advice(setting, "tells most of where the window lies and how the welds scatter", False)


def scatter_in_the_way(belief: Belief) -> str | None:
    """What to do where the welds scatter so much that no setting can be settled; None before that can be told, or otherwise."""
    if len(belief.tried) < TELLING or belief.reachable >= SURE:
        return None
    bad = 100 * (1 - belief.reachable)
    return (
        f"even at the best time about {bad:.0f} of 100 welds would not be good, as the heat scatters by about "
        f"{100 * belief.scatter.median:.0f} % from weld to weld: first hold the force more alike (a spring that is read, or "
        "air), clean the surfaces and fit the parts alike"
    )


def is_good(one: Tried, setdown_limit: float | None) -> bool:
    """Whether a weld came out as wanted: tore the parent metal without expulsion, and its setdown, where given, below."""
    low_enough = setdown_limit is None or one.setdown_share is None or one.setdown_share <= setdown_limit
    return one.outcome == "tore parent" and one.expulsion == "none" and low_enough


def _good_welds(setting: Setting, belief: Belief) -> int:
    limit = belief.prior.setdown_share[1] if belief.prior.setdown_share else None
    return sum(is_alike(one.setting, setting) and is_good(one, limit) for one in belief.tried)


def is_alike(one: Setting, other: Setting) -> bool:
    """Whether welds at these settings count as repeats."""
    return one.percent == other.percent and abs(math.log(one.time_s / other.time_s)) <= math.log1p(ALIKE)


def reminders(tried: Sequence[Tried], dress_every: int) -> tuple[str, ...]:
    """What to mind before the next weld, one line each: dressing, trying again after it, and what an early expulsion says.

    Common practice, no source.
    """
    found = []
    dressings = [i for i, one in enumerate(tried) if one.dressed]
    before, since = tried[: dressings[-1] if dressings else 0], tried[dressings[-1] if dressings else 0 :]
    if len(since) >= dress_every:
        found.append(
            f"{len(since)} welds since the electrodes were dressed, and every {dress_every} they want it: dress them, "
            "then try the setting again"
        )
    kept = next((one.setting for one in reversed(before) if is_good(one, None)), None)
    if kept is not None and not any(is_alike(one.setting, kept) for one in since):
        found.append(
            f"the electrodes were dressed since {kept.time_s:.3g} s at {kept.percent:g} % was good: try that setting again"
        )
    if tried and tried[-1].expulsion == "early":
        found.append(
            "early expulsion speaks of too little force, dirt or no upslope: change the force first, not the time"
        )
    return tuple(found)
