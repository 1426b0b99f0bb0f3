"""The client and the emitted application together, under whatever happens to the cable, the power and the pedal.

What must hold after each step: the board holds what the model holds, and what a call said is so. No source outside: the
protocol is our own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import hypothesis.strategies as st
import pytest
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

import gen.link.client
from gen import words
from gen.firmware import FirmwareBundle
from gen.link import Link
from gen.link.client import digest_of
from gen.link.errors import BoardRefused
from gen.table import TimingRow, TimingTable
from tests.support.link.stepped_board import SteppedBoard
from tests.support.machines import fired_row, firmware, make_welder

BUILT_IN = "test"
NAMES = ("corner", "drying-rack", "hook_2", BUILT_IN)
LEAST_SQUEEZE = make_welder().least_squeeze_half_cycles
FAULTS = ("", "", "", "lost", "damaged", "reply lost", "power cut", "bad flash")


@cache
def bundle() -> FirmwareBundle:
    return firmware(make_welder(), {"weld": "6 cycles"})[0]


@st.composite
def tables(draw: st.DrawFn) -> TimingTable:
    """Tables inside the limits of the tests' machine, and some with an odd impulse or a squeeze too short for its contactor."""
    rows = [TimingRow("squeeze", draw(st.integers(LEAST_SQUEEZE - 1, 40)))]
    impulses = draw(st.integers(1, 12))
    for i in range(impulses):
        if i:
            rows.append(TimingRow("cool", 2 * draw(st.integers(2, 9))))
        percent = draw(st.integers(50, 90))  # of the current: as much heat as a gate at 6000 us gives, or more
        rows.append(
            fired_row("weld", 2 * draw(st.integers(1, 8)) + draw(st.sampled_from([0] * 19 + [1])), 6000, percent)
        )
    rows += [TimingRow("hold", draw(st.integers(1, 20))), TimingRow("off", draw(st.integers(1, 20)))]
    return TimingTable(draw(st.sampled_from(NAMES)), 50, tuple(rows))


def lawful(table: TimingTable) -> bool:
    even = all(row.half_cycles % 2 == 0 for row in table.rows if row.phase in ("weld", "cool"))
    return even and table.rows[0].half_cycles >= LEAST_SQUEEZE


def refused(call: Callable[[], object]) -> int | None:
    """The code with which the board refuses, or None."""
    try:
        call()
    except BoardRefused as error:
        return error.code
    return None


