"""The interface board as a value: it holds together for every machine, and its timing keeps inside its windows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gen.machine.welder import Welder
from gen.wiring.interface import Component, Interface, interface_for
from gen.wiring.interface.contactor_stage import LONGEST_GAP_MS, TRAIN_GONE_MS, held_ms
from gen.wiring.interface.gate_stage import one_shot
from gen.wiring.signal_parts import DRIVE_LIMIT_MS, LONGEST_GATE_MARGIN, longest_gate_ms
from tests.support.machines import known_welder
from tests.support.wiring.interface_machines import INTERFACE_MACHINES
from tests.support.wiring.upgrade_machines import chosen, sheet_of


@pytest.fixture(scope="module", params=list(INTERFACE_MACHINES))
def welder(request: pytest.FixtureRequest) -> Welder:
    return known_welder(**INTERFACE_MACHINES[request.param])


@pytest.fixture(scope="module")
def interface(welder: Welder) -> Interface:
    return interface_for(welder, chosen(welder).detector)


# What leaves the board by a lead, and so may have one pin on it.
LEADS = {"5B", "COIL", "CL", "CN", "CLB", "L3", "L4", "FIRE", "FIRE0"}


def test_no_pin_is_left_alone(interface: Interface) -> None:
    """A net inside the board joins two pins at least; only a lead may end at one."""
    assert {net for net, pins in interface.nets.items() if len(pins) == 1} <= LEADS


def test_mains_and_low_voltage_meet_in_the_couplers_alone(interface: Interface) -> None:
    """Reinforced insulation stands in couplers and transformer; no other part is on both sides."""
    mains = {"CL", "CN", "CLB", "DA", "DB", "L3", "L4", "SA", "SB", "G", "G1", "G2", "GS", "GM", "HA", "HB"}
    both = {
        part.generic
        for part in interface.components
        if {net for _, net in part.pins} & mains and {net for _, net in part.pins if net} - mains
    }
    assert both <= {"coupler", "two-way coupler", "phototriac coupler", "pulse transformer"}


@pytest.mark.parametrize("frequency_Hz", [50, 60])
@pytest.mark.parametrize("angles", [(0, 5), (10, 20), (40, 65), (5, 80)])
def test_the_one_shot_outlasts_the_gate_and_ends_within_12_ms(frequency_Hz: int, angles: tuple[int, int]) -> None:
    """Whatever the machine's load angle: longer than its longest gate, shorter than 12 ms, at every tolerance's worst."""
    welder = known_welder(
        mains={"frequency_Hz": frequency_Hz},
        transformer={"load_angle_min_deg": angles[0], "load_angle_max_deg": angles[1]},
    )
    length = one_shot(welder).length_ms
    assert longest_gate_ms(welder) * LONGEST_GATE_MARGIN <= length.low
    assert length.high <= DRIVE_LIMIT_MS


def test_the_pump_bridges_a_healthy_gap_and_no_dead_board() -> None:
    """A step may be late by 20 ms after 17: 37 ms must not drop the coil. 60 ms without an edge must."""
    assert held_ms().low > LONGEST_GAP_MS
    assert held_ms().high < TRAIN_GONE_MS


def test_a_board_holds_together(interface: Interface) -> None:
    """A part with a pin too few, and two parts of one name, are refused as they are made."""
    part = interface.part("R33")
    with pytest.raises(ValueError, match="R33: pins"):
        replace(part, pins=part.pins[:1])
    stage = interface.stages[0]
    with pytest.raises(ValueError, match="parts of one name: D3"):
        Interface((stage, replace(stage, components=stage.components[-1:])))


@pytest.mark.parametrize(
    ("value", "text"),
    [(470_000, "470 kohm"), (1e6, "1 Mohm"), (330, "330 ohm"), (1500, "1.5 kohm")],
)
def test_values_are_written_as_on_a_drawing(value: float, text: str) -> None:
    """Three digits and the prefix that a shop uses."""
    assert Component("R1", "resistor", (("1", "A"), ("2", "B")), "", value).value_text == text
    for farad, words in ((22e-9, "22 nF"), (1e-6, "1 uF"), (1e-9, "1 nF"), (10e-6, "10 uF")):
        assert Component("C1", "film capacitor", (("1", "A"), ("2", "B")), "", farad).value_text == words


# Terminals of the wiring sheet's boxes, each with the stage that it stands for and the net that the stage has there.
BOXES = {
    "A2": ("gate", {"IN": "GATE", "SUP": "24E", "0V": "0V", "OUT": "FIRE", "RET": "FIRE0"}),
    "A3": ("contactor", {"IN": "PULSE", "SUP": "24E", "0V": "0V", "OUT": "COIL"}),
    "A5": ("current", {"CT": "CT", "MID": "MID", "3V3": "3V3", "0V": "0V", "OUT": "AMPS"}),
    "U2": (
        "isolation",
        {"A": "FIRE", "K": "FIRE0", "G1": "G1", "G2": "G2", "K1": "L4", "K2": "L3", "G": "G", "2": "L3", "1": "L4"},
    ),
}
TWO_WAY = {"U1.A": "U1.1", "U1.K": "U1.2"}


def test_the_wiring_sheet_is_wired_to_this_board(welder: Welder, interface: Interface) -> None:
    """Each part that both have is on the same nets in both; each box is a stage that is on the box's nets."""
    netlist = sheet_of(welder).netlist
    names = {part.name for part in interface.components}
    two_way = interface.part("U1").generic == "two-way coupler"
    on_board = {part.name for part in netlist.parts if part.on_board and part.name != "A1"}
    assert on_board <= names | BOXES.keys()
    for net in netlist.nets:
        for terminal in net.terminals:
            name, _, pin = terminal.partition(".")
            if name in BOXES:
                stages = (
                    {BOXES[name][0], "isolation"} if name == "A2" else {BOXES[name][0]}
                )  # a carrier is in its return
                assert BOXES[name][1][pin] == net.name
                assert any(net.name in stage.nets for stage in interface.stages if stage.name in stages)
            elif name in names:
                assert (TWO_WAY.get(terminal, terminal) if two_way else terminal) in interface.nets[net.name], terminal
