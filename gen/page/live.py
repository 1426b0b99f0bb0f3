"""Values that change while they are displayed, and their streams to open pages as server-sent events."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from typing import Generic, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response, StreamingResponse

T = TypeVar("T")
_LEAST_S = 0.1  # least time between two events; changes in between are sent together
_BEAT_S = 10.0  # time after which an empty line is sent, so that a lost reader is noticed


class LiveValue(Generic[T]):
    """A value that one thread changes and others watch. `end` ends its streams."""

    def __init__(self, value: T) -> None:
        self._lock = threading.Lock()
        self._value = value
        self._heard: list[Callable[[], None]] = []
        self._ended = False

    @property
    def value(self) -> T:
        with self._lock:
            return self._value

    @property
    def ended(self) -> bool:
        return self._ended

    def set(self, value: T) -> None:
        """Set the value, and notify the watchers."""
        with self._lock:
            self._value = value
            heard = tuple(self._heard)
        for tell in heard:
            tell()

    def end(self) -> None:
        """Mark the value as final, and notify the watchers."""
        self._ended = True
        self.set(self.value)

    def watch(self, tell: Callable[[], None]) -> Callable[[], None]:
        """Have `tell` called after each change. The function returned ends that."""
        with self._lock:
            self._heard.append(tell)

        def unwatch() -> None:
            with self._lock:
                self._heard.remove(tell)

        return unwatch


def event_stream(live: LiveValue[T], drawn: Callable[[T], Mapping[str, str]]) -> Response:
    """A streaming response: the parts that `drawn` makes of the value, first all of them, then each changed part."""
    return StreamingResponse(_events(live, drawn), media_type="text/event-stream")


async def _events(live: LiveValue[T], drawn: Callable[[T], Mapping[str, str]]) -> AsyncIterator[str]:
    changed, loop = asyncio.Event(), asyncio.get_running_loop()

    def tell() -> None:
        loop.call_soon_threadsafe(changed.set)

    unwatch, sent = live.watch(tell), dict[str, str]()
    try:
        while not live.ended:
            changed.clear()
            for name, content in (await run_in_threadpool(drawn, live.value)).items():
                if sent.get(name) != content:
                    sent[name] = content
                    yield _event(name, content)
            try:
                await asyncio.wait_for(changed.wait(), _BEAT_S)
            except TimeoutError:
                yield ":\n\n"
            await asyncio.sleep(_LEAST_S)
    finally:
        unwatch()


def _event(name: str, content: str) -> str:
    """One event in the format of the HTML standard, section 9.2 (server-sent events)."""
    lines = "".join(f"data: {line}\n" for line in content.splitlines() or [""])
    return f"event: {name}\n{lines}\n"
