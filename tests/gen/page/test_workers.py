"""What is computed beside the page is given up when it is not wanted any more, wherever it stands."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from gen.page.workers import Superseded, WorkerLane


def complaining_to(path: Path) -> None:
    """From now on what the process complains of goes into a file."""
    os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT), 2)


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


def test_a_stop_that_a_generator_swallows_is_heard_after_it(tmp_path: Path) -> None:
    lane = WorkerLane()
    answers: list[object] = []

    def superseded() -> None:
        with pytest.raises(Superseded):
            lane.run("one", stubborn)
        answers.append("given up")

    def asked_anew() -> None:
        answers.append(lane.run("one", ready))

    try:
        lane.run("one", complaining_to, tmp_path / "complaints")
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
    assert "Traceback" not in (tmp_path / "complaints").read_text()
