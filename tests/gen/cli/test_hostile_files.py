"""Hostile files end in one clear line, or are taken. The whole is `python -m tests.campaigns.hostile_files`.

No source outside but TOML 1.0.0 and Unicode.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.cli.command_line import typed
from tests.support.hostile_files import COMMANDS, hostile, judged
from tests.support.hostile_numbers import GOOD


def test_the_good_files_are_good(here: Path) -> None:
    """Else every other would be refused for a reason of theirs, and nothing would be tried."""
    for name, text in GOOD.items():
        (here / name).write_text(text)
    for lines in COMMANDS.values():
        for line in lines:
            assert typed(line).err == ""


@pytest.mark.parametrize("seed", range(2))
def test_hostile_files(seed: int, here: Path) -> None:
    """Of each seed 150; some of them are still good files, and most are not."""
    came = []
    for case in hostile(150, seed):
        outcome, complaint = judged(case, here)
        assert complaint is None, f"{case.file}, {case.what}: {complaint}"
        came.append(outcome)
    assert 1 < came.count("taken") < 75
