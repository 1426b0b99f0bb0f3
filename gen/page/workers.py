"""Worker processes for computations, one computation at a time each, so that no response waits for a simulation.

A new computation of a subject cancels the earlier one of the same subject.
"""

from __future__ import annotations

import _thread
import os
import pickle
import queue
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from gen.errors import InputError

T = TypeVar("T")
_AGAIN_S = 0.05
_PATIENCE_S = 5.0  # time for a waiting thread to notice that its process has ended
# On Linux the modules are imported once, by a process out of which every worker is forked. Elsewhere a fork is not safe.
_CONTEXT: Any = get_context("forkserver" if sys.platform == "linux" else "spawn")
if sys.platform == "linux":
    _CONTEXT.set_forkserver_preload(["gen.page.computed"])


class Superseded(Exception):
    """A newer computation of the same subject was requested, or the page was closed."""


@dataclass(eq=False)
class _Asked:
    """One request to a lane."""

    number: int
    subject: str
    superseded: bool = field(default=False)


class WorkerLane:
    """One worker process, started when first needed."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._waiting: list[_Asked] = []
        self._running: _Asked | None = None
        self._number = 0
        self._process: tuple[BaseProcess, Connection] | None = None  # with our end of its pipe
        self._closed = False

    def run(self, subject: str, function: Callable[..., T], *args: Any) -> T:
        """The result of `function(*args)`, computed by the process. `function` must be defined at module level.

        Raises InputError as the function does, and Superseded.
        """
        asked = self._begin(subject)
        try:
            try:
                pipe = self._started()
                with self._changed:
                    pipe.send(("do", asked.number, function, args))
                kind, answer = pipe.recv()
            except (EOFError, OSError, pickle.UnpicklingError):
                with self._changed:
                    self._end()
                raise Superseded from None
        finally:
            with self._changed:
                self._running = None
                self._changed.notify_all()
        if kind == "stopped" or (kind == "done" and asked.superseded):
            raise Superseded
        if kind == "wrong":
            raise InputError(*answer)
        if kind == "failed":
            raise answer
        found: T = answer
        return found

    def close(self) -> None:
        """End the process and its computation."""
        with self._changed:
            self._closed = True
            for waiting in self._waiting:
                waiting.superseded = True
            self._changed.notify_all()
            if self._process is not None:
                self._process[0].kill()
            self._changed.wait_for(lambda: self._running is None, _PATIENCE_S)
            self._end()

    def _end(self) -> None:
        """Kill the process, if it still runs, and close our end of its pipe."""
        if self._process is not None:
            process, pipe = self._process
            process.kill()
            process.join()
            pipe.close()
            self._process = None

    def _begin(self, subject: str) -> _Asked:
        """Wait for the request's turn. Raises Superseded where it is cancelled first."""
        with self._changed:
            self._number += 1
            asked = _Asked(self._number, subject)
            for older in (*self._waiting, *([self._running] if self._running else [])):
                if older.subject == subject:
                    older.superseded = True
            if self._running is not None and self._running.superseded and self._process is not None:
                with suppress(OSError):
                    self._process[1].send(("stop", self._running.number))
            self._waiting.append(asked)
            self._changed.notify_all()
            while not (asked.superseded or self._closed or (self._running is None and self._waiting[0] is asked)):
                self._changed.wait()
            self._waiting.remove(asked)
            self._changed.notify_all()
            if asked.superseded or self._closed:
                raise Superseded
            self._running = asked
            return asked

    def _started(self) -> Connection:
        """Our end of the process's pipe. Only the running request asks for it, so that no lock is held while one starts."""
        with self._changed:
            if self._closed:
                raise Superseded
            if self._process is not None:
                return self._process[1]
        ours: Connection
        ours, theirs = _CONTEXT.Pipe()
        process: BaseProcess = _CONTEXT.Process(target=work, args=(theirs, dict(os.environ)), daemon=True)
        process.start()
        theirs.close()
        with self._changed:
            self._process = process, ours
            if self._closed:
                self._end()
                raise Superseded
        return ours


class Workers:
    """Three lanes: `quick` for sliders, `slow` for simulations, `model` for the joint model.

    The third is started when first needed.
    """

    def __init__(self) -> None:
        self.quick = WorkerLane()
        self.slow = WorkerLane()
        self.model = WorkerLane()

    def warm(self) -> None:
        """Start the first two, and let them import the slow modules."""
        for lane in (self.quick, self.slow):
            threading.Thread(target=_warm, args=(lane,), daemon=True).start()

    def close(self) -> None:
        """End them all."""
        self.quick.close()
        self.slow.close()
        self.model.close()


def _warm(lane: WorkerLane) -> None:
    try:
        lane.run("warm", load)
    except Superseded:
        return


def load() -> None:
    """Import the modules of the computations."""
    import gen.page.computed  # noqa: F401


class _Stopped(BaseException):
    """The computation is cancelled."""


def work(pipe: Connection, environment: Mapping[str, str]) -> None:
    """The worker process: compute request after request. A Ctrl-C in the terminal is left to the page's process."""
    os.environ.clear()  # it was forked from a process that may have begun in another
    os.environ.update(environment)
    inbox: queue.SimpleQueue[tuple[int, Callable[..., Any], tuple[Any, ...]]] = queue.SimpleQueue()
    lock = threading.Lock()
    current = 0
    unwanted: set[int] = set()

    def interrupted(*_: object) -> None:
        if current in unwanted:
            raise _Stopped

    def unraisable(found: sys.UnraisableHookArgs) -> None:
        if found.exc_type is _Stopped:
            # It was raised in the closing of a generator, which discards it. Raise it again afterwards.
            threading.Timer(_AGAIN_S, _thread.interrupt_main).start()
        else:
            sys.__unraisablehook__(found)

    def listen() -> None:
        while True:
            try:
                kind, *rest = pipe.recv()
            except (EOFError, OSError):
                os._exit(0)  # the page's process has ended
            if kind == "do":
                inbox.put((rest[0], rest[1], rest[2]))
                continue
            with lock:
                unwanted.add(rest[0])
                if current == rest[0]:
                    _thread.interrupt_main()

    signal.signal(signal.SIGINT, interrupted)
    sys.unraisablehook = unraisable
    threading.Thread(target=listen, daemon=True).start()
    while True:
        number, function, args = inbox.get()
        answer: tuple[str, Any]
        try:
            try:
                with lock:
                    current = number
                answer = ("stopped", None) if number in unwanted else ("done", function(*args))
            except InputError as error:
                answer = ("wrong", (error.where, error.key, error.given, error.allowed))
            except Exception as error:
                answer = ("failed", RuntimeError(f"{type(error).__name__}: {error}"))
            with lock:
                current = 0
        except _Stopped:
            current = 0
            answer = ("stopped", None)
        unwanted.discard(number)
        pipe.send(answer)
