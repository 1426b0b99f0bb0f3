"""The field of sim/joint against solutions in closed form.

Sources: Holm, Electric Contacts (spot of radius a: R = rho / 2a), with the tube's correction of Roess, in Cooper, Mikic and
Yovanovich 1969; Carslaw and Jaeger, Conduction of Heat in Solids, 10.5 (disc source) and 11.2 (Neumann's melting);
Kohlrausch 1900 and Greenwood and Williamson 1958 (V^2 = 4 L (T^2 - T0^2)); Johnson, Contact Mechanics, 4.2 (Hertz) and 6.3
(a ball sinks in plastically); Hill, The Mathematical Theory of Plasticity (thick-walled cylinder); all from memory.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq

from sim.joint.contact import Melt, indentation_radius_m, melt_force_N
from sim.joint.field import current, even, heated, no_contact
from sim.joint.metals import KELVIN, LOW_CARBON_STEEL, METALS, Metal, Properties
from sim.joint.rods import RodCross, rod_mesh
from sim.joint.sheets import SheetStack, sheet_mesh
from tests.support.outside.joint_meshes import bar, by_law, half_space, plain_metal

LORENZ = 2.44e-8  # V2/K2


def _of(metal: Metal, cells: int) -> Properties:
    return Properties((metal,), np.zeros(cells, dtype=np.int64))


def test_the_constriction_of_a_spot_is_that_of_holm() -> None:
    """Half of rho / 2a on either side; the grid knows neither the singular rim nor the answer, and nears it as it is refined."""
    ohm_m, disc_m, far = 1e-7, 1e-3, 40.0
    tube = ohm_m * far * disc_m / (math.pi * (far * disc_m) ** 2)
    exact = ohm_m / (4 * disc_m) * (1 - 1.4092 / far) + tube
    misses = []
    for cells in (6, 12, 24):
        mesh, _ = half_space(disc_m, cells, far)
        found = current(mesh, np.full(mesh.cells, ohm_m), no_contact(mesh)).ohm
        misses.append(found / exact - 1)
    assert abs(misses[-1]) < 0.02
    assert all(abs(after) < 0.6 * abs(before) for before, after in pairwise(misses)), misses
    assert abs(2 * misses[-1] - misses[-2]) < 0.004  # of first order at a rim, so this is the grid of no size


def test_a_rod_between_an_electrode_and_a_flat_bar_resists_as_a_disc_between_two_strips() -> None:
    """As long as it touches, so that all is plane: of strips of half a width a on a disc of diameter d each rho / (pi L) times
    ln(2 d / a), by two line sources on its edge (from memory); the bar conducts perfectly.
    """
    d, ohm_m, long_m, sunk_m = 5e-3, 1e-7, 60e-3, 0.01 * 5e-3
    cross = RodCross((d, 1e-3), LOW_CARBON_STEEL, METALS["copper"], (0.1, 1.0), (long_m, 15e-3), flat_m=long_m)
    made = rod_mesh(cross, sunk_m, 8)
    below = int((made.boxes[0] >= 0).sum())
    ohms = np.where(np.arange(made.mesh.cells) < below, ohm_m, 1e-13)
    found = current(made.mesh, ohms, no_contact(made.mesh)).ohm / 4
    half_widths_m = (0.1 * d, cross.half_widths(sunk_m)[1])
    exact = ohm_m / (math.pi * long_m) * sum(math.log(2 * d / each) for each in half_widths_m)
    assert found == pytest.approx(exact, rel=0.06)


def test_a_disc_source_warms_a_half_space_as_by_carslaw_and_jaeger() -> None:
    """The middle of the disc, at a tenth to three times its radius squared over diffusivity."""
    metal, disc_m, watts_m2 = plain_metal(), 1e-3, 2e7
    diffusivity = 50.0 / (metal.density_kg_m3 * 500.0)
    mesh, under = half_space(disc_m, 12, 15.0, volts=False)
    cells = _of(metal, mesh.cells)
    warmth, own_s, time_s = even(cells, mesh.cells, 20.0), disc_m**2 / diffusivity, 0.0
    for steps, step in ((60, 1 / 600), (60, 1 / 150), (60, 1 / 24)):  # up to 0.1, 0.5 and 3 of its own times
        for _ in range(steps):
            warmth = heated(mesh, cells, warmth, under * watts_m2, step * own_s, no_contact(mesh), 1).warmth
        time_s += steps * step * own_s
        length = math.sqrt(diffusivity * time_s)
        z = disc_m / (2 * length)
        ierfc = math.exp(-z * z) / math.sqrt(math.pi) - z * math.erfc(z)
        exact = 2 * watts_m2 * length / 50.0 * (1 / math.sqrt(math.pi) - ierfc)
        # From the middle of the first cell to the surface: half a cell at the flux that enters.
        surface = warmth.at_C[0] - 20.0 + watts_m2 * disc_m / 24 / 50.0
        assert surface == pytest.approx(exact, rel=0.015)


def test_melting_goes_in_as_by_neumann() -> None:
    """Half-space at 1000 degC, melting at 1500, its face at 2500 from the first: the front at 2 lambda sqrt(D t)."""
    latent, heat = 260e3, 500.0
    metal = plain_metal(heat_J_kgK=heat, latent_J_kg=latent, melts_C=1500.0)
    diffusivity = 50.0 / (metal.density_kg_m3 * heat)
    hot, cold = heat * (2500 - 1500) / latent, heat * (1500 - 1000) / latent

    def balance(x: float) -> float:
        melt, solid = hot / math.erf(x), cold / math.erfc(x)
        return (melt - solid) * math.exp(-x * x) / math.sqrt(math.pi) - x

    number = brentq(balance, 1e-3, 3)
    mesh, edges = bar(0.02, 300, 1.01, hot_C=2500.0)
    cells = _of(metal, mesh.cells)
    warmth, step_s = even(cells, mesh.cells, 1000.0), 2e-3
    for n in range(1, 501):
        warmth = heated(mesh, cells, warmth, np.zeros(mesh.cells), step_s, no_contact(mesh)).warmth
        if n % 100 == 0:
            solid = metal.density_kg_m3 * (heat * 1497.5)
            share = np.clip((warmth.enthalpy_J_m3 - solid) / (metal.density_kg_m3 * latent), 0, 1)
            front = float((share * np.diff(edges)).sum())
            assert front == pytest.approx(2 * number * math.sqrt(diffusivity * n * step_s), rel=0.015)


@pytest.mark.parametrize("volt", [0.2, 0.35])
def test_the_voltage_sets_the_greatest_temperature_as_by_kohlrausch(volt: float) -> None:
    """Any shape: here two sheets that touch over a small spot, with Wiedemann and Franz's law of conductivity."""

    def law(at_C: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        ohm_m = 1e-7 * (1 + 0.003 * at_C)
        return ohm_m, LORENZ * (at_C + KELVIN) / ohm_m

    metal = by_law(law)
    stack = SheetStack((2e-3, 2e-3), metal, metal, face_m=6e-3, faying_m=2e-3, copper_m=4e-3)
    made = sheet_mesh(stack, across=14, through=12)
    mesh, none = made.mesh, no_contact(made.mesh)
    warmth = even(made.metal, mesh.cells, 20.0)
    for step_s in np.geomspace(1e-3, 100, 30):
        field = current(mesh, made.metal.resistivity_ohm_m(warmth.at_C), none)
        warmth = heated(mesh, made.metal, warmth, field.cell_ohm * (volt / field.ohm) ** 2, step_s, none, 5).warmth
    exact = math.sqrt((20 + KELVIN) ** 2 + volt**2 / (4 * LORENZ)) - KELVIN
    assert warmth.at_C.max() == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(("metal", "volt"), [("low_carbon_steel", 0.60), ("copper", 0.43)])
def test_the_melting_voltages_of_iron_and_copper(metal: str, volt: float) -> None:
    """0.6 and 0.43 V: Holm's table, from memory; by the law's number alone within 10 %."""
    melts_K = METALS[metal].melting_degC + KELVIN  # type: ignore[index]
    assert math.sqrt(4 * LORENZ * (melts_K**2 - 293**2)) == pytest.approx(volt, rel=0.10)


def test_energy_in_is_stored_or_lost_to_a_thousandth() -> None:
    """Two sheets of steel until they melt, between electrodes: what the circuit gives against what the cells hold."""
    stack = SheetStack((1e-3, 1e-3), LOW_CARBON_STEEL, METALS["CuCr1Zr"], 6.35e-3, 7e-3)
    made = sheet_mesh(stack)
    mesh, none = made.mesh, no_contact(made.mesh)
    warmth = even(made.metal, mesh.cells, 20.0)
    begun, given, lost = float((warmth.enthalpy_J_m3 * mesh.volume_m3).sum()), 0.0, 0.0
    for _ in range(60):
        field = current(mesh, made.metal.resistivity_ohm_m(warmth.at_C), none)
        step = heated(mesh, made.metal, warmth, field.cell_ohm * 18000.0**2, 5e-3, none)
        given, lost, warmth = given + field.ohm * 18000.0**2 * 5e-3, lost + step.lost_W * 5e-3, step.warmth
    stored = float((warmth.enthalpy_J_m3 * mesh.volume_m3).sum()) - begun
    assert warmth.at_C.max() > LOW_CARBON_STEEL.liquidus_degC
    assert stored + lost == pytest.approx(given, rel=1e-3)


def test_a_dome_touches_as_by_hertz_and_sinks_in_as_by_tabor() -> None:
    """10 N on a dome of 50 mm: peak (6 F E*^2 / pi^3 R^2)^(1/3). 10 kN on one of 5 mm: the mean pressure is the hardness."""
    steel, copper = LOW_CARBON_STEEL, METALS["CuCr1Zr"]
    stiffness = 1 / ((1 - 0.3**2) / 210e9 + (1 - 0.3**2) / 120e9)
    peak_Pa = (6 * 10 * stiffness**2 / (math.pi**3 * 0.05**2)) ** (1 / 3)
    assert indentation_radius_m(10, 0.05, (steel, copper)) == pytest.approx(
        math.sqrt(3 * 10 / (2 * math.pi * peak_Pa)), rel=1e-6
    )
    radius = indentation_radius_m(10e3, 5e-3, (steel, copper))
    assert 10e3 / (math.pi * radius**2) == pytest.approx(3 * copper.flow.cold_MPa * 1e6)
    assert indentation_radius_m(10e3, 5e-3, (steel, copper), 700.0) > 1.5 * radius
    assert math.isinf(indentation_radius_m(10, math.inf, (steel, copper)))


def test_a_ring_holds_melt_as_a_thick_walled_cylinder() -> None:
    """All at one temperature too cold to weld: p = 2 Y / sqrt 3 ln(b / a), whatever rings it is cut into."""
    edges = np.array([0.0, 0.5e-3, 1.3e-3, 2e-3, 4e-3])
    flow = float(LOW_CARBON_STEEL.flow.stress_MPa(1000.0, 1.0))
    force = melt_force_N(Melt(edges, np.full(4, 1000.0), 1e-3, 3e-3), LOW_CARBON_STEEL)
    assert force == pytest.approx(2 * flow / math.sqrt(3) * math.log(3.0) * math.pi, rel=1e-9)
    assert melt_force_N(Melt(edges, np.full(4, 1000.0), 3e-3, 3e-3), LOW_CARBON_STEEL) == 0  # no ring is left
