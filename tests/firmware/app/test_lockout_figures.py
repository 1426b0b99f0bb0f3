"""Lockouts, their ways out, and what a weld leaves behind, on a board that is stepped by hand.

The figures are our own design's; what each protects stands beside the test.
"""

from __future__ import annotations

from binascii import crc32

import pytest

from gen import words
from sim.bench.chip import Flash, FlashFault
from tests.support.app.application_machine import loaded
from tests.support.app.by_hand import AIR, FOOT, SQUEEZE_MS, holding, pressed, ready, stood_upon, welding
from tests.support.app.watched_board import WatchedBoard

# -- lockouts ------------------------------------------------------------------------------------------------------------


def test_the_graver_trouble_is_reported_first() -> None:
    """Stop before heat before a short; in a lockout that only waits it is what stands now, so that the way out is right."""
    board = ready(AIR)
    board.hot = board.stop = True
    board.at(10)
    assert board.reason == "stop is open"
    board = ready(AIR)
    board.shorted = True
    board.run(380)
    board.hot = True
    board.at(30)
    assert board.reason == "over-temperature contact open"
    board = stood_upon()
    board.run(60)
    assert board.reason == "pedal stuck closed"
    board.hot = True
    board.at(10)
    assert board.reason == "over-temperature contact open"
    board.stop = True
    board.at(10)
    assert board.reason == "stop is open"
    board.stop = False
    board.at(10)
    assert board.reason == "over-temperature contact open"


@pytest.mark.parametrize("contact", ["stop", "hot"])
def test_a_contact_locks_out_while_it_is_open(contact: str) -> None:
    """In every state; the gate is made safe; closed, and with the pedal open, the board goes on."""
    for begin in (ready, pressed, welding, holding):
        board = begin(AIR)
        setattr(board, contact, True)
        assert board.at(1) == "locked out"
        assert board.reason in ("stop is open", "over-temperature contact open")
        assert not board.running
        board.pedal = False
        board.run(100)
        assert board.state == "locked out"
        setattr(board, contact, False)
        board.pedal = True
        board.run(100)
        assert board.state == "locked out"
        board.pedal = False
        board.at(1)
        assert [board.at(19), board.at(1)] == ["locked out", "waiting for mains"]


def test_the_ending_told_is_that_of_the_weld() -> None:
    """Stop and fault are distinguished, in squeeze and under current; after the current nothing changes what was reported."""
    for begin in (pressed, welding):
        for contact, ending in (("stop", "STOPPED"), ("hot", "FAULT")):
            board = begin()
            setattr(board, contact, True)
            board.at(1)
            assert board.supervisor.ending == getattr(words, ending)
    board = holding()
    board.stop = True
    board.at(1)
    assert board.supervisor.ending == words.COMPLETED
    board = holding()
    board.received.extend(board.config.STOP_LINE)
    board.at(1)
    assert (board.state, board.supervisor.ending) == ("off", words.COMPLETED)
    assert board.supervisor.last_welds.count == 1


def test_a_stop_line_before_the_current_is_reported_as_stopped() -> None:
    """In the squeeze there is nothing to finish, and the weld is counted with nothing fired."""
    board = pressed()
    board.received.extend(board.config.STOP_LINE)
    assert board.at(1) == "off"
    assert board.supervisor.ending == words.STOPPED
    assert (board.supervisor.fired, board.welded) == (0, [])


def test_a_stop_line_to_an_idle_board_does_nothing() -> None:
    """It is for a weld; what locks out is the stop circuit."""
    board = ready()
    board.received.extend(board.config.STOP_LINE)
    board.run(60)
    assert board.state == "ready"


