"""Pages laid out by a real browser, each in a frame of a given width, and their boxes read by measure.js."""

from __future__ import annotations

import html
import json
import re
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.support.browser import QUIET, browser


def measured_pages(pages: Mapping[str, str], folder: Path, widths: Sequence[int]) -> dict[str, dict[str, Any]]:
    """What was measured of every page at every width, in one start of the browser. Keys: name and width."""
    frames = []
    for name, page in pages.items():
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
        for width in widths:
            frames.append(f'<iframe id="{name} {width}" src="{name}.html" style="border:0;width:{width}px"></iframe>')
    script = (Path(__file__).parent / "measure.js").read_text(encoding="utf-8") + (
        "onload = () => { const all = {}; for (const frame of document.querySelectorAll('iframe'))"
        " all[frame.id] = measure(frame.contentWindow);"
        " document.body.innerHTML = '<pre></pre>'; document.querySelector('pre').textContent = JSON.stringify(all); }"
    )
    (folder / "all.html").write_text(
        f"<!DOCTYPE html><html><body>{''.join(frames)}<script>{script}</script></body></html>"
    )
    ran = subprocess.run(
        [
            browser(),
            *QUIET,
            f"--user-data-dir={folder / 'profile'}",
            "--window-size=1400,900",
            "--dump-dom",
            f"file://{folder}/all.html",
        ],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    found = re.search(r"<pre>(.*)</pre>", ran.stdout, re.DOTALL)
    assert found, ran.stderr[-2000:]
    result: dict[str, dict[str, Any]] = json.loads(html.unescape(found[1]))
    return result
