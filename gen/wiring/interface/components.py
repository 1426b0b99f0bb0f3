"""The parts of the interface board: type, value, tolerance, and the net of each pin.

A board is a frozen value. Drawings, parts list, stripboard, net lists and every calculation are made from it alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Generic = Literal[
    "resistor",
    "film capacitor",
    "ceramic capacitor",
    "electrolytic capacitor",
    "signal diode",
    "rectifier diode",
    "Schottky diode",
    "Zener diode",
    "suppressor",
    "N-MOSFET",
    "P-MOSFET",
    "PNP transistor",
    "NPN transistor",
    "dual comparator",
    "coupler",
    "two-way coupler",
    "phototriac coupler",
    "pulse transformer",
    "5 V converter",
    "pin",
]

_TWO = ("1", "2")
_DIODE = ("A", "K")
_MOSFET = ("G", "D", "S")

# The pins of each type, in the order of the package's own numbers.
PINS: dict[Generic, tuple[str, ...]] = {
    "resistor": _TWO,
    "film capacitor": _TWO,
    "ceramic capacitor": _TWO,
    "electrolytic capacitor": ("+", "-"),
    "signal diode": _DIODE,
    "rectifier diode": _DIODE,
    "Schottky diode": _DIODE,
    "Zener diode": _DIODE,
    "suppressor": _DIODE,
    "N-MOSFET": _MOSFET,
    "P-MOSFET": _MOSFET,
    "PNP transistor": ("E", "B", "C"),
    "NPN transistor": ("E", "B", "C"),
    "dual comparator": ("1", "2", "3", "4", "5", "6", "7", "8"),
    "coupler": ("A", "K", "E", "C"),
    "two-way coupler": ("1", "2", "E", "C"),
    "phototriac coupler": ("A", "K", "T1", "T2"),
    "pulse transformer": ("P1", "P2", "S1", "S2", "S3", "S4"),
    "5 V converter": ("IN", "0V", "5V"),
    "pin": ("1",),
}

# Ratings to ask a shop for. Any maker's part of the type with these ratings will do. Common practice, no source.
BOUGHT: dict[Generic, str] = {
    "signal diode": "silicon, 75 V, 150 mA",
    "rectifier diode": "1 A, 1000 V",
    "Schottky diode": "1 A, 40 V",
    "N-MOSFET": "60 V, 200 mA or more, fully on at 2.5 V, threshold 0.5 to 1.5 V",
    "P-MOSFET": "100 V, 5 A or more, gate to source up to 20 V, threshold 2 to 4 V",
    "PNP transistor": "45 V, 100 mA or more, current gain 100 or more",
    "NPN transistor": "45 V, 100 mA or more, current gain 100 or more",
    "dual comparator": "open collector, 36 V, input range down to its negative supply, 8 pins; second half left at rest",
    "coupler": "phototransistor, current transfer ratio 50 to 200 %, 3.75 kV RMS or more",
    "two-way coupler": "phototransistor and two diodes back to back, transfer ratio 50 to 200 %, 3.75 kV RMS or more",
    "5 V converter": "ready-made step-down converter, three pins, 7 to 36 V in, 5 V 1 A out",
    "pin": "solder pin, 1 mm",
}

_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
_UNITS: dict[Generic, str] = {
    "resistor": "ohm",
    "film capacitor": "F",
    "ceramic capacitor": "F",
    "electrolytic capacitor": "F",
    "Zener diode": "V",
    "suppressor": "V",
}


@dataclass(frozen=True)
class Component:
    """One part. `value` in ohm, farad or volt, None where the type alone defines the part; `tolerance` as a fraction.

    `rating`: the power, voltage or other load that it must withstand. `pins`: (pin, net), each pin of its type once.
    """

    name: str
    generic: Generic
    pins: tuple[tuple[str, str], ...]
    purpose: str
    value: float | None = None
    tolerance: float = 0.0
    rating: str = ""

    def __post_init__(self) -> None:
        if sorted(pin for pin, _ in self.pins) != sorted(PINS[self.generic]):
            raise ValueError(f"{self.name}: pins {[pin for pin, _ in self.pins]}, a {self.generic} has others")

    def net(self, pin: str) -> str:
        """The net of a pin; empty where the pin is left open. Raises KeyError."""
        return dict(self.pins)[pin]

    @property
    def value_text(self) -> str:
        """The value as printed on a drawing: `470 kohm`."""
        if self.value is None:
            return ""
        unit = _UNITS[self.generic]
        size, prefix = next(((s, p) for s, p in _PREFIXES if self.value >= s * 0.9999), _PREFIXES[-1])
        return f"{self.value / size:.3g} {prefix}{unit}"

    @property
    def asked(self) -> str:
        """The text to ask a shop for, value first."""
        tolerance = f"{100 * self.tolerance:g} %" if self.tolerance else ""
        return ", ".join(
            words for words in (self.value_text, tolerance, self.rating, BOUGHT.get(self.generic, "")) if words
        )


@dataclass(frozen=True)
class BoardStage:
    """The parts of one stage. `job`: its function in one sentence."""

    name: str
    title: str
    job: str
    components: tuple[Component, ...]

    @property
    def nets(self) -> tuple[str, ...]:
        """Every net of the stage, in the order of its parts."""
        return tuple(dict.fromkeys(net for part in self.components for _, net in part.pins if net))


@dataclass(frozen=True)
class Interface:
    """The whole board. Part names are unique over all stages. A net name stands for one net over all stages."""

    stages: tuple[BoardStage, ...]

    def __post_init__(self) -> None:
        names = [part.name for part in self.components]
        if twice := sorted({name for name in names if names.count(name) > 1}):
            raise ValueError(f"parts of one name: {', '.join(twice)}")

    @property
    def components(self) -> tuple[Component, ...]:
        """Every part, stage by stage."""
        return tuple(part for stage in self.stages for part in stage.components)

    @property
    def nets(self) -> dict[str, frozenset[str]]:
        """Each net with its pins, such as "R33.1"."""
        return nets_of(self.components)

    def part(self, name: str) -> Component:
        """The part of that name. Raises KeyError."""
        return {part.name: part for part in self.components}[name]

    def stage(self, name: str) -> BoardStage | None:
        """The stage of that name; None where this machine has none."""
        return next((stage for stage in self.stages if stage.name == name), None)


def nets_of(components: Iterable[Component]) -> dict[str, frozenset[str]]:
    """Each net of these parts with its pins."""
    found: dict[str, set[str]] = {}
    for part in components:
        for pin, net in part.pins:
            if net:
                found.setdefault(net, set()).add(f"{part.name}.{pin}")
    return {net: frozenset(pins) for net, pins in found.items()}


def resistor(name: str, ohm: float, nets: tuple[str, str], purpose: str, rating: str = "0.25 W") -> Component:
    """A metal-film resistor of 1 %."""
    return Component(name, "resistor", tuple(zip(_TWO, nets)), purpose, ohm, 0.01, rating)


def film(name: str, farad: float, nets: tuple[str, str], purpose: str, tolerance: float = 0.05) -> Component:
    """A film capacitor, for timing."""
    return Component(name, "film capacitor", tuple(zip(_TWO, nets)), purpose, farad, tolerance, "63 V")


def ceramic(name: str, farad: float, nets: tuple[str, str], purpose: str) -> Component:
    """A ceramic capacitor, for smoothing."""
    return Component(name, "ceramic capacitor", tuple(zip(_TWO, nets)), purpose, farad, 0.1, "50 V, X7R")


def diode(name: str, anode: str, cathode: str, purpose: str, generic: Generic = "signal diode") -> Component:
    """A diode of any type that has no value."""
    return Component(name, generic, (("A", anode), ("K", cathode)), purpose)


def mosfet(name: str, generic: Generic, nets: tuple[str, str, str], purpose: str) -> Component:
    """A MOSFET. `nets`: those of gate, drain and source."""
    return Component(name, generic, tuple(zip(_MOSFET, nets)), purpose)


def comparator(
    name: str, half: tuple[str, str, str], purpose: str, other: tuple[str, str, str] = ("0V", "0V", "")
) -> Component:
    """A dual comparator fed from 24E. `half` and `other`: nets of output, inverting and non-inverting input.

    Without `other` the second half is tied off.
    """
    out, minus, plus = half
    plus_b, minus_b, out_b = other
    pins = ("1", out), ("2", minus), ("3", plus), ("4", "0V"), ("5", plus_b), ("6", minus_b), ("7", out_b), ("8", "24E")
    return Component(name, "dual comparator", pins, purpose)
