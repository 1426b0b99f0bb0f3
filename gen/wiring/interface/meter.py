"""Readings of a voltmeter on the board: each point with the state of the inputs, and the range over all tolerances.

The nodal solver finds the steady state with every part at one end or the other of its range. A reading outside the printed
range means a wrong part, a bridge of solder or a broken joint.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from gen.ranges import Figure
from gen.wiring.choice import DetectorValues
from gen.wiring.interface.components import BoardStage, Component, Interface
from gen.wiring.interface.gate_stage import SUPPLY_SPREAD, SUPPLY_V
from gen.wiring.interface.input_stages import contacts_of
from gen.wiring.interface.nodal import Nodal, Source
from gen.wiring.interface.spread import Between, Reals, spreads

_DRAWS, _SEED = 128, 24
_SOURCE = "settled by nodal analysis over 128 draws, every tolerance at an end"
_SUPPLIES = {
    "24E": Between(SUPPLY_V * (1 - SUPPLY_SPREAD), SUPPLY_V * (1 + SUPPLY_SPREAD)),
    "3V3": Between(3.2, 3.4),
    "GATE": Between(3.1, 3.4),
    "PULSE": Between(3.1, 3.4),
}
_COIL = Component("K1", "resistor", (("1", "COIL"), ("2", "0V")), "coil", 100.0)
_LEAD = Component("lead", "resistor", (("1", "24E"), ("2", "KM")), "a lead held on by hand", 0.1)


@dataclass(frozen=True)
class MeterPoint:
    """A reading between `net` and 0V, on the board of `stage`. `state`: the inputs to be set before."""

    stage: str
    net: str
    state: str
    volts: Figure


def meter_points(interface: Interface, detector: DetectorValues, frequency_Hz: float) -> tuple[MeterPoint, ...]:
    """Every point, board by board. All are measured with the power circuit locked off."""
    found: list[MeterPoint] = []
    gate, contactor, inputs = (interface.stage(name) for name in ("gate", "contactor", "inputs"))
    if gate is not None:
        found += _settled(gate, ("24E", "GX", "GY", "GT", "GC", "GO"), "24 V on, pin low", (("GATE", 0.0),))
        found += _settled(gate, ("GX", "GY", "GC", "GO"), "GATE on 3V3, a second later", (("GATE", 1.0),))
    if contactor is not None:
        rest = ("12Z", "KX", "KW", "KS", "KN", "KT", "KC", "KG", "KM", "COIL")
        found += _settled(contactor, rest, "24 V on, pin low", (("PULSE", 0.0),))
        found += _settled(contactor, ("KX", "KW", "KS", "COIL"), "PULSE on 3V3, a second later", (("PULSE", 1.0),))
        joined = replace(contactor, components=(*contactor.components, _LEAD))
        found += _settled(joined, ("COIL",), "24 V on, pin low, KM joined to 24E by a lead", (("PULSE", 0.0),))
    if inputs is not None:
        contacts = contacts_of(inputs)
        leads = [contact.lead for contact in contacts]
        for net in (*leads, *(contact.marker for contact in contacts)):
            found += _settled(inputs, (net,), "contact open", ())
            found += _settled(inputs, (net,), "contact closed", tuple((lead, 0.0) for lead in leads))
    current = interface.stage("current")
    if current is not None:
        found += _settled(current, ("MID", "AMPS"), "no current", ())
    return (*found, *_average(interface, detector, frequency_Hz))


@cache
def _settled(
    stage: BoardStage, nets: tuple[str, ...], state: str, levels: tuple[tuple[str, float], ...]
) -> tuple[MeterPoint, ...]:
    """Readings of a stage's nets at rest, with some pins at a share of their level."""
    parts: tuple[Component, ...] = stage.components
    if any(net == "COIL" for part in parts for _, net in part.pins):
        parts = (*parts, _COIL)
    there = {net for part in parts for _, net in part.pins}
    spread = spreads(parts) | {net: between for net, between in _SUPPLIES.items() if net in there}
    ends = np.random.default_rng(_SEED).integers(0, 2, (len(spread), _DRAWS)).astype(np.float64)
    draws = {key: between.at(ends[n]) for n, (key, between) in enumerate(spread.items())}
    shares = dict(levels)
    held = {net: draws[net] for net in _SUPPLIES if net in there} | {
        net: np.zeros(_DRAWS) for net in shares if net not in _SUPPLIES
    }
    circuit = Nodal(parts, draws, {net: Source(volts * shares.get(net, 1.0)) for net, volts in held.items()})
    circuit.settle()
    return tuple(MeterPoint(stage.title, net, state, _figure(circuit.voltage(net))) for net in nets)


def _figure(volts: Reals) -> Figure:
    """The range, rounded outwards to a meter's digits."""
    return Figure(np.floor(volts.min() * 20) / 20 + 0.0, np.ceil(volts.max() * 20) / 20 + 0.0, "V", _SOURCE)


def _average(interface: Interface, detector: DetectorValues, frequency_Hz: float) -> tuple[MeterPoint, ...]:
    """The d.c. reading of the detector's pin: the supply times the share of time in which the pin is high."""
    stage = interface.stage("detector")
    if stage is None:
        return ()
    period_us, supply = 1e6 / frequency_Hz, _SUPPLIES["3V3"]
    rise, fall = detector.offset_rise_us, detector.offset_fall_us
    if interface.part("U1").generic == "coupler":  # high from a rise behind one crossing to a fall near the next
        shares = 0.5 + (fall.low - rise.high) / period_us, 0.5 + (fall.high - rise.low) / period_us
    else:  # high around each crossing, as long before as after
        shares = -2 * min(rise.high, 0.0) / (period_us / 2), -2 * rise.low / (period_us / 2)
    volts = Figure(supply.low * shares[0], supply.high * shares[1], "V", "share of time in which the pin is high")
    return (MeterPoint(stage.title, "DET", "mains on the detector", volts),)
