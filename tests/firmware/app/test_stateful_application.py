"""The emitted application under whatever may happen, in any order. tests/campaigns/application.py has more of it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, settings

from tests.support.app.application_machine import Application
from tests.support.app.weakened import Change, answers, constant, never, sets, unset

SETTINGS = settings(
    max_examples=25,
    stateful_step_count=25,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
TestApplication = Application.TestCase
TestApplication.settings = SETTINGS

# What is taken out of the application, and what happens then to a board that stands ready: the shortest that is noticed.
WEAKER: dict[str, tuple[Change, Callable[[Application], None]]] = {
    "the pedal need not be let go": (
        unset("Supervisor._ready", "pedal_opened"),
        lambda a: a.pedal_is_stood_upon(31_000),
    ),
    "an open stop is no trouble": (
        never("Supervisor._trouble", "STOP_OPEN"),
        lambda a: (a.contact_moves("stop", 5), a.way_out_is_taken()),
    ),
    "heat is no trouble": (
        never("Supervisor._trouble", "HOT"),
        lambda a: (a.contact_moves("hot", 5), a.way_out_is_taken()),
    ),
    "the duty allows everything": (
        answers("DutyGuard.allows", "True"),
        lambda a: [a.pedal_is_pressed(2000, True) for _ in range(40)],
    ),
    "no lock is needed": (
        answers("MainsLock.locked", "True"),
        lambda a: (a.mains_changes(9_300, 30), a.pedal_is_pressed(350, False)),
    ),
    "a weld may stand still": (
        constant("STALL_MS", 6000),
        lambda a: (a.starts_go_wrong(0, 1), a.pedal_is_stood_upon(31_000)),
    ),
    "no lockout ends": (
        never("Supervisor._locked_out", "_pedal_steady"),
        lambda a: (a.pedal_is_stood_upon(31_000), a.way_out_is_taken()),
    ),
}


@pytest.mark.parametrize("weaker", WEAKER)
def test_the_watched_board_notices_a_weaker_application(weaker: str) -> None:
    """One protection taken out, and something that must hold does not; with it, the same comes to no harm."""
    change, happens = WEAKER[weaker]
    for taken_out in (None, change):
        application = type("Tried", (Application,), {"change": taken_out and staticmethod(taken_out)})()
        application.power(kind=0, near_wrap=False, seed=0)
        application.one_table_is_selected()
        if taken_out is None:
            happens(application)
        else:
            with pytest.raises(AssertionError):
                happens(application)


def test_a_lockout_that_lasts_hides_no_bite_of_the_watchdog() -> None:
    """The contactor is welded shut, the watchdog bites, the lockout is cleared: no weld before stop was pressed and released."""

    def cleared(machine: type[Application]) -> Application:
        application = machine()
        application.power(kind=0, near_wrap=False, seed=0)
        application.contactor_fails("welded_shut")
        application.power_is_cut(watchdog=True, knows_rest=False)
        application.way_out_is_taken()
        return application

    assert cleared(Application).board.completed == 1
    with pytest.raises(AssertionError, match="starts after the watchdog bit"):
        cleared(type("Weaker", (Application,), {"change": staticmethod(sets("Supervisor._storing", "reason", "0"))}))
