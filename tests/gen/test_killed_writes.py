"""A write that is killed or fails leaves the old or the new. The whole is `python -m tests.campaigns.killed_writes`.

The second method is the kernel's own: `strace` ends the process, or lets a call fail, at one system call (man 1 strace).
"""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from tests.support.killed_writes import STRACE

pytestmark = pytest.mark.skipif(STRACE is None, reason="strace is not there: apt install strace")


def test_a_few_strikes() -> None:
    """One in forty of every kind of write, in a process of its own, since each strike forks it."""
    line = [sys.executable, "-m", "tests.campaigns.killed_writes", "40"]
    done = subprocess.run(line, capture_output=True, text=True, timeout=200, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    strikes = re.search(r"^(\d+) strikes, 0 complaints$", done.stdout, re.MULTILINE)
    assert strikes is not None
    assert int(strikes[1]) > 8
