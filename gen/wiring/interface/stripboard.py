"""The interface laid out on stripboard: small boards on which each strip is one net, so that few strips are cut.

Strips are horizontal and numbered from the top, holes from the left. Parts stand between two strips. A transistor's leads go
to three strips in their own order. A comparator lies across its strips, which are cut below it. Parts of the mains side have
a board of their own. On it the strips are peeled off in a band between the two sides, and next to each strip at mains
potential.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gen.ask import NotTaken
from gen.user_files import Wrong, written
from gen.wiring.interface.components import Component, Generic, Interface

PITCH_MM = 2.54
STRIPS, HOLES = 24, 37  # strips and holes of a board of 64 by 95 mm
OFF_BOARD = frozenset({"pulse transformer"})  # mounted next to its board and wired to it

# The strips of each board from the top. Where a net is listed twice, a link joins its strips. "" is a strip peeled off.
GATE = (
    "HZ", "FIRE", "GO", "GB", "24E", "GC", "GT", "GY", "0V", "GQ", "GX", "HQ", "HG", "FIRE0", "GATE", "HO", "HC", "0V", "HT",
)  # fmt: skip
CONTACTOR = (
    "24E", "KM", "COIL", "KG", "KH", "KC", "KT", "KN", "0V", "KQ", "KX", "KW", "KP", "KR", "12Z", "KS", "KE", "0V", "KD", "PULSE",
)  # fmt: skip
CONTACTS = (
    "STOP1", "STOP", "3V3", "PEDAL1", "PEDAL", "0V", "HOT", "HOT1", "3V3", "FORCE1", "FORCE", "0V", "MIRROR", "MIRROR1", "3V3",
)  # fmt: skip
SUPPLY = ("24V", "0V", "5V", "5B", "DET", "3V3", "COND", "TS", "0V", "MID", "CT", "AMPS", "3V3")  # fmt: skip

# Nets that leave the board by a lead: to the timer board, to contacts, coil and gates, to the supply.
LEADS = frozenset(
    {"24V", "24E", "0V", "3V3", "5B", "GATE", "PULSE", "COIL", "DET", "COND", "TS", "CT", "MID", "AMPS"}
    | {net + end for net in ("STOP", "PEDAL", "HOT", "FORCE", "MIRROR") for end in ("", "1")}
    | {"CL", "CN", "CLB", "L3", "L4", "G", "G1", "G2"}
)

# Nets of the mains side. All others are extra-low voltage.
MAINS = frozenset({"CL", "CN", "CLB", "DA", "DB", "L3", "L4", "SA", "SB", "G", "G1", "G2", "GS", "GM", "HA", "HB"})

# The leads of three-legged parts, in their own order.
LEGS: dict[Generic, tuple[str, str, str]] = {
    "N-MOSFET": ("S", "G", "D"),
    "P-MOSFET": ("G", "D", "S"),
    "PNP transistor": ("C", "B", "E"),
    "NPN transistor": ("C", "B", "E"),
    "5 V converter": ("IN", "0V", "5V"),
}
LONGEST_LEGS = 4  # strips from the first leg to the last
LONGEST: dict[Generic, int] = {"film capacitor": 3, "electrolytic capacitor": 4, "ceramic capacitor": 8}
LONGEST_AXIAL = 14
WIDTH: dict[Generic, int] = {
    "film capacitor": 2,
    "electrolytic capacitor": 3,
    "suppressor": 2,
    "N-MOSFET": 2,
    "PNP transistor": 2,
    "NPN transistor": 2,
    "P-MOSFET": 4,
    "5 V converter": 4,
    "ceramic capacitor": 2,
}
LARGE = ("1 W", "1.3 W", "2 W", "5 W", "10 W")  # resistors and diodes with bodies wider than a hole's distance
COUPLER_HOLES = 4  # between the two rows of a coupler's pins, formed to 10.16 mm
TRIMMED_MM = 1.0  # copper left around a coupler's pin, towards the band

Hole = tuple[int, int]  # (hole, strip), from 0


@dataclass(frozen=True)
class Fitting:
    """A part on a board: the hole of each soldered pin, and the width of its body in holes."""

    part: str
    holes: tuple[tuple[str, Hole], ...]
    width: int = 1


@dataclass(frozen=True)
class StripLayout:
    """One board. `nets`: of each strip, empty where it is peeled off. `right_nets`: those beyond a band, if any.

    `cuts`: holes at which a strip is parted. `links`: bare or insulated wires on the component side. `leads`: solder pins,
    each with the net's name. `band`: first and last hole of the band in which all strips are peeled off.
    """

    name: str
    title: str
    nets: tuple[str, ...]
    right_nets: tuple[str, ...]
    holes: int
    fittings: tuple[Fitting, ...]
    cuts: tuple[Hole, ...]
    links: tuple[tuple[Hole, Hole], ...]
    leads: tuple[tuple[str, Hole], ...]
    band: tuple[int, int] | None = None

    @property
    def strips(self) -> int:
        return len(self.nets)


class _Bench:
    """A board during placement."""

    def __init__(self, nets: Sequence[str], first: int = 0) -> None:
        self.nets, self.first = tuple(nets), first
        self.taken: set[Hole] = set()
        self.fittings: list[Fitting] = []
        self.links: list[tuple[Hole, Hole]] = []
        self.leads: list[tuple[str, Hole]] = []
        self.cuts: list[Hole] = []

    def rows(self, net: str) -> list[int]:
        return [row for row, name in enumerate(self.nets) if name == net]

    def free(self, top: int, bottom: int, width: int, first: int | None = None) -> int:
        """The first hole at which a body of this width fits between two strips, with all its holes free."""
        hole = self.first if first is None else first
        while any((hole + n, row) in self.taken for n in range(width) for row in range(top, bottom + 1)):
            hole += 1
        return hole

    def take(self, hole: int, top: int, bottom: int, width: int) -> None:
        self.taken |= {(hole + n, row) for n in range(width) for row in range(top, bottom + 1)}

    def upright(self, part: Component, ends: Sequence[tuple[str, str]], longest: int) -> None:
        """Place a part at one hole, on the nearest strips of its nets, in the order of its leads."""
        best = min(
            (rows for rows in _choices([self.rows(net) for _, net in ends]) if _in_order(rows)),
            key=lambda rows: max(rows) - min(rows),
            default=None,
        )
        if best is None or max(best) - min(best) > longest:
            raise ValueError(f"{part.name} does not reach its strips {[net for _, net in ends]}")
        standing = max(best) - min(best) == 1  # on one end, its other lead bent down along the body
        width = WIDTH.get(part.generic, 2 if standing or part.rating.startswith(LARGE) else 1)
        hole = self.free(min(best), max(best), width)
        self.take(hole, min(best), max(best), width)
        at = hole + (width - 1) // 2
        self.fittings.append(Fitting(part.name, tuple((pin, (at, row)) for (pin, _), row in zip(ends, best)), width))

    def link(self, one: int, other: int, first: int | None = None) -> None:
        """Place a link from strip to strip."""
        top, bottom = sorted((one, other))
        hole = self.free(top, bottom, 1, first)
        self.take(hole, top, bottom, 1)
        self.links.append(((hole, top), (hole, bottom)))

    def across(self, part: Component, hole: int) -> None:
        """Place a comparator: pins 1 to 4 on their strips; pins 8 to 5 on the same strips beyond the cuts, linked."""
        rows = [self.rows(part.net(pin))[0] for pin in ("1", "2", "3", "4")]
        if rows != list(range(rows[0], rows[0] + 4)):
            raise ValueError(f"{part.name}: its strips are not adjacent")
        for n, row in enumerate(rows):
            left, right = str(n + 1), str(8 - n)
            if part.net(right) != part.net(left):
                self.cuts.append((hole + 1, row))
        pins = [(str(n + 1), (hole, row)) for n, row in enumerate(rows)]
        pins += [(str(8 - n), (hole + 3, row)) for n, row in enumerate(rows)]
        self.take(hole, rows[0], rows[3], 4)
        self.fittings.append(Fitting(part.name, tuple(pins), 4))
        for n, row in enumerate(rows):
            net = part.net(str(8 - n))
            if not net or net == part.net(str(n + 1)):
                continue
            target = min(self.rows(net), key=lambda other, row=row: abs(other - row))  # type: ignore[misc]
            self._link_beyond(row, target, hole + 4, {r for r in rows if (hole + 1, r) in self.cuts})

    def _link_beyond(self, row: int, target: int, first: int, cut: set[int]) -> None:
        """Link a strip's end beyond a cut to another strip. A target that is cut too is refused: it is another net there."""
        if target in cut:
            raise ValueError(f"strip {target} is cut and cannot be linked to")
        self.link(row, target, first)


