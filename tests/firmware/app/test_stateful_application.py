"""The emitted application under whatever may happen, in any order. tests/campaigns/application.py has more of it."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.support.app.application_machine import Application, loaded
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

WEAKER: dict[str, Change] = {
    "the pedal need not be let go": unset("Supervisor._ready", "pedal_opened"),
    "an open stop is no trouble": never("Supervisor._trouble", "STOP_OPEN"),
    "heat is no trouble": never("Supervisor._trouble", "HOT"),
    "the duty allows everything": answers("DutyGuard.allows", "True"),
    "no lock is needed": answers("MainsLock.locked", "True"),
    "a weld may stand still": constant("STALL_MS", 6000),
    "no lockout ends": never("Supervisor._locked_out", "_pedal_steady"),
}
SOON = 4  # a seed whose examples come to each of them within some twenty


@pytest.mark.parametrize("weaker", WEAKER)
def test_the_watched_board_notices_a_weaker_application(weaker: str) -> None:
    """One protection taken out, and something that must hold does not."""
    change = WEAKER[weaker]
    loaded(0, change)  # it is there to be taken out
    machine = seed(SOON)(type("Weaker", (Application,), {"change": staticmethod(change)}))
    given = settings(SETTINGS, max_examples=400, phases=[Phase.generate], report_multiple_bugs=False)
    with pytest.raises(AssertionError):
        run_state_machine_as_test(machine, settings=given)


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
