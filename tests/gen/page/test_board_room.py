"""The board room against the emitted firmware under MicroPython's Unix port, on a pseudo-terminal, as in the link's own tests."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path

import pytest

from gen.firmware import render
from gen.job import read_job
from gen.link import Link
from gen.words import PEDAL
from gen.writing import write_bundle
from tests.support.link.link_shop import MISSING, OTHER, SCHEDULE, WELDER, replaced, typed
from tests.support.link.unix_board import UnixBoard
from tests.support.page.open_page import OpenPage, open_page

pytestmark = pytest.mark.skipif(MISSING, reason="micropython_unix is not installed")


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    folder = tmp_path_factory.mktemp("shop")
    (folder / "welder.toml").write_text(WELDER)
    (folder / "job.toml").write_text(SCHEDULE)
    (folder / "other.toml").write_text(OTHER)
    (folder / "slow.toml").write_text(replaced(SCHEDULE, '"20 cycles"', '"90 cycles"'))
    with open_page(folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def board(page: OpenPage, tmp_path_factory: pytest.TempPathFactory) -> Iterator[UnixBoard]:
    """A blank board; the tests below use it one after another, as a user would."""
    with UnixBoard(tmp_path_factory.mktemp("board")) as found:
        yield found
        page.post("/board/disconnect")


def live(page: OpenPage) -> str:
    return unescape(page.get("/board/live").text)


def until(page: OpenPage, words: str, seconds: float = 20) -> str:
    """Wait until the live part of the page says so."""
    deadline = time.monotonic() + seconds
    while words not in (told := live(page)):
        assert time.monotonic() < deadline, told
        time.sleep(0.1)
    return told


def wait(what: Callable[[], bool], seconds: float = 10) -> None:
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_0_a_firmware_that_the_command_refuses_to_flash_is_refused(
    page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a machine whose gate current nothing ends, built elsewhere: by the command's sentences, no port opened."""
    lacking = page.folder / "lacking.toml"
    lacking.write_text(replaced(WELDER, 'gate_drive = "one_shot"', 'gate_drive = "direct"'))
    write_bundle(page.folder / "firmware", read_job(page.folder / "job.toml", lacking).bundle)
    lacking.unlink()
    told = unescape(page.post("/board/flash", {"port": "/dev/nowhere"}).text)
    assert "Nothing was sent." in told
    monkeypatch.chdir(page.folder)
    by_command = typed(["flash", "firmware", "/dev/nowhere", "--json"])
    assert by_command.code == 1
    refused = [each for each in json.loads(by_command.out)["cut_off"]["findings"] if each["severity"] == "refuse"]
    assert refused
    for each in refused:
        assert f"{each['name']}: {each['says']} {each['advice']}".rstrip() in told


def test_1_flash_a_blank_board(page: OpenPage, board: UnixBoard) -> None:
    """Cautions and what is replaced come first, and nothing is on the board before the second button."""
    asked = unescape(page.post("/board/build", {"schedule": "job", "port": board.port, "pace": "4"}).text)
    assert "The board holds no files." in asked
    assert "This software is no emergency stop" in asked
    assert list(board.flash.iterdir()) == []
    page.post("/board/flash", {"port": board.port})
    told = until(page, "main.py copied last", 60)
    assert re.search(r"app/\w+\.py", told)
    until(page, "ready", 30)
    with pytest.raises(Exception, match="busy"), Link(board.port):
        pass  # the page has the port to itself


def test_2_push_and_select(page: OpenPage, board: UnixBoard) -> None:
    told = unescape(page.post("/board/push", {"schedule": "other", "pace": "4"}).text)
    digest = read_job(page.folder / "other.toml", page.folder / "welder.toml").table.digest
    assert f"digest {digest}, read back and compared" in told
    assert "The next weld is job." in told
    assert digest in until(page, digest)
    assert "The next weld is other." in page.post("/board/select", {"name": "other"}).text
    assert "Removed from the board: job." in page.post("/board/remove", {"name": "job"}).text
    refused = page.post("/board/remove", {"name": "other"})
    assert refused.status == 422
    assert "the board refuses" in refused.text


def test_3_what_the_verdict_refuses_is_not_sent(page: OpenPage, board: UnixBoard) -> None:
    before = live(page)
    told = page.post("/board/push", {"schedule": "slow", "pace": "60"}).text
    assert "Nothing was sent." in told
    assert "slow" not in re.findall(r"<td>(\w+)</td><td><code>", before + live(page))


