"""What transformer and converter tell of the current on a bench with errors: a seeded hundredth of the campaign.

The truth is the bench's circuit in closed form; the samples go through a core, a ratio error, noise and wide codes.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from gen.measured.load_angle import work_resistance_by_current
from sim.bench.ammeter import AmmeterSpec
from sim.bench.circuit import Current, SeriesLoad
from sim.bench.mains import HalfCycle
from tests.campaigns.healthy_welds import what_came_of
from tests.support.measured_currents import (
    commissioned_at_several_delays,
    commissioned_by_current,
    errors_by_current,
    errors_by_loop,
    measured,
    transformer,
)
from tests.support.measured_welds import Errors, machine


def test_the_current_is_within_3_per_cent_after_a_clamp_meter() -> None:
    """95 half-cycles in 100, with every error; without errors of ratio and meter within 2 %, which the core leaves."""
    errors = []
    for seed in range(3):
        chance = random.Random(seed)
        made = machine(chance, Errors())
        spec = transformer(made, chance)
        known = commissioned_by_current(made, spec, chance, Errors())
        assert known is not None
        weld = measured(made, spec, chance, Errors())
        errors += [known.factor * gate.current_A / gate.true_A - 1 for gate in weld.gates]
        plain = replace(AmmeterSpec(spec.turns, spec.burden_ohm), wide_codes=False)
        exact = measured(made, plain, chance, Errors())
        assert np.quantile([abs(gate.current_A / gate.true_A - 1) for gate in exact.gates], 0.95) < 0.02
        assert np.median(np.abs(errors_by_current(weld, known, weld.voltage_V))) < 0.12
    assert np.quantile(np.abs(errors), 0.95) < 0.03


@pytest.mark.parametrize("delay_deg", [65.0, 90.0, 120.0])
def test_the_resistance_from_current_and_voltage_is_the_circuits(delay_deg: float) -> None:
    """A current of the bench's circuit gives its resistance back; too great a current gives none."""
    reactance, resistance = 6.0, 7.0
    load = SeriesLoad(resistance, reactance / (100 * np.pi))
    current = Current(load, HalfCycle(0, 0.0, 0.01, True, 230 * 2**0.5), delay_deg / 18_000)
    rms_A, _ = current.rms_and_peak(current.extinction(0.0, current.start_s + 1e-4))
    assert work_resistance_by_current(delay_deg, rms_A, 230, reactance, 4.0) == pytest.approx(3.0, abs=0.02)
    assert work_resistance_by_current(delay_deg, 50.0, 230, reactance, 4.0) is None


@pytest.mark.parametrize("phase_deg", [90.0, 270.0])
def test_a_short_at_several_delays_tells_harmonics_from_resistance(phase_deg: float) -> None:
    """Where a fifth harmonic of 4 % moves the crossings most: over 100 welds of the campaign 81 in 100 cycles lie within 5 %,
    not 62.
    """
    chance = random.Random(0)
    made = replace(machine(chance, Errors()), fifth=(4.0, phase_deg))
    spec = transformer(made, chance)
    known = commissioned_by_current(made, spec, chance, Errors())
    better = commissioned_at_several_delays(made, spec, chance, Errors())
    assert known is not None
    assert better is not None
    weld = measured(made, spec, chance, Errors())
    assert np.mean(np.abs(errors_by_current(weld, known, weld.voltage_V))) > 0.12
    several = errors_by_loop(weld, *better, weld.voltage_V)
    assert np.mean(np.abs(several)) < 0.06


def test_healthy_welds_raise_no_alarm() -> None:
    """A few of the campaign's: both senses and every limit, with every error that they may have."""
    assert [what_came_of(seed) for seed in range(4)] == [""] * 4
