"""The pages in a real browser.

No page has what axe-core calls a violation, in light or dark; none is wider than a telephone; targets are 44 px.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.support.page.driven import driven, logged, press, settled, sized, storm, until, violations
from tests.support.page.open_page import OpenPage, example, open_page

ENTER = "\ue007"
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
