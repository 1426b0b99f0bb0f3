"""Draws the used share of each limit as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim.report.svg import LINE, NARROW, Scale, filled, hatch, line, number, path, svg, text, width_of
from sim.verdict import Finding
from sim.verdict.finding import percent_of

WORDS = {"refuse": "refused", "caution": "caution", "passed": ""}
_MOST = 1.25  # end of the scale, over the limit
_BAR, _ROW = 11, 22


def limit_words(finding: Finding) -> str:
    """The limit, as a maximum or a minimum."""
    if finding.limit is None:
        return "not known"
    return f"{'at least' if finding.low else 'at most'} {number(finding.limit)}"


@dataclass(frozen=True)
class Margin:
    """A finding with the used share of its limit: 1 at the limit; inf without a ratio, or if the limit is not known."""

    finding: Finding
    share: float

    @property
    def unknown(self) -> bool:
        """Whether the limit is not known."""
        return self.finding.limit is None

    @property
    def percent(self) -> str:
        """The share in words; without a figure far beyond the limit."""
        if self.unknown:
            return "?"
        if self.share > 9.99:
            return "beyond"
        return percent_of(self.share)


def margins(findings: Sequence[Finding]) -> list[Margin]:
    """The margins, nearest to its limit first. A figure within a limit of 0 has no share and no bar."""
    found = [Margin(finding, finding.share) for finding in findings if not math.isnan(finding.share)]
    return sorted(found, key=_nearest_first)


def _nearest_first(margin: Margin) -> tuple[float, int]:
    """The sorting key: unknown limits last, equals by severity."""
    return -1.0 if margin.unknown else -margin.share, list(WORDS).index(margin.finding.severity)


def draw_margins(found: Sequence[Margin], width: int, name: str) -> str:
    """One bar for each finding, up to the line of the limit or beyond it. Those beyond are hatched and named in words."""
    narrow = width == NARROW
    x = Scale(0, _MOST, 2, width - 2) if narrow else Scale(0, _MOST, 226, 470)
    top, row = 22.0, LINE + _ROW if narrow else _ROW
    bottom = top + row * len(found)
    at = x(1)
    drawn = [hatch(f"hatch-{name}"), text(at, 12, "limit", "middle", "strong"), text(x(0), 12, "0")]
    for n, margin in enumerate(found):
        y = top + n * row
        drawn += _narrow_words(margin, y, width) if narrow else _wide_words(margin, y, width)
        drawn.append(_bar(margin, x, y + (LINE + 3 if narrow else 4), f"hatch-{name}"))
    if narrow:  # in parts, so that the line does not cross the words
        for n in range(len(found)):
            y = top + n * row + LINE
            drawn.append(line(at, y, at, y + _BAR + 6, "limit solid"))
    else:
        drawn.append(line(at, 16, at, bottom, "limit solid"))
    return svg(width, bottom + 2, "".join(drawn), f"Share of each limit that is used, {len(found)} checks")


def _bar(margin: Margin, x: Scale, y: float, pattern: str) -> str:
    """Filled within the limit; hatched beyond it, and broken at the end of the scale; dashed for an unknown limit."""
    end = x(1 if margin.unknown else min(margin.share, _MOST))
    outline = [(x(0), y), (end, y), (end, y + _BAR), (x(0), y + _BAR)]
    if margin.finding.severity == "passed":
        return path(outline, "kept", closed=True)
    if margin.unknown:
        return path(outline, "unlatched", closed=True)
    drawn = filled(outline, pattern) + path(outline, "beyond", closed=True)
    if margin.share > _MOST:
        drawn += "".join(line(end - 8 + s, y + _BAR + 3, end - 3 + s, y - 3, "mark") for s in (-4, 0))
    return drawn


def _wide_words(margin: Margin, y: float, width: int) -> list[str]:
    f, base = margin.finding, y + 14
    beyond = "strong" if f.severity != "passed" else ""
    drawn = [text(2, base, f.name, class_=beyond), text(216, base, margin.percent, "end", beyond)]
    if WORDS[f.severity]:
        drawn.append(text(124, base, WORDS[f.severity], class_="strong"))
    return [*drawn, text(482, base, fitting(f, width - 482))]


def _narrow_words(margin: Margin, y: float, width: int) -> list[str]:
    f, base = margin.finding, y + 12
    word = WORDS[f.severity]
    name = f"{f.name}: {word}" if word else f.name
    class_ = "strong" if word else ""
    figure = fitting(f, width - 4 - 1.1 * width_of(name) - 16 - 50, with_unit=False)
    return [
        text(2, base, name, class_=class_),
        text(width - 2, base, f"{figure}; {margin.percent}" if figure else margin.percent, "end", class_),
    ]


def fitting(finding: Finding, room: float, with_unit: bool = True) -> str:
    """Figure, limit and unit, shortened to fit `room`."""
    unit, figure, after = finding.unit_text, number(finding.figure), ""
    if finding.limit:
        figure += f"{', at least' if finding.low else ' of'} {number(finding.limit)}"
    elif finding.limit is not None:
        after = "; none allowed"
    units = [unit + after, unit, ", ".join(finding.unit_parts[:-1])] if with_unit else []
    written = [*(f"{figure} {words}" for words in units if words), figure]
    return next((words for words in written if width_of(words) <= room), "")
