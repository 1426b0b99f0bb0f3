"""Miswirings made by rule from the netlist, and the walk on a machine that answers as the circuit then really would.

One for each step here; all of them: `tests/campaigns/miswirings.py`.
No source outside: what is held is that a mistake on the sheet's own wires ends the walk, at the step that is for it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest

from tests.support.miswired.found_by import FOUND_BY
from tests.support.miswired.not_found import NOT_FOUND
from tests.support.miswired.walks import MiswiredWalks, machine

# One for each step that is for a mistake, and one for each rule that these leave out.
WALKED = (*{step: name for name, step in reversed(FOUND_BY.items())}.values(), "wrong pin: A1.mirror on a free one")
# One of those that nothing can tell.
MISSED = "bridged: R14.1 and R14.2"


@pytest.fixture(scope="module")
def walks(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MiswiredWalks]:
    with machine(tmp_path_factory.mktemp("miswired")) as made:
        yield made


def test_each_rule_makes_its_miswirings(walks: MiswiredWalks) -> None:
    """None that leaves the same joints, none twice."""
    made = Counter(m.rule for m in walks.miswirings)
    assert set(made) == {"missing", "bridged", "reversed", "swapped", "wrong pin"}
    assert sum(made.values()) >= 120
    assert len({m.name for m in walks.miswirings}) == len(walks.miswirings)


def test_a_machine_wired_as_its_sheet_says_passes_and_a_wrong_one_does_not(walks: MiswiredWalks) -> None:
    """Found where it should be; what no meter can tell passes."""
    by_name = {m.name: m for m in walks.miswirings}
    assert {by_name[name].rule for name in WALKED} >= {"missing", "bridged", "swapped", "wrong pin"}
    assert {name: walks.found(by_name[name]).by for name in WALKED} == {name: FOUND_BY[name] for name in WALKED}
    assert walks.found(by_name[MISSED]).by == ""
    assert {MISSED} <= NOT_FOUND.keys() <= by_name.keys()
    assert FOUND_BY.keys() <= by_name.keys() - NOT_FOUND.keys()