def test_the_watchdog_asks_for_stop_pressed_and_let_go() -> None:
    """And nothing less; so does a weld without conduction."""
    firmware, shapes, _ = loaded(AIR)
    bitten = WatchedBoard(firmware, shapes, "test", 0, 0)
    bitten.watchdog = True
    blind = welding(AIR)
    blind.conducts = False
    blind.run(300)
    blind.conducts = True
    blind.pedal = False
    for board in (bitten, blind):
        board.run(1_000)
        assert board.state == "locked out"
        for contact in ("hot", "stop"):
            setattr(board, contact, True)
            board.run(100)
            assert board.state == "locked out"
            setattr(board, contact, False)
            board.run(300)
            assert board.state == ("locked out" if contact == "hot" else "ready"), contact
    assert bitten.reason == blind.reason == "none"


def test_after_a_bite_the_force_switch_is_looked_at_as_ever() -> None:
    """The bit of the watchdog stands among the inputs for the whole run, and is no force."""
    firmware, shapes, _ = loaded(AIR)
    board = WatchedBoard(firmware, shapes, "test", 0, 0)
    board.watchdog = True
    board.latest_ms = 0
    board.run(500)
    for stop in (True, False):
        board.stop = stop
        board.run(400)
    board.force = False
    board.pedal = True
    board.run(SQUEEZE_MS + 100)
    assert (board.state, board.running) == ("squeeze", False)
    board.force = True
    board.run(200)
    assert board.running
    board.force = False
    assert board.at(1) == "off"


def test_a_pedal_down_at_the_start_is_reported_as_that() -> None:
    """No bite of the watchdog, and no waiting for the mains: the person must let go."""
    firmware, shapes, _ = loaded(FOOT)
    board = WatchedBoard(firmware, shapes, "test", 0, 0)
    board.pedal = True
    board.step()
    assert (board.state, board.reason) == ("locked out", "pedal stuck closed")


def test_what_still_stands_is_reported_after_the_stop_was_pressed() -> None:
    """A bite of the watchdog with the over-temperature contact open: first the one, then the other."""
    firmware, shapes, _ = loaded(FOOT)
    board = WatchedBoard(firmware, shapes, "test", 0, 0)
    board.watchdog = board.hot = True
    board.run(500)
    told = [board.reason]
    for stop in (True, False):
        board.stop = stop
        board.run(100)
        told.append(board.reason)
    assert told == ["restarted by the watchdog", "stop is open", "over-temperature contact open"]
    board.hot = False
    board.run(300)
    assert board.state == "ready"


def test_a_stop_pressed_before_the_lockout_acknowledges_nothing() -> None:
    """It must be pressed once more after the fault was reported."""
    board = ready(AIR)
    board.stop = True
    board.run(100)
    board.stop = False
    board.run(300)
    board.conducts = False
    board.pedal = True
    board.run(400)
    board.pedal = False
    board.run(500)
    assert (board.state, board.reason) == ("locked out", "no conduction after firing")


def test_a_gate_that_sticks_stays_locked_out() -> None:
    """Nothing that a person does at the board ends it."""
    board = welding(AIR)
    board.stuck_gate = True
    board.run(700)
    assert board.reason == "gate pin does not go low"
    board.stuck_gate = board.pedal = False
    for stop in (True, False):
        board.stop = stop
        board.run(500)
    assert board.state == "locked out"


@pytest.mark.parametrize(
    ("fault", "reason"),
    [("shorted", "switch conducts without a gate"), ("welded_shut", "contactor stayed closed")],
)
def test_a_lockout_outlasts_the_power_until_it_is_cleared_by_its_name(fault: str, reason: str) -> None:
    """No stop and no power cycle ends it, mended or not; a clear that names another does not either."""
    board = pressed(AIR) if fault == "shorted" else holding(AIR)
    setattr(board, fault, True)
    board.run(700)
    assert (board.state, board.reason) == ("locked out", reason)
    setattr(board, fault, False)
    board.pedal = False
    board.fired_ms -= 100_000  # the minute of the duty guard is over
    for stop in (True, False):
        board.stop = stop
        board.run(500)
    for _ in range(2):
        board.boot()
        board.run(1_500)
        assert (board.state, board.reason) == ("locked out", reason)
    for other in ("", "none", "duty used up", reason[:-1], 7):
        number = board.send("clear", reason=other)
        board.run(100)
        answer = board.answer(number)
        assert answer is not None
        assert "error" in answer
        assert board.state == "locked out"
    number = board.send("clear", reason=reason)
    board.run(700)
    assert board.answer(number)["result"] == {"cleared": reason}
    assert board.state == "ready"
    board.boot()
    board.run(700)
    assert board.state == "ready"


