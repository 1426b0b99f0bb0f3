"""A slider turned in a real browser: from the move to the redrawn picture and nearest limits, and to the full verdict.

Then fifty changes a second for a while, of which the last must be shown.
One command, `python -m tests.bench.bench_page [MOVES [SECONDS]]`. Figures are of one machine and its load.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.support.page.driven import driven, settled, sized, storm, until
from tests.support.page.open_page import example, open_page

TURN = """
const done = arguments[arguments.length - 1], slider = document.getElementById("f2-current_percent-slider");
const from = performance.now();
document.addEventListener("htmx:afterSwap", function told(event) {
  if (event.target.id !== "seen") return;
  document.removeEventListener("htmx:afterSwap", told);
  requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - from)));
});
slider.value = arguments[0];
slider.dispatchEvent(new Event("input", {bubbles: true}));
"""


def moves(browser: Any, count: int) -> tuple[list[float], list[float]]:
    """Milliseconds to the picture of each move, and to the verdict of every fifth and the last."""
    pictures, verdicts = [], []
    for n in range(count):
        begun = time.perf_counter()
        pictures.append(float(browser.execute_async_script(TURN, 60 + n % 35)))
        if n % 5 == 4 or n == count - 1:
            until(lambda: not browser.find_elements("css selector", "#verdict.stale"), 60)
            verdicts.append(1000 * (time.perf_counter() - begun))
    return pictures, verdicts


def at95(values: list[float]) -> float:
    return statistics.quantiles(values, n=20)[-1] if len(values) > 1 else values[0]


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    with tempfile.TemporaryDirectory() as folder, open_page(example(Path(folder))) as page, driven() as browser:
        sized(browser, 1280)
        browser.get(page.address)
        browser.get(page.address.partition("/?")[0] + "/schedule/boot-scraper")
        until(lambda: browser.find_elements("css selector", "#verdict .verdict"), 120)
        browser.set_script_timeout(60)
        moves(browser, 5)
        pictures, verdicts = moves(browser, count)
        begun = time.perf_counter()
        turned = storm(browser, seconds, 50)
        ended = time.perf_counter()
        until(lambda: settled(browser, page.folder), 60)
        last = time.perf_counter() - ended
    for what, values in (("picture and nearest limits", pictures), ("full verdict", verdicts)):
        print(
            f"{what}: {statistics.median(values):.0f} ms median, {at95(values):.0f} ms 95th percentile of {len(values)}"
        )
    print(f"{turned} changes in {ended - begun:.1f} s: the last is shown {1000 * last:.0f} ms after it was made")


if __name__ == "__main__":
    main()
