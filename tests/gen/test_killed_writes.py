"""A write that is killed or fails leaves the old or the new. The whole is `python -m tests.campaigns.killed_writes`.

The second method is the kernel's own: `strace` ends the process, or lets a call fail, at one system call (man 1 strace).
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.support.killed_writes import STRACE, complaint, strikes

pytestmark = pytest.mark.skipif(STRACE is None, reason="strace is not there: apt install strace")


@pytest.mark.parametrize("kind", ["file", "firmware", "rescue"])
def test_a_few_strikes(kind: str, tmp_path: Path) -> None:
    """One kill and one failure of each, at places of a seed; there is a great number to choose from."""
    every = list(strikes(kind, tmp_path / "traced"))
    assert len(every) > 10
    chance = random.Random(1)
    for number, failing in enumerate((False, True)):
        strike = chance.choice([each for each in every if (each.error is not None) is failing])
        came, found = complaint(strike, tmp_path / str(number))
        assert found is None, f"{strike.what}: {came}, {found}"
