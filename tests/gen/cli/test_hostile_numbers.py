"""Numbers that no machine has, in each place of each file: one clear message, or figures that are numbers.

The whole is `python -m tests.campaigns.hostile_numbers`. No source outside but IEEE 754 (denormals, infinities) and TOML 1.0.0.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.support.hostile_numbers import Spoilt, complaints, spoilt

# Each of these gave a traceback, or figures that were no numbers, until the keys had their bounds.
KNOWN = (
    ("voltage_V = 230", "0x" + "f" * 900),
    ("load_angle_min_deg = 40", "5e-324"),
    ("taps = {low = 1.8, high = 2.4}", "1e-310"),
    ("taps = {low = 1.8, high = 2.4}", "1e-160"),
    ("diameter_mm = 25", "5e-324"),
    ("diameter_mm = 25", "1e-300"),
    ("current_percent = 60", "5e-324"),
    ("force_lb = 270", "1" + "0" * 310),
)
_ALL = list(spoilt())
_SAMPLE = random.Random(1).sample(_ALL, 30)
_CASES = [case for case in _ALL if (case.line, case.figure) in KNOWN] + _SAMPLE


@pytest.mark.parametrize("case", _CASES, ids=lambda case: case.what)
def test_a_hostile_number(case: Spoilt, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither a traceback, nor a line that fills the screen, nor `nan` in place of a figure that someone would build by."""
    monkeypatch.chdir(tmp_path)
    assert complaints(case, tmp_path, dear=False) == []
