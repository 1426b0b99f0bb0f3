"""Whatever may happen to a board, in any order: rules for hypothesis over the emitted application on a watched board."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import hypothesis.strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from gen import words
from gen.boards import boards
from gen.firmware import render
from gen.table import TimingTable
from sim.bench.host import Firmware
from tests.support.app.stored import rows_of
from tests.support.app.talking import coded, push
from tests.support.app.watched_board import MASK, MINUTE_MS, Shape, WatchedBoard, shape_of
from tests.support.app.weakened import Change
from tests.support.machines import compiled, make_welder

# Four amperes at full duty and 20 A of working current: three or four welds of the first table a minute.
MACHINES: tuple[dict[str, Any], ...] = (
    {"force": {"source": "foot_lever"}},
    {"force": {"source": "air", "force_switch": True}, "board": {"conduction_sense": True}},
)
PLENTY_MS = 8000  # for a lockout that ends by itself, its countdown aside
MOST_WAITING = 80  # requests, in the sixty steps of an example and what was left over
NAMES = ("test", "other")


@cache
def loaded(kind: int, change: Change | None = None) -> tuple[Firmware, dict[str, Shape], TimingTable]:
    """The emitted application for a machine, what its tables come to, and the one that is pushed."""
    welder = make_welder(**MACHINES[kind], transformer={"rating_kVA": 0.86, "rating_duty_percent": 30})
    burnt_in = compiled(welder, {"weld": "16 cycles", "current_percent": 80, "upslope": "2 cycles"})
    pulse = {"pulse": "1 cycles", "current_percent": 60, "cool": "2 cycles", "repeat": 2}
    other = replace(compiled(welder, pulse, {"weld": "3 cycles", "current_percent": 90}), name="other")
    shapes = {table.name: shape_of(rows_of(table)) for table in (burnt_in, other)}
    bundle = render(burnt_in, welder, boards()["pico"])
    return Firmware(bundle if change is None else change(bundle)), shapes, other


class Application(RuleBasedStateMachine):
    """The board judges each step; here stands what may happen between the steps, and what must come of it."""

    board: WatchedBoard
    change: Change | None = None

    @initialize(kind=st.integers(0, len(MACHINES) - 1), near_wrap=st.booleans(), seed=st.integers(0, 99))
    def power(self, kind: int, near_wrap: bool, seed: int) -> None:
        firmware, shapes, self.other = loaded(kind, self.change)
        self.board = WatchedBoard(firmware, shapes, "test", MASK - 2000 if near_wrap else 0, seed)
        self.board.run(500)
        assert self.board.state == "ready"

    # -- the person and the machine ------------------------------------------------------------------------------------

    @rule(ms=st.sampled_from((5, 15, 40, 100, 300, 1000)))
    def time_passes(self, ms: int) -> None:
        self.board.run(ms)

    @rule(ms=st.sampled_from((5, 15, 30, 200)))
    def pedal_moves(self, ms: int) -> None:
        self.board.pedal = not self.board.pedal
        self.board.run(ms)

    @rule(held_ms=st.sampled_from((100, 350, 2000)), again=st.booleans())
    def pedal_is_pressed(self, held_ms: int, again: bool) -> None:
        """Let go, pressed for a while; the second may come before the off time is over."""
        for _ in range(1 + again):
            for pedal, ms in ((False, 200), (True, held_ms), (False, 5)):
                self.board.pedal = pedal
                self.board.run(ms)

    @rule(ms=st.sampled_from((31_000, 100)))
    def pedal_is_stood_upon(self, ms: int) -> None:
        self.board.pedal = True
        self.board.run(ms)

    @rule(contact=st.sampled_from(("stop", "hot", "force")), ms=st.sampled_from((5, 60, 500)))
    def contact_moves(self, contact: str, ms: int) -> None:
        setattr(self.board, contact, not getattr(self.board, contact))
        self.board.run(ms)

    # -- the mains and the detector ------------------------------------------------------------------------------------

    @rule(half_us=st.sampled_from((10_000, 9_600, 10_500, 9_300, 10_800, None)), ms=st.sampled_from((30, 200, 6000)))
    def mains_changes(self, half_us: int | None, ms: int) -> None:
        self.board.half_us = half_us
        self.board.run(ms)

    @rule(missing=st.integers(1, 12))
    def edges_are_missing(self, missing: int) -> None:
        was, self.board.half_us = self.board.half_us, None
        self.board.run(10 * missing)
        self.board.half_us = was
        self.board.run(50)

    @rule(number=st.sampled_from((1, 3, 60)))
    def edges_are_extra(self, number: int) -> None:
        begin_us = 1000 * self.board.time_ms
        self.board.extra_us.extend(begin_us + 3_300 * (n + 1) for n in range(number))
        self.board.run(4 * number)

    # -- faults of the hardware ----------------------------------------------------------------------------------------

    @rule(reluctant=st.integers(0, 3), misses=st.integers(0, 4))
    def starts_go_wrong(self, reluctant: int, misses: int) -> None:
        self.board.reluctant, self.board.misses = reluctant, misses

    @rule()
    def conduction_fails(self) -> None:
        self.board.conducts = False

    @rule()
    def switch_is_shorted(self) -> None:
        self.board.shorted, self.board.shorted_since_ms = True, self.board.time_ms
        self.board.run(600)

    @rule(which=st.sampled_from(("welded_shut", "coil_broken")))
    def contactor_fails(self, which: str) -> None:
        setattr(self.board, which, True)
        self.board.run(300)

    @rule()
    def gate_sticks(self) -> None:
        self.board.stuck_gate = True

    # -- the serial line -----------------------------------------------------------------------------------------------

    @rule(method=st.sampled_from(("status", "hello", "schedules")), ms=st.sampled_from((5, 300)))
    def asks(self, method: str, ms: int) -> None:
        self.board.send(method)
        self.board.run(ms)

    @rule()
    def stop_line_comes(self) -> None:
        """Read within the first step or two, and then nothing fires any more."""
        self.board.received.extend(self.board.config.STOP_LINE)
        self.board.run(40)
        assert not self.board.running

    @rule(line=st.binary(max_size=600))
    def noise_comes(self, line: bytes) -> None:
        self.board.received.extend(line + b"\n")
        self.board.run(250)

    @rule()
    def table_is_pushed(self) -> None:
        board = self.board
        for line in push("other", self.other.digest, coded(self.other), board.id + 1):
            board.received.extend(line)
            board.id += 1
            board.run(300)

    @rule(
        name=st.sampled_from(NAMES),
        fault=st.sampled_from(("", "", "failed", "lost", "torn", "cut")),
        at=st.integers(0, 99),
    )
    def table_is_selected(self, name: str, fault: str, at: int) -> None:
        """What was reported is so; where the power went, it is the one or the other."""
        board = self.board
        if fault:
            board.next_write(fault, at)
        restarts = board.restarts
        number = board.send("select", name=name)
        board.run(400)
        answer = board.answer(number)
        if board.restarts != restarts:
            board.selected = board.selected | {name}
        elif answer and "result" in answer:
            board.selected = {name}

    @rule()
    def maintenance_is_asked_for(self) -> None:
        board = self.board
        restarts = board.restarts
        number = board.send("maintain")
        was_idle = self.board.state in ("ready", "waiting for mains", "locked out")
        for _ in range(MOST_WAITING):  # a request is answered a step, and others may stand before it
            board.run(40)
            if board.restarts != restarts or board.answer(number):
                break
        if board.restarts == restarts and was_idle:
            # Id 0: a weld began before it was read, and told afterwards that it was not heeded.
            assert (
                board.answer(number)
                or board.answer(0)
                or self.board.state not in ("ready", "waiting for mains", "locked out")
            )

    # -- the power -----------------------------------------------------------------------------------------------------

    @rule(watchdog=st.booleans(), knows_rest=st.booleans())
    def power_is_cut(self, watchdog: bool, knows_rest: bool) -> None:
        self.board.watchdog, self.board.knows_rest = watchdog, knows_rest
        self.board.boot()
        self.board.run(60)

    # -- the ways out --------------------------------------------------------------------------------------------------

    @rule()
    def way_out_is_taken(self) -> None:
        """The way out that the board reports ends its lockout, one after another; and then it welds."""
        board = self.board
        board.half_us, board.force, board.pedal = 10_000, True, False
        board.reluctant = board.misses = 0
        board.run(1500)
        told = []
        while self.board.state == "locked out":
            told.append(self.board.reason)
            assert len(told) < 8, told
            self.take(words.WAY_OUT[board.supervisor.reason])
        board.run(300)
        assert self.board.state == "ready", (self.board.state, told)
        board.conducts, board.stuck_gate, board.shorted, board.coil_broken = True, False, False, False
        welds, completed = len(board.welded), board.completed
        board.pedal = True
        board.run(1200)
        board.pedal = False
        board.run(900)
        assert (len(board.welded), board.completed) == (welds + 1, completed + 1), (
            self.board.state,
            self.board.reason,
            told,
        )

    def take(self, way_out: str) -> None:
        """Do what the words say."""
        board = self.board
        if way_out.startswith("close the stop"):
            board.stop = False
        elif way_out.startswith("let it cool"):
            board.hot = False
        elif way_out.startswith("wait for the countdown"):
            board.run(MINUTE_MS + 1000)
        elif "then press and release stop" in way_out:
            board.conducts, board.coil_broken = True, False
            self.press_stop()
        elif way_out.startswith("press and release stop"):
            self.press_stop()
        elif "then weldbeat clear" in way_out:
            board.shorted = board.welded_shut = False
            board.send("clear", reason=board.reason)
            board.run(600)
        elif way_out.startswith("isolate"):
            board.shorted = board.stuck_gate = board.welded_shut = False
            self.power_is_cut(False, True)
        elif way_out.startswith("remove both settings files"):
            board.flash.files.clear()
            board.selected = {"test"}
            self.power_is_cut(False, True)
        else:
            assert way_out in (
                "wait for steady mains",
                "find the noise; clears when the mains is steady",
                "clears when the mains is back in its band",
                "let go of the pedal",
            )
            board.run(PLENTY_MS)
        board.run(700)  # long enough for the next fault to be found

    def press_stop(self) -> None:
        for stop in (True, False):
            self.board.stop = stop
            self.board.run(100)

    @invariant()
    def one_table_is_selected(self) -> None:
        if hasattr(self, "board") and self.board.reason != "settings damaged":
            assert self.board.supervisor.store.selected in self.board.selected
