"""The snubber's peak and steepest rise against ngspice: the circuits of the demonstration's machine, as netlists.

A voltage steps to what the mains has left when the current ends; load, snubber and chopped current are as in
`gen.wiring.snubber`. Neither side knows the other's formula: there a closed second-order answer, here a transient.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from gen.wiring.arithmetic import recovery
from gen.wiring.choice import SnubberValues
from gen.wiring.power_parts import OVERVOLTAGE
from gen.wiring.snubber import SwungCircuit, load_circuits, open_circuits, worst_recovery
from tests.support.machines import known_welder
from tests.support.ngspice import needs_ngspice, transient
from tests.support.wiring.upgrade_machines import chosen

# Fixed before the first comparison was run.
PEAK, RISE = 0.005, 0.03

pytestmark = needs_ngspice

WELDER = known_welder()
PEAK_V = WELDER.mains.voltage_V * 2**0.5 * OVERVOLTAGE


def by_ngspice(circuit: SwungCircuit, values: SnubberValues, folder: Path) -> tuple[float, float]:
    """The greatest voltage across the open switch, V, and its steepest rise, V/s."""
    seen = recovery(PEAK_V, circuit.henry, circuit.ohm, values.ohm, values.farad, circuit.chopped_A)
    until = 2.5 * seen.peak_s
    cards = f"""\
V1 mains 0 {PEAK_V}
L1 mains a {circuit.henry} ic={-circuit.chopped_A}
R1 a switch {circuit.ohm + 1e-6}
R2 switch b {values.ohm}
C1 b 0 {values.farad} ic=0"""
    time_s, volts = transient(cards, until / 4000, until, "v(switch)", folder)
    return float(volts.max()), float(np.max(np.gradient(volts, time_s)[2:]))


@pytest.mark.parametrize("number", range(len(load_circuits(WELDER)) + len(open_circuits(WELDER))))
def test_peak_and_rise_are_those_of_a_transient(number: int, tmp_path: Path) -> None:
    """Working and shorted at both load angles, and open electrodes with the current let go at the holding current."""
    circuit = (*load_circuits(WELDER), *open_circuits(WELDER))[number]
    values = chosen(WELDER).snubber
    peak_V, rise = by_ngspice(circuit, values, tmp_path)
    ours = worst_recovery(PEAK_V, (circuit,), values.ohm, values.farad)
    assert ours.peak_V == pytest.approx(peak_V, rel=PEAK)
    assert ours.steepest_V_per_s == pytest.approx(rise, rel=RISE)
