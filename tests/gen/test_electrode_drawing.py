"""The electrode's drawing read back: every line measures what is written at it, and that is what the welder file says.

Outside: Chromium prints it and pdfplumber measures the paper. Scales are those of ISO 5455, from memory; the slope of the nose,
the groove's depth and the tolerances are common practice, no source.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pdfplumber
import pytest

from gen.errors import InputError
from gen.machine.tables import Electrodes
from gen.paper import electrodes_html
from tests.support.cli.command_line import replaced, typed
from tests.support.drawn_electrodes import CASES, FLAT, GROOVES
from tests.support.page.open_page import example
from tests.support.printed import press

SVG = "{http://www.w3.org/2000/svg}"
STANDARD = {"1:1", "1:2", "1:5", "1:10", "1:20", "2:1", "5:1", "10:1", "20:1", "50:1"}


def scale_of(words: str) -> float:
    """Millimetres of the electrode for one of paper."""
    assert words in STANDARD
    paper, _, real = words.partition(":")
    return int(real) / int(paper)


def written(text: str) -> float:
    """The nominal size at the beginning of a size's words."""
    found = re.match(r"[^0-9]*([0-9.]+)", text)
    assert found is not None, text
    return float(found[1])


def sizes(svg: ElementTree.Element) -> list[tuple[str, float, float]]:
    """Of each size: its words, where it stands, and its line's length on paper. Words follow their line."""
    found, length = [], 0.0
    for each in svg.iter():
        if each.get("class") == "dimension":
            x1, x2, y1, y2 = (float(each.get(key, "")) for key in ("x1", "x2", "y1", "y2"))
            length = abs(x2 - x1) + abs(y2 - y1)
        elif each.get("class") == "size":
            found.append((each.text or "", float(each.get("y", "")), length))
            length = 0.0
    return found


@pytest.mark.parametrize("case", CASES)
def test_every_line_measures_what_is_written_and_the_file_says(case: str) -> None:
    electrodes = Electrodes(**CASES[case])
    html = electrodes_html(electrodes, "welder.toml")
    drawn = [ElementTree.fromstring(svg) for svg in re.findall(r"<svg.*?</svg>", html, re.DOTALL)]
    wanted = electrodes.pair if electrodes.pair[0] != electrodes.pair[1] else electrodes.pair[:1]
    assert len(drawn) == len(wanted)
    for svg, one, scale in zip(drawn, wanted, re.findall(r"Scale</dt><dd>(.*?)</dd>", html), strict=True):
        assert svg.get("viewBox") == f"0 0 {svg.get('width', '')[:-2]} {svg.get('height', '')[:-2]}"
        n, enlarged = scale_of(scale), 1.0
        for text in svg.iter(f"{SVG}text"):
            if "Across the groove" in (text.text or ""):
                enlarged = scale_of((text.text or "").rpartition(" ")[2])
        told = sizes(svg)
        for words, _, length in told:
            if length:
                assert length * (enlarged if words.endswith("deep") else n) == pytest.approx(written(words), rel=5e-3)
        numbers = sorted(written(words) for words, _, _ in told)
        depth = [written(words) for words, _, _ in told if words.endswith("deep")]
        if one.groove_radius_mm is None:
            end = [one.face_mm]
        else:
            assert 0.7 <= depth[0] / one.groove_radius_mm <= 0.8
            end = [one.groove_radius_mm, 2 * one.groove_radius_mm, *depth]
        assert numbers == pytest.approx(
            sorted([one.diameter_mm, one.length_mm, *([one.offset_mm] if one.offset_mm else []), *end])
        )
        assert outline(svg, n) == pytest.approx((one.length_mm, one.diameter_mm + one.offset_mm), abs=2e-3 * n)
        if one.groove_radius_mm is not None:
            rod, groove = svg.find(f"{SVG}circle"), svg.find(f"{SVG}path[@class='groove']")
            assert rod is not None
            assert groove is not None
            assert float(rod.get("r", "")) * enlarged == pytest.approx(one.groove_radius_mm, abs=1e-3)
            arc = re.search(r"A([0-9.]+) ", groove.get("d", ""))
            assert arc is not None
            assert float(arc[1]) * enlarged == pytest.approx(one.groove_radius_mm, abs=1e-3)


