"""What is computed beside the page is given up when it is not wanted any more, wherever it stands."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

from gen.page.workers import Superseded, WorkerLane


def ready() -> str:
    return "ready"


def stubborn() -> None:
    """Busy for ever, at first in the end of a generator, out of which Python lets no error."""

    def ends_slowly() -> Iterator[None]:
        try:
            yield
        finally:
            until = time.monotonic() + 1.5
            while time.monotonic() < until:
                pass

    begun = ends_slowly()
    next(begun)
    del begun
    while True:
        pass


def test_a_stop_that_a_generator_swallows_is_heard_after_it(capfd: pytest.CaptureFixture[str]) -> None:
    lane = WorkerLane()
    answers: list[object] = []

    def superseded() -> None:
        with pytest.raises(Superseded):
            lane.run("one", stubborn)
        answers.append("given up")

    def asked_anew() -> None:
        answers.append(lane.run("one", ready))

    try:
        assert lane.run("one", ready) == "ready"
        threads = [threading.Thread(target=each, daemon=True) for each in (superseded, asked_anew)]
        threads[0].start()
        time.sleep(0.5)
        threads[1].start()
        for thread in threads:
            thread.join(15)
        assert sorted(map(str, answers)) == ["given up", "ready"]
    finally:
        lane.close()
    assert "Traceback" not in capfd.readouterr().err
