"""The supervisor's times and counts to the millisecond and the half-cycle, on a board that is stepped by hand.

The figures are our own design's; what each protects stands beside the test.
"""

from __future__ import annotations

import pytest
from application_machine import loaded
from watched_board import MASK, WatchedBoard

FOOT, AIR = 0, 1  # kinds of machine: the second with a force switch and a conduction sense
SQUEEZE_MS, HOLD_MS, OFF_MS = 200, 100, 500
HALF_CYCLES = 32


def ready(kind: int = FOOT, clock_ms: int = 0) -> WatchedBoard:
    """A board that has been ready for a while."""
    firmware, shapes, _ = loaded(kind)
    board = WatchedBoard(firmware, shapes, "test", clock_ms, 0)
    board.latest_ms = 0
    board.run(500)
    assert board.state == "ready"
    return board


def pressed(kind: int = FOOT, clock_ms: int = 0) -> WatchedBoard:
    """A board whose squeeze begins in this very step."""
    board = ready(kind, clock_ms)
    board.pedal = True
    board.at(1)
    assert board.at(20) == "squeeze"
    return board


def welding(kind: int = FOOT) -> WatchedBoard:
    """A board that has started its firing hardware in this very step."""
    board = pressed(kind)
    for _ in range(SQUEEZE_MS // 10 - 1):
        assert board.at(10) == "squeeze"
    assert board.at(10) == "weld"
    assert board.running
    return board


def holding(kind: int = FOOT) -> WatchedBoard:
    """A board whose hold begins in this very step."""
    board = welding(kind)
    while board.at(1) == "weld":
        pass
    assert board.state == "hold"
    return board


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


def stood_upon() -> WatchedBoard:
    board = holding()
    board.run(HOLD_MS + OFF_MS + 10)
    while board.time_ms - board.pedal_since_ms < 29_900:
        board.at(20)
    board.at(29_990 - (board.time_ms - board.pedal_since_ms))
    return board


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
        assert board.supervisor.ending == board.firmware.states.RELEASED


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
    board.at(50)
    board.at(50)
    assert board.at(130) == "weld"
    while board.at(7) == "weld":
        pass
    assert board.at(HOLD_MS + 33) == "off"
    board.at(90)
    assert board.at(OFF_MS) == "ready"


def test_the_first_steps_of_the_squeeze_prepare_the_weld() -> None:
    """A squeeze that is over in one late step still has every half-cycle ready, 64 a step."""
    board = pressed()
    assert board.words == {}
    assert board.at(90) == "squeeze"
    assert len(board.words) == HALF_CYCLES


def test_force_is_waited_for_two_seconds_after_the_squeeze() -> None:
    """Then the weld ends without any gate; and it is told why."""
    board = pressed(AIR)
    board.force = False
    for _ in range((SQUEEZE_MS + 2_000) // 10):
        assert board.at(10) == "squeeze"
    assert board.at(1) == "off"
    assert board.supervisor.ending == board.firmware.states.NO_FORCE
    assert board.welded == []
    board = pressed(AIR)
    board.force = False
    board.run(SQUEEZE_MS + 1_500)
    board.force = True
    assert board.at(1) == "weld"


def test_force_lost_under_current_ends_the_weld() -> None:
    """At the next step, and it is told why."""
    board = welding(AIR)
    board.run(100)
    board.force = False
    assert board.at(1) == "off"
    assert board.supervisor.ending == board.firmware.states.NO_FORCE


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
    assert board.supervisor.ending == board.firmware.states.FAULT


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
    """The first missed its edge, and the pin does not go low: that is told, and nothing is started again."""
    board = welding()
    board.misses = 1
    board.stuck_gate = True
    board.run(200)
    assert (board.state, board.reason, board.press_starts) == ("locked out", "gate pin does not go low", 1)


def test_no_second_try_on_an_unsteady_mains() -> None:
    """What was missed while the mains was lost is not started again."""
    board = welding()
    board.misses = 1
    board.half_us = None
    board.at(60)
    assert board.at(60) == "locked out"
    assert board.press_starts == 1


def test_mains_lost_in_the_squeeze_locks_out() -> None:
    """Before any gate; and it is told so."""
    board = pressed()
    board.half_us = None
    board.run(130)
    assert (board.state, board.reason) == ("locked out", "mains lost or unsteady")
    assert board.supervisor.ending == board.firmware.states.FAULT
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


def test_a_switch_that_conducts_for_400_ms_is_shorted() -> None:
    """Only while ready is no gate the reason; one look that shows it blocking is enough."""
    for begins_again in (False, True):
        board = ready(AIR)
        board.at(1)
        board.shorted = True
        for _ in range(39):
            assert board.at(10) == "ready"
        if begins_again:
            board.shorted = False
            board.at(5)
            board.shorted = True
            board.at(390)
        assert board.at(10) == "ready"
        assert board.at(1) == "locked out"
        assert board.reason == "switch conducts without a gate"


def test_conducting_under_current_is_no_short() -> None:
    """A weld of half a second with the switch conducting all the time, and the time before ready."""
    board = welding(AIR)
    board.shorted = True
    board.run(500)
    board.shorted = False
    assert board.completed == 1
    assert board.state in ("hold", "off")
    board.half_us = None
    board.run(1_500)
    assert board.state == "waiting for mains"
    board.shorted = True
    board.run(1_000)
    assert board.state == "waiting for mains"


# -- lockouts ------------------------------------------------------------------------------------------------------------


def test_the_graver_trouble_is_told_first() -> None:
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
    """Stop and fault are told apart, in squeeze and under current; after the current nothing changes what was told."""
    for begin in (pressed, welding):
        for contact, ending in (("stop", "STOPPED"), ("hot", "FAULT")):
            board = begin()
            setattr(board, contact, True)
            board.at(1)
            assert board.supervisor.ending == getattr(board.firmware.states, ending)
    board = holding()
    board.stop = True
    board.at(1)
    assert board.supervisor.ending == board.firmware.states.COMPLETED
    board = holding()
    board.received.extend(board.config.STOP_LINE)
    board.at(1)
    assert (board.state, board.supervisor.ending) == ("off", board.firmware.states.COMPLETED)
    assert board.supervisor.last_welds.count == 1


def test_a_stop_line_before_the_current_is_told_as_stopped() -> None:
    """In the squeeze there is nothing to finish, and the weld is counted with nothing fired."""
    board = pressed()
    board.received.extend(board.config.STOP_LINE)
    assert board.at(1) == "off"
    assert board.supervisor.ending == board.firmware.states.STOPPED
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


def test_a_stop_pressed_before_the_lockout_acknowledges_nothing() -> None:
    """It must be pressed once more after the fault was told."""
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


@pytest.mark.parametrize("fault", ["shorted", "stuck_gate"])
def test_a_broken_switch_or_gate_stays_locked_out(fault: str) -> None:
    """Nothing that a person does at the board ends it."""
    board = welding(AIR) if fault == "stuck_gate" else ready(AIR)
    setattr(board, fault, True)
    board.run(700)
    assert board.reason in ("switch conducts without a gate", "gate pin does not go low")
    setattr(board, fault, False)
    board.pedal = False
    for stop in (True, False):
        board.stop = stop
        board.run(500)
    assert board.state == "locked out"


def test_a_gate_that_sticks_in_a_lockout_is_told() -> None:
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
    board.run(200)
    board.pedal = True
    board.run(SQUEEZE_MS + 100)
    assert board.done_n > 2
    begin_us = board.crossing_us_at
    board.extra_us.extend(begin_us + 20_000 * n + 5_000 for n in range(edges))
    board.run(90)
    assert board.state == state
    assert board.reason == ("none" if state == "weld" else "extra edges from the detector")


# -- polarity ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cut_after", range(1, 7))
def test_each_weld_begins_on_the_other_polarity(cut_after: int) -> None:
    """Wherever the one before was cut; a weld of which nothing was fired changes nothing. The board watches the polarity."""
    board = welding()
    while board.done_n < cut_after:
        board.at(1)
    board.pedal = False
    board.run(700)
    last = board.last_sign
    board.pedal = True
    board.run(100)
    board.pedal = False
    board.run(700)
    board.pedal = True
    board.run(700)
    assert board.completed == 1
    assert board.first_positive == 1 - (last or 0)


def test_a_weld_ended_before_its_first_gate_changes_no_polarity() -> None:
    """Let go while the first half-cycle is let pass; the next weld begins as that one would have. The board watches it."""
    board = holding()
    board.pedal = False
    board.run(800)
    board.pedal = True
    board.run(SQUEEZE_MS + 15)
    for _ in range(30):
        if board.at(1) == "weld":
            break
    board.pedal = False
    assert board.at(1) == "off"
    assert (board.press_starts, board.press_fired) == (1, 0)
    board.run(800)
    board.pedal = True
    board.run(SQUEEZE_MS + 700)
    assert board.completed == 2


@pytest.mark.parametrize("gates", [0, 1, 2, 7])
def test_the_half_cycles_told_are_those_that_were_fired(gates: int) -> None:
    """Of a weld that was cut short; the one under way counts."""
    board = welding()
    while board.press_fired < gates:
        board.at(1)
    board.pedal = False
    board.at(1)
    assert board.state == "off"
    assert board.supervisor.fired == board.press_fired == gates
    assert board.supervisor.welds == 1


# -- the meter after a write ---------------------------------------------------------------------------------------------


def test_after_a_write_the_meters_queue_is_thrown_away() -> None:
    """All eight that it holds are from before; only the eighth crossing after them makes ready."""
    board = ready()
    number = board.send("select", name="test")
    while board.answer(number) is None:
        board.at(5)
    assert len(board.meter) == 8
    board.at(1)
    crossings = board.crossing_us_at
    while board.state != "ready":
        board.at(1)
    assert (board.crossing_us_at - crossings) // 10_000 == 8