def _choices(rows: Sequence[Sequence[int]]) -> list[tuple[int, ...]]:
    found: list[tuple[int, ...]] = [()]
    for some in rows:
        found = [(*before, row) for before in found for row in some]
    return found


def _in_order(rows: Sequence[int]) -> bool:
    """Whether the rows rise or fall strictly."""
    steps = [b - a for a, b in zip(rows, rows[1:])]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _low_board(
    name: str, title: str, order: Sequence[str], parts: Sequence[Component], leads: frozenset[str]
) -> StripLayout:
    """A board of the low-voltage side: leads at the left end, then parts, comparators last."""
    there = {net for part in parts for _, net in part.pins if net}
    wanted = [net for net in order if net in there]
    bench = _Bench(_without_idle(wanted, parts), 0)
    for net in dict.fromkeys(bench.nets):
        if net in leads:
            row = bench.rows(net)[0]
            bench.leads.append((net, (0, row)))
    for row in range(len(bench.nets)):
        bench.take(0, row, row, 1)
    for net in dict.fromkeys(bench.nets):
        for one, other in zip(bench.rows(net), bench.rows(net)[1:]):
            bench.link(one, other)
    for part in sorted(parts, key=lambda part: part.generic not in LEGS):
        if part.generic == "dual comparator":
            continue
        if part.generic in LEGS:
            bench.upright(part, [(pin, part.net(pin)) for pin in LEGS[part.generic]], LONGEST_LEGS)
        else:
            bench.upright(part, part.pins, LONGEST.get(part.generic, LONGEST_AXIAL))
    for part in parts:
        if part.generic == "dual comparator":
            bench.across(part, 1 + max(hole for hole, _ in bench.taken))
    holes = 1 + max(hole for hole, _ in bench.taken)
    return StripLayout(
        name, title, bench.nets, bench.nets, holes, tuple(bench.fittings), tuple(bench.cuts), tuple(bench.links),
        tuple(bench.leads),
    )  # fmt: skip


