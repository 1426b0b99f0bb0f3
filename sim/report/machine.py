"""Draws the machine's impedances as ranges on one scale of ohms."""

from __future__ import annotations

from collections.abc import Sequence

from gen.ranges import Figure, shown
from sim.report.svg import LINE, NARROW, Scale, line, number, path, svg, text, ticks

_BAR = 9


def draw_ohms(figures: Sequence[tuple[str, Figure]], width: int) -> str:
    """A bar from the least to the greatest value of each; a stroke if they are equal."""
    narrow = width == NARROW
    x = Scale(
        0, 1.04 * max(figure.high for _, figure in figures), 4 if narrow else 210, width - (12 if narrow else 150)
    )
    row = LINE + 18 if narrow else 21
    bottom = 4 + row * len(figures)
    drawn = []
    for value in ticks(0, x.high, 5 if narrow else 8):
        if not narrow:
            drawn.append(line(x(value), 2, x(value), bottom, "grid"))
        drawn += [line(x(value), bottom, x(value), bottom + 5, "axis")]
        drawn.append(text(max(x(value), 8), bottom + 19, number(value), "middle"))
    for n, (what, figure) in enumerate(figures):
        top = 4 + n * row
        y = top + (LINE + 2 if narrow else 5)
        drawn.append(text(2 if narrow else 200, top + 13, what, "start" if narrow else "end"))
        words = (
            shown(figure.low)
            if shown(figure.low) == shown(figure.high)
            else f"{shown(figure.low)} to {shown(figure.high)}"
        )
        drawn.append(text(width - 2 if narrow else x.at_high + 12, top + 13, words, "end" if narrow else "start"))
        low, high = x(figure.low), max(x(figure.high), x(figure.low) + 1.5)
        outline = [(low, y), (high, y), (high, y + _BAR), (low, y + _BAR)]
        drawn.append(path(outline, "kept", closed=True))
    drawn.append(line(x.at_low, bottom, x.at_high, bottom, "axis"))
    drawn.append(text(x.at_high, bottom + 36, "ohms, referred to the primary", "end"))
    return svg(width, bottom + 42, "".join(drawn), "Ranges of the machine's resistances and reactances")
