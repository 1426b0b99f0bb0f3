"""What comes to an open page by itself: each change once, the last welds' curves as the command draws them, and an end."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gen.page.board_keeper import BoardSeen
from gen.page.live import LiveValue
from gen.records import Records
from tests.gen.cli.test_weld import gates_of, record
from tests.support.cli.command_line import WELDER, typed
from tests.support.page.open_page import OpenPage, open_page


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    folder = tmp_path_factory.mktemp("shop")
    (folder / "welder.toml").write_text(WELDER)
    with open_page(folder) as opened:
        yield opened


def test_what_has_not_changed_is_not_sent_again(page: OpenPage) -> None:
    live = page.desk.board.live
    with page.events("/board/events") as events:
        first = dict(next(events) for _ in range(3))
        assert set(first) == {"live", "welds", "held"}
        assert "No board is connected" in first["live"]
        live.set(BoardSeen(problem="<b>gone</b>"))
        name, content = next(events)
        assert name == "live"
        assert "&lt;b&gt;gone&lt;/b&gt;" in content
        live.set(BoardSeen(problem="<b>gone</b>", welds=(record(1),)))
        name, content = next(events)
        assert name == "welds"
        assert "completed" in content


def test_of_many_changes_in_a_moment_the_last_is_sent(page: OpenPage) -> None:
    """And they are bounded: whoever looks gets no more than some a second, however fast a board talks."""
    live = page.desk.board.live
    with page.events("/board/events") as events:
        for n in range(500):
            live.set(BoardSeen(problem=f"change {n} of them"))
        told = []
        for name, content in events:
            if name == "live":
                told.append(re.findall(r"change (\d+)", content))
                if told[-1] == ["499"]:
                    break
    assert len(told) < 50


def test_curves_are_those_of_the_command(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(page.folder)
    with Records(Path("records.sqlite")) as records:
        for number in (1, 2):
            records.add_welds([record(number)])
            records.add_curve(gates_of(number))
    page.desk.board.live.set(BoardSeen(welds=(record(2), record(1))))
    assert typed(["weld", "show", "7/2", "7/1", "-o", "welds.svg"]).code == 0
    drawn = page.get("/board/curves").text
    wide = Path("welds.svg").read_text()
    curves = re.findall(r'd="(M[^"]*)"', wide)
    assert len(curves) == 2
    assert all(curve in drawn for curve in curves)
    page.desk.board.live.set(BoardSeen(welds=(replace(record(4)),)))
    assert "timed no current" in page.get("/board/curves").text


def test_a_stream_ends_with_what_it_carries(page: OpenPage) -> None:
    """The page closes at once, and does not wait for whoever looks."""
    with page.events("/board/events") as events:
        next(events)
        page.desk.board.live.end()
        list(events)  # to its end


def test_whoever_watches_hears_of_each_change_until_it_does_not() -> None:
    live, heard = LiveValue(0), threading.Event()
    unwatch = live.watch(heard.set)
    live.set(1)
    assert heard.is_set()
    unwatch()
    heard.clear()
    live.set(2)
    assert not heard.is_set()
