"""Reads a drawing of the wiring sheet back from its SVG alone, as a person does: lines, dots, circles and words.

Knows nothing of netlists. Two lines are joined where an end of one lies on the other, and where they carry the same name;
lines that cross are not. A name belongs to the line nearest to it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"
CONDUCTORS = {"1.9", "1.2"}  # widths in which conductors are drawn, and nothing else
NEAR_PT = 0.3
NAME_WITHIN_PT = 10.0

Point = tuple[float, float]
Line = tuple[Point, Point]


@dataclass(frozen=True)
class Words:
    """A line of words with the box that it takes, on the wide side for a sans-serif or typewriter face."""

    text: str
    left: float
    right: float
    middle: float
    size_pt: float
    typewriter: bool


@dataclass(frozen=True)
class Drawing:
    """What the SVG shows. `box`: left, top, width, height of the page in points."""

    lines: tuple[Line, ...]
    terminals: dict[str, Point]
    dots: tuple[Point, ...]
    words: tuple[Words, ...]
    box: tuple[float, ...]


@lru_cache(maxsize=200)
def read(svg: str) -> Drawing:
    """The drawing in an SVG text."""
    root = ElementTree.fromstring(svg)
    lines: list[Line] = []
    for path in root.iter(f"{SVG}path"):
        if _style(path).get("stroke-width") in CONDUCTORS:
            numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", path.get("d", ""))]
            points = list(zip(numbers[::2], numbers[1::2], strict=True))
            lines.append((points[0], points[-1]))
    terminals, dots = {}, []
    for circle in root.iter(f"{SVG}circle"):
        at = float(circle.get("cx", "")), float(circle.get("cy", ""))
        title = circle.find(f"{SVG}title")
        if title is not None and title.text:
            assert title.text not in terminals, f"{title.text} is there twice"
            terminals[title.text] = at
        elif _style(circle).get("fill") == "black":
            dots.append(at)
    words = tuple(_words(text) for text in root.iter(f"{SVG}text"))
    box = tuple(float(n) for n in root.get("viewBox", "").split())
    return Drawing(tuple(lines), terminals, tuple(dots), words, box)


def _style(element: ElementTree.Element) -> dict[str, str]:
    return dict(part.split(":", 1) for part in element.get("style", "").split(";") if ":" in part)


def _words(text: ElementTree.Element) -> Words:
    size, typewriter = float(text.get("font-size", "")), text.get("font-family") == "monospace"
    x, words = float(text.get("x", "")), text.text or ""
    width = len(words) * size * 0.6
    left = x - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor", "")]
    return Words(words, left, left + width, float(text.get("y", "")), size, typewriter)


def _close(a: Point, b: Point) -> bool:
    return abs(a[0] - b[0]) < NEAR_PT and abs(a[1] - b[1]) < NEAR_PT


def on(point: Point, line: Line) -> bool:
    """Whether a point lies on a level or upright line, its ends included."""
    (x, y), ((x1, y1), (x2, y2)) = point, line
    if (x < x1 - NEAR_PT and x < x2 - NEAR_PT) or (x > x1 + NEAR_PT and x > x2 + NEAR_PT):
        return False
    if (y < y1 - NEAR_PT and y < y2 - NEAR_PT) or (y > y1 + NEAR_PT and y > y2 + NEAR_PT):
        return False
    return abs(x1 - x2) < NEAR_PT or abs(y1 - y2) < NEAR_PT


def _distance(word: Words, line: Line) -> float:
    (x1, y1), (x2, y2) = line
    across = max(min(x1, x2) - word.right, word.left - max(x1, x2), 0)
    along = max(min(y1, y2) - word.middle, word.middle - max(y1, y2), 0)
    return float(across**2 + along**2) ** 0.5


def groups(drawing: Drawing) -> list[set[int]]:
    """Lines that touch, as sets of their numbers, before names join more of them."""
    found = [{n} for n in range(len(drawing.lines))]
    for a, first in enumerate(drawing.lines):
        for b, second in enumerate(drawing.lines[:a]):
            if any(on(end, second) for end in first) or any(on(end, first) for end in second):
                one = next(group for group in found if a in group)
                other = next(group for group in found if b in group)
                if one is not other:
                    one |= other
                    found.remove(other)
    return found


def nets(drawing: Drawing) -> dict[str, set[str]]:
    """Terminals by name. Raises AssertionError where a wire has no name or two, or a name or a terminal no wire."""
    found = groups(drawing)
    names: list[set[str]] = [set() for _ in found]
    for word in drawing.words:
        if word.typewriter:
            nearest = min(range(len(drawing.lines)), key=lambda n: _distance(word, drawing.lines[n]))
            assert _distance(word, drawing.lines[nearest]) < NAME_WITHIN_PT, f"{word.text} stands at no wire"
            names[next(n for n, group in enumerate(found) if nearest in group)].add(word.text)
    result: dict[str, set[str]] = {}
    placed: set[str] = set()
    for group, called in zip(found, names, strict=True):
        ends = {t for t, at in drawing.terminals.items() if any(on(at, drawing.lines[n]) for n in group)}
        assert len(called) == 1, f"the wire at {sorted(ends)} is called {sorted(called)}"
        assert not ends & placed, f"{sorted(ends & placed)} is on two wires"
        placed |= ends
        result.setdefault(called.pop(), set()).update(ends)
    loose = set(drawing.terminals) - placed
    assert not loose, f"no wire at {sorted(loose)}"
    return result


def undotted(drawing: Drawing) -> list[Point]:
    """Places where an end meets the middle of another line, or three ends meet, without a dot; dots elsewhere too."""
    meeting = []
    for point in {end for line in drawing.lines for end in line}:
        ends = sum(_close(point, end) for line in drawing.lines for end in line)
        through = sum(on(point, line) and not any(_close(point, end) for end in line) for line in drawing.lines)
        if ends + 2 * through >= 3:
            meeting.append(point)
    bare = [point for point in meeting if not any(_close(point, dot) for dot in drawing.dots)]
    return bare + [dot for dot in drawing.dots if not any(_close(point, dot) for point in meeting)]


def words_at(drawing: Drawing, place: Point, within_pt: float) -> set[str]:
    """Words beside a place, level with it within some points, that begin or end near it."""
    x, y = place
    return {
        word.text
        for word in drawing.words
        if abs(word.middle - y) < within_pt and min(abs(word.left - x), abs(word.right - x)) < within_pt
    }


def _box(word: Words) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of the letters themselves, narrower than the wide side that a page must hold."""
    middle, half = (word.left + word.right) / 2, (word.right - word.left) / 2 * (1 if word.typewriter else 0.85)
    high = word.size_pt * 0.36
    return middle - half, word.middle - high, middle + half, word.middle + high


def nearest_terminal(drawing: Drawing, word: Words) -> tuple[str, float]:
    """The terminal that a word is nearest to, and how far it is, points."""
    left, top, right, bottom = _box(word)

    def gap(at: Point) -> float:
        across, along = max(left - at[0], at[0] - right, 0.0), max(top - at[1], at[1] - bottom, 0.0)
        return float(across**2 + along**2) ** 0.5

    name = min(drawing.terminals, key=lambda terminal: gap(drawing.terminals[terminal]))
    return name, gap(drawing.terminals[name])


def struck_through(drawing: Drawing) -> list[str]:
    """Words that a conductor runs through."""
    found = []
    for word in drawing.words:
        left, top, right, bottom = _box(word)
        for (x1, y1), (x2, y2) in drawing.lines:
            if min(x1, x2) < right and max(x1, x2) > left and min(y1, y2) < bottom and max(y1, y2) > top:
                found.append(word.text)
    return found


def overlapping(drawing: Drawing) -> list[tuple[str, str]]:
    """Pairs of words that lie on one another."""
    boxes = [(word.text, _box(word)) for word in drawing.words]
    return [
        (one, other)
        for n, (one, a) in enumerate(boxes)
        for other, b in boxes[:n]
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
    ]
