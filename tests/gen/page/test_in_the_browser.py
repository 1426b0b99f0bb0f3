"""The whole job in a real browser by the keyboard alone, with the emitted firmware under the real MicroPython as the board.

Besides: no page has what axe-core calls a violation, in light or dark; none is wider than a telephone; targets are 44 px.
"""

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
from tests.support.page.driven import driven, logged, press, reach, settled, sized, storm, until, violations
from tests.support.page.open_page import OpenPage, example, open_page

ENTER, SPACE, RIGHT, DOWN = "\ue007", " ", "\ue014", "\ue015"
PAGES = (
    "/machine",
    "/joint",
    "/joint/tabs",
    "/schedule",
    "/schedule/boot-scraper",
    "/board",
    "/commission",
    "/trials",
    "/trials/rungs",
    "/sheets",
)
# What a page shows once all that it loads is there.
LOADED = {
    "/schedule/boot-scraper": "#verdict .verdict",
    "/trials/rungs": ".far",
    "/machine": "#seen table",
    "/board": "#live p",
    "/commission": "#steps td",
}
TOO_SMALL = """
return [...document.querySelectorAll("a, button, input, select, summary")].filter((e) => {
  const r = e.getBoundingClientRect(), label = e.labels && e.labels[0] && e.labels[0].getBoundingClientRect();
  const inText = e.tagName === "A" && e.closest("p, figcaption") && !e.classList.contains("button");
  const high = Math.max(r.height, label && ["checkbox", "radio"].includes(e.type) ? 44 : 0);
  return r.width > 0 && e.type !== "hidden" && !inText && !e.classList.contains("skip") && high < 43.5;
}).map((e) => e.outerHTML.slice(0, 90));
"""

TYPED = """
const field = document.getElementById(arguments[0]);
field.value = arguments[1];
field.dispatchEvent(new Event("input", {bubbles: true}));
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with driven() as found:
        yield found


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    folder = example(tmp_path_factory.mktemp("machine"))
    (folder / "rungs.toml").write_text("rods_mm = [3, 3]\n")
    (folder / "tabs.toml").write_text("sheets_mm = [1, 1]\n")  # which the model computes sooner than rods
    with open_page(folder) as opened:
        yield opened


def test_every_page_at_every_width_in_both_themes(browser: Any, page: OpenPage) -> None:
    """No violation that axe-core knows, nothing wider than the window, nothing too small for a finger, nothing complained of.

    Each page is loaded once: width and theme are of the style sheets alone. The dark theme has other colours and no more.
    """
    browser.get(page.address)
    found: dict[str, Any] = {}
    for path in PAGES:
        sized(browser, 1280)
        browser.get(page.address.partition("/?")[0] + path)
        if path in LOADED:
            until(lambda path=path: browser.find_elements("css selector", LOADED[path]), 120)  # type: ignore[misc]
        for width in (1280, 800, 390):
            sized(browser, width)
            if browser.execute_script("return document.documentElement.scrollWidth") > width:
                found[f"{path} {width}"] = "too wide"
            if small := browser.execute_script(TOO_SMALL):
                found[f"{path} {width}"] = small
        for each in browser.find_elements("css selector", "details:not([open]) > summary"):
            browser.execute_script("arguments[0].parentNode.open = true", each)
        for dark in (False, True):
            sized(browser, 1280, dark)
            if wrong := violations(browser, "cat.color" if dark else ""):
                found[f"{path} {'dark' if dark else 'light'}"] = wrong
    assert found == {}
    assert [line for line in logged(browser) if "favicon" not in line] == []


def test_a_folded_table_opens_at_its_error_and_its_gist_goes(browser: Any, page: OpenPage) -> None:
    browser.get(page.address)
    browser.get(page.address.partition("/?")[0] + "/machine")
    until(lambda: browser.find_elements("css selector", "#seen table"), 60)
    browser.execute_script(TYPED, "fmains-voltage_V", "12")
    until(lambda: "from 90 to 480" in browser.find_element("id", "fmains-voltage_V-error").text, 60)
    mains = browser.find_element("css selector", "#machine details:has(#fmains-voltage_V)")
    until(lambda: mains.get_attribute("open"))
    assert mains.find_element("css selector", ".gist").get_attribute("textContent") == ""


def test_the_last_of_a_storm_is_shown_and_what_is_refused_is_marked_and_undone(browser: Any, page: OpenPage) -> None:
    sized(browser, 1280)
    browser.get(page.address)
    browser.get(page.address.partition("/?")[0] + "/schedule/boot-scraper")
    field = until(lambda: browser.find_element("id", "f2-current_percent"))
    until(lambda: browser.find_elements("css selector", "#seen svg"), 60)
    assert storm(browser, 1, 50) == 50
    until(lambda: settled(browser, page.folder), 60)
    before = field.get_attribute("value")
    field.clear()
    field.send_keys("120", ENTER)
    until(lambda: "from 1 to 100" in browser.find_element("id", "f2-current_percent-error").text, 60)
    until(lambda: field.get_attribute("aria-invalid") == "true")
    browser.execute_script("document.querySelector('[data-undo-button]').focus()")
    press(browser, ENTER, ENTER)  # emptying the field was a change of its own
    until(lambda: field.get_attribute("value") == before, 20)
    until(lambda: browser.find_element("id", "f2-current_percent-error").text == "", 60)


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
