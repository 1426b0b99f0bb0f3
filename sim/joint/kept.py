"""The window of a joint, read from the cache or computed and cached; and the start of trials from it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext

from gen.joint import Joint
from gen.machine.welder import Welder
from gen.trials.values import ComputedTimes
from gen.user_files import Wrong
from sim.joint.estimate import JointWork
from sim.joint.field import Diverged
from sim.joint.machine import NoCurrentKnown
from sim.joint.window import JointWindow, WindowPlan, as_text, from_text, key_of, planned, window_of
from sim.workers import WorkerLost

# The cache of files, which a front end hands in: a name, how to read it, how to make it, how to write it.
Cache = Callable[
    [str, Callable[[str], JointWindow | None], Callable[[], JointWindow], Callable[[JointWindow], str]], JointWindow
]
Progress = Callable[
    [int], AbstractContextManager[Callable[[int], None]]
]  # called with the number of welds; then with each number done


def no_progress(welds: int) -> AbstractContextManager[Callable[[int], None]]:
    """Progress that is not shown."""
    return nullcontext(lambda _: None)


def window_kept(plan: WindowPlan, cache: Cache, workers: int = 1, progress: Progress = no_progress) -> JointWindow:
    """The window of a plan. A cached one is used unless it is damaged or its key differs. Raises as `window_of` does."""
    key = key_of(plan)

    def made() -> JointWindow:
        with progress(plan.welds) as done:
            return window_of(plan, workers, done)

    return cache(f"joints/{key}.json", lambda text: from_text(text, key), made, lambda found: as_text(found, key))


def joint_window(
    joint: Joint, welder: Welder, cache: Cache, workers: int = 1, progress: Progress = no_progress
) -> tuple[JointWork, JointWindow]:
    """The joint as input of the model, and its window. Raises as `planned` and `window_of` do."""
    given, plan = planned(joint, welder)
    return given, window_kept(plan, cache, workers, progress)


def computed_times(
    joint: Joint, welder: Welder, cache: Cache, workers: int = 1, progress: Progress = no_progress
) -> ComputedTimes | None:
    """The good weld times at the highest percent that has any; None if the model has no result for this joint."""
    try:
        return joint_window(joint, welder, cache, workers, progress)[1].times
    except (Wrong, NoCurrentKnown, Diverged, WorkerLost):
        return None
