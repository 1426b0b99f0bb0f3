"""Which weld to try next, and what to mind besides the time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from gen.trials.belief import Belief
from gen.trials.values import Advice, Setting, Tried

SURE = 0.8  # chance that a setting lies in the window from which on it is repeated, not sought any more
REPEATS = 2  # good welds at a setting before it is one to keep
ALIKE = 0.1  # welds whose times differ by no more than this share count as repeats
LIKELY = 0.9  # a trial is sought among settings at least so likely in the window, against the likeliest that is allowed


def next_trial(belief: Belief, candidates: Sequence[Setting], allowed: Callable[[Setting], bool]) -> Advice:
    """The candidate whose weld is expected to tell most of the window, among those that `allowed` lets by.

    It is sought among the settings about as likely in the window as any, since each weld of these is also one that may be
    kept; `Belief.information` says which of them tells most. Once one lies in the window with a chance of `SURE`, that one is
    offered again, and is settled with `REPEATS` good welds at it or so near that they are repeats.

    `allowed` may be slow: it is asked of a setting only when that is about to be offered, best first, and once.
    """
    answers: dict[Setting, bool] = {}

    def may(setting: Setting) -> bool:
        if setting not in answers:
            answers[setting] = allowed(setting)
        return answers[setting]

    inside = {setting: belief.inside(setting) for setting in candidates}
    sure = [setting for setting in inside if inside[setting] >= SURE]
    repeats = {setting: _good_welds(setting, belief) for setting in sure}
    good = {setting: belief.chances(setting).good for setting in sure}
    for setting in sorted(sure, key=lambda s: (-min(repeats[s], REPEATS), -good[s], s.time_s)):
        if may(setting):
            chance = f"in the good window with a chance of {100 * inside[setting]:.0f} %"
            why = f"{chance}; good welds at it or close by: {repeats[setting]}"
            return Advice(setting, why, repeats[setting] >= REPEATS)
    likeliest = next((s for s in sorted(inside, key=lambda s: (-inside[s], s.time_s)) if may(s)), None)
    if likeliest is None:
        return Advice(None, "none of the settings to choose from is allowed", False)
    tells = {
        s: belief.information(s) for s in inside if inside[s] >= LIKELY * inside[likeliest] and answers.get(s, True)
    }
    setting = next(s for s in sorted(tells, key=lambda s: (-tells[s], s.time_s)) if may(s))
    why = f"tells most of where the window lies; in it with a chance of {100 * inside[setting]:.0f} %"
    return Advice(setting, why, False)


def is_good(one: Tried, setdown_limit: float | None) -> bool:
    """Whether a weld came out as wanted: tore the parent metal without expulsion, and its setdown, where given, below."""
    low_enough = setdown_limit is None or one.setdown_share is None or one.setdown_share <= setdown_limit
    return one.outcome == "tore parent" and one.expulsion == "none" and low_enough


def _good_welds(setting: Setting, belief: Belief) -> int:
    limit = belief.prior.setdown_share[1] if belief.prior.setdown_share else None
    return sum(_alike(one.setting, setting) and is_good(one, limit) for one in belief.tried)


def _alike(one: Setting, other: Setting) -> bool:
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
    if kept is not None and not any(_alike(one.setting, kept) for one in since):
        found.append(
            f"the electrodes were dressed since {kept.time_s:.3g} s at {kept.percent:g} % was good: try that setting again"
        )
    if tried and tried[-1].expulsion == "early":
        found.append(
            "early expulsion speaks of too little force, dirt or no upslope: change the force first, not the time"
        )
    return tuple(found)