def test_what_still_stands_locks_out_again_when_it_is_cleared() -> None:
    """A contactor that is welded is seen at once."""
    board = holding()
    board.welded_shut = True
    board.run(700)
    board.pedal = False
    board.send("clear", reason="contactor stayed closed")
    board.run(700)
    assert (board.state, board.reason) == ("locked out", "contactor stayed closed")
    board.boot()
    board.run(700)
    assert board.reason == "contactor stayed closed"


def test_a_flash_that_fails_is_not_written_again_and_again() -> None:
    """The lockout stands all the same, until the power goes."""
    board = pressed(AIR)
    board.shorted = True
    board.flash = Flash(board.flash.files, tuple(FlashFault(n, "failed") for n in range(50)))
    board.run(3_000)
    assert board.reason == "switch conducts without a gate"
    assert board.flash.writes <= 2


def test_a_gate_that_sticks_in_a_lockout_is_reported() -> None:
    """Whatever the lockout was for: it is the graver."""
    board = pressed()
    board.stuck_gate = board.stop = True
    board.at(1)
    assert (board.state, board.reason) == ("locked out", "gate pin does not go low")


def test_mains_lost_ends_with_the_lock_and_not_before() -> None:
    """Eight crossings after it is back."""
    board = pressed()
    board.half_us = None
    board.run(150)
    assert board.reason == "mains lost or unsteady"
    board.pedal = False
    board.run(300)
    board.half_us = 10_000
    board.run(70)
    assert board.state == "locked out"
    board.run(60)
    assert board.state == "ready"


def test_duty_is_reported_again_after_a_graver_lockout() -> None:
    """Heat on top of it: when that is over, what stands is the duty."""
    board = ready()
    for _ in range(3):
        board.pedal = True
        board.run(700)
        board.pedal = False
        board.run(800)
    told = []
    for hot in (False, True, False):
        board.hot = hot
        board.run(300)
        told.append(board.reason)
    assert told == ["duty used up", "over-temperature contact open", "duty used up"]


def test_a_late_step_misses_no_lack_of_conduction() -> None:
    """Three half-cycles were done at one step, and five or more at the next."""
    board = welding(AIR)
    board.conducts = False
    while board.done_n < 3:
        board.at(1)
    assert board.at(28) == "locked out"
    assert board.reason == "no conduction after firing"


def test_a_switch_seen_to_do_both_blocks_well_enough() -> None:
    """Conducting and blocking since the last look, for a second: no short."""
    board = ready(AIR)
    for _ in range(100):
        board.seen = 3
        assert board.at(10) == "ready"


def test_duty_ends_by_itself_with_its_countdown() -> None:
    """Not a second before the weld fits, and then at once; the pedal must be open."""
    board = ready()
    for _ in range(3):
        board.pedal = True
        board.run(700)
        board.pedal = False
        board.run(800)
    assert (board.completed, board.state, board.reason) == (3, "locked out", "duty used up")
    number = board.send("status")
    board.run(100)
    told = board.answer(number)
    assert told is not None
    wait_s = told["result"]["duty_wait_s"]
    assert 55 < wait_s < 61
    board.run(1_000 * (wait_s - 1) - 150)
    assert board.state == "locked out"
    board.run(1_200)
    assert board.state == "ready"


def test_idle_edges_that_disagree_lock_out() -> None:
    """Noise and a wrong frequency, while ready and while waiting."""
    board = ready()
    board.half_us = 8_333
    board.run(5_300)
    assert (board.state, board.reason) == ("locked out", "frequency out of band")
    board.half_us = 10_000
    board.run(300)
    assert board.state == "ready"
    board.extra_us.extend(1_000 * board.time_ms + 3_300 * (n + 1) for n in range(60))
    board.run(190)
    assert (board.state, board.reason) == ("locked out", "extra edges from the detector")
    board.run(4_500)
    assert board.state == "ready"


