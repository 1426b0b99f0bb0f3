"""Work shared out to processes beside this one, each ended at once when whoever waits presses Ctrl-C."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing import get_context, resource_tracker
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess
from typing import Any, Protocol, TypeVar

T = TypeVar("T")
Made = TypeVar("Made", covariant=True)


class WorkPlan(Protocol[Made]):
    """The plan sent to every worker, which makes a result for each number."""

    def judged(self, number: int, /) -> Made: ...


class WorkerLost(Exception):
    """A process was ended from outside."""


def by_workers(plan: WorkPlan[T], chunks: Sequence[range], workers: int, made: Callable[[int], None]) -> list[T]:
    """The results of `plan` for the numbers of all chunks, in order. `made` is called with the number newly done.

    Each worker has its own pipe, so that it can be ended at any time. Raises WorkerLost.
    """
    context = get_context("spawn")
    waiting = iter(enumerate(chunks))
    found: dict[int, list[T]] = {}
    begun: dict[Any, SpawnProcess] = {}  # by our end of the pipe
    try:
        with _one_thread_each(), _ctrl_c_held_back():
            for _ in range(min(workers, len(chunks))):
                ours, theirs = context.Pipe()
                worker = context.Process(target=_work, args=(theirs,), daemon=True)
                worker.start()
                theirs.close()
                begun[ours] = worker
        for ours in begun:
            ours.send(plan)
            ours.send(next(waiting))
        busy: list[Any] = list(begun)
        while busy:
            ready: list[Any] = wait(busy)
            for ours in ready:
                number, rows = ours.recv()
                found[number] = rows
                made(len(rows))
                task = next(waiting, None)
                ours.send(task)
                if task is None:
                    busy.remove(ours)
    except (EOFError, ConnectionError):
        raise WorkerLost from None
    finally:  # whoever pressed Ctrl-C does not wait for the rest
        for ours, worker in begun.items():
            ours.close()
            worker.terminate()
            worker.join()
    return [row for number in range(len(chunks)) for row in found[number]]


def _work(pipe: Any) -> None:
    """One worker: do the chunks that are sent after the plan, until there is none or whoever sent them is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(EOFError, ConnectionError):
        plan: WorkPlan[Any] = pipe.recv()
        while (task := pipe.recv()) is not None:
            number, chunk = task
            pipe.send((number, [plan.judged(each) for each in chunk]))


@contextmanager
def _ctrl_c_held_back() -> Iterator[None]:
    """Processes begun here do not hear Ctrl-C, which a terminal sends to all alike; who began them hears it afterwards."""
    if threading.current_thread() is not threading.main_thread():  # which alone hears it
        yield
        return
    pressed: list[int] = []
    masks = hasattr(signal, "pthread_sigmask")
    if masks:
        resource_tracker.ensure_running()  # the first process begun would begin it, and that lets the signal through
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    handler = signal.signal(signal.SIGINT, lambda *_: pressed.append(1))  # numpy's threads are not behind the mask
    try:
        yield
    finally:
        if masks:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        signal.signal(signal.SIGINT, handler)
    if pressed:
        raise KeyboardInterrupt


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Workers begun here leave the other processors to one another: numpy would take them all for a small matrix."""
    name = "OPENBLAS_NUM_THREADS"
    before = os.environ.get(name)
    os.environ[name] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before
