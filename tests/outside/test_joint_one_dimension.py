"""A spot weld in one dimension by another method: two plates with a resistance between them that falls as it warms.

The equations are those of the one-dimensional model of Andrews, Guessous, Nassar, Putta and Shillor (2006, open access): heat
with melting in enthalpy form, conservation of charge, properties that go with temperature, and heat made where the plates
touch. Their parameters were not to be had, so that the metal is this project's and the contact is invented: what is checked
is the field, its contacts and its melting, against SciPy's own integration in time of the same equations on a grid of its
own.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.joint.field import FieldContact, Links, current, even, heated, no_contact
from sim.joint.metals import LOW_CARBON_STEEL, Array, Properties

THICK_M, DENSITY_A_M2, WELD_S = 1.5e-3, 2.8e8, 0.2
COLD_OHM_M2, FALLS_K = 2e-10, 300.0
TOUCH_W_M2K, COPPER_W_M2K = 5e5, 4e4


def _film(at_C: float | Array) -> Array:
    return np.asarray(COLD_OHM_M2 * np.exp(-(np.asarray(at_C) - 20) / FALLS_K))


def _by_scipy(cells: int) -> Array:
    """Temperatures of cells of one size at the end, by BDF on the enthalpies."""
    dx, metal = 2 * THICK_M / cells, LOW_CARBON_STEEL
    grid, enthalpy = metal.grid_C, metal.enthalpy_J_m3

    def slopes(_: float, held: Array) -> Array:
        at = np.interp(held, enthalpy, grid)
        conducts = np.interp(at, grid, metal.conductivity)
        between = dx / (dx / 2 / conducts[:-1] + dx / 2 / conducts[1:]) / dx
        middle = cells // 2 - 1
        between[middle] = 1 / (dx / 2 / conducts[middle] + dx / 2 / conducts[middle + 1] + 1 / TOUCH_W_M2K)
        flow = between * np.diff(at)
        into = np.zeros(cells)
        into[:-1] += flow
        into[1:] -= flow
        ends = 1 / (dx / 2 / conducts[[0, -1]] + 1 / COPPER_W_M2K)
        into[[0, -1]] -= ends * (at[[0, -1]] - 20)
        heat = DENSITY_A_M2**2 * np.interp(at, grid, metal.resistivity) * dx
        touch = DENSITY_A_M2**2 * float(_film((at[middle] + at[middle + 1]) / 2)) / 2
        heat[[middle, middle + 1]] += touch
        return (into + heat) / dx

    start = np.full(cells, float(np.interp(20, grid, enthalpy)))
    found = solve_ivp(slopes, (0, WELD_S), start, method="BDF", rtol=1e-5, atol=1e3)
    assert found.success
    return np.interp(found.y[:, -1], enthalpy, grid)


def _by_the_model(cells: int, steps: int) -> Array:
    dx, every = 2 * THICK_M / cells, np.arange(cells)
    links = Links()
    full = np.ones(cells - 1)
    links.faces(every[:-1], every[1:], dx / 2 * full, dx / 2 * full, full)
    for cell, volt in ((0, 1.0), (cells - 1, 0.0)):
        links.held(np.array([cell]), np.array([dx / 2]), np.ones(1), volt, 20.0)
    mesh = links.mesh(np.full(cells, dx))
    metal = Properties((LOW_CARBON_STEEL,), np.zeros(cells, dtype=np.int64))
    warmth, middle = even(metal, cells, 20.0), cells // 2 - 1
    for _ in range(steps):
        ohm, heat, held_ohm, held_heat = no_contact(mesh)
        ohm[middle] = _film((warmth.at_C[middle] + warmth.at_C[middle + 1]) / 2)
        heat[middle] = TOUCH_W_M2K
        contact = FieldContact(ohm, heat, held_ohm, np.full(len(held_heat), COPPER_W_M2K))
        flow = current(mesh, metal.resistivity_ohm_m(warmth.at_C), contact)
        warmth = heated(mesh, metal, warmth, flow.cell_ohm * DENSITY_A_M2**2, WELD_S / steps, contact).warmth
    return warmth.at_C


def test_two_plates_in_one_dimension() -> None:
    """Every place within 1 %, and melted where SciPy has it melted."""
    found, other = _by_the_model(40, 400), _by_scipy(40)
    assert other.max() > LOW_CARBON_STEEL.liquidus_degC
    assert found == pytest.approx(other, rel=0.01)
    melts = LOW_CARBON_STEEL.melting_degC
    assert abs(int((found > melts).sum()) - int((other > melts).sum())) <= 1
