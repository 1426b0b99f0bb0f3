"""A stage of the interface board with one part broken: a pin come off, or two pins joined."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from gen.wiring.interface import Component
from gen.wiring.interface.nodal import Nodal, Source
from gen.wiring.interface.spread import middle, spreads

SHORT_OHM = 0.1


@dataclass(frozen=True)
class Broken:
    """What is broken, as `R33 open` or `Q31 D-S`, and the parts as they then are."""

    name: str
    components: tuple[Component, ...]


def breaks(components: Sequence[Component]) -> Iterator[Broken]:
    """Every part with each of its pins off, and with each two of its pins joined."""
    for at, part in enumerate(components):
        rest = (*components[:at], *components[at + 1 :])
        pins = [(pin, net) for pin, net in part.pins if net]
        for pin, _ in pins if len(pins) > 2 else pins[:1]:
            off = replace(part, pins=tuple((p, f"{part.name} off" if p == pin else net) for p, net in part.pins))
            yield Broken(f"{part.name} {pin} off" if len(pins) > 2 else f"{part.name} open", (*rest, off))
        for (one, a), (other, b) in combinations(pins, 2):
            if a == b:
                continue
            joined = Component("SHORT", "resistor", (("1", a), ("2", b)), "", SHORT_OHM)
            name = f"{part.name} {one}-{other}" if len(pins) > 2 else f"{part.name} shorted"
            yield Broken(name, (*components, joined))


def at_rest(components: Sequence[Component], levels: dict[str, float], net: str) -> float:
    """Volts of a net with the sources so, everything in its middle."""
    circuit = Nodal(
        components, middle(spreads(components)), {name: Source(np.array([volts])) for name, volts in levels.items()}
    )
    circuit.settle()
    return float(circuit.voltage(net)[0])
