"""A stage of the interface board with one part broken: a pin come off, or two pins joined."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from gen.wiring.interface import Component
from gen.wiring.interface.nodal import Nodal, Source, times_after
from gen.wiring.interface.spread import Reals, middle, spreads
from tests.support.wiring.interface_trials import steps

DROPS_V = 2.4  # a tenth of the coil's: IEC 60947-4-1, from memory
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


def together(
    components: Sequence[Component],
    wanted: Collection[str],
    leaving: Collection[str] = (),
    more: Mapping[str, tuple[str, float]] | None = None,
) -> BrokenTogether:
    """A broken resistor has another value. Each pin of other parts goes through a resistor, and each two pins have one more.

    `more`: further breaks by name, each with the part whose value it changes and that value.
    """
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
    values = {name: value for name, value in values.items() if name not in leaving} | dict(more or {})
    draws = {key: np.repeat(value, len(values)) for key, value in middle(spreads(components)).items()}
    for part in found:
        if part.value is not None and any(name == part.name for name, _ in values.values()):
            ohms = [ohm if name == part.name else part.value for name, ohm in values.values()]
            draws[f"{part.name}.value"] = np.array(ohms)
    return BrokenTogether(tuple(values), tuple(found), draws)


def all_at_rest(broken: BrokenTogether, levels: dict[str, float], net: str) -> dict[str, float]:
    """Volts of a net by the name of what is broken. Raises ArithmeticError where one has no state of rest."""
    circuit = Nodal(
        broken.components, broken.draws, {name: Source(np.array([volts])) for name, volts in levels.items()}
    )
    circuit.settle()
    return dict(zip(broken.names, circuit.voltage(net).tolist()))


def without_rest(broken: BrokenTogether, levels: dict[str, float], net: str) -> set[str]:
    """The breaks that have no state of rest."""
    try:
        all_at_rest(broken, levels, net)
    except ArithmeticError:
        if len(broken.names) == 1:
            return set(broken.names)
        half = len(broken.names) // 2
        parts = [
            BrokenTogether(broken.names[at], broken.components, {k: v[at] for k, v in broken.draws.items()})
            for at in (slice(half), slice(half, None))
        ]
        return set().union(*(without_rest(part, levels, net) for part in parts))
    return set()


TRAIN = ((0.0, 0.0), (0.002, 1.0), (0.019, 0.0), (0.036, 1.0))
"""(From when, level): a pulse train for the pin of the contactor stage."""


def gone_ms(broken: BrokenTogether, levels: Sequence[tuple[float, float]]) -> dict[str, float]:
    """From the last edge at the contactor stage's pin until the coil has dropped, by the name of what is broken."""
    last_s = levels[-1][0]
    times = times_after([at + ramp for at, _ in levels[1:] for ramp in (0, 1e-6)], last_s + 0.35, 5e-3, 2e-5)
    sources = {"24E": Source(np.array([24.0])), "PULSE": Source(np.array([3.3]), steps(levels))}
    coil = Nodal(broken.components, broken.draws, sources).run(times, ("COIL",))["COIL"]
    dropped = [1000 * (float(times[volts > DROPS_V].max(initial=0.0)) - last_s) for volts in coil.T]
    return dict(zip(broken.names, dropped))
