"""Large figures, to be read from the machine: each five lines high."""

from __future__ import annotations

import sys

_SHAPES = {
    "0": ("####", "#  #", "#  #", "#  #", "####"),
    "1": ("  # ", " ## ", "  # ", "  # ", " ###"),
    "2": ("####", "   #", "####", "#   ", "####"),
    "3": ("####", "   #", " ###", "   #", "####"),
    "4": ("#  #", "#  #", "####", "   #", "   #"),
    "5": ("####", "#   ", "####", "   #", "####"),
    "6": ("####", "#   ", "####", "#  #", "####"),
    "7": ("####", "   #", "  # ", " #  ", " #  "),
    "8": ("####", "#  #", "####", "#  #", "####"),
    "9": ("####", "#  #", "####", "   #", "####"),
    ".": ("  ", "  ", "  ", "  ", "# "),
    "%": ("#  #", "   #", " ## ", "#   ", "#  #"),
    " ": ("  ", "  ", "  ", "  ", "  "),
}


def large(text: str) -> list[str]:
    """Digits, points, spaces and percent signs as five lines, with strokes two columns wide."""
    ink = "\u2588" if "utf" in (sys.stdout.encoding or "").lower() else "#"
    rows = (" ".join(_SHAPES[c][row] for c in text) for row in range(5))
    return ["".join((ink if c == "#" else " ") * 2 for c in row).rstrip() for row in rows]
