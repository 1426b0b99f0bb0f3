"""The winding and the metals, against resistance-welding practice and handbooks."""

from __future__ import annotations

import math

import pytest

from sim.thermal import (
    COPPER,
    CUCR1,
    CUCR1ZR,
    LOW_CARBON_STEEL,
    Mass,
    Material,
    PowerProfile,
    Winding,
    equilibrium,
    fastest_safe_pace,
    time_to_limit_s,
    winding_networks,
)


@pytest.mark.parametrize(("duty", "period_s"), [(0.25, 4.0), (1.0, 4.0), (0.08, 10.0)])
def test_equal_heating_at_duties_not_rated(duty: float, period_s: float) -> None:
    """I1^2 d1 = I2^2 d2 (RWMA practice, from memory): rated 100 A at 50 %, other duties, same mean rise.

    At 100 % the current is 1 / sqrt 2 of the 50 % one, as Sp = S50 / sqrt 2 has it (ISO 5826, from memory).
    """
    winding = Winding(100, 0.5, "F")
    current_A = 100 * math.sqrt(0.5 / duty)
    weld = PowerProfile.of([(0, duty * period_s, current_A**2)])
    for network in winding_networks(winding):
        cycle = equilibrium(network, weld, period_s, "winding")
        assert cycle.mean_degC == pytest.approx(winding.limit_degC, rel=1e-9)
        assert cycle.peak_degC - cycle.mean_degC < 1  # well inside the one-minute integrating period


@pytest.mark.parametrize("insulation_class", ["A", "B", "H"])
def test_winding_pace_is_the_duty_rule_whatever_the_class(insulation_class: str) -> None:
    """Rated 100 A at 50 %; 1 s welds at 200 A may fill 12.5 %: 7.5 a minute (RWMA practice, from memory)."""
    winding = Winding(100, 0.5, insulation_class)
    for network in winding_networks(winding):
        pace = fastest_safe_pace(network, PowerProfile.of([(0, 1, 200.0**2)]), winding.limit_degC, "winding")
        assert pace == pytest.approx(7.5, rel=0.01)


def test_winding_time_constant_from_its_mass() -> None:
    """From cold at the rated loss it warms at P / (m c), the adiabatic rate, and is at 95 % in 3 tau (textbook)."""
    winding = Winding(100, 1.0, "B", mass=Mass(6.0, 10.0, 150.0))
    (network,) = winding_networks(winding)
    slope = (network.temperatures_degC(network.step(network.cold, [1e4], 0.1), [0])[0] - 40) / 0.1
    assert slope == pytest.approx(150 / (6 * 385 + 10 * 480), rel=1e-3)
    warm = network.temperatures_degC(network.step(network.cold, [1e4], 3 * network.slowest_s), [0])[0] - 40
    assert warm == pytest.approx(80 * (1 - math.exp(-3)))


def test_winding_without_masses_gives_both_ends() -> None:
    """10 to 30 minutes, marked an assumption: the fast end meets the limit three times sooner."""
    winding = Winding(100, 0.5)
    fast, slow = winding_networks(winding)
    weld = PowerProfile.of([(0, 2, 200.0**2)])
    sooner, later = (time_to_limit_s(n, weld, 6, winding.limit_degC, "winding") for n in (fast, slow))
    assert sooner < later
    assert later == pytest.approx(3 * sooner, rel=0.02)
    with pytest.raises(ValueError, match="insulation class 'X'"):
        Winding(100, 0.5, "X")


def test_copper_is_within_the_handbook() -> None:
    """IACS: 1.7241e-8 ohm m, 0.00393 /K, 8890 to 8960 kg/m3, 385 J/(kg K), 390 to 400 W/(m K) at 20 degC."""
    assert (COPPER.resistivity_ohm_m, COPPER.temperature_coefficient_per_K) == (1.7241e-8, 0.00393)
    assert 8890 <= COPPER.density_kg_per_m3 <= 8960
    assert COPPER.specific_heat_J_per_kgK == 385
    assert 390 <= COPPER.conductivity_W_per_mK <= 400


def test_steel_is_within_the_handbook() -> None:
    """Low-carbon steel, from memory: about 1.4e-7 ohm m, 7850 kg/m3, 480 J/(kg K), 50 W/(m K) at 20 degC."""
    steel = LOW_CARBON_STEEL
    assert steel.resistivity_ohm_m == pytest.approx(1.4e-7, rel=0.05)
    assert (steel.density_kg_per_m3, steel.specific_heat_J_per_kgK) == (7850, 480)
    assert steel.conductivity_W_per_mK == pytest.approx(50, rel=0.05)


@pytest.mark.parametrize("metal", [COPPER, CUCR1, CUCR1ZR, LOW_CARBON_STEEL])
def test_heat_and_current_conduct_together(metal: Material) -> None:
    """Wiedemann-Franz, by which no entry was set: conductivity times resistivity is 2.44e-8 T (Kittel), within 10 %."""
    assert metal.conductivity_W_per_mK * metal.resistivity_ohm_m == pytest.approx(2.44e-8 * 293, rel=0.1)


def test_softening_temperatures() -> None:
    """ISO 5182, from memory: Cu-ETP 150, CuCr1 475, CuCr1Zr 500; a public national copy of 2010 reads the same."""
    assert (COPPER.softening_degC, CUCR1.softening_degC, CUCR1ZR.softening_degC) == (150, 475, 500)


def test_resistance_of_hot_copper() -> None:
    """IEC 60034-1, from memory: for copper R2 / R1 = (234.5 + T2) / (234.5 + T1), temperatures in degC."""
    ratio = COPPER.resistivity_at_ohm_m(120) / COPPER.resistivity_at_ohm_m(20)
    assert ratio == pytest.approx((234.5 + 120) / (234.5 + 20), rel=1e-3)
