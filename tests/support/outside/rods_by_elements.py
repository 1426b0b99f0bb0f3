"""The conduction of rods_conduction.py once more by another code and another method: finite elements of scikit-fem.

Of two equal rods one is enough: turned by 90 degrees and mirrored it is the other, so that at a point of the touching patch the
other rod is as hot as this one at the point turned, and its potential is what is left of the whole. The elements are hexahedra
of second order, fitted to the cylinder where the volumes of rods_conduction.py are cut by it. Only the properties of the steel
and the steps in time are shared. SI units; temperatures in degC.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import cg
from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, LinearForm, MeshHex
from skfem.helpers import dot, grad

from tests.support.outside.rods_conduction import (
    COLD_C,
    JOINED_C,
    Electrode,
    conductivity_W_mK,
    graded,
    heat_capacity_J_m3K,
    resistivity_ohm_m,
)

_TIGHT = 300.0  # of a held surface: conductance over that of the steel below it


class RodByElements:
    """A quarter of one of two equal crossed rods, on its mesh. `elements`: to a radius."""

    def __init__(self, diameter_m: float, patch: float, electrode: Electrode, elements: int = 4) -> None:
        radius, touch, wide = diameter_m / 2, patch * diameter_m, electrode.half_width * diameter_m
        long = electrode.half_length * diameter_m
        bottom, top = -math.sqrt(radius**2 - wide**2), math.sqrt(radius**2 - touch**2)
        along = graded(max(long, radius), radius / elements, 8 * diameter_m)
        # The field is steepest at the two ends that are touched: cells are thin there.
        up = (bottom + top) / 2 - (top - bottom) / 2 * np.cos(np.linspace(0, math.pi, 2 * elements + 1))
        even = MeshHex.init_tensor(along, np.linspace(0, 1, elements + 1), up)
        at = even.p.copy()
        at[1] *= np.sqrt(np.clip(radius**2 - at[2] ** 2, 0, None))
        mesh = MeshHex(at, even.t)
        self._basis = Basis(mesh, ElementHex2(), intorder=4)
        facets = mesh.facets_satisfying(lambda x: x[2] < bottom + 1e-9)
        lower = FacetBasis(mesh, ElementHex2(), facets=facets, intorder=8)
        points, weights = _quarter_disc(touch)
        height = np.full(len(weights), top * (1 - 1e-9))
        here, turned = (self._basis.probes(np.vstack([xy, height])) for xy in (points, points[::-1]))
        self._area = float(weights.sum())
        self._patch = here.T @ weights
        self._alike = here.T @ sparse.diags(weights) @ (here - turned)
        self._unlike = here.T @ sparse.diags(weights) @ (here + turned)
        self._strip = LinearForm(lambda v, w: (w.x[0] < long) * v).assemble(lower)
        self._on_strip = BilinearForm(lambda u, v, w: (w.x[0] < long) * u * v).assemble(lower)
        self._stiff = BilinearForm(lambda u, v, w: w.each * dot(grad(u), grad(v)))
        self._mass = BilinearForm(lambda u, v, w: w.each * u * v)
        self._load = LinearForm(lambda v, w: w.each * v)
        self._tight = _TIGHT / (radius / elements)

    def _heated(self, at_C: Any, guess_V: Any) -> tuple[Any, Any]:
        """Potential at 1 V between the electrodes, and the heat of this rod at 1 A through a quarter."""
        conducts = 1 / resistivity_ohm_m(self._basis.interpolate(at_C))
        hold = self._tight * float(conducts.mean())
        held = hold * (self._unlike + self._on_strip)
        volts = _solved(self._stiff.assemble(self._basis, each=conducts) + held, hold * self._patch, guess_V)
        amperes = hold * float(self._strip @ volts)
        steep = (self._basis.interpolate(volts).grad ** 2).sum(axis=0)
        return volts, self._load.assemble(self._basis, each=conducts * steep / amperes**2)

    def cold_ohm(self) -> float:
        """Resistance of both rods at 20 degC between their electrodes, of a quarter."""
        _, heat = self._heated(np.full(self._basis.N, COLD_C), None)
        return 2 * float(heat.sum())

    def joined_s(self, current_A: float, longest_s: float, step_C: float = 40.0) -> float:
        """Time until the patch's mean is `JOINED_C`; infinite where it is not within `longest_s`."""
        now, volts = np.full(self._basis.N, COLD_C), None
        time_s, step_s, met = 0.0, 1e-4, COLD_C
        while time_s < longest_s:
            volts, heat = self._heated(now, volts)
            there = self._basis.interpolate(now)
            stored = self._mass.assemble(self._basis, each=heat_capacity_J_m3K(there)) / step_s
            carries = conductivity_W_mK(there)
            hold = self._tight * float(carries.mean())
            matrix = stored + self._stiff.assemble(self._basis, each=carries) + hold * (self._alike + self._on_strip)
            given = stored @ now + heat * (current_A / 4) ** 2 + hold * COLD_C * self._strip
            now = _solved(matrix, given, now)
            time_s, before, met = time_s + step_s, met, float(self._patch @ now) / self._area
            if met >= JOINED_C:
                return time_s - (met - JOINED_C) / (met - before) * step_s
            step_s = min(step_s * min(1.5, max(0.5, step_C / max(abs(met - before), 1e-9))), longest_s / 20)
        return math.inf


def _quarter_disc(radius_m: float, along: int = 10, round_: int = 12) -> tuple[Any, Any]:
    """Points (x, y) and weights to integrate over a quarter of a disc, as many on either side of its diagonal."""
    r, radial = np.polynomial.legendre.leggauss(along)
    r, radial = (r + 1) / 2 * radius_m, radial / 2 * radius_m
    angle = (np.arange(round_) + 0.5) / round_ * math.pi / 2
    points = np.array([np.outer(r, np.cos(angle)).ravel(), np.outer(r, np.sin(angle)).ravel()])
    return points, np.outer(radial * r, np.full(round_, math.pi / 2 / round_)).ravel()


def _solved(matrix: Any, given: Any, guess: Any) -> Any:
    found, failed = cg(matrix, given, x0=guess, rtol=1e-7, M=sparse.diags(1 / matrix.diagonal()), maxiter=20000)
    if failed:
        raise RuntimeError(f"conjugate gradients: {failed}")
    return found
