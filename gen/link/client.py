"""`Link`: one board on one serial port.

    with Link("/dev/ttyACM0") as link:
        print(link.hello.selected, link.status().state)

Opening a port resets no board. DTR and RTS stay as the operating system sets them (a Pico's USB sends nothing without DTR).
USB ignores the speed, but it is never 1200 baud, which puts some boards into their boot loader.
"""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass
from itertools import pairwise
from types import TracebackType
from typing import Any, Protocol, Self, TypeVar

from pydantic import ValidationError

from gen import words
from gen.link.errors import BoardRefused, DamagedFirmware, OtherFirmware, OtherProtocol, Silent, Unplugged
from gen.link.framing import Lines, NotALine, decode, encode
from gen.link.messages import (
    METHODS,
    BeginParams,
    Cleared,
    ClearParams,
    CurveEntry,
    CurveParams,
    CurveResult,
    Held,
    Hello,
    NameParams,
    Names,
    NoParams,
    Params,
    ReadParams,
    ReadResult,
    Ready,
    Reply,
    Request,
    Restarting,
    Result,
    Row,
    RowsParams,
    RowsResult,
    Schedules,
    Selected,
    SinceParams,
    Status,
    Stored,
    WeldEntry,
    WeldsResult,
)
from gen.table import TimingTable, board_delay_us, heat
from gen.words import LARGEST_ID, PHASES, PROGRAM, PROTOCOL, ROWS_A_LINE, WELDS_A_LINE, WELDS_KEPT

ANSWER_S = 1.0  # an idle board answers within 0.05 s
STORING_S = 8.0  # the board writes its flash twice, and reads back
PATIENCE_S = 4.0  # for a first answer: a board in a short weld answers after it
_PROMPT = b">>>"  # prompt of MicroPython's command line
_STARTING_S = 0.05
_MOST_READ = 4096  # bytes at once
_AFTER_S = 0.1  # within this an answer follows a reply about an earlier line
TRIES = 3
ARMED_S = 300.0  # the longest silence: no weld with its off time takes longer, each of its times being 60 s at most

SILENT = (
    "allowed: a board that runs Weldbeat and is not in a weld (wait for the end of its off time), see `weldbeat ports`"
)


class SerialPort(Protocol):
    """The part of a port that `Link` uses: pyserial's Serial, or a stand-in. `read` waits a short time at most."""

    @property
    def in_waiting(self) -> int: ...

    def read(self, size: int = 1, /) -> bytes: ...

    def write(self, data: bytes, /) -> int | None: ...

    def close(self) -> None: ...


@dataclass(frozen=True)
class BoardSchedule:
    """A schedule on a board."""

    name: str
    frequency_Hz: int
    digest: str
    rows: tuple[Row, ...]


ResultOf = TypeVar("ResultOf", bound=Result)