def _without_idle(order: list[str], parts: Sequence[Component]) -> list[str]:
    """The order without a net's second strip at either end where no part nearby needs it."""
    while order and order.index(order[-1]) < len(order) - 1:
        order = order[:-1]
    return order


def boards(interface: Interface) -> tuple[StripLayout, ...]:
    """Every board of the interface. A net that leaves a board has a solder pin on it."""
    on: dict[str, list[Component]] = {"gate": [], "contactor": [], "contacts": [], "supply": [], "mains": []}
    place = {"gate": "gate", "isolation": "gate", "contactor": "contactor", "inputs": "contacts"}
    for stage in interface.stages:
        for part in stage.components:
            if part.generic in OFF_BOARD:
                continue
            mains = any(net in MAINS for _, net in part.pins)
            on["mains" if mains else place.get(stage.name, "supply")].append(part)
    of = {board: {net for part in parts for _, net in part.pins if net} for board, parts in on.items()}
    away = {net for part in interface.components if part.generic in OFF_BOARD for _, net in part.pins if net}
    nets = {net for some in of.values() for net in some}
    relay = {"FIRE", "FIRE0"} if not any("U2" in part.name for part in on["mains"]) else set()
    between = frozenset(
        net for net in nets if net in LEADS | relay | away or sum(net in some for some in of.values()) > 1
    )
    return (
        _low_board("gate", "Gate board", GATE, on["gate"], between),
        _low_board("contactor", "Contactor board", CONTACTOR, on["contactor"], between),
        _low_board("contacts", "Contact board", CONTACTS, on["contacts"], between),
        _low_board("supply", "Supply board", SUPPLY, on["supply"], between),
        _mains_board(on["mains"], between),
    )


def _mains_board(parts: Sequence[Component], leads: frozenset[str]) -> StripLayout:
    """The mains board: mains at the left, extra-low voltage at the right, couplers across the band between."""
    pairs = _mains_strips({part.name: part for part in parts})
    left, right = [one for one, _ in pairs], [other for _, other in pairs]
    bench = _Bench(left, 0)
    for net in dict.fromkeys(net for net in left if net):
        if net in leads:
            bench.leads.append((net, (0, bench.rows(net)[0])))
    for row in range(len(left)):
        bench.take(0, row, row, 1)
    for net in dict.fromkeys(net for net in left if net):
        for one, other in zip(bench.rows(net), bench.rows(net)[1:]):
            bench.link(one, other)
    couplers = [part for part in parts if "coupler" in part.generic]
    for part in parts:
        if part not in couplers:
            bench.upright(part, part.pins, LONGEST_AXIAL)
    at = 1 + max(hole for hole, _ in bench.taken)
    beyond = at + COUPLER_HOLES
    other_side = _Bench(right, beyond)
    for part in couplers:
        mains = [(pin, net) for pin, net in part.pins if net in MAINS]
        low = [(pin, net) for pin, net in part.pins if net not in MAINS]
        bench.fittings.append(
            Fitting(part.name, (*_coupler_holes(mains, left, at, part), *_coupler_holes(low, right, beyond, part)), 5)
        )
    for row in range(len(right)):
        other_side.take(beyond, row, row, 1)
    for net in dict.fromkeys(net for net in right if net):
        for one, other in zip(other_side.rows(net), other_side.rows(net)[1:]):
            other_side.link(one, other)
    holes = 2 + max(hole for hole, _ in other_side.taken)
    pins = [(net, (holes - 1, right.index(net))) for net in dict.fromkeys(right) if net and net in leads]
    return StripLayout(
        "mains", "Mains board", tuple(left), tuple(right), holes, tuple(bench.fittings), (),
        (*bench.links, *other_side.links), (*bench.leads, *pins), (at + 1, beyond - 1),
    )  # fmt: skip


