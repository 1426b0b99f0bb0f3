"""The whole job in a real browser by the keyboard alone, with the emitted firmware under the real MicroPython as the board."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gen.records import Records
from gen.words import PEDAL
from tests.support.link.link_shop import MISSING
from tests.support.link.unix_board import UnixBoard
from tests.support.page.driven import driven, press, reach, sized, until
from tests.support.page.open_page import open_page

ENTER, SPACE, RIGHT, DOWN = "\ue007", " ", "\ue014", "\ue015"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with driven() as found:
        yield found


@pytest.mark.skipif(MISSING, reason="micropython_unix is not installed")
def test_the_whole_job_by_the_keyboard_alone(browser: Any, tmp_path: Path) -> None:
    """A folder with nothing in it, to a schedule on a board, a weld that was watched, trials, and a setting that is kept."""
    sized(browser, 1280)
    folder = tmp_path / "shop"
    folder.mkdir()
    with open_page(folder) as page, UnixBoard(tmp_path / "board") as board:
        browser.get(page.address)
        _describe_a_machine(browser)
        until(lambda: (folder / "first-weld.toml").exists())
        _turn_and_save(browser, folder)
        _onto_the_board(browser, board)
        board.inputs(PEDAL)
        until(lambda: browser.find_elements("xpath", "//td[. = 'completed' or . = 'stopped']"), 60)
        board.inputs(0)
        _a_joint_with_trials(browser, folder)


def _room(browser: Any, name: str) -> None:
    reach(browser, f"nav a[href='/{name}']")
    press(browser, ENTER)
    until(lambda: browser.execute_script("return location.pathname") == f"/{name}")


def _answered(browser: Any, css: str, *keys: str) -> None:
    """Answer a question; the questions that it calls for come before the next is reached."""
    reach(browser, css)
    press(browser, *keys)
    time.sleep(0.4)
    until(lambda: not browser.find_elements("css selector", ".htmx-request"))


def _describe_a_machine(browser: Any) -> None:
    until(lambda: browser.find_element("id", "interview"))
    _answered(browser, "#q-open-secondary", "2.4", "\t")
    _answered(browser, "#q-working-current", "22", "\t")
    _answered(browser, "#q-gate-drive", DOWN)
    for n in range(1, 8):
        _answered(browser, f"#q-fitted-{n}", SPACE)
    reach(browser, "button.first")
    press(browser, ENTER)
    until(lambda: browser.find_elements("css selector", "#seen table"), 60)


def _turn_and_save(browser: Any, folder: Path) -> None:
    _room(browser, "schedule")
    reach(browser, "a[href='/schedule/first-weld']")
    press(browser, ENTER)
    until(lambda: browser.find_elements("css selector", "#verdict .verdict"), 120)
    before = (folder / "first-weld.toml").read_text()
    reach(browser, "input[type=range][data-with$='-weld']")
    press(browser, RIGHT, RIGHT)
    reach(browser, "button.first")
    press(browser, ENTER)
    until(lambda: (folder / "first-weld.toml").read_text() != before, 60)


def _onto_the_board(browser: Any, board: UnixBoard) -> None:
    _room(browser, "board")
    reach(browser, "#port")
    press(browser, board.port)
    reach(browser, "button[hx-post='/board/build']")
    press(browser, ENTER)
    until(lambda: browser.find_elements("css selector", "#said button.first"), 120)
    reach(browser, "#said button.first")
    press(browser, ENTER)
    until(lambda: "ready" in browser.find_element("css selector", "#live .far").text, 180)
    reach(browser, "#send button.first")
    press(browser, ENTER)
    until(lambda: "read back and compared" in browser.find_element("id", "said").text, 120)
    time.sleep(1.5)  # it stores it, and locks to the mains again
    until(lambda: "ready" in browser.find_element("css selector", "#live .far").text, 60)


def _a_joint_with_trials(browser: Any, folder: Path) -> None:
    _room(browser, "joint")
    reach(browser, "#name")
    press(browser, "rungs")
    reach(browser, "#sizes")
    press(browser, "3, 3")
    reach(browser, "button.first")
    press(browser, ENTER)
    until(lambda: browser.execute_script("return location.pathname") == "/joint/rungs", 60)
    reach(browser, "a[href='/trials/rungs']")
    press(browser, ENTER)
    for n in range(1, 4):
        until(lambda: browser.find_elements("css selector", ".far"), 180)
        until(lambda n=n: f"Weld {n}:" in browser.find_element("id", "next").text, 180)  # type: ignore[misc]
        reach(browser, "button[value='tore parent']")
        press(browser, ENTER)
        until(lambda n=n: f"Trial {n} is noted" in browser.find_element("id", "next").text, 180)  # type: ignore[misc]
    reach(browser, "#next form button.first")
    press(browser, ENTER)
    until(lambda: (folder / "rungs-kept.toml").exists(), 180)
    with Records.beside(folder / "welder.toml") as records:
        assert len(records.trials("rungs")) == 3
        assert records.kept("rungs")
        assert records.welds()
