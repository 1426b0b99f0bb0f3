"""A stage of the interface board with one part broken: a pin come off, or two pins joined."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from gen.wiring.interface import Component
from gen.wiring.interface.nodal import Nodal, Source
from gen.wiring.interface.spread import Reals, middle, spreads

SHORT_OHM, OPEN_OHM = 0.1, 1e12


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


@dataclass(frozen=True)
class BrokenTogether:
    """Every break of some parts as one circuit, each break a draw: solved at once."""

    names: tuple[str, ...]
    """Of each draw, as those of `breaks`."""
    components: tuple[Component, ...]
    draws: dict[str, Reals]


# The output tied to its own input swings, and has no state of rest. It drives the first switch of the coil alone.
SWINGS = ("U5 1-2",)


def together(components: Sequence[Component], wanted: Collection[str], leaving: Collection[str] = ()) -> BrokenTogether:
    """A broken resistor has another value. Each pin of other parts goes through a resistor, and each two pins have one more."""
    found: list[Component] = []
    values: dict[str, tuple[str, float]] = {}  # of a break: the resistor that it changes, and to what
    for part in components:
        pins = [(pin, net) for pin, net in part.pins if net]
        if part.name not in wanted or part.generic == "resistor":
            found.append(part)
            if part.name in wanted:
                values[f"{part.name} open"], values[f"{part.name} shorted"] = (
                    (part.name, OPEN_OHM),
                    (part.name, SHORT_OHM),
                )
            continue
        found.append(replace(part, pins=tuple((pin, f"{part.name}.{pin}" if net else "") for pin, net in part.pins)))
        for pin, net in pins:
            name = f"{part.name} {pin}"
            found.append(Component(name, "resistor", (("1", net), ("2", f"{part.name}.{pin}")), "", 1.0))
            if len(pins) > 2 or pin == pins[0][0]:
                values[f"{name} off" if len(pins) > 2 else f"{part.name} open"] = name, OPEN_OHM
        for (one, a), (other, b) in combinations(pins, 2):
            name = f"{part.name} {one}-{other}"
            if a != b:
                found.append(Component(name, "resistor", (("1", a), ("2", b)), "", OPEN_OHM))
                values[name if len(pins) > 2 else f"{part.name} shorted"] = name, SHORT_OHM
    values = {name: value for name, value in values.items() if name not in leaving}
    draws = {key: np.repeat(value, len(values)) for key, value in middle(spreads(components)).items()}
    for part in found:
        if part.value is not None and any(name == part.name for name, _ in values.values()):
            ohms = [ohm if name == part.name else part.value for name, ohm in values.values()]
            draws[f"{part.name}.value"] = np.array(ohms)
    return BrokenTogether(tuple(values), tuple(found), draws)


def all_at_rest(broken: BrokenTogether, levels: dict[str, float], net: str) -> dict[str, float]:
    """Volts of a net by the name of what is broken."""
    circuit = Nodal(
        broken.components, broken.draws, {name: Source(np.array([volts])) for name, volts in levels.items()}
    )
    circuit.settle()
    return dict(zip(broken.names, circuit.voltage(net).tolist()))
