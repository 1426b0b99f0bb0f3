"""A hundredth of the campaign: machines of drawn welder files, each with a verdict."""

from __future__ import annotations

import pytest

from tests.campaigns.sweep_machines import MACHINES_A_FILE, judged


@pytest.mark.parametrize("seed", range(100 // MACHINES_A_FILE))
def test_every_drawn_machine_is_judged(seed: int) -> None:
    """No overlap of heat segments, no error: a hundred machines, four of whose ten files stopped the sweep before."""
    assert judged(seed) > 10 * MACHINES_A_FILE
