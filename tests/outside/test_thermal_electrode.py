"""The electrode against the analytic rod, fin and contact, and against SciPy."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.thermal import (
    COPPER,
    CUCR1ZR,
    Electrode,
    Holder,
    LinearNetwork,
    PowerProfile,
    Segment,
    at_its_own_mean,
    electrode_network,
    equilibrium,
    nth_cycle,
    time_to_limit_s,
)

FIRM = Holder(1e-9, 1e-9, 1.0)  # the shank's end stays at ambient
ROD = Electrode(COPPER, 0.01, 0.05, 0.01, holder=FIRM, air_W_per_m2K=0, ambient_degC=0, mean_degC=20)
AREA = math.pi / 4 * 0.01**2
HALF_S = 0.01
WELD = PowerProfile(tuple(Segment(0.2 + n * HALF_S, HALF_S, (300.0, 2500.0**2)) for n in range(100)))


def face_after(network: LinearNetwork, inputs: tuple[float, float], time_s: float) -> float:
    return float(network.temperatures_degC(network.step(network.cold, inputs, time_s), inputs)[0])


@pytest.mark.parametrize("time_s", [0.01, 0.1, 1.0])
def test_short_times_are_those_of_a_semi_infinite_solid(time_s: float) -> None:
    """Constant flux: 2 q sqrt(alpha t / pi) / k (Carslaw & Jaeger 2.9; Incropera 5.7, case 2; from memory), 0.5 %."""
    flux = 1e7
    expected = 2 * flux * math.sqrt(COPPER.diffusivity_m2_per_s * time_s / math.pi) / COPPER.conductivity_W_per_mK
    assert face_after(electrode_network(ROD), (flux * AREA, 0.0), time_s) == pytest.approx(expected, rel=5e-3)


def test_pulse_train_on_a_semi_infinite_solid() -> None:
    """The same formula superposed (Carslaw & Jaeger 2.9, from memory): 10 half-cycles with pauses, within 0.5 %."""
    flux, k = 2e7, COPPER.conductivity_W_per_mK
    pulses = [(n * 0.02, 0.01) for n in range(10)]
    profile = PowerProfile(tuple(Segment(s, length, (flux * AREA, 0.0)) for s, length in pulses))
    now = profile.end_s
    expected = sum(
        2 * flux / k * math.sqrt(COPPER.diffusivity_m2_per_s / math.pi)
        * (math.sqrt(now - s) - math.sqrt(max(0.0, now - s - length)))
        for s, length in pulses
    )  # fmt: skip
    assert nth_cycle(electrode_network(ROD), profile, 60, 1, "face").peak_degC == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize("time_s", [0.5, 3.0, 10.0, 200.0])
def test_rod_with_a_cold_end(time_s: float) -> None:
    """q L / k (1 - 8/pi^2 sum exp(-(2n+1)^2 pi^2 alpha t / 4 L^2) / (2n+1)^2) (Carslaw & Jaeger 3.8, from memory)."""
    length, alpha = ROD.free_length_m, COPPER.diffusivity_m2_per_s
    odd = range(1, 800, 2)
    series = sum(math.exp(-((n * math.pi / (2 * length)) ** 2) * alpha * time_s) / n**2 for n in odd)
    expected = 1e6 * length / COPPER.conductivity_W_per_mK * (1 - 8 / math.pi**2 * series)
    assert face_after(electrode_network(ROD), (1e6 * AREA, 0.0), time_s) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("air", [15.0, 500.0, 5000.0])
def test_steady_fin(air: float) -> None:
    """Heat P, far end at ambient: P tanh(m L) / (k A m), m^2 = h p / k A (Incropera, Table 3.4, from memory)."""
    network = electrode_network(replace(ROD, air_W_per_m2K=air))
    m = math.sqrt(air * math.pi * 0.01 / (COPPER.conductivity_W_per_mK * AREA))
    expected = 50 * math.tanh(m * 0.05) / (COPPER.conductivity_W_per_mK * AREA * m)
    assert network.temperatures_degC(network.steady([50.0, 0.0]), [50.0, 0.0])[0] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("air", [1e-6, 500.0])
def test_rod_heated_by_its_own_current(air: float) -> None:
    """Uniform source, one end cold: q / (h p) (1 - 1 / cosh m L) (Carslaw & Jaeger 4.10, from memory)."""
    network = electrode_network(replace(ROD, air_W_per_m2K=air))
    per_m = 3000.0**2 * COPPER.resistivity_ohm_m / AREA
    p = math.pi * 0.01
    m = math.sqrt(air * p / (COPPER.conductivity_W_per_mK * AREA))
    expected = per_m / (air * p) * (1 - 1 / math.cosh(m * 0.05))
    inputs = [0.0, 3000.0**2]
    assert network.temperatures_degC(network.steady(inputs), inputs)[0] == pytest.approx(expected, rel=1e-3)


def test_coned_electrode_against_solve_ivp() -> None:
    """500 even layers by the method of lines, written apart from the program's, and scipy's BDF; within 1 %."""
    e = Electrode(CUCR1ZR, 0.012, 0.04, 0.004, 0.006, Holder(0.15, 0.8, 50), 40.0, 0.0, 150.0)
    cells, k = 500, 320.0
    dx = 0.04 / cells
    borders = np.arange(cells + 1) * dx

    def area(x: np.ndarray) -> np.ndarray:
        return math.pi / 4 * (0.004 + 0.008 * np.minimum(x / 0.006, 1)) ** 2

    middle = area(borders[:-1] + dx / 2)
    conductance = k * area(borders[1:-1]) / dx
    resistivity = (1 + 1.7241e-8 * 0.00393 * 43e6 * 130) / 43e6
    heating = 300.0 * (np.arange(cells) == 0) + 4000.0**2 * resistivity * dx / middle
    side = 40.0 * math.pi * np.sqrt(4 * middle / math.pi) * dx
    grip = 1 / (0.15 + dx / 2 / (k * middle[-1]))

    def slope(on: float) -> object:
        def of(_: float, y: np.ndarray) -> np.ndarray:
            t, holder = y[:-1], y[-1]
            flow = conductance * np.diff(t)
            gain = on * heating - side * t
            gain[:-1] += flow
            gain[1:] -= flow
            gain[-1] -= grip * (t[-1] - holder)
            return np.append(gain / (middle * dx * 8900 * 380), (grip * (t[-1] - holder) - holder / 0.8) / 50)

        return of

    band = np.eye(cells + 1, k=1) + np.eye(cells + 1, k=-1) + np.eye(cells + 1)
    y, faces = np.zeros(cells + 1), []
    for on, length in ((1.0, 0.3), (0.0, 1.7), (1.0, 0.3)):
        y = solve_ivp(slope(on), (0, length), y, "BDF", rtol=1e-6, atol=1e-6, jac_sparsity=band).y[:, -1]
        faces.append(y[0] + on * 300 * dx / 2 / (k * middle[0]))
    network = electrode_network(e)
    weld = PowerProfile((Segment(0, 0.3, (300.0, 4000.0**2)),))
    first, second = (nth_cycle(network, weld, 2.0, n, "face") for n in (1, 2))
    assert (first.peak_degC, second.peak_degC) == pytest.approx((faces[0], faces[2]), rel=0.01)
    assert second.begin_degC == pytest.approx(faces[1], rel=0.01)


def test_shape_of_the_cone() -> None:
    """A frustum of pi h (D^2 + D d + d^2) / 12, 4 h / (pi D d) and pi h (D + d) / 2, and a cylinder (geometry)."""
    e = replace(ROD, contact_diameter_m=0.004, tip_length_m=0.006)
    rest = 0.05 - 0.006
    assert e.volume_m3(0, 0.05) == pytest.approx(math.pi * 0.006 * (1e-4 + 4e-5 + 1.6e-5) / 12 + AREA * rest)
    assert e.per_area(0, 0.05) == pytest.approx(4 * 0.006 / (math.pi * 4e-5) + rest / AREA)
    assert e.side_m2(0, 0.05) == pytest.approx(math.pi * (0.006 * 0.007 + 0.01 * rest))


def test_layers_converge_with_their_square() -> None:
    """Second order (any text on finite volumes): four times nearer with twice the layers; 60 are within 0.05 %."""
    cold = replace(ROD, contact_diameter_m=0.004, tip_length_m=0.006, holder=Holder(), air_W_per_m2K=15)
    peaks = [equilibrium(electrode_network(cold, n), WELD, 5, "face").peak_degC for n in (15, 30, 60, 120, 240)]
    steps = np.abs(np.diff(peaks))
    assert np.all(steps[1:] < steps[:-1] / 3)
    assert abs(peaks[2] - peaks[-1]) < 5e-4 * peaks[-1]


def test_constriction_at_its_ends() -> None:
    """A small contact on a wide face: rho / 4 a (Holm, from memory); a contact as wide as the rod, or a cone: none."""
    assert replace(ROD, contact_diameter_m=1e-6).spread_per_m == pytest.approx(1 / (4 * 0.5e-6), rel=1e-3)
    assert ROD.spread_per_m == 0
    assert replace(ROD, contact_diameter_m=0.003, tip_length_m=0.004).spread_per_m == 0


@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.5])
def test_constriction_in_between(ratio: float) -> None:
    """Isothermal contact on a tube: 1 - 1.40978 e + 0.34406 e^3 + 0.0435 e^5 (Yovanovich, from memory), within 5 %."""
    contact = replace(ROD, contact_diameter_m=ratio * 0.01)
    series = 1 - 1.40978 * ratio + 0.34406 * ratio**3 + 0.0435 * ratio**5
    assert contact.spread_per_m * 2 * ratio * 0.01 == pytest.approx(series, rel=0.05)


@pytest.mark.parametrize("voltage_V", [0.03, 0.06, 0.12])
def test_contact_temperature_follows_its_voltage(voltage_V: float) -> None:
    """Two copper members: T^2 = T0^2 + U^2 / 4 L, L = 2.4e-8 (Holm, Electric Contacts, from memory), within 6 %.

    At 0.12 V that is 212 degC, where Holm's table of softening voltages says 190 (from memory).
    """
    hot = math.sqrt(293**2 + voltage_V**2 / 9.6e-8) - 273
    e = Electrode(COPPER, 1.0, 2.0, 1e-4, holder=FIRM, air_W_per_m2K=0, ambient_degC=20, mean_degC=(20 + hot) / 2)
    current_A = voltage_V / (2 * e.resistivity_ohm_m * e.spread_per_m)
    network = electrode_network(e)
    inputs = [0.0, current_A**2]
    face = network.temperatures_degC(network.steady(inputs), inputs)[0]
    assert face - 20 == pytest.approx(hot - 20, rel=0.06)


def test_energy_of_the_electrode() -> None:
    """Joules in = stored + lost to air + lost at the holder, over nine welds."""
    e = replace(ROD, contact_diameter_m=0.003, holder=Holder(0.1, 1.0, 150), air_W_per_m2K=200)
    network = electrode_network(e)
    cycles = {out: [nth_cycle(network, WELD, 3.0, n, out) for n in range(1, 10)] for out in ("body", "holder")}
    heat = COPPER.heat_J_per_m3K * AREA * 0.05
    stored = heat * cycles["body"][-1].end_degC + 150 * cycles["holder"][-1].end_degC
    to_air = sum(3 * c.mean_degC for c in cycles["body"]) * 200 * math.pi * 0.01 * 0.05
    to_holder = sum(3 * c.mean_degC for c in cycles["holder"]) / 1.0
    ohm = COPPER.resistivity_ohm_m * (0.05 / AREA + e.spread_per_m)
    assert stored + to_air + to_holder == pytest.approx(9 * (300 + 2500**2 * ohm), rel=1e-6)


def test_plain_copper_softens_where_chromium_zirconium_does_not() -> None:
    """ISO 5182, from memory: 150 degC against 500 degC. The same work on both."""
    base = Electrode(COPPER, 0.012, 0.04, 0.006, 0.004)
    for material, softens in ((COPPER, True), (CUCR1ZR, False)):
        network, limit = electrode_network(replace(base, material=material)), material.softening_degC
        assert limit is not None
        assert (equilibrium(network, WELD, 4.0, "face").mean_degC > limit) == softens
        passes_s = time_to_limit_s(network, WELD, 4.0, limit, "face")
        assert passes_s < 60 if softens else passes_s == math.inf


def test_resistance_at_its_own_mean_temperature() -> None:
    """Steady current: with one resistivity, rise = q / (1 / R - q alpha), q the loss at 20 degC (algebra)."""
    e = replace(ROD, holder=Holder(1e-6, 2.0, 10), air_W_per_m2K=0, ambient_degC=20)
    loss = 1500.0**2 * COPPER.resistivity_ohm_m * 0.05 / AREA
    always = PowerProfile((Segment(0, 1.0, (0.0, 1500.0**2)),))
    found = at_its_own_mean(e, always, 1.0).mean_degC
    inside = 0.05 / (3 * COPPER.conductivity_W_per_mK * AREA)  # mean of a uniformly heated rod above its end
    assert found - 20 == pytest.approx(loss / (1 / (2.0 + inside) - 0.00393 * loss), rel=1e-3)
    with pytest.raises(ArithmeticError, match="without end"):
        at_its_own_mean(e, PowerProfile((Segment(0, 1.0, (0.0, 5000.0**2)),)), 1.0)


@pytest.mark.parametrize("change", [{"contact_diameter_m": 0.02}, {"contact_diameter_m": 0.0}, {"tip_length_m": 0.05}])
def test_impossible_shapes_are_refused(change: dict[str, float]) -> None:
    """A contact wider than the shank, none, or a cone as long as the rod."""
    with pytest.raises(ValueError, match=r"contact|cone"):
        replace(ROD, **change)
