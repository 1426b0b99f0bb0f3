"""The stripboards: what their copper joins is what the schematic joins, and the mains stays away from everything else."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from gen.user_files import Wrong
from gen.wiring.interface import Interface, interface_for
from gen.wiring.interface.stripboard import (
    COUPLER_HOLES,
    HOLES,
    MAINS,
    OFF_BOARD,
    PITCH_MM,
    STRIPS,
    TRIMMED_MM,
    StripLayout,
    boards,
    check_size,
)
from tests.support.machines import known_welder
from tests.support.wiring.interface_machines import INTERFACE_MACHINES
from tests.support.wiring.strip_reader import read_nets
from tests.support.wiring.upgrade_machines import chosen


@pytest.fixture(scope="module", params=list(INTERFACE_MACHINES))
def interface(request: pytest.FixtureRequest) -> Interface:
    welder = known_welder(**INTERFACE_MACHINES[request.param])
    return interface_for(welder, chosen(welder).detector)


def schematic(interface: Interface) -> set[frozenset[str]]:
    """The nets of what is soldered to the boards."""
    away = {part.name for part in interface.components if part.generic in OFF_BOARD}
    nets = ({pin for pin in pins if pin.partition(".")[0] not in away} for pins in interface.nets.values())
    alone = {f"{part.name}.{pin}" for part in interface.components for pin, net in part.pins if not net}
    alone = {pin for pin in alone if pin.partition(".")[0] not in away}
    return {frozenset(net) for net in nets if net} | {frozenset({pin}) for pin in alone}


def test_the_copper_joins_what_the_schematic_joins(interface: Interface) -> None:
    """Net by net, over all boards and the leads between them: no join too many and none too few."""
    layouts = boards(interface)
    assert read_nets(layouts) == schematic(interface)
    on_boards = [fitting.part for layout in layouts for fitting in layout.fittings]
    assert sorted(on_boards) == sorted(part.name for part in interface.components if part.generic not in OFF_BOARD)


@pytest.mark.parametrize("what", ["cuts", "links", "leads"])
def test_a_cut_or_a_link_left_out_is_noticed(what: str) -> None:
    """The reader is no rubber stamp: without any one cut, link or lead it reads other nets."""
    welder = known_welder(**INTERFACE_MACHINES["everything"])
    interface = interface_for(welder, chosen(welder).detector)
    layouts, tried, noticed = boards(interface), 0, 0
    for at, layout in enumerate(layouts):
        for gone in getattr(layout, what):
            other = replace(layout, **{what: tuple(one for one in getattr(layout, what) if one != gone)})
            tried += 1
            noticed += read_nets((*layouts[:at], other, *layouts[at + 1 :])) != schematic(interface)
    # A lead that joins nothing else of the interface goes to the machine or the timer board: the copper alone does not need it.
    assert noticed == tried if what != "leads" else noticed > 10


# Nets between which no more than a few volts stand: a diode's, or a gate's.
NEAR = ({"DB", "CN", "CLB"}, {"L3", "G2", "HB"}, {"L4", "G1", "HA", "SB", "G"})


def test_mains_strips_are_apart(interface: Interface) -> None:
    """Between strips that differ by the mains lies a strip that is peeled off; no strip crosses the band."""
    layout = boards(interface)[-1]
    assert layout.name == "mains"
    assert layout.band is not None
    for above, below in pairwise(layout.nets):
        assert not above or not below or above == below or any({above, below} <= near for near in NEAR), (above, below)
    assert set(layout.nets) <= MAINS | {""}
    assert not set(layout.right_nets) & MAINS
    for other in boards(interface)[:-1]:
        assert not set(other.nets) & MAINS
    # 8 mm over surfaces, reinforced, as the wiring sheet asks for (IEC 60664-1, from memory).
    assert COUPLER_HOLES * PITCH_MM - 2 * TRIMMED_MM >= 8.0
    for fitting in layout.fittings:
        sides = {hole > layout.band[1] for _, (hole, _) in fitting.holes}
        assert len(sides) == 1 or interface.part(fitting.part).generic.endswith("coupler")


def test_bodies_do_not_overlap(interface: Interface) -> None:
    """Each part, link and pin has its holes to itself."""
    for layout in boards(interface):
        taken: set[tuple[int, int]] = set()
        for cells in bodies(layout):
            assert not cells & taken, layout.name
            taken |= cells


def bodies(layout: StripLayout) -> list[set[tuple[int, int]]]:
    found = []
    for fitting in layout.fittings:
        holes = [hole for _, (hole, _) in fitting.holes]
        strips = [strip for _, (_, strip) in fitting.holes]
        first = min(holes) - (fitting.width - 1) // 2 if len(set(holes)) == 1 else min(holes)
        last = first + fitting.width - 1 if len(set(holes)) == 1 else max(holes)
        found.append({(h, s) for h in range(first, last + 1) for s in range(min(strips), max(strips) + 1)})
    found += [{(a, s) for s in range(min(b, d), max(b, d) + 1)} for (a, b), (_, d) in layout.links]
    return found + [{hole} for _, hole in layout.leads]


def test_every_board_fits_the_common_size(interface: Interface) -> None:
    """64 by 95 mm holds each; a hole less than one needs is refused, with what it needs."""
    layouts = boards(interface)
    check_size(layouts, STRIPS, HOLES)
    widest = max(layout.holes for layout in layouts)
    check_size(layouts, STRIPS, widest)
    with pytest.raises(Wrong, match=f"of {widest} holes; allowed: "):
        check_size(layouts, STRIPS, widest - 1)
