"""How unlike the two directions end on a healthy transformer and on one that unequal firing drives into saturation."""

from __future__ import annotations

import random
from statistics import median

from gen.current_limits import LOPSIDED_DEG
from sim.core.impulse import Impulse, gate_windows, run, sine
from sim.core.transformer import TransformerCircuit
from tests.outside.test_transformer_ngspice import machine


def lopsided_deg(impulse: Impulse) -> float:
    """The most by which two currents of one direction, one after the other, end later than the one between them."""
    ends = [swing.end_deg for swing in impulse.swings]
    return max(min(ends[n] - ends[n - 1], ends[n - 2] - ends[n - 1]) for n in range(2, len(ends)))


def seeded(chance: random.Random) -> tuple[float, TransformerCircuit]:
    angle = chance.uniform(25, 70)
    return angle, machine(
        angle,
        source=chance.uniform(0, 0.2),
        idle_A=chance.uniform(0.3, 2),
        knee=chance.uniform(1.05, 1.5),
        remanence=chance.uniform(0, 0.8),
    )


def test_no_healthy_machine_is_called_lopsided() -> None:
    """Any residue, any delay, a first half-cycle at 87 degrees or later: well below what ends a weld."""
    chance = random.Random(16)
    worst = 0.0
    for _ in range(60):
        angle, circuit = seeded(chance)
        delay = min(angle + 3 + chance.uniform(0, 60), 140)
        delays = [max(87, delay), *(delay + chance.uniform(-0.1, 0.1) for _ in range(9))]
        supply = sine(230, 50, 10, True)
        residue = chance.uniform(-1, 1) * circuit.remanent_Vs
        worst = max(worst, lopsided_deg(run(circuit, supply, gate_windows(supply, delays), residue, True)))
    assert 2 < worst < 0.75 * LOPSIDED_DEG


def test_most_that_fire_unequally_are() -> None:
    """One direction fired 30 to 60 degrees later than the other drives the core into saturation; the median is far beyond."""
    chance = random.Random(17)
    found = []
    for _ in range(40):
        angle, circuit = seeded(chance)
        delay = min(angle + 3 + chance.uniform(0, 40), 120)
        late = min(delay + chance.uniform(30, 60), 155)
        supply = sine(230, 50, 12, True)
        delays = [max(87, delay), *(late if n % 2 else delay for n in range(1, 12))]
        found.append(lopsided_deg(run(circuit, supply, gate_windows(supply, delays), 0.0, True)))
    assert median(found) > 1.5 * LOPSIDED_DEG
    assert sum(value > LOPSIDED_DEG for value in found) > 0.8 * len(found)
