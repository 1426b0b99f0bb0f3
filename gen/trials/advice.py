"""Which weld to try next, and what to mind besides the time."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gen.trials.belief import Belief
from gen.trials.values import Advice, Setting, Tried


def next_trial(belief: Belief, candidates: Sequence[Setting], allowed: Callable[[Setting], bool]) -> Advice:
    """The candidate that tells most among those that `allowed` lets by; the best one again where that is known well enough.

    `allowed` may be slow: it is asked only of the settings about to be offered, best first.
    """
    by_good = sorted(candidates, key=lambda s: -belief.chances(s).good)
    chosen = next((s for s in by_good if allowed(s)), None)
    if chosen is None:
        return Advice(None, "none of the settings to choose from is allowed", False)
    return Advice(chosen, "most likely good", False)


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