# The rows of a coupler's pins, from the top, as placed on this board: (mains side, low-voltage side). None: open.
_LIES: dict[Generic, tuple[tuple[str | None, ...], tuple[str | None, ...]]] = {
    "coupler": (("A", "K"), ("C", "E")),
    "two-way coupler": (("1", "2"), ("C", "E")),
    "phototriac coupler": (("T1", None, "T2"), (None, "K", "A")),
}


def _coupler_holes(
    pins: Iterable[tuple[str, str]], nets: Sequence[str], hole: int, part: Component
) -> list[tuple[str, Hole]]:
    """The holes of a coupler's pins on one side, where its nets are adjacent in the order of its pins."""
    there = dict(pins)
    lies = next(side for side in _LIES[part.generic] if set(there) == {pin for pin in side if pin})
    for top in range(len(nets) - len(lies) + 1):
        if all(pin is None or nets[top + n] == there[pin] for n, pin in enumerate(lies)):
            return [(pin, (hole, top + n)) for n, pin in enumerate(lies) if pin is not None]
    raise ValueError(f"{part.name}: its strips are not adjacent")


def _mains_strips(parts: dict[str, Component]) -> list[tuple[str, str]]:
    """(Mains side, low-voltage side) of each strip. A peeled strip separates strips at mains potential."""
    rows: list[tuple[str, str]] = []
    detector = parts["U1"]
    neutral = detector.net("K") if detector.generic == "coupler" else detector.net("2")
    rows += [
        ("CL", ""),
        ("", ""),
        ("DA", ""),
        ("", ""),
        ("DB", detector.net("C")),
        (neutral, detector.net("E")),
        ("", ""),
    ]
    switch: list[tuple[str, str]] = []
    if "U21" in parts:
        first, second = parts["U21"], parts.get("U22")
        if second is None:
            switch += [("GS", ""), ("", first.net("K")), (first.net("T2"), first.net("A"))]
        else:
            switch += [("GS", ""), ("", first.net("K")), ("GM", first.net("A"))]
            switch += [("GM", ""), ("", second.net("K")), (second.net("T2"), second.net("A"))]
    elif "HB" in {net for part in parts.values() for _, net in part.pins}:
        switch += [("HB", ""), ("G2", "")]
    nets = {net for part in parts.values() for _, net in part.pins}
    if "L3" in nets:
        switch += [("", "")] * ("G" in nets and bool(switch)) + [("L3", ""), ("", "")]
    if "U3" in parts:
        sense = parts["U3"]
        switch += [("SA", ""), ("", ""), ("SB", sense.net("C")), ("L4", sense.net("E"))]
    elif "L4" in nets:
        switch += [("L4", "")]
    if "G1" in nets:
        switch += [("G1", "")]
    if "G" in nets and "U21" not in parts:
        switch += [("G", "")]
    if "HA" in nets:
        switch += [("", ""), ("HA", "")]
    rows += switch
    while rows and rows[-1] == ("", ""):
        rows.pop()
    return rows


def strip_size(text: str) -> tuple[int, int]:
    """Strips and holes of a board from text such as "24x37". Raises NotTaken."""
    found = re.fullmatch(r"([0-9]{1,3})x([0-9]{1,3})", text.strip())
    if found is None or not all(5 <= int(n) <= 200 for n in found.groups()):
        raise NotTaken(f'"{text}"', "strips x holes, each from 5 to 200, such as 24x37")
    return int(found[1]), int(found[2])


def check_size(layouts: Iterable[StripLayout], strips: int, holes: int) -> None:
    """Raise Wrong, naming the option `--stripboard`, where a board asked for is too small for one of them."""
    for layout in layouts:
        if layout.strips > strips or layout.holes > holes:
            allowed = (
                f"the {layout.title.lower()} takes {layout.strips} strips of {layout.holes} holes; "
                f"allowed: {layout.strips}x{layout.holes} or more"
            )
            raise Wrong("--stripboard", written(f"{strips}x{holes}"), allowed)
