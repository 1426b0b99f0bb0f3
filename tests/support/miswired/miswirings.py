"""Every miswiring of a machine by five rules, made from its netlist: what a tired hand does to one wire."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from gen.wiring.netlist import Netlist, Part
from tests.support.miswired.circuit import Link

FREE = "A1.free"  # a pin of the board that no role uses


@dataclass(frozen=True)
class Miswiring:
    """One mistake: the links as they were then made."""

    rule: str
    what: str
    links: tuple[Link, ...]

    @property
    def name(self) -> str:
        return f"{self.rule}: {self.what}"


def right(netlist: Netlist) -> tuple[Link, ...]:
    """Every wire and track as it should be."""
    return tuple((wire.start, wire.end) for wire in netlist.wires)


def miswirings(netlist: Netlist) -> tuple[Miswiring, ...]:
    """All of them, in the order of the rules. A mistake that leaves the same joints is none."""
    links = right(netlist)
    return tuple(
        m
        for made in (_missing, _bridged, _reversed, _swapped, _wrong_pin)
        for m in made(netlist, links)
        if joints(m.links) != joints(links)
    )


def joints(links: tuple[Link, ...]) -> frozenset[frozenset[str]]:
    """What is joined to what, however it is wired."""
    groups: dict[str, set[str]] = {}
    for one, other in links:
        whole = groups.get(one, {one}) | groups.get(other, {other})
        groups |= dict.fromkeys(whole, whole)
    return frozenset(frozenset(group) for group in groups.values())


def _missing(netlist: Netlist, links: tuple[Link, ...]) -> Iterator[Miswiring]:
    """A wire left out."""
    for n, (one, other) in enumerate(links):
        yield Miswiring("missing", f"{one} to {other}", links[:n] + links[n + 1 :])


def _bridged(netlist: Netlist, links: tuple[Link, ...]) -> Iterator[Miswiring]:
    """A whisker of the strand, or solder, from one terminal of a part to the next."""
    for one, other in _neighbours(netlist):
        yield Miswiring("bridged", f"{one} and {other}", (*links, (one, other)))


def _reversed(netlist: Netlist, links: tuple[Link, ...]) -> Iterator[Miswiring]:
    """A part with two ends that are not alike, the wrong way round."""
    for part in netlist.parts:
        for ends in (part.terminals("mains"), part.terminals("low")):
            if len(ends) == 2 and not _alike(part, ends):
                yield Miswiring("reversed", " and ".join(ends), _exchanged(links, *ends))


def _swapped(netlist: Netlist, links: tuple[Link, ...]) -> Iterator[Miswiring]:
    """The wires of two neighbours on a part with more of them, exchanged."""
    for part in netlist.parts:
        for ends in (part.terminals("mains"), part.terminals("low")):
            for one, other in pairwise(ends) if len(ends) > 2 else ():
                yield Miswiring("swapped", f"{one} and {other}", _exchanged(links, one, other))


def _wrong_pin(netlist: Netlist, links: tuple[Link, ...]) -> Iterator[Miswiring]:
    """What belongs on one pin of the board is on a free pin, or joins what is on the next one but one."""
    board = netlist.part("A1")
    assert board is not None
    roles = [t for t in board.terminals("low") if t not in ("A1.5V", "A1.3V3", "A1.GND", "A1.USB")]
    for n, pin in enumerate(roles):
        yield Miswiring("wrong pin", f"{pin} on a free one", _moved(links, pin, FREE))
        other = roles[(n + 2) % len(roles)]
        yield Miswiring("wrong pin", f"{pin} on {other}", _moved(links, pin, other))


def _neighbours(netlist: Netlist) -> Iterator[Link]:
    for part in netlist.parts:
        for ends in (part.terminals("mains"), part.terminals("low")):
            yield from pairwise(ends)


def _alike(part: Part, ends: tuple[str, ...]) -> bool:
    """Whether a part does not mind which way round it is: its ends are only numbered."""
    return all(end.partition(".")[2].isdigit() for end in ends)


def _exchanged(links: tuple[Link, ...], one: str, other: str) -> tuple[Link, ...]:
    swap = {one: other, other: one}
    return tuple((swap.get(a, a), swap.get(b, b)) for a, b in links)


def _moved(links: tuple[Link, ...], pin: str, to: str) -> tuple[Link, ...]:
    return tuple((to if a == pin else a, to if b == pin else b) for a, b in links)
