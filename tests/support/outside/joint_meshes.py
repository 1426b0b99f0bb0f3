"""Meshes and metals of textbook problems for sim/joint, which no weld has."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sim.joint.field import Links, Mesh
from sim.joint.metals import LOW_CARBON_STEEL, Metal

Array = NDArray[np.float64]
_WIDE = (0.0, 4000.0)


def plain_metal(
    ohm_m: float = 1e-7,
    conducts: float = 50.0,
    heat_J_kgK: float = 500.0,
    latent_J_kg: float = 0.0,
    melts_C: float = 3990.0,
) -> Metal:
    """The same at every temperature; it melts within 5 K."""
    return replace(
        LOW_CARBON_STEEL,
        resistivity_ohm_m=(_WIDE, (ohm_m, ohm_m)),
        conductivity_W_mK=(_WIDE, (conducts, conducts)),
        heat_J_kgK=(_WIDE, (heat_J_kgK, heat_J_kgK)),
        solidus_degC=melts_C - 2.5,
        liquidus_degC=melts_C + 2.5,
        latent_J_kg=latent_J_kg,
    )


def by_law(law: Callable[[Array], tuple[Array, Array]]) -> Metal:
    """Resistivity and conductivity by a law of the temperature in degC."""
    at = np.arange(0.0, 4001.0, 5.0)
    ohm_m, conducts = law(at)
    times = tuple(at.tolist())
    return replace(
        plain_metal(),
        resistivity_ohm_m=(times, tuple(ohm_m.tolist())),
        conductivity_W_mK=(times, tuple(conducts.tolist())),
    )


def growing(fine: float, even: int, end: float, growth: float = 1.15) -> Array:
    """Edges: `even` of them `fine` apart, then each step longer than the last up to `end`; these a little shrunk to end there."""
    edges = [fine * k for k in range(even + 1)]
    step = fine
    while edges[-1] < end:
        step *= growth
        edges.append(edges[-1] + step)
    at, start = np.array(edges), fine * even
    return np.where(at > start, start + (at - start) * (end - start) / (edges[-1] - start), at)


def half_space(disc_m: float, cells: int, far: float, volts: bool = True) -> tuple[Mesh, Array]:
    """A cylinder `far` discs wide and deep, its far end held at 0; `volts`: the disc on its near end held at 1.

    Returns the area of each cell of the first layer that lies under the disc as well.
    """
    r = growing(disc_m / cells, cells, far * disc_m)
    z = growing(disc_m / cells, cells, far * disc_m)
    nr, nz = len(r) - 1, len(z) - 1
    number = np.arange(nr * nz).reshape(nz, nr)
    plane, dz = math.pi * np.diff(r**2), np.diff(z)
    links = Links()
    middle = (r[:-1] + r[1:]) / 2
    side = 2 * math.pi * r[1:-1] * dz[:, None]
    near, far_half = (np.broadcast_to(part, side.shape) for part in (r[1:-1] - middle[:-1], middle[1:] - r[1:-1]))
    links.faces(number[:, :-1].ravel(), number[:, 1:].ravel(), near.ravel(), far_half.ravel(), side.ravel())
    flat = np.broadcast_to(plane, (nz - 1, nr)).ravel()
    halves = [np.repeat(part / 2, nr) for part in (dz[:-1], dz[1:])]
    links.faces(number[:-1].ravel(), number[1:].ravel(), halves[0], halves[1], flat)
    links.held(number[-1], np.full(nr, dz[-1] / 2), plane, 0.0, 20.0)
    if volts:
        links.held(number[0, :cells], np.full(cells, dz[0] / 2), plane[:cells], 1.0, 20.0)
    under = np.zeros(nr * nz)
    under[:cells] = plane[:cells]
    return links.mesh((plane * dz[:, None]).ravel()), under


def bar(length_m: float, cells: int, growth: float = 1.0, hot_C: float = 20.0) -> tuple[Mesh, Array]:
    """A bar of 1 m2 along x, held at both ends, the first at `hot_C`; and the edges of its cells."""
    steps = growth ** np.arange(cells)
    edges = np.concatenate([[0.0], np.cumsum(steps)])
    edges *= length_m / edges[-1]
    dx = np.diff(edges)
    links = Links()
    every = np.arange(cells)
    links.faces(every[:-1], every[1:], dx[:-1] / 2, dx[1:] / 2, np.ones(cells - 1))
    for cell, volt, at_C in ((0, 1.0, hot_C), (cells - 1, 0.0, 20.0)):
        links.held(np.array([cell]), np.array([dx[cell] / 2]), np.ones(1), volt, at_C)
    return links.mesh(dx), edges
