"""Every command that tells another program, typed in a shop of its own: what it printed, by the name of its schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.support.cli.command_line import replaced, typed

SHORT = """\
frequency_Hz = 50
[[phase]]
squeeze = "0.1 s"
[[phase]]
weld = "6 cycles"
[[phase]]
hold = "5 cycles"
[[phase]]
off = "10 cycles"
"""

# What is typed, in this order, in a folder with a machine, a joint and two schedules; the first words are the schema's name.
LINES = (
    "next",
    "boards",
    "boards pico",
    "ports",
    "describe",
    "describe --electrode length=44",
    "suggest --rods 4,4",
    "suggest --sheets 3,3",
    "table job.toml",
    "choose",
    "wiring -o wiring.html",
    "simulate job.toml --minutes 0.1 --burst 3",
    "simulate short.toml --minutes 0.1 --pace 60",
    "sweep short.toml --machines 2 --workers 1",
    "faults short.toml",
    "build job.toml -o firmware",
    "trial next rungs.toml",
    "trial add rungs.toml job.toml --outcome broke-at-joint",
    "trial add rungs.toml job.toml --outcome tore-parent --expulsion late --setdown 0.4 --note hot",
    "trial next rungs.toml --pace 8",
    "trial show rungs.toml",
    "trial keep rungs.toml -o kept.toml",
    "trial show rungs.toml",
    "trial compare",
    "trial page rungs.toml -o page.html",
    "trial export trials.csv",
    "trial import trials.csv",
    "trial remove rungs.toml 2",
    "paper label -o label.html",
    "paper chart -o chart.html",
    "paper logbook -o logbook.html",
    "rescue saved.sqlite",
)
GROUPS = ("trial", "paper")


def name_of(line: str) -> str:
    """The schema's name: the command and, in a group, its sub-command."""
    words = line.split()
    return "-".join(words[: 2 if words[0] in GROUPS else 1])


def samples(folder: Path) -> list[tuple[str, Any]]:
    """(Line, what it told) of each, typed in `folder` as `tests.support.cli.scrap.set_out` leaves it."""
    (folder / "short.toml").write_text(SHORT)
    text = (folder / "welder.toml").read_text()
    text += (
        "\n[electrodes]\ndiameter_mm = 12\nlength_mm = 40\n[arms]\nlength_mm = 250\nthroat_mm = 120\ndiameter_mm = 20\n"
    )
    (folder / "welder.toml").write_text(
        replaced(text, "working_current_A = 22", "working_current_A = 22\nshorted_current_A = 30")
    )
    found = []
    for line in LINES:
        outcome = typed([*line.split(), "--json"])
        assert outcome.code in (0, 1), (line, outcome)
        assert outcome.err == "", (line, outcome.err)
        found.append((line, json.loads(outcome.out)))
    return found
