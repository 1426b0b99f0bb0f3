"""A page as a headless Chromium prints it, read by pdfplumber, which we did not write."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pdfplumber

from tests.support.page.driven import driven

BLACK = 0.15  # of full brightness, at most


@dataclass(frozen=True)
class Printed:
    """A page of paper: its words, the sizes of its letters, points, with how many there are of each, and its grey letters."""

    text: str
    sizes: dict[float, int]
    grey: str


class Press:
    """One browser that prints one page after another: it takes longer to start than to print."""

    def __init__(self, driver: Any) -> None:
        self._driver = driver

    def page_count(self, html: str, folder: Path) -> int:
        """The number of pages of paper that the HTML becomes; nothing on them is read."""
        with pdfplumber.open(self._on_paper(html, folder)) as document:
            return len(document.pages)

    def printed(self, html: str, folder: Path) -> list[Printed]:
        """The pages of paper that the HTML becomes."""
        found = []
        with pdfplumber.open(self._on_paper(html, folder)) as document:
            for page in document.pages:
                sizes: dict[float, int] = {}
                for letter in page.chars:
                    size = round(letter["size"], 1)
                    sizes[size] = sizes.get(size, 0) + 1
                grey = "".join(each["text"] for each in page.chars if max(each["non_stroking_color"] or (0,)) > BLACK)
                found.append(Printed(" ".join((page.extract_text() or "").split()), sizes, grey))
        return found

    def _on_paper(self, html: str, folder: Path) -> Path:
        """As the browser's own --print-to-pdf: with backgrounds, on the paper that the style sheet names."""
        source, target = folder / "page.html", folder / "page.pdf"
        source.write_text(html, encoding="utf-8")
        self._driver.get(source.as_uri())
        made = self._driver.execute_cdp_cmd("Page.printToPDF", {"printBackground": True, "preferCSSPageSize": True})
        target.write_bytes(base64.b64decode(made["data"]))
        return target


@contextmanager
def press() -> Iterator[Press]:
    """A press, until the block ends."""
    with driven() as driver:
        yield Press(driver)
