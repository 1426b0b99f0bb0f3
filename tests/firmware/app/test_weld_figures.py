"""A weld's times and counts to the millisecond and the half-cycle, on a board that is stepped by hand.

The figures are our own design's; what each protects stands beside the test.
"""

from __future__ import annotations

import pytest

from gen import words
from tests.support.app.application_machine import loaded
from tests.support.app.by_hand import (
    AIR,
    FOOT,
    HALF_CYCLES,
    HOLD_MS,
    OFF_MS,
    SQUEEZE_MS,
    holding,
    pressed,
    ready,
    stood_upon,
    welding,
)
from tests.support.app.watched_board import MASK, WatchedBoard

# -- the pedal -----------------------------------------------------------------------------------------------------------


def test_the_pedal_is_closed_for_20_ms() -> None:
    """A contact that bounces begins no weld."""
    board = ready()
    board.pedal = True
    assert [board.at(1), board.at(19), board.at(1)] == ["ready", "ready", "squeeze"]


def test_the_pedal_is_open_for_20_ms_between_welds() -> None:
    """A contact that bounces open is not let go."""
    for open_ms, state in ((19, "ready"), (20, "squeeze")):
        board = holding()
        board.run(HOLD_MS + OFF_MS + 10)
        assert board.state == "ready"
        board.pedal = False
        board.at(1)
        board.at(open_ms)
        board.pedal = True
        board.at(1)
        board.at(25)
        assert board.state == state


def test_a_pedal_let_go_in_the_off_time_is_seen_open_only_after_it() -> None:
    """What was pressed before the off time is over begins nothing."""
    board = holding()
    board.run(HOLD_MS + 100)
    board.pedal = False
    board.run(100)
    board.pedal = True
    board.run(400)
    assert board.state == "ready"
    board.run(1_000)
    assert board.state == "ready"


def test_a_pedal_pressed_before_the_board_was_ready_must_be_let_go() -> None:
    """Open while the board waited for the mains, and closed when it came back."""
    board = ready()
    board.half_us = None
    board.run(300)
    assert board.state == "waiting for mains"
    board.pedal = True
    board.run(100)
    board.half_us = 10_000
    board.run(1_000)
    assert (board.state, board.welded) == ("ready", [])
    board.pedal = False
    board.run(50)
    board.pedal = True
    board.run(50)
    assert board.state == "squeeze"


def test_a_pedal_down_for_30_s_locks_out() -> None:
    """To the millisecond; letting go ends it, after 20 ms."""
    board = stood_upon()
    assert board.at(10) == "ready"
    assert board.at(1) == "locked out"
    assert board.reason == "pedal stuck closed"
    board.run(100)
    board.pedal = False
    assert [board.at(1), board.at(19), board.at(1)] == ["locked out", "locked out", "waiting for mains"]
    assert board.at(1) == "ready"


def test_a_pedal_down_at_the_start_is_stuck_though_it_bounces() -> None:
    """Read open in the very first step and closed from the second on: it was never seen open for 20 ms."""
    firmware, shapes, _ = loaded(FOOT)
    board = WatchedBoard(firmware, shapes, "test", 5_000, 0)
    board.step()
    board.pedal = True
    board.run(2_000)
    assert (board.state, board.welded) == ("ready", [])
    board.pedal = False
    board.run(50)
    board.pedal = True
    board.run(50)
    assert board.state == "squeeze"


def test_letting_go_ends_the_squeeze_and_the_off_time_follows() -> None:
    """For the whole off time."""
    for kind in (FOOT, AIR):
        board = pressed(kind)
        board.pedal = False
        assert board.at(10) == "off"
        assert board.at(OFF_MS - 1) == "off"
        assert board.supervisor.ending == words.RELEASED


# -- the times of a weld -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("clock_ms", [0, MASK - 400, MASK - 800, MASK - 1_200])
def test_the_times_of_a_weld_to_the_millisecond(clock_ms: int) -> None:
    """Squeeze, hold and off at the measured half-cycle, wherever the clock stands; the current in half-cycles."""
    board = pressed(clock_ms=clock_ms)
    for _ in range(19):
        assert board.at(10) == "squeeze"
    assert board.at(9) == "squeeze"
    assert board.at(1) == "weld"
    while board.at(1) == "weld":
        pass
    assert (board.completed, sum(board.gates)) == (1, HALF_CYCLES)
    for _ in range(9):
        assert board.at(10) == "hold"
    assert [board.at(9), board.at(1)] == ["hold", "off"]
    for _ in range(49):
        assert board.at(10) == "off"
    assert [board.at(9), board.at(1)] == ["off", "ready"]


def test_a_late_step_ends_a_time_as_well() -> None:
    """Whatever is over by more than a millisecond is over."""
    board = pressed()
    for _ in range(4):
        assert board.at(45) == "squeeze"
    assert board.at(50) == "weld"
    while board.at(7) == "weld":
        pass
    assert board.at(HOLD_MS + 33) == "off"
    board.at(90)
    assert board.at(OFF_MS) == "ready"


