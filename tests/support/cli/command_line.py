"""Types commands as a user would, in-process, and looks at what they left behind."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from gen.cli.commands import run

PROTECTION = """\
[protection]
gate_drive = "one_shot"
isolator = true
contactor = true
mirror_contact = true
stop_cuts_gate_supply = true
stop_cuts_contactor = true
over_temperature_contact = true
secondary_earthed = true
"""
WELDER = f"""\
[mains]
voltage_V = 230
frequency_Hz = 50
[transformer]
rating_kVA = 2.5
rating_duty_percent = 50
working_current_A = 22
load_angle_min_deg = 40
load_angle_max_deg = 65
[switch]
kind = "scr_pair"
[detector]
kind = "square"
[force]
source = "foot_lever"
{PROTECTION}\
[limits]
longest_weld = "3 s"
[board]
name = "pico"
"""

SCHEDULE = """\
frequency_Hz = 50
[[phase]]
squeeze = "0.4 s"
[[phase]]
pulse = "2 cycles"
current_percent = 60
repeat = 2
cool = "4 cycles"
[[phase]]
weld = "20 cycles"
current_percent = 85
upslope = "5 cycles"
[[phase]]
hold = "25 cycles"
[[phase]]
off = "1 s"
"""


@dataclass(frozen=True)
class Outcome:
    """What a command printed, and its exit code."""

    code: int
    out: str
    err: str


def typed(line: list[str], answers: str | io.TextIOBase = "", out: io.StringIO | None = None) -> Outcome:
    """Run `weldbeat` with the words of `line`, `answers` on its standard input, what it prints going to `out`."""
    out, err = out or io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", ["weldbeat", *line])
        patch.setattr(sys, "stdin", io.StringIO(answers) if isinstance(answers, str) else answers)
        code = run()
    return Outcome(code, out.getvalue(), err.getvalue())


def contents(folder: Path) -> dict[str, bytes]:
    """Everything in a folder and below: bytes by path; a folder counts as no bytes."""
    return {str(p.relative_to(folder)): b"" if p.is_dir() else p.read_bytes() for p in sorted(folder.rglob("*"))}


def replaced(text: str, old: str, new: str) -> str:
    """`text` with its only `old` replaced, so that a case cannot silently change nothing."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


BESIDE_PYTHON = str(Path(sys.executable).parent)


def shell(line: str, folder: Path, encoding: str = "utf-8") -> subprocess.CompletedProcess[str]:
    """Type a line into a real shell, with the installed command on its path."""
    path = f"{BESIDE_PYTHON}{os.pathsep}{os.environ['PATH']}"
    everything = os.environ | {"PATH": path, "PYTHONIOENCODING": encoding}
    return subprocess.run(
        line, shell=True, cwd=folder, env=everything, capture_output=True, encoding=encoding, timeout=300, check=False
    )
