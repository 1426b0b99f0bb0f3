"""The window of a joint as it was kept, or computed and kept then; and what of it trials begin from."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext

from gen.joint import Joint
from gen.machine.welder import Welder
from gen.trials.values import ComputedTimes
from gen.user_files import Wrong
from sim.joint.asked import JointAsked
from sim.joint.field import Diverged
from sim.joint.machine import NoCurrentKnown
from sim.joint.window import JointWindow, WindowPlan, as_text, from_text, key_of, planned, window_of
from sim.workers import WorkerLost

# The cache of files, which a front end hands in: a name, how to read it, how to make it, how to write it.
Cache = Callable[
    [str, Callable[[str], JointWindow | None], Callable[[], JointWindow], Callable[[JointWindow], str]], JointWindow
]
Progress = Callable[[int], AbstractContextManager[Callable[[int], None]]]  # of so many welds: told of each that is done


def unseen(welds: int) -> AbstractContextManager[Callable[[int], None]]:
    """Progress that nobody watches."""
    return nullcontext(lambda _: None)


def window_kept(plan: WindowPlan, cache: Cache, workers: int = 1, progress: Progress = unseen) -> JointWindow:
    """What is kept is read again only where nothing has changed; damaged, it is computed anew. Raises as `window_of` does."""
    key = key_of(plan)

    def made() -> JointWindow:
        with progress(plan.welds) as done:
            return window_of(plan, workers, done)

    return cache(f"joints/{key}.json", lambda text: from_text(text, key), made, lambda found: as_text(found, key))


def window_asked(
    joint: Joint, welder: Welder, cache: Cache, workers: int = 1, progress: Progress = unseen
) -> tuple[JointAsked, JointWindow]:
    """The joint as the model takes it, and its window. Raises as `planned` and `window_of` do."""
    given, plan = planned(joint, welder)
    return given, window_kept(plan, cache, workers, progress)


def times_asked(
    joint: Joint, welder: Welder, cache: Cache, workers: int = 1, progress: Progress = unseen
) -> ComputedTimes | None:
    """The good weld times at the highest percent that has any, by the model; None where it says nothing of this joint."""
    try:
        return window_asked(joint, welder, cache, workers, progress)[1].times
    except (Wrong, NoCurrentKnown, Diverged, WorkerLost):
        return None
