"""Duty and supply figures against resistance-welding practice and EN 50160."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from gen.machine.welder import FREQUENCY_BAND, Welder
from sim.verdict.planned import LOWEST_MAINS, duty
from tests.support.machines import compiled, job_of, make_welder, paced_job

LOAD_ANGLE_DEG = 60.0


def fired_at_once(**tables: dict[str, Any]) -> Welder:
    """A machine whose load angle is known, and whose first half-cycle need not be late."""
    known = {"load_angle_min_deg": LOAD_ANGLE_DEG, "load_angle_max_deg": LOAD_ANGLE_DEG}
    return make_welder(transformer=known, limits={"first_delay_deg": LOAD_ANGLE_DEG}, **tables)


def heat_at_full_percent() -> float:
    """Heat at 100 %, which fires 3 degrees beyond the load angle, as a share of that at full conduction: by quadrature."""
    p = math.radians(LOAD_ANGLE_DEG)
    a = p + math.radians(3)

    def current(t: float) -> float:
        return math.sin(t - p) - math.sin(a - p) * math.exp(-(t - a) / math.tan(p))

    end = brentq(current, math.pi, math.pi + p)
    return float(quad(lambda t: current(t) ** 2, a, end)[0] * 2 / math.pi)


def test_duty_of_ten_cycles_thirty_times_a_minute_at_60_Hz() -> None:
    """Worked example (RWMA practice, from memory): 10 cycles x 30 welds / 3600 = 8.3 %."""
    welder = fired_at_once(mains={"voltage_V": 120, "frequency_Hz": 60})
    figure = duty(paced_job(job_of(welder, {"weld": "10 cycles"}), 30)).figure
    assert figure / heat_at_full_percent() == pytest.approx(8.33, abs=0.01)


def test_duty_at_50_Hz_counts_3000_cycles_a_minute() -> None:
    """The same at 50 Hz: 10 x 30 / 3000 = 10 %."""
    figure = duty(paced_job(job_of(fired_at_once(), {"weld": "10 cycles"}), 30)).figure
    assert figure / heat_at_full_percent() == pytest.approx(10.0, abs=0.01)


def test_equal_heating() -> None:
    """I1^2 duty1 = I2^2 duty2 (from memory): at sqrt(2) times the rated current a 50 % rating allows 25 %."""
    rated_A = 3000 / 230
    welder = make_welder(transformer={"working_current_A": rated_A * 2**0.5})
    assert welder.allowed_duty == pytest.approx(0.25)
    assert make_welder(transformer={"working_current_A": rated_A}).allowed_duty == pytest.approx(0.5)


def test_permanent_power_is_the_fifty_percent_power_over_root_two() -> None:
    """Sp = S50 / sqrt 2 (ISO 5826, from memory): both plates allow the same duty at the same current."""
    fifty = make_welder(transformer={"rating_kVA": 3.0, "rating_duty_percent": 50})
    permanent = make_welder(transformer={"rating_kVA": 3.0 / 2**0.5, "rating_duty_percent": 100})
    assert permanent.allowed_duty == pytest.approx(fifty.allowed_duty)


def test_percent_current_counts_squared() -> None:
    """At half the current four times as long is the same duty."""
    welder = fired_at_once()
    full = compiled(welder, {"weld": "10 cycles"}).heating_half_cycles
    half = compiled(welder, {"weld": "40 cycles", "current_percent": 50}).heating_half_cycles
    assert half == pytest.approx(full, rel=1e-3)  # delays are whole microseconds


def test_band_holds_the_supply_of_EN_50160() -> None:
    """EN 50160: 50 Hz +4/-6 % always, 230 V -15 % always; the board's band and the latching check reach as far."""
    assert FREQUENCY_BAND[0] <= 0.94
    assert FREQUENCY_BAND[1] >= 1.04
    assert LOWEST_MAINS <= 0.85