class LinkAndBoard(RuleBasedStateMachine):
    """The model: digest by name, which is selected, and how many welds there were since the start."""

    def __init__(self) -> None:
        super().__init__()
        self.patch = pytest.MonkeyPatch()
        self.board = SteppedBoard(bundle())
        self.patch.setattr(gen.link.client, "time", self.board)
        self.board.run(200)
        self.link = Link("board", opened=self.board).__enter__()
        self.held = {BUILT_IN: self.link.hello.digest}
        self.selected = BUILT_IN
        self.boot = self.link.hello.boot

    def teardown(self) -> None:
        self.patch.undo()

    @initialize()
    def ready(self) -> None:
        self.board.run(500)
        assert self.link.status().state == "ready"

    def fault(self, fault: str, at: int) -> None:
        """Arm one fault; a power cut comes in the middle of the next write of the settings."""
        if fault in ("lost", "damaged"):
            self.board.line_fault = fault
        elif fault == "reply lost":
            self.board.reply_lost = True
        elif fault == "power cut":
            self.board.cut_after = at
        elif fault == "bad flash":
            self.board.bad_writes = 1

    def calm(self) -> None:
        """No fault is left over, and the board is at rest."""
        self.board.line_fault, self.board.reply_lost, self.board.cut_after, self.board.bad_writes = "", False, None, 0
        self.board.run(500)
        if self.board.restarts:
            self.board.restarts = 0
            self.board.sent.clear()  # a board that has started anew knows no earlier ids

    @rule(table=tables(), fault=st.sampled_from(FAULTS), at=st.integers(0, 300))
    def push(self, table: TimingTable, fault: str, at: int) -> None:
        self.fault(fault, at)
        refusal = refused(lambda: self.link.push(table))
        self.calm()
        if lawful(table):
            assert refusal == (words.STORAGE if fault == "bad flash" else None)
        else:
            assert refusal == words.BEYOND_LIMITS
        if refusal is None:
            self.held[table.name] = table.digest

    @rule(name=st.sampled_from(NAMES), fault=st.sampled_from(FAULTS), at=st.integers(0, 300))
    def select(self, name: str, fault: str, at: int) -> None:
        self.fault(fault, at)
        refusal = refused(lambda: self.link.select(name))
        self.calm()
        if name in self.held:
            assert refusal == (words.STORAGE if fault == "bad flash" else None)
        else:
            assert refusal == words.NO_SUCH_SCHEDULE
        if refusal is None:
            self.selected = name

    @rule(name=st.sampled_from(NAMES), fault=st.sampled_from(FAULTS), at=st.integers(0, 300))
    def remove(self, name: str, fault: str, at: int) -> None:
        self.fault(fault, at)
        refusal = refused(lambda: self.link.remove(name))
        self.calm()
        if name == self.selected:
            assert refusal == words.WRONG_PARAMETERS
        elif name in self.held and fault == "bad flash":
            assert refusal == words.STORAGE
        elif name in self.held:
            assert refusal is None
            del self.held[name]
        else:  # where request or refusal is lost, that the schedule is not there is success enough
            allowed = (None, words.NO_SUCH_SCHEDULE) if fault else (words.NO_SUCH_SCHEDULE,)
            assert refusal in allowed

    @rule(name=st.sampled_from(NAMES), fault=st.sampled_from(FAULTS))
    def read(self, name: str, fault: str) -> None:
        self.fault(fault, 0)
        if name in self.held:
            found = self.link.read(name)
            assert digest_of(found) == found.digest == self.held[name]
        else:
            assert refused(lambda: self.link.read(name)) == words.NO_SUCH_SCHEDULE
        self.calm()

    @rule(ms=st.integers(10, 3000), stop=st.booleans())
    def weld(self, ms: int, stop: bool) -> None:
        """The pedal goes down for a while; everything but the stop line is unheeded meanwhile, and nothing is lost."""
        before = self.link.status().welds
        _, known = self.link.welds(before)
        assert known == []
        self.board.pedal = 1
        self.board.run(ms)
        if stop:
            self.link.stop()
            self.board.run(100)
        self.board.pedal = 0
        self.board.run(3000)
        status = self.link.status()
        _, welds = self.link.welds(before)
        assert [weld.number for weld in welds] == list(range(before + 1, status.welds + 1))
        assert all(weld.fired <= weld.planned for weld in welds)
        if welds:
            assert words.ENDING_NAMES[welds[-1].ending] == status.last

    @precondition(lambda self: self.changes())
    @rule(data=st.data())
    def replay(self, data: st.DataObject) -> None:
        """A line that changed something comes again: it is out of order, and changes nothing."""
        self.board.to_board += data.draw(st.sampled_from(self.changes()))
        self.board.run(500)

    def changes(self) -> list[bytes]:
        return [line for line in self.board.sent if b'"select"' in line or b'"remove"' in line or b'"push' in line]

    @rule()
    def open_again(self) -> None:
        """A new program takes the port over."""
        self.link = Link("board", opened=self.board).__enter__()
        assert (self.link.hello.selected, self.link.hello.digest) == (self.selected, self.held[self.selected])
        self.board.sent.clear()  # of an earlier session

    @rule()
    def power(self) -> None:
        """Off and on again."""
        self.board.start()
        self.board.run(500)
        self.open_again()

    @invariant()
    def agree(self) -> None:
        found = self.link.schedules()
        assert (found.selected, dict(found.names)) == (self.selected, self.held)

    @invariant()
    def boots_rise(self) -> None:
        boot, _ = self.link.welds()
        assert boot >= self.boot
        self.boot = boot


TestLinkAndBoard: Any = LinkAndBoard.TestCase
TestLinkAndBoard.settings = settings(max_examples=40, stateful_step_count=20, deadline=None)
