"""A hundredth of the search for the worst push that the board takes, under the real MicroPython, and what it must notice.

tests/campaigns/pushes.py runs all of it. Source of the heat and the volt-seconds: tests/support/app/dangerous_pushes.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from gen.firmware import FirmwareBundle
from tests.support.app.dangerous_pushes import AIMS, MACHINES, Judge, Search, dangers, overshoots, search, target
from tests.support.app.weakened import Change, answers
from tests.support.link.link_shop import MISSING

pytestmark = pytest.mark.skipif(MISSING, reason="micropython_unix is not installed")
PUSHES = 240  # a machine: of 100 000 over four of them a hundredth


def searched(number: int, bundle: FirmwareBundle, folder: Path, pushes: int, *aims: str) -> Search:
    with Judge(bundle, folder) as judge:
        return search(number, pushes, 1, judge, aims or AIMS)


@pytest.mark.parametrize("number", range(len(MACHINES)))
def test_no_push_that_is_taken_goes_beyond_the_limits(number: int, tmp_path: Path) -> None:
    """Many are taken, and by each aim one comes near its limit; a search that finds nothing would prove nothing."""
    found = searched(number, target(number).bundle, tmp_path, PUSHES)
    assert overshoots(found) == []
    assert found.taken > PUSHES / 5
    assert len(found.refusals) > 8
    assert set(found.worst) == set(AIMS)
    assert found.worst["heat"][0] > 0.9
    assert min(found.worst[aim][0] for aim in ("gap", "first delay")) > 0.8


GUARDS: tuple[tuple[str, Change], ...] = (
    ("heat", answers("_least_heat", "1")),
    ("one-sided", answers("_balance_refusal", "''")),
    ("one-sided", answers("_left", "0")),
)


@pytest.mark.parametrize(("aim", "change"), GUARDS, ids=["heat", "one-sided", "what impulses leave"])
def test_without_a_guard_the_search_finds_a_push_beyond_it(aim: str, change: Change, tmp_path: Path) -> None:
    """Each guard taken out of the emitted files lets a push be taken that the search climbs to."""
    found = searched(2, change(target(2).bundle), tmp_path, 600, aim)
    assert any(text.startswith(aim) for text in overshoots(found))


def test_the_search_reckons_what_a_push_does() -> None:
    """Of pushes whose figures are plain: two whole half-cycles heat as two, and one polarity fired alone is all ahead."""
    it = target(0)
    config = it.config
    ends = [[0, 20, -1, 0]], [[6, 5, -1, 0], [7, 50, -1, 0]]
    whole = dangers([*ends[0], [4, 2, 0, 100], *ends[1]], it)
    assert whole["heat"] == pytest.approx(1.0, rel=0.01)
    assert whole["one-sided"] == pytest.approx(0.0, abs=1e-9)
    uneven = [[4, 1, config.LATEST_DELAY_US, 100], [4, 1, config.EARLIEST_DELAY_US, 100]]
    assert dangers([*ends[0], *uneven, *ends[1]], it)["one-sided"] == pytest.approx(1.0, abs=0.06)
    assert dangers([*ends[0], [4, 3, 4_900, 100], [2, 5, -1, 0], [4, 2, 4_900, 100], *ends[1]], it)["odd"] == 2
