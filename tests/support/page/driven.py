"""A real browser, driven: Debian's Chromium by its own driver, with the keyboard alone, and axe-core run in its pages."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from gen.job import find_welder, make_job
from gen.schedule import schedule_from
from tests.support.browser import browser

AXE = Path(__file__).with_name("axe.min.js")


@contextmanager
def driven() -> Iterator[Any]:
    """A browser without a window; left out where selenium or the driver is missing."""
    webdriver = pytest.importorskip("selenium.webdriver")
    chromedriver = shutil.which("chromedriver")
    if chromedriver is None:
        pytest.skip("chromedriver is not installed (apt-get install chromium-driver)")
    options = webdriver.ChromeOptions()
    options.binary_location = browser()
    for word in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--no-first-run",
        "--disable-background-networking",
    ):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    found = webdriver.Chrome(options=options, service=webdriver.ChromeService(chromedriver))
    try:
        yield found
    finally:
        found.quit()


def sized(driver: Any, width: int, dark: bool = False) -> None:
    """A window of this width, in the light or the dark theme."""
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    theme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [theme]})


def until(what: Callable[[], Any], seconds: float = 60) -> Any:
    """Wait until something is so, and return it; the page may change while it is asked."""
    deadline = time.monotonic() + seconds
    last: object = None
    while time.monotonic() < deadline:
        try:
            if found := what():
                return found
        except Exception as error:
            last = error
        time.sleep(0.05)
    raise AssertionError(f"not within {seconds} s: {last}")


def press(driver: Any, *keys: str) -> None:
    """Type on the keyboard, wherever the focus is."""
    from selenium.webdriver import ActionChains

    actions = ActionChains(driver)
    for key in keys:
        actions = actions.send_keys(key)
    actions.perform()


# About how many Tabs lie between the focus and what is wanted, less a few.
AHEAD = """
const stops = [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex='0']")].filter((e) =>
  !e.disabled && e.type !== "hidden" && e.checkVisibility({visibilityProperty: true}) && (e.type !== "radio" || e.checked));
const wanted = document.querySelector(arguments[0]);
return Math.max(0, stops.indexOf(wanted) - stops.indexOf(document.activeElement) - 4);
"""


def reach(driver: Any, css: str, most: int = 400) -> None:
    """Press Tab until what `css` selects has the focus: most of the way at one go, the rest key by key."""
    from selenium.webdriver.common.keys import Keys

    press(driver, *[Keys.TAB] * driver.execute_script(AHEAD, css))
    for _ in range(most):
        if driver.execute_script("return document.activeElement.matches(arguments[0])", css):
            return
        press(driver, Keys.TAB)
    raise AssertionError(f"the keyboard does not reach {css}")


def violations(driver: Any, category: str = "") -> list[str]:
    """What axe-core finds wrong with the page as it stands, each with its first places; of one category of its rules, or all."""
    if not driver.execute_script("return typeof axe !== 'undefined'"):
        driver.execute_script(AXE.read_text(encoding="utf-8"))
    driver.set_script_timeout(120)
    found = driver.execute_async_script(
        "const [category, done] = arguments, options = {resultTypes: ['violations']};"
        "if (category) options.runOnly = {type: 'tag', values: [category]};"
        "axe.run(document, options).then((r) => done(r.violations), (e) => done([{id: String(e)}]));",
        category,
    )
    return [f"{each['id']}: {[node['target'] for node in each.get('nodes', [])][:3]}" for each in found]


def logged(driver: Any) -> list[str]:
    """What the browser has complained of since it was asked last."""
    return [entry["message"] for entry in driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]


STORM = """
const [count, each_ms, done] = arguments, slider = document.getElementById("f2-current_percent-slider");
let n = 0;
const timer = setInterval(() => {
  slider.value = 45 + (n * 7) % 50;
  slider.dispatchEvent(new Event("input", {bubbles: true}));
  if (++n === count) { clearInterval(timer); done(n); }
}, each_ms);
"""


def storm(driver: Any, seconds: float, a_second: int) -> int:
    """Turn the current's slider of an open schedule so often, one value after the other; how often it was turned."""
    driver.set_script_timeout(seconds * 10 + 60)
    turned: int = driver.execute_async_script(STORM, round(seconds * a_second), 1000 / a_second)
    return turned


def settled(driver: Any, folder: Path) -> bool:
    """Whether the picture is of the worked example with the current that stands in the form."""
    value = driver.find_element("id", "f2-current_percent").get_attribute("value")
    path = folder / "boot-scraper.toml"
    text = path.read_text().replace("current_percent = 85", f"current_percent = {value}")
    digest = make_job(schedule_from(text, path), find_welder(folder / "welder.toml"), path).table.digest
    return bool(driver.find_elements("css selector", f'#seen [id^="picture-{digest}-"]'))
