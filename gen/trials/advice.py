"""The next weld to try, and reminders for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from gen.trials.belief import Belief
from gen.trials.values import Advice, Setting, Tried

SURE = 0.8  # predicted chance of a good weld from which a setting is repeated, and may be settled
SURE_LEAST = 0.7  # least lower limit of that chance (values.Chances.good_least) to settle a setting
REPEATS = 4  # least number of good welds at a setting to settle it
TELLING = 8  # least number of welds before the scatter is reported as the obstacle
ALIKE = 0.1  # welds whose times differ by no more than this share count as repeats
LIKELY = 0.9  # least chance of a good weld, over that of the likeliest setting allowed, for a setting to be tried


def next_trial(belief: Belief, candidates: Sequence[Setting], allowed: Callable[[Setting], bool]) -> Advice:
    """The most informative candidate, among those that `allowed` accepts.

    Only settings nearly as likely good as the likeliest are considered, since a weld at one of these may also be kept. Of them
    the one with the greatest `Belief.information` is chosen. Once the next weld at a setting is good with a chance of `SURE`,
    that setting is repeated. It is settled when the lower limit of that chance is `SURE_LEAST` or more, with at least `REPEATS`
    good welds at it or at settings so near that they count as repeats.

    `allowed` may be slow. It is called once a setting, best first, and only for a setting about to be proposed.
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
        return Advice(None, "none of the candidate settings is allowed", False)
    likely = [s for s in candidates if good[s] >= LIKELY * good[best] and answers.get(s, True)]
    tells = dict(zip(likely, belief.information(likely)))
    setting = next(s for s in sorted(likely, key=lambda s: (-tells[s], s.time_s)) if may(s))
    return Advice(setting, "most informative on the place of the window and the scatter of the welds", False)


def scatter_in_the_way(belief: Belief) -> str | None:
    """Advice where the welds scatter so much that no setting can be settled. None otherwise, or before that is known."""
    if len(belief.tried) < TELLING or belief.reachable >= SURE:
        return None
    bad = 100 * (1 - belief.reachable)
    return (
        f"even at the best time about {bad:.0f} of 100 welds would not be good, because the heat scatters by about "
        f"{100 * belief.scatter.median:.0f} % from weld to weld: first hold the force more evenly (a spring with a scale, or "
        "air), clean the surfaces, and fit up every part the same way"
    )


def is_good(one: Tried, setdown_limit: float | None) -> bool:
    """Whether a weld is good: it tore the parent metal without expulsion, and its setdown, if measured, is below the limit."""
    low_enough = setdown_limit is None or one.setdown_share is None or one.setdown_share <= setdown_limit
    return one.outcome == "tore parent" and one.expulsion == "none" and low_enough


def _good_welds(setting: Setting, belief: Belief) -> int:
    limit = belief.prior.setdown_share[1] if belief.prior.setdown_share else None
    return sum(is_alike(one.setting, setting) and is_good(one, limit) for one in belief.tried)


def is_alike(one: Setting, other: Setting) -> bool:
    """Whether welds at these settings count as repeats."""
    return one.percent == other.percent and abs(math.log(one.time_s / other.time_s)) <= math.log1p(ALIKE)


def reminders(tried: Sequence[Tried], dress_every: int) -> tuple[str, ...]:
    """Reminders before the next weld, one line each: dressing, repeating a good setting after it, early expulsion.

    Common practice, no source.
    """
    found = []
    dressings = [i for i, one in enumerate(tried) if one.dressed]
    before, since = tried[: dressings[-1] if dressings else 0], tried[dressings[-1] if dressings else 0 :]
    if len(since) >= dress_every:
        found.append(
            f"{len(since)} welds since the electrodes were dressed, due every {dress_every}: dress them, "
            "then try the setting again"
        )
    kept = next((one.setting for one in reversed(before) if is_good(one, None)), None)
    if kept is not None and not any(is_alike(one.setting, kept) for one in since):
        found.append(
            f"the electrodes were dressed after {kept.time_s:.3g} s at {kept.percent:g} % was good: try that setting again"
        )
    if tried and tried[-1].expulsion == "early":
        found.append(
            "early expulsion suggests too little force, dirt or no upslope: change the force first, not the time"
        )
    return tuple(found)
