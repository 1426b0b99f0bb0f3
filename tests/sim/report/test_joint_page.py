"""A joint's page as HTML and on paper; tests/sim/report/test_browser.py looks for what overlaps."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import html5lib
import pytest

from gen.trials.values import Credible, Window
from sim.report.joint_page import standalone
from sim.report.trials import Lane, Mark, draw_trials
from tests.support.browser import QUIET, browser
from tests.support.report import joint_pages

PAPER_MM = {"letter": (215.9, 279.4), "A4": (210.0, 297.0)}  # ISO 216; ANSI Y14.1 size A


@pytest.mark.parametrize("name", joint_pages.NAMES)
def test_html_is_sound_and_needs_nothing_else(name: str) -> None:
    """html5lib finds nothing amiss; no script and nothing fetched; same data, same text."""
    text = joint_pages.once_made(name)
    html5lib.HTMLParser(strict=True).parse(text)
    assert not re.search(r"<script|<link|src=|href=|url\((?!#)|@import", text)
    assert joint_pages.made(name) == text


@pytest.mark.parametrize("paper", PAPER_MM)
def test_a_typical_joint_fits_on_one_sheet(tmp_path: Path, paper: str) -> None:
    """Thirteen trials at three percents, everything measured, cautions and sources: one page, A4 or Letter."""
    text = joint_pages.once_made("joint-typical")
    assert text.count("@page { margin: 10mm; }") == 1
    text = text.replace("@page { margin: 10mm; }", f"@page {{ margin: 10mm; size: {paper}; }}")
    (tmp_path / "page.html").write_text(text, encoding="utf-8")
    command = [browser(), *QUIET, f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer"]
    command += [f"--print-to-pdf={tmp_path / 'page.pdf'}", f"file://{tmp_path}/page.html"]
    subprocess.run(command, capture_output=True, timeout=60, check=True)
    printed = (tmp_path / "page.pdf").read_bytes()
    boxes = re.findall(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", printed)  # ISO 32000-1: one a page, in 1/72 inch
    assert [[float(points) / 72 * 25.4 for points in box] for box in boxes] == [pytest.approx(PAPER_MM[paper], abs=0.5)]
    assert len(re.findall(rb"/Type ?/Page\b", printed)) == 1


def test_the_picture_alone_has_a_title_and_its_limits_in_words() -> None:
    """Title on top; the ends of the window with their limits under its bar, or without them where there is no room."""
    window = Window(Credible(0.9, 0.8, 1.0), Credible(1.5, 1.2, 1.9), 0.95)
    lane = Lane(90, window, (Mark(1, 1.0, "tore parent", "none"),))
    alone = standalone((lane,), "rungs: rods 4 x 4 mm")
    assert ">rungs: rods 4 x 4 mm<" in alone
    assert "good from 0.9 s (0.8 to 1) to 1.5 s (1.2 to 1.9)" in alone
    assert ">good from 0.9 to 1.5 s<" in draw_trials((lane,), 260, "narrow")
    none = Lane(90, Window(Credible(1.5, 1, 2), Credible(0.9, 0.5, 1), 0.01), ())
    assert "good from" not in draw_trials((none,), 720, "none")
