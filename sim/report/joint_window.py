"""The drawing of a joint's computed window: percent current over weld time, with the ending as words and hatches.

Readable in black and white: every cell is named, and no two endings have the same hatch.
"""

from __future__ import annotations

import math

from sim.joint.window import CELLS, Cell, JointWindow, PercentWindow
from sim.report.joint_page import svg_file
from sim.report.svg import WIDE, element, number, rect, svg, text, width_of

WORDS: dict[Cell, str] = {
    "no bond": "no bond",
    "bonded": "holds, but breaks at the joint",
    "good": "tears the parent metal",
    "past good": "expels, or sinks too deep",
}
_SHORT: dict[Cell, str] = {"no bond": "cold", "bonded": "bonds", "good": "good", "past good": "too much"}
_LEFT, _RIGHT, _TOP, _CELL = 56, 16, 58, 46


def draw_window(window: JointWindow, width: int, name: str, title: str = "") -> str:
    """The settings as a grid, the highest percent on top, with a legend of hatches and figures below."""
    wide = (width - _LEFT - _RIGHT) / len(window.times_s)
    parts = [_patterns(name), text(2, 16, title, class_="strong"), text(2, 36, "percent current")]
    y = float(_TOP)
    for each in reversed(window.percents):
        parts.append(text(_LEFT - 8, y + _CELL / 2 + 4, f"{each.percent} %", "end", "strong"))
        for n, time_s in enumerate(window.times_s):
            parts += _cell_drawn(each, time_s, (_LEFT + n * wide, y, wide), name)
        y += _CELL
    for n, time_s in enumerate(window.times_s):
        parts.append(text(_LEFT + (n + 0.5) * wide, y + 16, f"{number(time_s)} s", "middle"))
    parts.append(text(width - _RIGHT, y + 34, "weld time", "end"))
    y += 50
    for cell in CELLS:
        parts.append(rect(_LEFT, y, 30, 16, "box", style=f"fill:{_fill(cell, name)};stroke:var(--ink)"))
        parts.append(text(_LEFT + 40, y + 12, f"{_SHORT[cell]}: {WORDS[cell]}"))
        y += 22
    draws = max(len(each.draws) for each in window.percents)
    for words in (
        f"The word is the ending with nominal values. The figures count the good welds in {draws} draws of the uncertain",
        "values: film, hardness, force, current, faces and the model's error. Computed, not measured.",
    ):
        parts.append(text(_LEFT, y + 14, words))
        y += 18
    good = sum(each.cell(time_s) == "good" for each in window.percents for time_s in window.times_s)
    label = f"{window.settings} settings of weld time and percent current, of which the model calls {good} good"
    return svg(width, y + 8, "".join(parts), label)


def standalone_window(window: JointWindow, title: str) -> str:
    """The picture as an SVG file."""
    return svg_file(draw_window(window, WIDE, "window", title), WIDE)


def _cell_drawn(each: PercentWindow, time_s: float, place: tuple[float, float, float], name: str) -> list[str]:
    left, top, wide = place
    cell, middle = each.cell(time_s), left + wide / 2
    word, count = _SHORT[cell], f"good {round(each.share(time_s, 'good') * len(each.draws))} of {len(each.draws)}"
    half = max(width_of(word), width_of(count)) / 2 + 3
    return [
        rect(left, top, wide, _CELL, "box", style=f"fill:{_fill(cell, name)};stroke:var(--ink)"),
        rect(middle - half, top + 6, 2 * half, 34, "paper", style="fill:#fff"),
        text(middle, top + 20, word, "middle", "strong" if cell == "good" else ""),
        text(middle, top + 35, count, "middle"),
    ]


def _fill(cell: Cell, name: str) -> str:
    return "#fff" if cell == "no bond" else f"url(#{name}-{CELLS.index(cell)})"


def _patterns(name: str) -> str:
    """Dots for what bonds, slanting lines for what is good, a lattice for what is too much."""
    dots = element("circle", cx=5, cy=5, r=1.2, style="fill:var(--ink)")
    slant = element("path", d="M-1 9L9 -1M-1 1L1 -1M7 9L9 7", style="stroke:var(--ink);stroke-width:1.1")
    lattice = element("path", d="M0 0L7 7M7 0L0 7", style="stroke:var(--ink);stroke-width:0.7")
    made = [(dots, 10), (slant, 8), (lattice, 7)]
    drawn = [
        element("pattern", mark, id=f"{name}-{n}", width=step, height=step, patternUnits="userSpaceOnUse")
        for n, (mark, step) in enumerate(made, start=1)
    ]
    return element("defs", "".join(drawn))


def window_lines(window: JointWindow) -> list[tuple[str, str]]:
    """The good weld times of each percent in words, with their ranges over the draws; the highest percent first."""
    found = []
    for each in reversed(window.percents):
        tore, past = each.spread("tore_s"), each.spread("past_s")
        if math.isinf(tore.middle_s):
            some = sum(math.isfinite(draw.tore_s) for draw in each.draws)
            words = f"never good; good in {some} of {len(each.draws)} draws" if some else "never good"
        elif tore.middle_s >= past.middle_s:
            words = f"never good: expels or sinks too deep after {number(past.middle_s, 2)} s, before it is good"
        else:
            words = (
                f"good from {number(tore.middle_s, 2)} s ({_ends(tore.low_s, tore.high_s)}) "
                f"to {_until(past.middle_s)} ({_ends(past.low_s, past.high_s)})"
            )
        found.append((f"{each.percent} %", words))
    return found


def _until(time_s: float) -> str:
    return f"{number(time_s, 2)} s" if math.isfinite(time_s) else "the longest weld"


def _ends(low_s: float, high_s: float) -> str:
    if math.isinf(low_s):
        return "in no draw"
    return f"{number(low_s, 2)} to {number(high_s, 2)} s" if math.isfinite(high_s) else f"{number(low_s, 2)} s to never"
