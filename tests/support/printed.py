"""A page as a headless Chromium prints it, read by pdfplumber, which we did not write."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import pdfplumber

from tests.support.browser import QUIET, browser

BLACK = 0.15  # of full brightness, at most


@dataclass(frozen=True)
class Printed:
    """A page of paper: its words, the sizes of its letters, points, with how many there are of each, and its grey letters."""

    text: str
    sizes: dict[float, int]
    grey: str


def page_count(html: str, folder: Path) -> int:
    """The number of pages of paper that the HTML becomes; nothing on them is read."""
    with pdfplumber.open(_on_paper(html, folder)) as document:
        return len(document.pages)


def printed(html: str, folder: Path) -> list[Printed]:
    """The pages of paper that the HTML becomes."""
    found = []
    with pdfplumber.open(_on_paper(html, folder)) as document:
        for page in document.pages:
            sizes: dict[float, int] = {}
            for letter in page.chars:
                size = round(letter["size"], 1)
                sizes[size] = sizes.get(size, 0) + 1
            grey = "".join(letter["text"] for letter in page.chars if max(letter["non_stroking_color"] or (0,)) > BLACK)
            found.append(Printed(" ".join((page.extract_text() or "").split()), sizes, grey))
    return found


def _on_paper(html: str, folder: Path) -> Path:
    source, target = folder / "page.html", folder / "page.pdf"
    source.write_text(html, encoding="utf-8")
    line = [browser(), *QUIET, "--no-pdf-header-footer", f"--print-to-pdf={target}", source.as_uri()]
    subprocess.run(line, check=True, capture_output=True, timeout=300)
    return target