def outline(svg: ElementTree.Element, scale: float) -> tuple[float, float]:
    """Length and width of what is turned, mm: from the holder to the face, and across."""
    path = svg.find(f"{SVG}path[@class='outline']")
    assert path is not None
    places = re.findall(r"(-?[0-9.]+) (-?[0-9.]+)(?=[LAZ])", path.get("d", ""))
    xs, ys = zip(*((float(x), float(y)) for x, y in places), strict=True)
    return (max(xs) - min(xs)) * scale, (max(ys) - min(ys)) * scale


def test_it_is_full_size_on_paper_and_one_page_each(tmp_path: Path) -> None:
    """The line of 40 mm is 40 mm of paper, the ruler 50; letters of 11 points or more; a page for each of a pair."""
    flat, grooves = (electrodes_html(Electrodes(**each), "welder.toml") for each in (FLAT, GROOVES))
    (tmp_path / "two").mkdir()
    with press() as made:
        (page,) = made.printed(flat, tmp_path)
        pages = made.printed(grooves, tmp_path / "two")
    assert min(page.sizes) >= 11
    for words in ("CuCr1Zr", "common practice, no source", "1:1", "Isolate and lock off", "40 ±0.5", "⌀8 ±0.2"):
        assert words in page.text, words
    with pdfplumber.open(tmp_path / "page.pdf") as document:
        lines = [each["width"] / 72 * 25.4 for each in document.pages[0].lines if each["height"] < 0.1]
    for wanted in (40, 50):
        assert min(abs(line - wanted) for line in lines) < 0.05
    assert [page.text.split()[0] for page in pages] == ["Upper", "Lower"]
    assert "R 2.5 +0.1" in pages[0].text
    assert "rod ⌀8" in pages[1].text


@pytest.mark.parametrize(
    ("case", "key"),
    [
        ({"diameter_mm": 40, "length_mm": 5, "face_diameter_mm": 6}, "electrodes.length_mm: 5 given"),
        ({"diameter_mm": 10, "length_mm": 9, "offset_mm": 2, "face_diameter_mm": 10}, "electrodes.length_mm: 9 given"),
        (GROOVES | {"lower": {"length_mm": 1}}, "electrodes.lower.length_mm: 1 given"),
    ],
)
def test_an_electrode_shorter_than_its_nose_is_not_drawn(case: dict[str, Any], key: str) -> None:
    with pytest.raises(InputError, match=f"^welder.toml: {key}; allowed for a drawing: more than "):
        electrodes_html(Electrodes(**case), "welder.toml")


def test_bad_input_is_one_line_and_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = example(tmp_path)
    monkeypatch.chdir(folder)
    line = ["paper", "electrodes", "-o", "e.html", "--electrode"]
    for sizes_given, words in (
        ("length=1", "--electrode: length_mm: 1 given; allowed for a drawing: more than"),
        ("length=400", "allowed: at most"),
        ("bore=3", "allowed: diameter, length"),
    ):
        found = typed([*line, sizes_given])
        assert (found.code, found.err.count("\n")) == (2, 1)
        assert words in found.err
    text = (folder / "welder.toml").read_text()
    (folder / "welder.toml").write_text(replaced(text, text[text.index("[electrodes]") : text.index("[switch]")], ""))
    found = typed(line[:-1])
    assert (found.code, found.err) == (
        2,
        "weldbeat: welder.toml: electrodes; missing; allowed: a table [electrodes], which this needs\n",
    )
    assert not (folder / "e.html").exists()
