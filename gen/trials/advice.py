"""Which weld to try next, and what to mind besides the time."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gen.trials.belief import Belief
from gen.trials.values import Advice, Setting, Tried

SURE = 0.9  # chance that a setting lies in the window from which on it is repeated, not sought any more
REPEATS = 2  # good welds at a setting before it is one to keep


def next_trial(belief: Belief, candidates: Sequence[Setting], allowed: Callable[[Setting], bool]) -> Advice:
    """The candidate whose weld is expected to tell most of the window, among those that `allowed` lets by.

    Once one of them lies in the window with a chance of `SURE`, that one is offered again, and is settled with `REPEATS`
    good welds at it. `allowed` may be slow: it is asked of a setting only when that is about to be offered, best first.
    """
    inside = {setting: belief.inside(setting) for setting in candidates}
    good = {setting: belief.chances(setting).good for setting in candidates if inside[setting] >= SURE}
    times = {setting: _good_welds(setting, belief) for setting in good}
    # One that was already good is kept to, as long as it stays sure: each update moves the very best a little.
    for setting in sorted(good, key=lambda s: (-min(times[s], REPEATS), -good[s], s.time_s)):
        if allowed(setting):
            why = f"in the good window with a chance of {inside[setting]:.0%}, good {times[setting]} times so far"
            return Advice(setting, why, times[setting] >= REPEATS)
    tells = {setting: belief.information(setting) for setting in candidates if setting not in good}
    for setting in sorted(tells, key=lambda s: (-tells[s], s.time_s)):
        if allowed(setting):
            why = f"tells most of where the window lies; in it with a chance of {inside[setting]:.0%}"
            return Advice(setting, why, False)
    return Advice(None, "none of the settings to choose from is allowed", False)


def is_good(one: Tried, setdown_limit: float | None) -> bool:
    """Whether a weld came out as wanted: tore the parent metal without expulsion, and its setdown, where given, below."""
    low_enough = setdown_limit is None or one.setdown_share is None or one.setdown_share <= setdown_limit
    return one.outcome == "tore parent" and one.expulsion == "none" and low_enough


def _good_welds(setting: Setting, belief: Belief) -> int:
    limit = belief.prior.setdown_share[1] if belief.prior.setdown_share else None
    return sum(one.setting == setting and is_good(one, limit) for one in belief.tried)


def reminders(tried: Sequence[Tried], dress_every: int) -> tuple[str, ...]:
    """What to mind before the next weld, one line each: dressing, trying again after it, and what an early expulsion says."""
    found = []
    since = 0
    for t in tried:
        since = 1 if t.dressed else since + 1
    if since >= dress_every:
        found.append(f"{since} welds since the electrodes were dressed: dress them, then try the setting again")
    if tried and tried[-1].expulsion == "early":
        found.append("early expulsion speaks of force, dirt or no upslope, not of time: change the force first")
    return tuple(found)
