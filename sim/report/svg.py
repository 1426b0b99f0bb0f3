"""Functions that draw SVG as text: elements, scales, axes, labels that do not overlap.

User units are CSS pixels at full size. Text has one size, so that its width can be estimated, with some margin.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

WIDE, NARROW = 800, 360  # widths in user units: paper or screen, and telephone
FONT = 12
LINE = 16  # between lines of text
_CHAR = 0.58  # mean width of a character over the font size, in the widest font of style.css.j2


def fixed(value: float) -> str:
    """A coordinate, to a thousandth."""
    written = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def number(value: float, digits: int = 3) -> str:
    """A figure with `digits` significant digits, all digits before the point, and no exponent."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "unlimited" if value > 0 else "−unlimited"
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    written = f"{value:.{places}f}".replace("-", "−")
    return written.rstrip("0").rstrip(".") if "." in written else written


def element(name: str, content: str = "", /, **attributes: str | float) -> str:
    """An element. `_` in an attribute's name means `-`; a trailing one avoids Python's keywords. Numbers are coordinates."""
    parts = [name]
    for key, value in attributes.items():
        written = fixed(value) if isinstance(value, (int, float)) else escape(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{written}"')
    return f"<{' '.join(parts)}>{content}</{name}>"


def text(x: float, y: float, words: str, anchor: str = "start", class_: str = "") -> str:
    """A line of text; `y` is its baseline."""
    more: dict[str, str | float] = {"class_": class_} if class_ else {}
    return element("text", escape(words), **{"x": x, "y": y, "text_anchor": anchor, **more})


def line(x1: float, y1: float, x2: float, y2: float, class_: str, **attributes: str | float) -> str:
    """A straight line, in the colour and thickness of its class in style.css.j2."""
    return element("line", **{"x1": x1, "y1": y1, "x2": x2, "y2": y2, "class_": class_, **attributes})


def rect(x: float, y: float, width: float, height: float, class_: str, **attributes: str | float) -> str:
    """A rectangle. A negative width or height counts as 0."""
    return element(
        "rect", **{"x": x, "y": y, "width": max(width, 0), "height": max(height, 0), "class_": class_, **attributes}
    )


def path(points: Sequence[tuple[float, float]], class_: str, closed: bool = False) -> str:
    """Straight lines from point to point."""
    if not points:
        return ""
    drawn = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
    return element("path", d=drawn + ("Z" if closed else ""), class_=class_)


def filled(points: Sequence[tuple[float, float]], pattern: str) -> str:
    """The area inside these points, filled with a hatch and without an outline."""
    d = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z"
    return element("path", d=d, class_="area", fill=f"url(#{pattern})")


def hatch(identity: str) -> str:
    """A pattern of slanting lines, for areas that must be seen without colour."""
    stroke = element("path", d="M-1 7L7 -1M5 7L7 5M-1 1L1 -1", class_="hatching")
    return element("defs", element("pattern", stroke, id=identity, width=6, height=6, patternUnits="userSpaceOnUse"))


def svg(width: float, height: float, content: str, label: str, **attributes: str | float) -> str:
    """A picture. `label` describes it in words."""
    return element(
        "svg", content, viewBox=f"0 0 {fixed(width)} {fixed(height)}", role="img", aria_label=label, **attributes
    )


def picture(draw: Callable[[int, str], str], name: str) -> Markup:
    """The picture for wide and for narrow pages; the style sheet shows one. `draw` takes a width and a name."""
    both = ((WIDE, "wide"), (NARROW, "narrow"))
    return Markup("".join(f'<div class="picture {size}">{draw(width, f"{name}-{size}")}</div>' for width, size in both))


def width_of(words: str) -> float:
    """The estimated width of a line of text, rather too great than too small."""
    return len(words) * FONT * _CHAR


@dataclass(frozen=True)
class Scale:
    """A linear map from values to user units: `low` is at `at_low`, `high` at `at_high`."""

    low: float
    high: float
    at_low: float
    at_high: float

    def __call__(self, value: float) -> float:
        return self.at_low + (value - self.low) * self.per_unit

    @property
    def per_unit(self) -> float:
        return (self.at_high - self.at_low) / (self.high - self.low)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round values from `low` to `high`, at most `most` of them."""
    span = high - low
    if span <= 0 or most < 1:
        return [low]
    step = 10.0 ** math.floor(math.log10(span / most))
    while span / step >= most:
        step *= 2.5 if round(step / 10 ** math.floor(math.log10(step) + 1e-9)) == 2 else 2
    first = math.ceil(low / step - 1e-9)
    return [n * step for n in range(first, math.floor(high / step + 1e-9) + 1)]


def spread(centres: Sequence[float], widths: Sequence[float], low: float, high: float) -> list[float] | None:
    """Centres for labels of these widths, in order, near `centres` and without overlap.

    None if they do not fit between `low` and `high`.
    """
    if sum(widths) > high - low:
        return None
    placed: list[float] = []
    edge = low
    for centre, width in zip(centres, widths, strict=True):
        placed.append(max(centre, edge + width / 2))
        edge = placed[-1] + width / 2
    edge = high
    for n in range(len(placed) - 1, -1, -1):
        placed[n] = min(placed[n], edge - widths[n] / 2)
        edge = placed[n] - widths[n] / 2
    return placed
