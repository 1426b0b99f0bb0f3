"""The emitted application under whatever may happen, in any order. tests/campaigns/application.py has more of it."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.support.app.application_machine import Application, Edit, loaded

SETTINGS = settings(
    max_examples=50,
    stateful_step_count=25,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
TestApplication = Application.TestCase
TestApplication.settings = SETTINGS

SUPERVISOR = "app/supervisor.py"
WEAKER: dict[str, Edit] = {
    "the pedal need not be let go": (SUPERVISOR, "self.fresh = False\n            self.welds += 1", "self.welds += 1"),
    "an open stop is no trouble": (
        SUPERVISOR,
        "if inputs & words.STOP_OPEN:\n            return",
        "if False:\n            return",
    ),
    "heat is no trouble": (SUPERVISOR, "if inputs & words.HOT:", "if False:"),
    "the duty allows everything": ("app/duty.py", "return self.used + cost <= self.limit", "return True"),
    "no lock is needed": ("app/lock.py", "return self.agreed >= NEEDED", "return True"),
    "a weld may stand still": (SUPERVISOR, "STALL_MS = 60", "STALL_MS = 6000"),
    "no lockout ends": (
        SUPERVISOR,
        "if not self.pedal and self._pedal_steady(now_ms):\n            self.reason",
        "if False:\n            self.reason",
    ),
}


@pytest.mark.parametrize("weaker", WEAKER)
def test_the_watched_board_notices_a_weaker_application(weaker: str) -> None:
    """One protection taken out, and something that must hold does not."""
    edit = WEAKER[weaker]
    loaded(0, edit)  # the line is there to be taken out
    machine = type("Weaker", (Application,), {"edit": edit})
    given = settings(SETTINGS, max_examples=400, phases=[Phase.generate], report_multiple_bugs=False)
    with pytest.raises(AssertionError):
        run_state_machine_as_test(machine, settings=given)