class Link:
    """An open link to one board, with its first answer, `hello`. Every method raises LinkError.

    `opened` is an open port, for tests; otherwise pyserial opens `port`.
    """

    hello: Hello

    def __init__(self, port: str, patience_s: float = PATIENCE_S, opened: SerialPort | None = None) -> None:
        self.port = port
        self._patience_s = patience_s
        self._opened = opened
        self._serial: SerialPort
        self._lines = Lines()
        self._id = 0
        self._foreign = b""  # the last bytes that were no line of this link

    def __enter__(self) -> Self:
        from gen.link.ports import open_port

        self._serial = self._opened or open_port(self.port)
        try:
            self.hello = self._greet()
        except BaseException:
            self._serial.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._serial.close()

    # -- requests ------------------------------------------------------------------------------------------------

    def status(self, wait_s: float = ANSWER_S, tries: int = TRIES) -> Status:
        """The board's status now."""
        return self._ask("status", NoParams(), Status, wait_s, tries)

    def schedules(self) -> Schedules:
        """The schedules on the board, and the selected one."""
        return self._ask("schedules", NoParams(), Schedules)

    def read(self, name: str) -> BoardSchedule:
        """A schedule with all its rows, checked against its digest."""
        rows: list[Row] = []
        first: ReadResult | None = None
        while first is None or len(rows) < first.rows_total:
            part = self._ask("read", ReadParams(name=name, start=len(rows)), ReadResult)
            first = first or part
            rows += part.rows
            same = (part.name, part.digest, part.rows_total) == (name, first.digest, first.rows_total)
            if not same or len(rows) != min(first.rows_total, len(rows) - len(part.rows) + ROWS_A_LINE):
                raise self._unknown(f"answers with rows of {name} that do not follow each other")
        found = BoardSchedule(name, self.hello.frequency_Hz, first.digest, tuple(rows))
        if digest_of(found) != part.digest:
            raise BoardRefused(
                self.port, 0, f"{name}: the rows read do not match its digest", "allowed: try again, or push it again"
            )
        return found

    def push(self, table: TimingTable) -> Stored:
        """Store `table` under its name. The board's digest is compared with that of the table.

        A lost line starts the push again: the board changes nothing before the end.
        """
        for attempt in range(TRIES):
            try:
                stored = self._push(table)
                break
            except Silent:
                if Held(table.name, table.digest) in self.schedules().names:
                    stored = Stored(name=table.name, digest=table.digest)
                    break
                if attempt == TRIES - 1:
                    raise
        if (stored.name, stored.digest) != (table.name, table.digest):
            raise BoardRefused(
                self.port,
                0,
                f"holds {stored.name} {stored.digest}, not {table.digest} as sent",
                "allowed: push it again",
            )
        return stored

    def select(self, name: str) -> Selected:
        """Make `name` the schedule of the next weld."""
        return self._ask("select", NameParams(name=name), Selected, STORING_S)

    def remove(self, name: str) -> None:
        """Remove a schedule from the board, but not the selected one."""
        for attempt in range(TRIES):
            try:
                self._ask("remove", NameParams(name=name), Names, STORING_S)
                return
            except Silent:
                if all(held.name != name for held in self.schedules().names):
                    return
                if attempt == TRIES - 1:
                    raise

    def welds(self, since: int = 0) -> tuple[int, list[WeldEntry]]:
        """The board's boot number and the welds after `since`, oldest first. The board keeps the last 64."""
        found: list[WeldEntry] = []
        first: WeldsResult | None = None
        while True:
            part = self._ask("welds", SinceParams(since=since), WeldsResult)
            first = first or part
            if not part.welds or part.boot != first.boot:  # after a restart the next look finds the new ones
                return first.boot, found
            found += part.welds
            numbers = [since, *(weld.number for weld in part.welds)]
            growing = all(one < next_one for one, next_one in pairwise(numbers))
            if not growing or numbers[-1] > part.count or len(found) > WELDS_KEPT + WELDS_A_LINE:
                raise self._unknown("answers with welds that do not follow each other")
            since = numbers[-1]
            if since >= first.count:  # the next look finds welds made meanwhile
                return first.boot, found

    def curve(self) -> tuple[int, int, list[CurveEntry]]:
        """(Boot number, number of the last weld, its gates). Number 0: there is none, or another weld began meanwhile."""
        found: list[CurveEntry] = []
        first: CurveResult | None = None
        while True:
            part = self._ask("curve", CurveParams(start=len(found)), CurveResult)
            first = first or part
            if len(found) + len(part.entries) > part.total:
                raise self._unknown("answers with more gates than it has")
            if (part.boot, part.weld, part.total) != (first.boot, first.weld, first.total):
                return part.boot, 0, []
            found += part.entries
            if not part.weld or not part.entries or len(found) == part.total:
                return part.boot, part.weld, found

    def stop(self) -> None:
        """Send the stop line, which ends a weld. It is no emergency stop: it needs computer, cable and running program."""
        from gen.firmware import STOP_REQUEST, with_crc

        self._write(b"\n" + with_crc(STOP_REQUEST).encode() + b"\n")

    def clear(self, reason: str) -> None:
        """End a lockout that outlasts the power, once somebody has checked what `reason` names."""
        self._ask("clear", ClearParams(reason=reason), Cleared, STORING_S)

    def maintain(self) -> None:
        """Ask the board to restart into the state in which its files can be copied. The link is dead afterwards."""
        self._ask("maintain", NoParams(), Restarting)

    # -- inside --------------------------------------------------------------------------------------------------

    def _push(self, table: TimingTable) -> Stored:
        rows = wire_rows(table)
        begin = BeginParams(name=table.name, digest=table.digest, rows_total=len(rows))
        self._ask("push_begin", begin, Ready)
        for start in range(0, len(rows), ROWS_A_LINE):
            part = rows[start : start + ROWS_A_LINE]
            so_far = self._ask("push_rows", RowsParams(start=start, rows=part), RowsResult).rows
            if so_far != start + len(part):
                raise self._silent(f"counts {so_far} rows, {start + len(part)} were sent")
        return self._ask("push_commit", NoParams(), Stored, STORING_S)

    def _greet(self) -> Hello:
        deadline = time.monotonic() + self._patience_s
        self._write(b"\n")  # ends an incomplete line of an earlier program
        while True:
            reply = self._exchange("hello", NoParams(), min(ANSWER_S, self._patience_s))
            if reply is not None and reply.result is not None:
                hello = self._known(reply.result)
                if hello.boot or time.monotonic() >= deadline:
                    return hello
                time.sleep(_STARTING_S)  # it has just started and not read its settings yet
                continue
            if reply is not None and reply.error is not None and reply.error.code == words.FIRMWARE_DAMAGED:
                what = f"its firmware is damaged: {reply.error.message}"
                raise DamagedFirmware(self.port, what, f"allowed: {words.WAY_OUT[words.FILE_DAMAGED]}")
            if reply is not None and reply.error is not None and reply.id:
                raise self._unknown(f"answers {reply.error.message!r} to hello")
            if time.monotonic() >= deadline or _PROMPT in self._foreign:
                raise self._stranger()

    def _known(self, result: dict[str, Any]) -> Hello:
        protocol = result.get("protocol")
        if result.get("program") != PROGRAM:
            raise self._unknown("runs another program than Weldbeat")
        if type(protocol) is not int or protocol < PROTOCOL:
            raise OtherProtocol(
                self.port,
                "runs a firmware that is older than this program",
                "allowed: build and flash it again, see `weldbeat flash --help`",
            )
        if protocol > PROTOCOL:
            raise OtherProtocol(
                self.port,
                "runs a firmware that is newer than this program",
                "allowed: update this program (pip install --upgrade weldbeat)",
            )
        return self._validated(Hello, result)

    def _stranger(self) -> Silent | OtherFirmware:
        """The error for answers that are not Weldbeat's."""
        if _PROMPT in self._foreign or b"Traceback" in self._foreign or b"raw REPL" in self._foreign:
            return self._unknown("runs MicroPython without Weldbeat")
        if self._foreign:
            return self._unknown("answers, but not as Weldbeat does")
        return self._silent("no answer")

    def _silent(self, what: str) -> Silent:
        return Silent(self.port, what, SILENT)

    def _ask(
        self, method: str, params: Params, kind: type[ResultOf], timeout_s: float = ANSWER_S, tries: int = TRIES
    ) -> ResultOf:
        """The result of one request. A repeatable request is sent again if no answer comes."""
        for _ in range(tries):
            reply = self._exchange(method, params, timeout_s)
            if reply is None:
                if not METHODS[method].repeatable:
                    break
            elif reply.error is None:
                return self._validated(kind, reply.result or {})
            elif reply.id:  # 0: the board took no line and changed nothing, so once more
                raise self._refusal(reply.error.code, reply.error.message)
        raise self._silent(f"no answer to {method}")

    def _exchange(self, method: str, params: Params, timeout_s: float) -> Reply | None:
        """Send one line and return its reply; None if none came in time. Replies to earlier lines are ignored.

        A reply with id 0 reports a line that the board could not read. It is this line, unless its answer follows soon.
        """
        self._id = self._id % LARGEST_ID + 1
        content = params.model_dump(by_alias=True)
        request = Request(id=self._id, method=method, params=content).model_dump(
            exclude=None if content else {"params"}
        )
        self._write(encode(request))
        deadline = time.monotonic() + timeout_s
        not_taken: Reply | None = None
        while True:
            for line in self._lines.take(self._read()):
                reply = self._reply(line)
                if reply is not None and reply.id == self._id:
                    return reply
                if reply is not None and reply.id == 0 and METHODS[method].repeatable:
                    not_taken = reply
                    deadline = min(deadline, time.monotonic() + _AFTER_S)
            if time.monotonic() >= deadline:
                return not_taken

    def _reply(self, line: bytes) -> Reply | None:
        try:
            reply = Reply.model_validate(decode(line))
        except (NotALine, ValidationError):
            reply = None
        if reply is None or (reply.result is None) == (reply.error is None):
            self._foreign = (self._foreign + line)[-200:] if line.strip() else self._foreign
            return None
        return reply

    def _validated(self, kind: type[ResultOf], result: dict[str, Any]) -> ResultOf:
        try:
            return kind.model_validate(result)
        except ValidationError as error:
            where = ".".join(str(part) for part in error.errors()[0]["loc"])
            raise self._unknown(f"answers with a {where} that this program does not know") from None

    def _unknown(self, what: str) -> OtherFirmware:
        allowed = "allowed: a board with Weldbeat, see `weldbeat flash --help` and `weldbeat ports`"
        return OtherFirmware(self.port, what, allowed)

    def _refusal(self, code: int, message: str) -> BoardRefused:
        if code == words.BUSY:
            allowed = "allowed: once the weld and its off time are over"
        elif code == words.OUT_OF_ORDER:
            allowed = "allowed: one program at a time; repeat the command"
        elif code == words.NO_SUCH_SCHEDULE:
            allowed = "allowed: a name that `weldbeat schedules` lists"
        elif code == words.BEYOND_LIMITS:
            allowed = "its limits are those of the welder file at its build; allowed: build and flash to change them"
        elif code == words.STORAGE:
            allowed = (
                "allowed: remove a schedule (`weldbeat schedules --remove NAME`); if that does not help, flash again"
            )
        elif code == words.UNKNOWN_METHOD:
            allowed = "the firmware is older than this program; allowed: build and flash it again"
        else:
            allowed = "nothing was changed"
        return BoardRefused(self.port, code, f"the board refuses: {message}", allowed)

    def _read(self) -> bytes:
        try:
            return self._serial.read(min(max(1, self._serial.in_waiting), _MOST_READ))
        except (OSError, TypeError):  # TypeError: pyserial, where the port was closed under it
            raise Unplugged(self.port, "went away", Unplugged.again) from None

    def _write(self, data: bytes) -> None:
        from serial import SerialTimeoutException

        try:
            self._serial.write(data)
        except SerialTimeoutException:
            raise self._silent("takes nothing") from None
        except OSError:
            raise Unplugged(self.port, "went away", Unplugged.again) from None


def wire_rows(table: TimingTable) -> list[Row]:
    """The rows of a table as sent over the link."""
    return [Row(PHASES.index(row.phase), row.half_cycles, board_delay_us(row), heat(row)) for row in table.rows]


def digest_of(schedule: BoardSchedule) -> str:
    """The digest of these rows, computed here."""
    lines = ["weldbeat 1", schedule.name, str(schedule.frequency_Hz)]
    lines += [f"{PHASES[row.phase]},{row.half_cycles},{row.delay_us},{row.heat}" for row in schedule.rows]
    return hashlib.sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest()[:16]
