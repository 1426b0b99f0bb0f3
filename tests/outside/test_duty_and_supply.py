"""Duty and supply figures against resistance-welding practice and EN 50160."""

from __future__ import annotations

import pytest

from gen.machine.welder import FREQUENCY_BAND
from sim.verdict.planned import LOWEST_MAINS, duty
from tests.support.machines import compiled, job_of, make_welder, paced_job


def test_duty_of_ten_cycles_thirty_times_a_minute_at_60_Hz() -> None:
    """Worked example (RWMA practice, from memory): 10 cycles x 30 welds / 3600 = 8.3 %."""
    welder = make_welder(mains={"voltage_V": 120, "frequency_Hz": 60})
    assert duty(paced_job(job_of(welder, {"weld": "10 cycles"}), 30)).figure == pytest.approx(8.33, abs=0.01)


def test_duty_at_50_Hz_counts_3000_cycles_a_minute() -> None:
    """The same at 50 Hz: 10 x 30 / 3000 = 10 %."""
    assert duty(paced_job(job_of(make_welder(), {"weld": "10 cycles"}), 30)).figure == pytest.approx(10.0)


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
    welder = make_welder()
    full = compiled(welder, {"weld": "10 cycles"}).heating_half_cycles
    half = compiled(welder, {"weld": "40 cycles", "current_percent": 50}).heating_half_cycles
    assert half == pytest.approx(full)


def test_band_holds_the_supply_of_EN_50160() -> None:
    """EN 50160: 50 Hz +4/-6 % always, 230 V -15 % always; the board's band and the latching check reach as far."""
    assert FREQUENCY_BAND[0] <= 0.94
    assert FREQUENCY_BAND[1] >= 1.04
    assert LOWEST_MAINS <= 0.85