def test_the_first_steps_of_the_squeeze_prepare_the_weld() -> None:
    """A squeeze that is over in one late step still has every half-cycle ready, 64 a step."""
    board = pressed()
    assert board.words == {}
    assert board.at(50) == "squeeze"
    assert len(board.words) == HALF_CYCLES


def test_force_is_waited_for_two_seconds_after_the_squeeze() -> None:
    """Then the weld ends without any gate; and the reason is reported."""
    board = pressed(AIR)
    board.force = False
    for _ in range((SQUEEZE_MS + 2_000) // 10):
        assert board.at(10) == "squeeze"
    assert board.at(1) == "off"
    assert board.supervisor.ending == words.NO_FORCE
    assert board.welded == []
    board = pressed(AIR)
    board.force = False
    board.run(SQUEEZE_MS + 1_500)
    board.force = True
    assert board.at(1) == "weld"


def test_force_lost_under_current_ends_the_weld() -> None:
    """At the next step, and the reason is reported."""
    board = welding(AIR)
    board.run(100)
    board.force = False
    assert board.at(1) == "off"
    assert board.supervisor.ending == words.NO_FORCE


def test_a_weld_that_stands_still_for_60_ms_is_ended() -> None:
    """Counted from the last half-cycle that was reported: not before, or a slow report would end it."""
    board = welding()
    board.run(100)
    board.half_us = None
    while board.time_ms - board.progress_ms < 55:
        assert board.at(1) == "weld"
    assert board.at(60 - (board.time_ms - board.progress_ms)) == "weld"
    assert board.at(1) == "locked out"
    assert board.reason == "mains lost or unsteady"
    assert board.supervisor.ending == words.FAULT


@pytest.mark.parametrize(("misses", "welds"), [(0, True), (1, True), (2, True), (3, False)])
def test_a_start_that_misses_its_edge_is_tried_three_times(misses: int, welds: bool) -> None:
    """The minute's heat counts it once; after the third it is the mains that is unsteady."""
    board = welding()
    used = board.supervisor.duty.used
    board.misses = misses
    board.run(1_000)
    assert board.completed == int(welds)
    assert board.supervisor.duty.used == used == board.shapes["test"].cost
    assert board.reason == ("none" if welds else "mains lost or unsteady")


def test_a_start_that_is_refused_is_asked_for_again() -> None:
    """As often as it takes, and it is no try."""
    board = pressed()
    board.reluctant = 9
    board.run(SQUEEZE_MS + 100)
    board.misses = 2
    board.run(1_000)
    assert board.completed == 1


def test_no_second_try_over_a_gate_that_stays_high() -> None:
    """The first missed its edge, and the pin does not go low: that is reported, and nothing is started again."""
    board = welding()
    board.misses = 1
    board.stuck_gate = True
    board.run(200)
    assert (board.state, board.reason, board.press_starts) == ("locked out", "gate pin does not go low", 1)


@pytest.mark.parametrize(("pause_ms", "state"), [(50, "weld"), (51, "off")])
def test_steps_more_than_50_ms_apart_end_the_weld(pause_ms: int, state: str) -> None:
    """The contactor's pulses failed meanwhile, and it must not close again under a gate."""
    board = welding()
    board.run(100)
    board.at(1)
    board.at(pause_ms)
    assert board.state == state
    assert (board.supervisor.ending == words.FAULT) == (state == "off")


def test_nothing_is_started_while_the_last_edge_is_old() -> None:
    """The squeeze is over, and no edge has come for 25 ms: it waits, until the lock is given up."""
    board = pressed()
    for _ in range(16):
        board.at(10)
    board.half_us = None
    for _ in range(9):
        assert board.at(10) == "squeeze"
    board.run(60)
    assert (board.state, board.reason, board.press_starts) == ("locked out", "mains lost or unsteady", 0)


def test_no_second_try_on_an_unsteady_mains() -> None:
    """What was missed while the mains was lost is not started again."""
    board = welding()
    board.misses = 1
    board.half_us = None
    board.run(130)
    assert board.state == "locked out"
    assert board.press_starts == 1


def test_mains_lost_in_the_squeeze_locks_out() -> None:
    """Before any gate; and the reason is reported."""
    board = pressed()
    board.half_us = None
    board.run(130)
    assert (board.state, board.reason) == ("locked out", "mains lost or unsteady")
    assert board.supervisor.ending == words.FAULT
    assert board.welded == []


def test_conduction_must_be_seen_by_the_fourth_half_cycle() -> None:
    """Not the third, which a slow sense would not have told, and not the fifth."""
    board = welding(AIR)
    board.conducts = False
    while board.state == "weld":
        assert board.done_n < 4
        board.at(1)
    assert board.done_n == 4 + 1  # the fifth was under way, and is cut
    assert board.reason == "no conduction after firing"
    board = welding(AIR)
    board.run(1_000)
    assert board.completed == 1


def test_what_conducted_in_the_last_weld_proves_nothing_in_the_next() -> None:
    """Conduction is looked for anew."""
    board = holding(AIR)
    board.pedal = False
    board.run(800)
    board.conducts = False
    board.pedal = True
    board.run(600)
    assert (board.state, board.reason) == ("locked out", "no conduction after firing")


def test_a_switch_that_conducts_for_60_ms_under_a_closed_contactor_is_shorted() -> None:
    """In the squeeze, from when the contactor has had its 55 ms; one look that shows it blocking is enough."""
    for begins_again in (False, True):
        board = pressed(AIR)
        board.shorted = True
        for _ in range(11):
            assert board.at(10) == "squeeze"
        if begins_again:
            board.shorted = False
            board.at(5)
            board.shorted = True
            board.at(50)
        assert board.at(10) == ("squeeze" if begins_again else "locked out")
        assert board.at(1) == "locked out"
        assert board.reason == "switch conducts without a gate"
        assert board.press_starts == 0


def test_no_gate_before_the_switch_was_seen_to_block() -> None:
    """Without a mirror contact too: a squeeze that is over waits for it, and locks out soon."""
    board = ready(AIR)
    board.config.MIRROR_CONTACT = 0
    board.coil_broken = board.pedal = True
    board.at(1)
    assert board.at(20) == "squeeze"
    board.run(300)
    assert (board.reason, board.press_starts) == ("switch conducts without a gate", 0)
    board.config.MIRROR_CONTACT = 1


def test_a_contactor_that_does_not_close_is_reported_before_the_first_gate() -> None:
    """By its mirror contact, once the 55 ms are over that the welder file gives it."""
    board = ready()
    board.coil_broken = board.pedal = True
    board.at(1)
    assert board.at(20) == "squeeze"
    for _ in range(5):
        assert board.at(11) == "squeeze"
    assert board.at(1) == "locked out"
    assert (board.reason, board.press_starts) == ("contactor did not close, or opened under current", 0)


def test_a_contactor_that_opens_under_current_ends_the_weld() -> None:
    """Its mirror contact says so while the board drives it."""
    board = welding()
    board.run(50)
    board.coil_broken = True
    board.run(120)
    assert (board.state, board.reason) == ("locked out", "contactor did not close, or opened under current")


@pytest.mark.parametrize("when", ["weld", "hold"])
def test_a_contactor_that_stays_closed_is_a_lockout_before_the_next_weld(when: str) -> None:
    """From 110 ms after its last pulse, which the welder file gives it to open; no pedal begins another weld."""
    board = welding() if when == "weld" else holding()
    board.welded_shut = True
    while board.at(5) in ("weld", "hold"):
        pass
    assert board.at(100) == "off"
    assert board.at(20) == "locked out"
    assert board.reason == "contactor stayed closed"
    board.pedal = False
    board.run(200)
    board.pedal = True
    board.run(500)
    assert board.state == "locked out"
    assert board.completed == 1


def test_a_pedal_waits_for_a_contactor_that_is_still_opening() -> None:
    """Without the mirror contact's word that it is open no weld begins; with it the same pedal does."""
    board = ready()
    board.welded_shut = board.pedal = True
    board.at(1)
    for _ in range(4):
        assert board.at(20) == "locked out" or board.state == "ready"
    assert board.press_starts == 0
    assert board.reason == "contactor stayed closed"


@pytest.mark.parametrize(("kind", "drops"), [(FOOT, True), (AIR, False)])
def test_the_contactor_drops_with_the_hand_that_lets_go_in_the_hold(kind: int, drops: bool) -> None:
    """Hand and foot are the force; with air the hold goes on under a closed contactor."""
    board = holding(kind)
    pulsed_ms = board.pulsed_ms
    board.pedal = False
    board.at(10)
    assert (board.pulsed_ms == pulsed_ms) == drops
    assert board.state == "hold"


def test_a_late_step_in_the_squeeze_gives_the_contactor_its_time_once_more() -> None:
    """The pulses failed meanwhile: the whole squeeze begins anew."""
    board = pressed()
    for _ in range(18):
        board.at(10)
    assert board.at(51) == "squeeze"
    for _ in range(19):
        assert board.at(10) == "squeeze"
    assert board.at(10) == "weld"


def test_conducting_under_current_is_no_short() -> None:
    """A weld with the switch conducting all the time, and the times when the contactor is open."""
    board = welding(AIR)
    board.shorted = True
    while board.at(10) == "weld":
        pass
    board.shorted = False
    board.run(100)
    assert board.completed == 1
    assert board.state in ("hold", "off")
    board.half_us = None
    board.run(1_500)
    assert board.state == "waiting for mains"
    board.shorted = True
    board.run(1_000)
    assert board.state == "waiting for mains"