@pytest.mark.parametrize(("edges", "state"), [(2, "weld"), (4, "locked out")])
def test_false_edges_in_one_weld_end_it(edges: int, state: str) -> None:
    """A false edge makes two short half-cycles, and six of those are too many; those from before the weld do not count."""
    board = ready()
    board.extra_us.extend(board.crossing_us_at + 20_000 * n + 5_000 for n in range(5))
    board.run(400)
    board.pedal = True
    board.run(SQUEEZE_MS + 100)
    assert board.done_n > 2
    begin_us = board.crossing_us_at
    board.extra_us.extend(begin_us + 20_000 * n + 5_000 for n in range(edges))
    board.run(90)
    assert board.state == state
    assert board.reason == ("none" if state == "weld" else "extra edges from the detector")


@pytest.mark.parametrize(("done", "state"), [(0, "locked out"), (1, "weld")])
def test_one_false_edge_before_the_first_half_cycle_is_done_ends_the_weld(done: int, state: str) -> None:
    """The firing hardware may have taken it for the mains; once a half-cycle is done it keeps its own time."""
    board = welding()
    while board.press_fired < done:
        board.at(1)
    board.extra_us.append(board.crossing_us_at + 5_000)  # within the second half-cycle where the first is under way
    board.run(18)
    assert board.state == state


def test_a_weld_that_dies_under_current_is_not_begun_again() -> None:
    """The mains is there and the firing hardware has ended by itself: the half-cycles that were fired stay the only ones."""
    board = welding()
    board.run(150)
    board.dead = True
    board.run(120)
    assert (board.state, board.reason) == ("locked out", "mains lost or unsteady")
    assert board.press_starts == 1


def test_in_a_lockout_no_short_is_looked_for() -> None:
    """The contactor is open then, and the sense reports nothing; the reported reason of the lockout stays."""
    board = pressed(AIR)
    board.half_us = None
    board.run(200)
    board.shorted = True
    board.run(1_000)
    assert board.reason == "mains lost or unsteady"


def test_a_line_that_waits_at_the_start_is_refused() -> None:
    """The settings are not read yet."""
    firmware, shapes, _ = loaded(FOOT)
    board = WatchedBoard(firmware, shapes, "test", 0, 0)
    text = b'{"jsonrpc":"2.0","id":1,"method":"maintain"}'
    board.received.extend(text + b" %08x\n" % crc32(text))
    board.step()
    assert [answer["error"]["code"] for answer in board.sent] == [-32000]
    assert board.restarts == 0


def test_false_edges_after_the_current_wait_for_the_off_time_to_end() -> None:
    """Nothing fires any more in hold and off; what ends them is their time."""
    board = holding()
    board.extra_us.extend(board.crossing_us_at + 5_000 * (2 * n + 1) - 2_000 for n in range(30))
    board.run(90)
    assert board.state == "hold"
    board.run(200)
    assert board.state == "off"


def test_a_switch_that_goes_on_conducting_after_a_weld_is_found() -> None:
    """In the hold, where the contactor is still closed: no gate is the reason then. After it the sense is dark."""
    board = holding(AIR)
    board.shorted = True
    assert board.at(50) == "hold"
    board.at(20)
    assert (board.state, board.reason) == ("locked out", "switch conducts without a gate")
    quiet = holding(AIR)
    quiet.run(120)
    assert quiet.state == "off"
    quiet.shorted = True
    quiet.run(1_000)
    assert quiet.state == "ready"


@pytest.mark.parametrize("contact", ["stop", "hot"])
def test_a_lockout_that_is_over_need_not_wait_for_the_mains(contact: str) -> None:
    """Only that for the mains does; after any other the board waits for the mains outside the lockout."""
    board = ready()
    setattr(board, contact, True)
    board.run(100)
    board.half_us = None
    board.run(300)
    setattr(board, contact, False)
    board.run(100)
    assert board.state == "waiting for mains"
