"""Two welds of sim/joint once more by finite elements (scikit-fem), of second order and fitted to the shapes.

Only the tables of the metals, the shape's measures and the steps in time are shared. Both welds are alike on either side of
the joint, so that one side is enough. Between two sheets the plane of the joint is at half of the voltage. A rod turned by 90
degrees and mirrored is the other rod: at a point of the patch that one is as hot as this one at the point turned, and its
potential is what is left of the whole. No contact has a resistance, and nothing melts. SI units; temperatures in degC.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import cg, spsolve
from skfem import Basis, BilinearForm, ElementHex2, ElementQuad2, FacetBasis, LinearForm, MeshHex, MeshQuad
from skfem.helpers import dot, grad

from sim.joint.metals import STEP_C, Array
from sim.joint.rods import RodCross, filled_m, half_widths
from sim.joint.sheets import SheetStack
from tests.support.outside.joint_meshes import growing

COLD_C = 20.0
_TIGHT = 400.0  # of a held surface: conductance over that of the metal below it
_ROUNDS = 3


def _of(table: Array, at_C: Any) -> Any:
    return np.interp(np.asarray(at_C) / STEP_C, np.arange(len(table)), table)


class SheetsByElements:
    """Upper half of two alike sheets under a straight round electrode, as wide as its face."""

    def __init__(self, stack: SheetStack, elements: int = 10) -> None:
        face, touch, thick = stack.face_m / 2, stack.faying_m / 2, stack.sheets_m[0]
        inside = np.linspace(0, face, elements + 1)
        ring = np.linspace(face, touch, max(2, round((touch - face) / face * elements)) + 1)
        beyond = touch + growing(face / elements, 2, 3 * face)
        r = np.concatenate([inside, ring[1:], beyond[1:]])
        z = thick / 2 - thick / 2 * np.cos(np.linspace(0, math.pi, elements + 1))
        sheet = MeshQuad.init_tensor(r, z)
        copper = MeshQuad.init_tensor(inside, thick + growing(thick / elements / 2, 2, stack.copper_m, 1.2))
        # Points are joined where they agree to eight decimals, hence in millimetres.
        mesh = (sheet.scaled(1e3) + copper.scaled(1e3)).scaled(1e-3)
        self._top = float(mesh.p[1].max())
        self._basis = Basis(mesh, ElementQuad2(), intorder=4)
        middle = mesh.p[:, mesh.t].mean(axis=1)[1]
        self._steel = (middle < thick)[:, None]
        self._metals = stack.metals
        self._stiff = BilinearForm(lambda u, v, w: w.each * w.x[0] * dot(grad(u), grad(v)))
        self._mass = BilinearForm(lambda u, v, w: w.each * w.x[0] * u * v)
        self._load = LinearForm(lambda v, w: w.each * w.x[0] * v)
        self._plane = self._basis.get_dofs(lambda x: (x[1] < 1e-9) & (x[0] < touch + 1e-9)).all()
        self._far = self._basis.get_dofs(lambda x: x[1] > self._top - 1e-9).all()

    def _each(self, name: str, at_C: Any) -> Any:
        steel, copper = (getattr(metal, name) for metal in self._metals)
        return np.where(self._steel, _of(steel, at_C), _of(copper, at_C))

    def welded(self, current_A: float, steps_s: Array) -> tuple[float, float, float]:
        """After these steps: temperatures in the middle of the joint and under the electrode, and the resistance."""
        basis, n = self._basis, self._basis.N
        now = np.full(n, COLD_C)
        places = np.array([[0.0, 0.0], [1e-9, self._basis.mesh.p[1][self._steel_nodes()].max() * (1 - 1e-9)]])
        probe = basis.probes(places)
        ohm = 0.0
        for step_s in steps_s:
            conducts = 1 / self._each("resistivity", basis.interpolate(now))
            matrix = self._stiff.assemble(basis, each=conducts)
            volts = np.zeros(n)
            volts[self._far] = 1.0
            free = np.setdiff1d(np.arange(n), np.concatenate([self._plane, self._far]))
            volts[free] = spsolve(matrix[free][:, free].tocsc(), -matrix[free][:, self._far] @ volts[self._far])
            through = 2 * math.pi * float(volts @ (matrix @ volts))
            ohm = 2 / through
            steep = (basis.interpolate(volts).grad ** 2).sum(axis=0)
            heat = self._load.assemble(basis, each=conducts * steep * (current_A / through) ** 2)
            carries = self._stiff.assemble(basis, each=self._each("conductivity", basis.interpolate(now)))
            kept = np.setdiff1d(np.arange(n), self._far)
            before, tried = self._each("enthalpy_J_m3", basis.interpolate(now)), now
            for turn in range(_ROUNDS):
                here = np.asarray(basis.interpolate(tried))
                moved = here - np.asarray(basis.interpolate(now))
                risen = self._each("enthalpy_J_m3", here) - before
                ahead = self._each("enthalpy_J_m3", here + 1) - self._each("enthalpy_J_m3", here)
                slope = np.where((np.abs(moved) > 1) & (turn > 0), risen / np.where(np.abs(moved) > 1, moved, 1), ahead)
                stored = self._mass.assemble(basis, each=slope) / step_s
                given = stored @ now + heat
                found = np.full(n, COLD_C)
                whole = (stored + carries).tocsr()
                given -= whole[:, self._far] @ found[self._far]
                found[kept] = spsolve(whole[kept][:, kept].tocsc(), given[kept])
                tried = found
            now = tried
        joint, tip = probe @ now
        return float(joint), float(tip), float(ohm)

    def _steel_nodes(self) -> Any:
        return np.unique(self._basis.mesh.t[:, self._steel[:, 0]])


class RodByElements:
    """A quarter of one of two equal rods that have sunk into each other by `setdown_m`."""

    def __init__(self, cross: RodCross, setdown_m: float, elements: int = 4, fins: float = 4.0) -> None:
        d = cross.rods_m[0]
        radius, flank, strip = d / 2, half_widths(cross.rods_m, setdown_m)[0], cross.strip[0] * d
        long, self._metal = cross.along_m[0] / 2, cross.metal
        deep = filled_m(cross.rods_m, setdown_m)
        bottom, top, shoulder = -math.sqrt(radius**2 - strip**2), radius - setdown_m / 2, radius - deep
        along = np.concatenate([np.linspace(0, long, elements + 1), long + growing(long / elements, 1, fins * d)[1:]])
        body = (bottom + shoulder) / 2 - (shoulder - bottom) / 2 * np.cos(np.linspace(0, math.pi, 2 * elements + 1))
        up = np.concatenate([body, np.linspace(shoulder, top, elements)[1:]])
        even = MeshHex.init_tensor(along, np.linspace(0, 1, elements + 1), up)
        at = even.p.copy()
        chord = np.sqrt(np.clip(radius**2 - at[2] ** 2, 0, None))
        at[1] *= np.where(at[2] > shoulder, np.maximum(chord, flank), chord)
        mesh = MeshHex(at, even.t)
        self._basis = Basis(mesh, ElementHex2(), intorder=4)
        facets = mesh.facets_satisfying(lambda x: x[2] < bottom + 1e-9)
        lower = FacetBasis(mesh, ElementHex2(), facets=facets, intorder=8)
        points, weights = _quarter_patch(cross.rods_m[0], deep)
        height = np.full(len(weights), top * (1 - 1e-9))
        here, turned = (self._basis.probes(np.vstack([xy, height])) for xy in (points, points[::-1]))
        self.patch_m2 = 4 * float(weights.sum())
        self._patch = here.T @ weights
        self._alike = here.T @ sparse.diags(weights) @ (here - turned)
        self._unlike = here.T @ sparse.diags(weights) @ (here + turned)
        self._strip = LinearForm(lambda v, w: (w.x[0] < long) * v).assemble(lower)
        self._on_strip = BilinearForm(lambda u, v, w: (w.x[0] < long) * u * v).assemble(lower)
        self._stiff = BilinearForm(lambda u, v, w: w.each * dot(grad(u), grad(v)))
        self._mass = BilinearForm(lambda u, v, w: w.each * u * v)
        self._load = LinearForm(lambda v, w: w.each * v)
        self._tight = _TIGHT / (radius / elements)

    def welded(self, current_A: float, steps_s: Array) -> tuple[float, float]:
        """After these steps: mean temperature of the patch, and the resistance of both rods."""
        basis, n = self._basis, self._basis.N
        now, ohm, volts = np.full(n, COLD_C), 0.0, np.full(n, 0.25)
        for step_s in steps_s:
            here = np.asarray(basis.interpolate(now))
            conducts = 1 / _of(self._metal.resistivity, here)
            hold = self._tight * float(conducts.mean())
            matrix = self._stiff.assemble(basis, each=conducts) + hold * (self._unlike + self._on_strip)
            volts = _solved(matrix, hold * self._patch, volts)
            amperes = hold * float(self._strip @ volts)
            ohm = 1 / amperes / 4
            steep = (basis.interpolate(volts).grad ** 2).sum(axis=0)
            heat = self._load.assemble(basis, each=conducts * steep * (current_A / 4 / amperes) ** 2)
            carries = _of(self._metal.conductivity, here)
            hold = self._tight * float(carries.mean())
            slope = _of(self._metal.enthalpy_J_m3, here + 10) - _of(self._metal.enthalpy_J_m3, here)
            stored = self._mass.assemble(basis, each=slope / 10) / step_s
            whole = stored + self._stiff.assemble(basis, each=carries) + hold * (self._alike + self._on_strip)
            now = _solved(whole, stored @ now + heat + hold * COLD_C * self._strip, now)
        return 4 * float(self._patch @ now) / self.patch_m2, ohm


def _solved(matrix: Any, given: Any, guess: Any) -> Any:
    found, failed = cg(matrix, given, x0=guess, rtol=1e-7, M=sparse.diags(1 / matrix.diagonal()), maxiter=20000)
    if failed:
        raise RuntimeError(f"conjugate gradients: {failed}")
    return np.asarray(found)


def _quarter_patch(d: float, deep_m: float, along: int = 20, round_: int = 24) -> tuple[Any, Any]:
    """Points (x, y) and weights over a quarter of where two equal cylinders overlap, as many on either side of its diagonal."""
    r, radial = np.polynomial.legendre.leggauss(along)
    share, radial = (r + 1) / 2, radial / 2
    angle = (np.arange(round_) + 0.5) / round_ * math.pi / 2
    reach = np.array([_rim(d / 2, deep_m, a) for a in angle])
    lengths = np.outer(share, reach)
    points = np.array([(lengths * np.cos(angle)).ravel(), (lengths * np.sin(angle)).ravel()])
    return points, (np.outer(share * radial, reach**2) * math.pi / 2 / round_).ravel()


def _rim(radius: float, deep_m: float, angle: float) -> float:
    """Distance from the middle at which the surfaces of both cylinders cross, by bisection."""
    low, high = 0.0, math.sqrt(2) * radius
    for _ in range(60):
        middle = (low + high) / 2
        x, y = middle * math.cos(angle), middle * math.sin(angle)
        over = math.sqrt(max(radius**2 - x * x, 0)) + math.sqrt(max(radius**2 - y * y, 0)) - (2 * radius - deep_m)
        low, high = (middle, high) if over > 0 else (low, middle)
    return low
