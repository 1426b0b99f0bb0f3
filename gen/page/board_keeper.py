"""The page's connection to the board: one thread holds the port, polls the board, and runs requests in between."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from gen.errors import InputError
from gen.firmware import FirmwareBundle
from gen.link import Link, LinkError, Watch
from gen.link.flashing import OnBoard, flash
from gen.link.messages import Hello, Schedules, Status
from gen.page.live import LiveValue
from gen.page.texts import text
from gen.records import Records, WeldRecord

T = TypeVar("T")
_PAUSE_S = 0.25
_PATIENCE_S = 15.0
_ANSWER_S = 30.0  # time-out of a request to the thread: a push writes the board's flash twice
_MOST_WELDS = 64  # the number that the board keeps
_MOST_LINES = 60  # lines kept of a flash's progress


@dataclass(frozen=True)
class BoardSeen:
    """The present state of the connection. `status` is None during a weld or without a board. `problem`: the reason."""

    port: str = ""
    connected: bool = False
    problem: str = ""
    hello: Hello | None = None
    status: Status | None = None
    silent_s: float = 0.0
    schedules: Schedules | None = None
    welds: tuple[WeldRecord, ...] = ()  # the newest first
    flashing: bool = False
    progress: tuple[str, ...] = ()


@dataclass
class _Order:
    do: Callable[[Link, Records], Any]
    result: Future[Any]


class BoardKeeper:
    """Holds at most one port, from `connect` to `disconnect` or until the board goes away."""

    def __init__(self, welder: Path) -> None:
        self._welder = welder
        self.live = LiveValue(BoardSeen())
        self._orders: queue.SimpleQueue[_Order] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._end = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def seen(self) -> BoardSeen:
        return self.live.value

    def connect(self, port: str) -> None:
        """Open the port, and close another one first. The result is in `seen`."""
        self.disconnect()
        self._end = threading.Event()
        self._see(BoardSeen(port=port))
        self._thread = threading.Thread(target=self._keep, args=(port, self._end), daemon=True)
        self._thread.start()

    def disconnect(self) -> None:
        """Close the port."""
        self._end.set()
        if self._thread is not None:
            self._thread.join(_PATIENCE_S + 5)
            self._thread = None
        self._see(BoardSeen(port=self.seen.port))

    def ask(self, do: Callable[[Link, Records], T]) -> T:
        """The result of `do`, run by the thread that holds the port. Raises InputError, also where no board is connected."""
        if not self.seen.connected:
            raise InputError(text("board.board"), "not connected", None, text("board.connect_first"))
        order = _Order(do, Future())
        self._orders.put(order)
        found: T = order.result.result(_ANSWER_S)
        return found

    def stop(self) -> None:
        """Send the stop line as soon as the thread can. It is no emergency stop."""
        self._stopping.set()

    def flash(self, port: str, bundle: FirmwareBundle, on_board: OnBoard) -> None:
        """Flash a firmware, with its progress in `seen`; then connect again."""
        self.disconnect()
        self._see(BoardSeen(port=port, flashing=True))
        self._thread = threading.Thread(target=self._flash, args=(port, bundle, on_board), daemon=True)
        self._thread.start()

    def _flash(self, port: str, bundle: FirmwareBundle, on_board: OnBoard) -> None:
        def progress(line: str) -> None:
            self._see(replace(self.seen, progress=(*self.seen.progress, line)[-_MOST_LINES:]))

        try:
            flash(port, bundle, on_board, progress=progress)
        except InputError as error:
            self._see(replace(self.seen, flashing=False, problem=str(error)))
            return
        progress(text("board.flashed"))
        self._see(replace(self.seen, flashing=False))
        self._end = threading.Event()
        self._keep(port, self._end)

    def _keep(self, port: str, end: threading.Event) -> None:
        """The thread: poll the board until `end` is set or the board is lost."""
        try:
            with Link(port, _PATIENCE_S) as link, Records.beside(self._welder) as records:
                watch = Watch(link, records)
                welds = watch.begin()
                self._see(
                    replace(
                        self.seen, connected=True, hello=link.hello, schedules=link.schedules(), welds=_newest(welds)
                    )
                )
                while not end.is_set():
                    self._once(link, watch, records)
                    end.wait(_PAUSE_S)
        except InputError as error:
            self._see(BoardSeen(port=port, problem=str(error), progress=self.seen.progress, welds=self.seen.welds))
        finally:
            self._refuse()

    def _once(self, link: Link, watch: Watch, records: Records) -> None:
        if self._stopping.is_set():
            self._stopping.clear()
            watch.stop()
        while not self._orders.empty():
            order = self._orders.get()
            try:
                order.result.set_result(order.do(link, records))
                self._see(replace(self.seen, schedules=link.schedules()))
            except LinkError as error:
                order.result.set_exception(error)
            except InputError as error:
                order.result.set_exception(error)
        look = watch.look()
        if look is not None:
            welds = (*reversed(look.welds), *self.seen.welds)[:_MOST_WELDS]
            self._see(replace(self.seen, status=look.status, silent_s=look.silent_s, welds=welds))

    def _refuse(self) -> None:
        """Fail the requests that wait for a lost board."""
        while not self._orders.empty():
            gone = InputError(self.seen.port or text("board.board"), "not connected", None, text("board.connect_first"))
            self._orders.get().result.set_exception(gone)

    def _see(self, seen: BoardSeen) -> None:
        self.live.set(seen)


def _newest(welds: tuple[WeldRecord, ...]) -> tuple[WeldRecord, ...]:
    return tuple(reversed(welds))[:_MOST_WELDS]


def waited(seconds: float, until: Callable[[], bool]) -> bool:
    """Wait until the condition holds, `seconds` at most. Returns whether it holds."""
    deadline = time.monotonic() + seconds
    while not until() and time.monotonic() < deadline:
        time.sleep(0.05)
    return until()
