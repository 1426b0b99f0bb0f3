"""The browser that lays pages out for the tests: Chromium without a window, where there is one."""

from __future__ import annotations

import shutil

import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
QUIET = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--hide-scrollbars", "--allow-file-access-from-files"),
]


def browser() -> str:
    """The command that starts it; without one, the test that asks is left out and says so."""
    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found is None:
        pytest.skip(f"Chromium is not installed (apt-get install chromium; looked for {', '.join(BROWSERS)})")
    return found
