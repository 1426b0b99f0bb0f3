"""The net list that KiCad reads, read back by kinparse, a reader that is not ours."""

from __future__ import annotations

import warnings

import kinparse
import pytest

from gen.wiring.interface import Interface, interface_for
from gen.wiring.interface.components import PINS
from gen.wiring.interface.kicad import PACKAGES, kicad_netlist
from tests.support.machines import known_welder
from tests.support.wiring.interface_machines import INTERFACE_MACHINES
from tests.support.wiring.upgrade_machines import chosen


@pytest.fixture(scope="module", params=["everything", "pulse transformer"])
def interface(request: pytest.FixtureRequest) -> Interface:
    """Between them they have every type of part that any of the machines has."""
    welder = known_welder(**INTERFACE_MACHINES[request.param])
    return interface_for(welder, chosen(welder).detector)


def test_another_reader_finds_the_same_nets(interface: Interface) -> None:
    """Net by net and pin by pin, each pin by its pad; every part with its value."""
    text = kicad_netlist(interface)
    with warnings.catch_warnings():  # kinparse calls pyparsing by its old names
        warnings.simplefilter("ignore", DeprecationWarning)
        read = kinparse.parse_netlist(text)
    pads = {
        (part.name, PACKAGES[part.generic][0][pin]): f"{part.name}.{pin}"
        for part in interface.components
        for pin, _ in part.pins
    }
    found = {net.name: frozenset(pads[node.ref, node.num] for node in net.pins) for net in read.nets}
    assert found == interface.nets
    assert {part.ref: part.value for part in read.parts} == {
        part.name: part.value_text or part.generic for part in interface.components
    }
    assert text == kicad_netlist(interface)


def test_each_type_has_a_pad_for_each_pin() -> None:
    """And no two pins share one."""
    assert set(PACKAGES) == set(PINS)
    for generic, pins in PINS.items():
        pads = PACKAGES[generic][0]
        assert set(pins) <= set(pads)
        assert len(set(pads.values())) == len(pads)
