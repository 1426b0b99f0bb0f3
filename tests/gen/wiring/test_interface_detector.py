"""The zero-crossing detector, each part open, shorted and drifted: its edges are what the table of broken parts says.

Outside: the pin's own pull-down of 50 to 80 kohm (RP2040 and RP2350, from memory; 30 to 50 kohm: STM32F405 data sheet, table
44) and its levels of 0.8 and 2.0 V (as in test_interface_inputs.py). A light-emitting diode bears 5 V backwards, from memory.
A drifted part has half or twice its value (ISO 13849-2, Annex D, from memory). Shorts across the coupler's insulation are not
tried: its insulation is reinforced.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from gen.wiring.broken_parts import MODES, entry_of
from gen.wiring.interface import Component, interface_for
from gen.wiring.interface.nodal import Nodal, Source
from gen.wiring.interface.spread import Reals
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import together
from tests.support.wiring.upgrade_machines import chosen

LOW_V, HIGH_V, BACKWARDS_V, MOVED_US = 0.8, 2.0, 5.0, 20.0
PLAYED_US = 400.0  # the most that the simulation of a moved edge plays: sim/faults/injections.py
OWN_PULL = Component("pin", "resistor", (("1", "DET"), ("2", "0V")), "the pin's own", 55_000.0)
HALF_S = 0.01
PARTS = {"square": ("R1", "R2", "R7", "D1", "U1"), "pulse": ("R1", "R2", "R7", "U1")}


def edge_us(times: Reals, pin: Reals, near: float, sign: int) -> float:
    """When the pin passes the middle of its levels next to a crossing of the mains, from that crossing."""
    above = sign * (pin - (LOW_V + HIGH_V) / 2)
    window = np.flatnonzero(np.abs(times - near) < 0.35 * HALF_S)
    k = next(n for n in window if above[n] < 0 <= above[n + 1])
    return float(1e6 * (np.interp(0, above[[k, k + 1]], times[[k, k + 1]]) - near))


@pytest.mark.parametrize("kind", PARTS)
def test_each_broken_part_of_the_detector_gives_the_edges_that_its_entry_says(kind: str) -> None:
    """A pin that stays low or high, edges that moved by more than 20 us, or edges as before."""
    welder = known_welder(detector={"kind": kind})
    stage = interface_for(welder, chosen(welder).detector).stage("detector")
    assert stage is not None
    values = {part.name: part.value for part in stage.components if part.value}
    drifts = {f"{name} x{k}": (name, k * value) for name, value in values.items() for k in (0.5, 2)}
    across = {f"U1 {one}-{other}" for one in ("A", "K", "1", "2") for other in ("E", "C")}
    broken = together(
        (*stage.components, OWN_PULL), PARTS[kind], leaving=across, more={**drifts, "sound": ("pin", 55_000.0)}
    )
    near = [np.arange(-1.2e-3, 1.2e-3, 4e-5) + at for at in (HALF_S, 2 * HALF_S)]
    times = np.unique(np.concatenate((np.arange(0, 2.2 * HALF_S, 2e-4), *near)))
    sources = {
        "CL": Source(np.array([230 * math.sqrt(2)]), sine_Hz=50.0),
        "CN": Source(np.array([0.0])),
        "3V3": Source(np.array([3.3])),
    }
    nets = ("DET", "U1.A", "U1.K") if kind == "square" else ("DET",)
    curves = Nodal(broken.components, broken.draws, sources).run(times, nets)
    seen = dict(zip(broken.names, curves["DET"].T))
    edges = (2 * HALF_S, 1), (HALF_S, -1)
    sound = [edge_us(times, seen["sound"], *edge) for edge in edges]
    said = set()
    for n, (name, pin) in enumerate(seen.items()):
        if name == "sound":
            continue
        part, *how = name.split()
        mode = {"open": "open", "off": "open"}.get(how[-1], "drifted" if how[-1].startswith("x") else "shorted")
        entry = entry_of("detector", next(one for one in stage.components if one.name == part), welder)
        expected = entry[MODES.index(mode)]  # type: ignore[arg-type]
        if pin.max() < LOW_V or pin.min() > HIGH_V:
            found = "detector-low" if pin.max() < LOW_V else "detector-high"
        elif kind == "square" and (curves["U1.A"] - curves["U1.K"])[:, n].min() < -BACKWARDS_V:
            found = "diode"
        else:
            moved = [abs(edge_us(times, pin, *edge) - was) for edge, was in zip(edges, sound)]
            found = "offset" if max(moved) > MOVED_US else "none"
            assert max(moved) < PLAYED_US
        if part == "U1":  # the table has the worst of its pins
            said.add((mode, found))
        else:
            assert found == expected, (name, found, expected)
    coupler = entry_of("detector", next(one for one in stage.components if one.name == "U1"), welder)
    assert {("open", coupler[0]), ("shorted", coupler[1])} <= said
