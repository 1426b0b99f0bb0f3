"""Computations beside the page: a few processes, each doing one thing at a time, so that no answer waits for a simulation.

What is asked anew of the same subject ends what was asked before, wherever it stands.
"""

from __future__ import annotations

import _thread
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import IO, Any, TypeVar

from gen.errors import InputError

T = TypeVar("T")
_AGAIN_S = 0.05
_PATIENCE_S = 5.0  # for the thread that waits for a process to see that it is gone


class Superseded(Exception):
    """A newer thing was asked of the same subject, or the page was closed."""


@dataclass(eq=False)
class _Asked:
    """One thing that is asked of a lane."""

    number: int
    subject: str
    superseded: bool = field(default=False)


class WorkerLane:
    """One process, started when it is first needed."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._waiting: list[_Asked] = []
        self._running: _Asked | None = None
        self._number = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._closed = False

    def run(self, subject: str, function: Callable[..., T], *args: Any) -> T:
        """What `function`, which stands in a module, makes of `args`; both go to the process and the answer comes back.

        Raises InputError as the function does, and Superseded.
        """
        asked = self._begin(subject)
        try:
            try:
                with self._changed:
                    process = self._started()
                    _send(process.stdin, ("do", asked.number, function, args))
                kind, answer = pickle.load(process.stdout)  # type: ignore[arg-type]
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
        """End the process, and what it was doing."""
        with self._changed:
            self._closed = True
            for waiting in self._waiting:
                waiting.superseded = True
            self._changed.notify_all()
            if self._process is not None:
                self._process.kill()
            self._changed.wait_for(lambda: self._running is None, _PATIENCE_S)
            self._end()

    def _end(self) -> None:
        """Let go of a process that is no more, or is not to be."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for pipe in (self._process.stdin, self._process.stdout):
                with suppress(OSError, AttributeError):
                    pipe.close()  # type: ignore[union-attr]
            self._process = None

    def _begin(self, subject: str) -> _Asked:
        """Wait for its turn. Raises Superseded where there comes none."""
        with self._changed:
            self._number += 1
            asked = _Asked(self._number, subject)
            for older in (*self._waiting, *([self._running] if self._running else [])):
                if older.subject == subject:
                    older.superseded = True
            if self._running is not None and self._running.superseded and self._process is not None:
                with suppress(OSError):
                    _send(self._process.stdin, ("stop", self._running.number))
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

    def _started(self) -> subprocess.Popen[bytes]:
        if self._closed:
            raise Superseded
        if self._process is None:
            # Where this process finds the program, the other must, too.
            paths = os.pathsep.join(path or os.getcwd() for path in sys.path)
            self._process = subprocess.Popen(
                [sys.executable, "-c", "from gen.page.workers import work; work()"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=os.environ | {"PYTHONPATH": paths},
            )
        return self._process


def _send(pipe: IO[bytes] | None, message: object) -> None:
    if pipe is not None:
        pipe.write(pickle.dumps(message))
        pipe.flush()


class Workers:
    """Three lanes: `quick` answers while a slider is turned, `slow` simulates, `model` computes the joint.

    The third is started when it is first needed.
    """

    def __init__(self) -> None:
        self.quick = WorkerLane()
        self.slow = WorkerLane()
        self.model = WorkerLane()

    def warm(self) -> None:
        """Start the first two, and let them load what takes long to import."""
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
    """Import what the computations need."""
    import gen.page.computed  # noqa: F401


class _Stopped(BaseException):
    """What is computed is not wanted any more."""


def work() -> None:
    """The process: do one thing after the other. A Ctrl-C in the terminal is the page's to heed, not ours."""
    asked, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what anything prints must not stand between the answers
    inbox: queue.SimpleQueue[tuple[int, Callable[..., Any], tuple[Any, ...]]] = queue.SimpleQueue()
    lock = threading.Lock()
    current = 0
    unwanted: set[int] = set()

    def interrupted(*_: object) -> None:
        if current in unwanted:
            raise _Stopped

    def unraisable(found: sys.UnraisableHookArgs) -> None:
        if found.exc_type is _Stopped:
            # It fell into the end of a generator, which swallows it: once more, when that end and this are behind.
            threading.Timer(_AGAIN_S, _thread.interrupt_main).start()
        else:
            sys.__unraisablehook__(found)

    def listen() -> None:
        while True:
            try:
                kind, *rest = pickle.load(asked)
            except (EOFError, OSError):
                os._exit(0)  # the page is gone
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
        _send(answers, answer)