def test_4_a_weld_comes_and_the_next_is_stopped(page: OpenPage, board: UnixBoard) -> None:
    page.post("/board/push", {"schedule": "slow", "pace": "1", "select": "yes"})
    until(page, "<dd>slow</dd>")
    time.sleep(1)  # it stores it, and locks to the mains again
    until(page, "ready")
    weld_until(page, board, "completed", lambda: None)

    def stop() -> None:
        time.sleep(1.2)
        assert "not an emergency stop" in page.post("/board/stop").text

    told = weld_until(page, board, "stopped", stop)
    planned = re.findall(r"<td>stopped</td><td>(\d+)</td><td>(\d+)</td>", told)
    assert 0 < int(planned[0][0]) < int(planned[0][1])


def weld_until(page: OpenPage, board: UnixBoard, ending: str, meanwhile: Callable[[], None]) -> str:
    """Weld until one ends so. On a busy computer a step of the board may come late, and a late step ends a weld."""
    for _ in range(5):
        before = live(page).count("<td>188</td>")  # half-cycles planned, of every weld listed
        until(page, "ready")
        time.sleep(0.3)
        board.inputs(PEDAL)
        meanwhile()
        wait(lambda before=before: live(page).count("<td>188</td>") > before, 30)  # type: ignore[misc]
        board.inputs(0)
        time.sleep(0.3)
        if f"<td>{ending}</td>" in (told := live(page)):
            return told
    raise AssertionError(told)


def test_5_pulled_out_while_watched(page: OpenPage, board: UnixBoard, tmp_path: Path) -> None:
    job = read_job(page.folder / "job.toml", page.folder / "welder.toml")
    built = UnixBoard(tmp_path)
    render(job.table, job.welder, job.board).write(built.flash)
    with built as other:
        page.post("/board/connect", {"port": other.port})
        until(page, "ready", 30)
        other.unplug_when = lambda: True
        assert f"{other.port}: went away" in until(page, "went away")
        answer = page.post("/board/push", {"schedule": "other"})
        assert answer.status == 422
        assert "not connected" in answer.text
        other.plug_in()
        page.post("/board/connect", {"port": other.port})
        until(page, "ready", 30)
        least = other.to_board + 700
        other.unplug_when = lambda: other.to_board > least
        answer = page.post("/board/push", {"schedule": "other"})
        assert answer.status == 422
        assert "went away" in unescape(answer.text)
        other.plug_in()
        page.post("/board/connect", {"port": other.port})
        assert "other" not in re.findall(r"<td>(\w+)</td><td><code>", until(page, "ready", 30))
        page.post("/board/disconnect")


def test_6_a_flash_that_is_cut_short_says_how_to_go_on(page: OpenPage, board: UnixBoard) -> None:
    page.post("/board/build", {"schedule": "other", "port": board.port})
    board.unplug_when = lambda: not (board.flash / "main.py").exists()
    page.post("/board/flash", {"port": board.port})
    told = until(page, "flashing was not finished", 60)
    assert "the board is off until this is done" in told
    board.plug_in()
    starts = board.starts
    board.power_cut()
    wait(lambda: board.starts > starts)
    assert page.post("/board/build", {"schedule": "other", "port": board.port}).status == 200
    page.post("/board/flash", {"port": board.port})
    until(page, "ready", 60)


def test_7_another_program_that_has_the_port_is_reported(page: OpenPage, board: UnixBoard) -> None:
    page.post("/board/disconnect")
    with Link(board.port):
        told = unescape(page.post("/board/connect", {"port": board.port}).text)
        assert f"{board.port}: busy; allowed: close the other program" in told


@pytest.mark.parametrize(
    ("port", "words"),
    [
        ("/dev/ttyNONE", "no such port"),
        ("/etc/hostname", "not a serial port"),
        ("", "missing"),
        ("a\0b", "not a serial port"),
    ],
)
def test_8_what_is_no_board_is_one_sentence(page: OpenPage, board: UnixBoard, port: str, words: str) -> None:
    assert words in page.post("/board/connect", {"port": port}).text


def test_9_names_are_checked(page: OpenPage, board: UnixBoard) -> None:
    for path in ("/board/select", "/board/remove"):
        for name in ("", "../x", "<b>", "x" * 40):
            answer = page.post(path, {"name": name})
            assert answer.status == 422
            assert "<b>" not in answer.text
