"""Figures that are read from the machine, not from the chair: each as a block of five lines."""

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
    """Digits, points, spaces and per cent as five lines, each stroke two columns wide."""
    ink = "\u2588" if "utf" in (sys.stdout.encoding or "").lower() else "#"
    rows = (" ".join(_SHAPES[c][row] for c in text) for row in range(5))
    return ["".join((ink if c == "#" else " ") * 2 for c in row).rstrip() for row in rows]
