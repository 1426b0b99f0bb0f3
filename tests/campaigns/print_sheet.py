"""Prints wiring sheets with a headless Chromium on A4 and on Letter: pages, and whether every drawing fits its page.

    python -m tests.campaigns.print_sheet [chromium]

A page of the sheet that runs over the paper's edge would add a page: a sheet has as many pages as sections.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.support.machines import known_welder
from tests.support.wiring.upgrade_machines import MACHINES, sheet_of


def pages(browser: str, html: str, paper: str) -> int:
    """Pages that the browser makes of a sheet on that paper."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "sheet.html"), Path(folder, "sheet.pdf")
        source.write_text(html.replace("@page { ", f"@page {{ size: {paper}; "), encoding="utf-8")
        line = [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-pdf-header-footer",
            f"--print-to-pdf={target}",
        ]
        subprocess.run([*line, source.as_uri()], check=True, capture_output=True)
        return len(re.findall(rb"/Type\s*/Page\b", target.read_bytes()))


def main() -> None:
    """One line a machine and paper; exit code 1 where a sheet takes another number of pages."""
    browser = sys.argv[1] if len(sys.argv) > 1 else "chromium"
    wrong = 0
    for name, tables in MACHINES.items():
        html = sheet_of(known_welder(**tables)).html
        sections = html.count('<section class="sheet">')
        for paper in ("A4", "Letter"):
            found = pages(browser, html, paper)
            wrong += found != sections
            print(f"{name:<40}{paper:<8}{found} pages{'' if found == sections else f', {sections} wanted'}")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
