"""Percent current and what a firing delivers, against the circuit's equation solved by SciPy.

Second method: the current of a thyristor pair into a resistance and an inductance is the solution of L di/dt + R i = v from
the firing delay to its zero (Hart, Power Electronics, section 5.3, from memory), integrated numerically here; the project
uses a closed form.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from gen.current import FULL_MARGIN_DEG, PercentScale, full_current
from gen.handbook.on_machine import suggest_on
from gen.joint import Joint
from gen.timing import LEAST_GATE_DEG
from gen.units import us_to_degrees
from gen.words import GATE_END_DEG
from tests.support.machines import compiled, known_welder, make_welder


@lru_cache(maxsize=1024)
def solved_share(delay_deg: float, load_angle_deg: float) -> float:
    """RMS over the half-cycle, as a share of a sine that flows all the time on the same impedance of one ohm."""
    p = math.radians(load_angle_deg)
    r, x = math.cos(p), math.sin(p)
    a = math.radians(delay_deg)

    def zero(t: float, i: np.ndarray) -> float:
        return float(i[0])

    zero.terminal, zero.direction = True, -1  # type: ignore[attr-defined]

    def slope(t: float, i: np.ndarray) -> list[float]:
        return [(math.sin(t) - r * i[0]) / x]

    found = solve_ivp(slope, (a, a + 2 * math.pi), [1e-12], events=zero, rtol=1e-9, atol=1e-12, dense_output=True)
    end = float(found.t_events[0][0])
    squares, _ = quad(lambda t: float(found.sol(t)[0]) ** 2, a, end, epsrel=1e-7)
    return math.sqrt(squares / math.pi / 0.5)


@pytest.mark.parametrize(("low_deg", "high_deg"), [(40, 65), (32, 55), (58, 60), (20, 70)])
@pytest.mark.parametrize("percent", [100, 90, 82, 70, 50])
def test_what_flows_lies_in_the_range_that_is_printed(low_deg: float, high_deg: float, percent: float) -> None:
    """Whatever the load angle really is within its range, and at its middle what was asked of the current at 100 %."""
    welder = make_welder(transformer={"load_angle_min_deg": low_deg, "load_angle_max_deg": high_deg})
    row = compiled(welder, {"weld": "10 cycles", "current_percent": percent}).impulse_rows[-1]
    assert row.firing_delay_us is not None
    delay_deg = us_to_degrees(row.firing_delay_us, 50)
    shares = [solved_share(delay_deg, float(angle)) for angle in np.linspace(low_deg, high_deg, 31)]
    assert row.share == pytest.approx((min(shares), max(shares)), rel=1.5e-3)
    middle = (low_deg + high_deg) / 2
    full = solved_share(high_deg + FULL_MARGIN_DEG, middle)
    assert 100 * solved_share(delay_deg, middle) / full == pytest.approx(percent, abs=0.05)


@given(st.floats(5, 78), st.floats(0, 40), st.integers(1, 999))
@settings(max_examples=300, deadline=None, derandomize=True)
def test_no_two_percentages_fire_alike(low_deg: float, spread_deg: float, tenths: int) -> None:
    """A tenth of a per cent moves the delay by more than the microsecond that it is rounded to, from 40 % to 100 %."""
    scale = PercentScale(low_deg, min(80.0, low_deg + spread_deg))
    percent = 40 + tenths * 0.06
    one, other = scale.delay_deg(percent), scale.delay_deg(min(100.0, percent + 0.1))
    if one < GATE_END_DEG - LEAST_GATE_DEG and percent <= 99.9:
        assert (one - other) / 0.018 > 1
    assert scale.percent(one) == pytest.approx(percent, abs=1e-6)


def test_a_suggestion_starts_from_what_100_percent_delivers() -> None:
    """The current that a suggestion compares with the table is what flows at its percentage, and not full conduction."""
    welder = known_welder()
    tap = welder.machine.in_use
    assert tap.working_secondary is not None
    found = suggest_on(Joint.model_validate({"rods_mm": (3, 3)}), welder)
    assert found is not None
    angles = np.linspace(tap.load_angle.low, tap.load_angle.high, 31)
    shares = [solved_share(tap.load_angle.high + FULL_MARGIN_DEG, float(angle)) for angle in angles]
    assert found.current.low == pytest.approx(tap.working_secondary.low * min(shares), rel=1.5e-3)
    assert found.current.high == pytest.approx(tap.working_secondary.high * max(shares), rel=1.5e-3)
    assert full_current(tap, tap.working_secondary) == found.current


def test_a_short_weld_names_what_its_late_first_half_cycle_costs() -> None:
    """A weld of one cycle: heat by the solved currents of its two half-cycles, against two at what was asked."""
    welder = make_welder(transformer={"load_angle_min_deg": 40, "load_angle_max_deg": 45})
    table = compiled(welder, {"weld": "1 cycle"})
    shares = [solved_share(us_to_degrees(row.firing_delay_us or 0, 50), 42.5) for row in table.impulse_rows]
    lost = 1 - (shares[0] ** 2 + shares[1] ** 2) / (2 * shares[1] ** 2)
    (note,) = (note for note in table.notes if "of this weld's heat" in note)
    assert f"takes {100 * lost:.0f} % of this weld's heat" in note
    first, then = table.impulse_rows
    assert first.current_percent == pytest.approx(100 * shares[0] / shares[1], abs=0.06)
    assert then.current_percent == 100
