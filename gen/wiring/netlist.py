"""The upgrade as one value: parts with their terminals, nets that join terminals, and the wires of each net.

Drawings, wire list and parts list are all made from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

Side = Literal["mains", "low"]


@dataclass(frozen=True)
class Part:
    """One part. `mains` and `low` are its terminals on each side.

    `on_board`: the part sits on the interface board; two such parts are joined by a track.
    `fitted` False: the welder file does not name the part, and it is to be fitted.
    `link`: the part is a bar between two screws.
    """

    name: str
    title: str
    description: str
    mains: tuple[str, ...] = ()
    low: tuple[str, ...] = ()
    on_board: bool = False
    fitted: bool = True
    link: bool = False

    def terminals(self, side: Side) -> tuple[str, ...]:
        """The full names of the part's terminals on one side, such as "V1.A"."""
        return tuple(f"{self.name}.{terminal}" for terminal in (self.mains if side == "mains" else self.low))


@dataclass(frozen=True)
class Kind:
    """Least conductor and colours of a net's wires. Examples only: the local code decides.

    `heavy`: the wire conducts the welding current or is protective earth.
    """

    gauge: str
    colour_iec: str
    colour_nec: str
    note: str = ""
    heavy: bool = False


@dataclass(frozen=True)
class Connection:
    """One wire or track of a net. `kind` is None where the net's own kind applies."""

    start: str
    end: str
    kind: Kind | None = None


def chain(*terminals: str, kind: Kind | None = None) -> tuple[Connection, ...]:
    """Connections from each terminal to the next."""
    return tuple(Connection(start, end, kind) for start, end in pairwise(terminals))


def star(middle: str, *others: str, kind: Kind | None = None) -> tuple[Connection, ...]:
    """Connections from one terminal to each of the others."""
    return tuple(Connection(middle, other, kind) for other in others)


@dataclass(frozen=True)
class Net:
    """Terminals joined by links. The links form a tree: no ring, no loose end. The name marks each wire's ends."""

    name: str
    side: Side
    kind: Kind
    links: tuple[Connection, ...]

    def __post_init__(self) -> None:
        reached = {self.links[0].start}
        for link in self.links:  # one end of each is joined already
            if (link.start in reached) == (link.end in reached):
                raise ValueError(f"net {self.name}: {link.start} to {link.end} joins nothing new")
            reached |= {link.start, link.end}

    @property
    def terminals(self) -> tuple[str, ...]:
        """Every terminal, in the order in which the links reach them."""
        return tuple(dict.fromkeys(end for link in self.links for end in (link.start, link.end)))


@dataclass(frozen=True)
class Wire:
    """One wire, or one track of the interface board."""

    number: int
    net: str
    side: Side
    start: str
    end: str
    kind: Kind
    track: bool


@dataclass(frozen=True)
class Netlist:
    """All parts and nets of one machine and one board. Each terminal is in exactly one net."""

    parts: tuple[Part, ...]
    nets: tuple[Net, ...]

    def __post_init__(self) -> None:
        joined = [terminal for net in self.nets for terminal in net.terminals]
        there = [t for part in self.parts for t in (*part.terminals("mains"), *part.terminals("low"))]
        if sorted(joined) != sorted(there):
            odd = sorted(set(joined) ^ set(there)) or sorted(t for t in set(joined) if joined.count(t) > 1)
            raise ValueError(f"terminals not in exactly one net: {', '.join(odd)}")

    def part(self, name: str) -> Part | None:
        """The part of that name; None where this machine has none."""
        return next((part for part in self.parts if part.name == name), None)

    def on(self, side: Side) -> tuple[Net, ...]:
        """The nets of one side."""
        return tuple(net for net in self.nets if net.side == side)

    @property
    def wires(self) -> tuple[Wire, ...]:
        """Every wire, numbered from 1 on the mains side and from 101 on the low-voltage side."""
        board = {part.name for part in self.parts if part.on_board}
        found: list[Wire] = []
        numbered: tuple[tuple[Side, int], ...] = (("mains", 1), ("low", 101))
        for side, first in numbered:
            links = [(net, link) for net in self.on(side) for link in net.links]
            for number, (net, link) in enumerate(links, first):
                track = all(terminal.partition(".")[0] in board for terminal in (link.start, link.end))
                found.append(Wire(number, net.name, net.side, link.start, link.end, link.kind or net.kind, track))
        return tuple(found)
