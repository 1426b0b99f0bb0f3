"""Miswirings made by rule from the netlist, and the walk on a machine that answers as the circuit then really would.

A handful here, those that a step without power finds and one of each newer kind; all of them: `tests/campaigns/miswirings.py`.
No source outside: what is held is that a mistake on the sheet's own wires ends the walk, at the step that is for it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest

from tests.support.miswired.not_found import NOT_FOUND
from tests.support.miswired.walks import MiswiredWalks, machine

# The step that is for it, by the mistake.
FOUND_BY = {
    "missing: XE.bar to XB.PE": "0 V to protective earth",
    "missing: A1.gate to R8.1": "Pull-downs",
    "missing: V1.A to R3.1": "Snubber",
    "bridged: Q1.1 and Q1.2": "Contacts that must be open",
    "bridged: K1.1 and K1.2": "Contacts that must be open",
    "missing: D3.K to A1.5V": "Leads of the board's supply",
    "bridged: D3.A and D3.K": "Two feeds of the board apart",
    "bridged: S1.11 and S1.12": "Stop cuts contactor and gate stage",
    "swapped: Q0.L and Q0.N": "Line where it belongs",
    "missing: K1.21 to R14.1": "Mirror contact",
    "bridged: K1.21 and K1.22": "Mirror contact",
    "swapped: K1.A2 and K1.21": "Mirror contact",
    "swapped: A1.mirror and A1.detector": "Pull-ups",
    "wrong pin: A1.mirror on a free one": "Pull-ups",
    "missing: A1.3V3 to R20.1": "Pull-ups",
    "missing: R12.1 to R22.2": "Pull-ups",
    "missing: R14.1 to R24.2": "Pull-ups",
}
# Of those that nothing can tell; the campaign holds all of that list.
MISSED = ("missing: A1.stop to C10.1", "bridged: R14.1 and R14.2")


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
    assert {name: walks.found(by_name[name]).by for name in FOUND_BY} == FOUND_BY
    assert {name: walks.found(by_name[name]).by for name in MISSED} == dict.fromkeys(MISSED, "")
    assert set(MISSED) <= NOT_FOUND.keys() <= by_name.keys()
