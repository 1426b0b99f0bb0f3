"""A stop in a half-cycle of each ten of a weld of 200, by stop circuit and stop line: no new gate, and the right polarity next.

`python -m tests.campaigns.stops` stops in every one. All of it in virtual time; gates and currents are the bench's own.
"""

from __future__ import annotations

import pytest

from tests.support.app.stops import HALF_CYCLES, WAYS, stop_is_heeded


@pytest.mark.parametrize("how", WAYS)
@pytest.mark.parametrize("tens", range(HALF_CYCLES // 10))
def test_stop_in_a_half_cycle_of_each_ten(tens: int, how: str) -> None:
    """Before, in or after its gate, each of the ten places within ten in its turn."""
    stop_is_heeded(10 * tens + (3 * tens + WAYS.index(how)) % 10, how)
