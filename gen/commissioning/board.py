"""The board during a commissioning: reading its contacts and its frequency, and making a shot."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

from gen import words
from gen.commissioning.values import Contact, Judged, Step
from gen.link import Link
from gen.link.client import ARMED_S
from gen.link.errors import LinkError, Silent
from gen.link.messages import Schedules, Status, WeldEntry
from gen.link.ports import unique_name
from gen.machine.welder import Welder
from gen.table import TimingTable

_ANSWER_S = 0.25
_LOOK_S = 0.1
CONTACT_S = 90.0  # time to operate a contact, and for a weld begun by the pedal to end
PRESS_S = 180.0  # time to prepare and press the pedal
READY_S = 180.0  # time until ready: after a start the duty guard waits a minute
STEADY_GATES = 6  # after which a clamp meter's window shows no inrush any more; common practice, no source
_NO_REASON = words.REASON_NAMES[0]
_READY = (words.STATE_NAMES[words.READY], _NO_REASON)
LOCK_S = 15.0  # time to lock to the mains, or to give up


class BoardAsked:
    """An open link during a walk. It restores the schedule selected before. Use it within a `with` of the link."""

    def __init__(self, link: Link, welder: Welder, say: Callable[[str], None]) -> None:
        hello = link.hello
        for what, given, wanted in (
            ("is a", hello.board, welder.board.name),
            ("was built for Hz", hello.frequency_Hz, welder.mains.frequency_Hz),
        ):
            if given != wanted:
                allowed = "allowed: the board it names, with firmware built from it"
                raise LinkError(link.port, f"{what} {given}, the welder file says {wanted}", allowed)
        self._link = link
        self._say = say
        held = link.schedules()
        self._shots = [
            name for name, _ in held.names if name.startswith(words.SHOT_NAME)
        ]  # left by an interrupted walk
        self._before = _users_own(link, held)
        self.name = f"{unique_name(link.port, hello.board)}, firmware {hello.bundle}"

    # -- contacts and frequency ----------------------------------------------------------------------------------

    def contact(self, contact: Contact) -> Judged:
        """Watch a contact operated and released."""
        if self._level(contact) != contact.at_rest:
            return Judged("failed", contact.wrong_at_rest)
        for ask, wanted, otherwise in (
            (contact.act, not contact.at_rest, contact.never),
            (contact.undo, contact.at_rest, f"it did not go back within {CONTACT_S:g} s; {contact.wrong_at_rest}"),
        ):
            self._say(f"Now: {ask}")
            if not self._until(lambda wanted=wanted: self._level(contact) == wanted, CONTACT_S):  # type: ignore[misc]
                return Judged("failed", otherwise)
        return Judged("passed")

    def _level(self, contact: Contact) -> bool:
        """The level of a contact. A board that has accepted the pedal welds and is silent, so the pedal is pressed."""
        status = self._status()
        if status is None:
            return contact.bit == words.PEDAL
        return bool(status.inputs & contact.bit)

    def frequency(self) -> tuple[float, str]:
        """The mains frequency, Hz; or 0 and the reason."""
        status: Status | None = None

        def answered() -> bool:
            nonlocal status
            status = self._status()
            return status is not None and (
                status.mains_mHz > 0 or status.reason == words.REASON_NAMES[words.OUT_OF_BAND]
            )

        if self._until(answered, LOCK_S) and status is not None and status.mains_mHz:
            return status.mains_mHz / 1000, ""
        return 0.0, f"the board does not lock to the mains: {_state(status)}"

    # -- shots ---------------------------------------------------------------------------------------------------

    def load(self, table: TimingTable | None) -> Judged:
        """Select `table` (None: the user's own schedule) for the next weld, and wait until the board accepts the pedal."""
        if table is not None:
            self._link.push(table)
            self._shots.append(table.name)
        name = self._before if table is None else table.name
        self._link.select(name)
        shown = ""
        status: Status | None = None

        def ready() -> bool:
            nonlocal shown, status
            status = self._status()
            is_ready = status is not None and (status.state, status.reason) == _READY
            state = _state(status)
            if not is_ready and state != shown:
                wait_s = status.duty_wait_s if status is not None else 0
                self._say(f"The board: {state}{f' ({wait_s} s)' if wait_s else ''}")
            shown = state
            return is_ready

        if self._until(ready, READY_S) and status is not None:
            self._welds = status.welds
            return Judged("passed")
        return Judged("failed", f"the board is not ready: {_state(status)}")

    def pressed(self) -> bool:
        """Wait until the board has accepted the pedal."""

        def taken() -> bool:
            status = self._status()
            return status is None or status.welds > self._welds

        return self._until(taken, PRESS_S)

    def weld(self) -> tuple[WeldEntry | None, str]:
        """The log entry of the weld, after its off time. None and the board's state where the log has no entry."""
        status: Status | None = None

        def over() -> bool:
            nonlocal status
            status = self._status()
            return status is not None

        if not self._until(over, ARMED_S):
            raise Silent(self._link.port, "does not answer any more", "allowed: isolate, then look at the board")
        entries = self._link.welds(self._welds)[1]
        return (entries[0], _state(status)) if entries else (None, _state(status))

    def measured_A(self) -> float | None:
        """RMS amperes of the last weld by the board's current transformer, once they are steady; None where it has none."""
        currents = [entry.current_dA / 10 for entry in self._link.curve()[2][STEADY_GATES:] if entry.current_dA >= 0]
        return math.sqrt(sum(value**2 for value in currents) / len(currents)) if currents else None

    def put_back(self) -> None:
        """Select the schedule selected before, and remove the shots from the board. A failure is reported to the operator."""
        if not self._shots:
            return
        try:
            self._until(lambda: self._status() is not None, ARMED_S)
            self._link.select(self._before)
            for name in dict.fromkeys(self._shots):
                self._link.remove(name)
        except LinkError:
            self._say(f"A shot is still selected on the board: weldbeat schedules --select {self._before}")

    # -- inside --------------------------------------------------------------------------------------------------

    def _status(self) -> Status | None:
        """The board's status. None during a weld, when the board is silent."""
        try:
            return self._link.status(_ANSWER_S, tries=1)
        except Silent:
            return None

    def _until(self, what: Callable[[], bool], seconds: float) -> bool:
        deadline = time.monotonic() + seconds
        while not what():
            if time.monotonic() > deadline:
                return False
            time.sleep(_LOOK_S)
        return True


def _users_own(link: Link, held: Schedules) -> str:
    """The schedule to select at the end. A shot left by an interrupted walk is not one."""
    names = [held.selected, *(name for name, _ in held.names)]
    own = next((name for name in names if not name.startswith(words.SHOT_NAME)), None)
    if own is None:
        raise LinkError(link.port, "holds no schedule but those of a commissioning", "allowed: push one of yours first")
    return own


def _state(status: Status | None) -> str:
    if status is None:
        return "in a weld, or silent"
    if status.reason == _NO_REASON:
        return status.state
    return f"{status.state}: {status.reason}; {status.way_out}"


def judge_log(step: Step, entry: WeldEntry | None, planned: int | None, state: str) -> Judged:
    """Whether the board's log holds a complete weld, or one ended by pedal or stop where the step requires that."""
    if entry is None:
        return Judged("failed", f"the board's log holds no such weld; it is {state}; {step.mend}")
    if step.let_go or step.stops:
        if entry.ending == (words.RELEASED if step.let_go else words.STOPPED) and 0 < entry.fired < entry.planned:
            return Judged("passed", log_text(entry))
        return Judged("failed", f"the board's log says {log_text(entry)}; it is {state}; {step.mend}")
    whole = entry.ending == words.COMPLETED and entry.fired == entry.planned
    if whole and planned in (None, entry.planned):
        return Judged("passed", log_text(entry))
    return Judged(
        "failed", f"the board's log says {log_text(entry)}; it is {state}; hold the pedal to the end; {step.mend}"
    )


def log_text(entry: WeldEntry) -> str:
    """A weld of the board's log in words."""
    return f"{words.ENDING_NAMES[entry.ending]}, {entry.fired} of {entry.planned} half-cycles fired"
