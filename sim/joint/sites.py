"""A joint under force at one instant: its mesh, its contacts and its deformation. `sim.joint.weld` steps it through time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from gen.roots import root
from sim.joint.contact import (
    Contacts,
    Melt,
    cold_area_m2,
    contact_values,
    indentation_radius_m,
    limited_by_melting,
    melt_force_N,
)
from sim.joint.field import FieldContact, FieldWarmth, Mesh, no_contact
from sim.joint.metals import Array, Properties
from sim.joint.rods import DEEPEST, RodCross, RodMesh, mapped, rod_mesh
from sim.joint.sheets import SheetMesh, SheetStack, sheet_mesh

_HALVINGS = 40
_APART = 1e-6  # conductance outside the contact, over that inside it
# The rods' mesh is rebuilt after this growth of the patch (rod on a flat bar) or this setdown over the thinner rod's diameter.
_WIDENED = 1.08
_REMADE = 0.004


@dataclass(frozen=True)
class SiteMeasures:
    """The measures of a joint at one instant."""

    joint_C: float
    """Mean temperature of the faying surface."""
    core_C: float
    """Greatest temperature of the faying surface."""
    tip_C: float
    """Greatest temperature under an electrode."""
    setdown_m: float
    """Setdown of rods; indentation of sheets, both electrodes together."""
    nugget_m: float
    """Nugget diameter."""
    contact_m: float
    """Diameter of the faying surface."""
    melt_force_N: float = 0.0
    """The force by which the melt separates the parts, see `sim.joint.contact.melt_force_N`."""


class Site(Protocol):
    """A joint at one instant."""

    @property
    def mesh(self) -> Mesh: ...
    @property
    def metal(self) -> Properties: ...

    @property
    def share(self) -> float:
        """The part of the joint that the mesh covers; a quarter of crossed rods."""
        ...

    def contact(self, at_C: Array, amperes: float) -> FieldContact:
        """The contacts at these temperatures and this current through the joint."""
        ...

    def measured(self, at_C: Array) -> SiteMeasures: ...

    def deformed(self, warmth: FieldWarmth, step_s: float) -> tuple[Site, FieldWarmth]:
        """The joint after a time step of deformation under its force."""
        ...


@dataclass(frozen=True, eq=False)
class SheetSite:
    """Sheets under force."""

    made: SheetMesh
    contacts: Contacts
    force_N: float
    indent_m: float = math.inf
    """Radius of a dome's indentation under the force alone; infinite for a flat face."""
    sunk_m: float = 0.0
    """Indentation by flow of the hot metal, both electrodes together."""

    @classmethod
    def begun(cls, stack: SheetStack, contacts: Contacts, force_N: float, across: int, through: int) -> SheetSite:
        indent_m = indentation_radius_m(force_N, stack.dome_m, stack.metals)
        return cls(sheet_mesh(stack, across, through), contacts, force_N, indent_m)

    @property
    def mesh(self) -> Mesh:
        return self.made.mesh

    @property
    def metal(self) -> Properties:
        return self.made.metal

    @property
    def share(self) -> float:
        return 1.0

    @property
    def electrode_contact_m(self) -> float:
        """Diameter of the contact of electrode and sheet."""
        return self._electrode_contact_m(self.sunk_m)

    @property
    def faying_m(self) -> float:
        """Diameter of the faying surface. It exceeds the electrode's contact by as much as under a flat face."""
        return self.made.stack.faying_m - self.made.stack.face_m + self.electrode_contact_m

    def _electrode_contact_m(self, sunk_m: float) -> float:
        """The diameter at an indentation `sunk_m`. Under a dome of radius R its radius a has a^2 = indent_m^2 + R sunk_m."""
        stack = self.made.stack
        if math.isinf(stack.dome_m):
            return stack.face_m
        return min(stack.face_m, 2 * math.sqrt(self.indent_m**2 + stack.dome_m * sunk_m))

    def _within(self, part: slice, wide_m: float) -> Array:
        """The share of each ring of a contact within a diameter."""
        area, r = self.mesh.face_m2[part], self.made.radius_m[: part.stop - part.start + 1]
        inside = math.pi * (np.clip(np.minimum(r[1:], wide_m / 2), r[:-1], None) ** 2 - r[:-1] ** 2)
        return np.clip(inside / area, _APART, 1.0)

    def contact(self, at_C: Array, amperes: float) -> FieldContact:
        mesh, stack = self.mesh, self.made.stack
        ohm, heat, held_ohm, held_heat = no_contact(mesh)
        each = self.metal.resistivity_ohm_m(at_C)
        places = [(part, self.faying_m, 1.0, False) for part in self.made.faying]
        places += [(part, self.electrode_contact_m, self.contacts.tip_share, True) for part in self.made.tips]
        for part, wide_m, film, copper in places:
            one, two = mesh.left[part], mesh.right[part]
            middle = (at_C[one] + at_C[two]) / 2
            hardness = stack.metal.hardness_Pa(middle)
            if copper:
                hardness = np.minimum(hardness, stack.electrode.hardness_Pa(middle))
            pressure = self.force_N / (math.pi / 4 * wide_m**2)
            alone, heat[part] = contact_values(
                self.contacts, middle, (each[one] + each[two]) / 2, hardness, pressure, film
            )
            melting = min(metal.melting_degC for metal in (stack.metals if copper else stack.metals[:1]))
            here = self._within(part, wide_m)
            ohm[part] = limited_by_melting(alone, here * mesh.face_m2[part], amperes, middle, melting) / here
            heat[part] *= here
        return FieldContact(ohm, heat, held_ohm, held_heat)

    def measured(self, at_C: Array) -> SiteMeasures:
        mesh, made = self.mesh, self.made
        hottest = joint = nugget = lifts = 0.0
        for part in made.faying:
            sides = mesh.left[part], mesh.right[part]
            rows = [int(np.flatnonzero((made.number == cells[0]).any(axis=1))[0]) for cells in sides]
            at = np.maximum(*(np.where(made.number[row] >= 0, at_C[made.number[row]], 0.0) for row in rows))
            weights = self._within(part, self.faying_m) * mesh.face_m2[part]
            mean = float(np.average((at_C[mesh.left[part]] + at_C[mesh.right[part]]) / 2, weights=weights))
            joint, hottest = max(joint, mean), max(hottest, float(at.max()))
            melted = self._melted_m(at)
            nugget = max(nugget, melted)
            shut = Melt(made.radius_m, at, melted / 2, self.faying_m / 2)
            lifts = max(lifts, melt_force_N(shut, made.stack.metal))
        tips = [float(at_C[np.concatenate([mesh.left[part], mesh.right[part]])].max()) for part in made.tips]
        return SiteMeasures(joint, hottest, max(tips), self.sunk_m, nugget, self.faying_m, lifts)

    def _melted_m(self, at_C: Array) -> float:
        """Diameter of the part of a contact above the melting temperature, interpolated linearly between cells."""
        melts = self.made.stack.metal.melting_degC
        radius = (self.made.radius_m[1:] + self.made.radius_m[:-1]) / 2
        over = np.flatnonzero(at_C > melts)
        if len(over) == 0:
            return 0.0
        k = int(over[-1])
        if k + 1 >= len(at_C):
            return 2 * float(self.made.radius_m[k + 1])
        part = (at_C[k] - melts) / (at_C[k] - at_C[k + 1])
        return 2 * float(radius[k] + part * (radius[k + 1] - radius[k]))

    def deformed(self, warmth: FieldWarmth, step_s: float) -> tuple[SheetSite, FieldWarmth]:
        """The sheets after one step, thinner under the electrodes. The mesh is unchanged.

        A dome's indentation grows as the metal round it softens. It does not shrink.
        """
        made, stack = self.made, self.made.stack
        column = warmth.at_C[made.number[made.sheet >= 0]]
        flow_MPa = self._flow_stress_MPa(column)
        most = 0.5 * sum(stack.sheets_m)
        if math.isinf(self.indent_m):
            sunk_m = min(self.sunk_m + step_s * self._speed_m_s(self.sunk_m, flow_MPa), most)
            return replace(self, sunk_m=sunk_m), warmth
        outer_C = float(column[0, 0] + column[-1, 0]) / 2
        indent_m = max(self.indent_m, indentation_radius_m(self.force_N, stack.dome_m, stack.metals, outer_C))
        # An implicit step: the contact widens with the indentation.
        now, low, high = replace(self, indent_m=indent_m), self.sunk_m, most
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            deeper = self.sunk_m + step_s * now._speed_m_s(middle, flow_MPa) > middle
            low, high = (middle, high) if deeper else (low, middle)
        return replace(now, sunk_m=low), warmth

    def _flow_stress_MPa(self, column: Array) -> Array:
        """Mean flow stress of each layer under an electrode at 1 /s, over its solid rings; infinite if all is molten.

        Melt is enclosed by its ring, so it is not squeezed out.
        """
        r, metal = self.made.radius_m, self.made.stack.metal
        rings = np.clip(np.minimum(r[1:], self.electrode_contact_m / 2), r[:-1], None) ** 2 - r[:-1] ** 2
        solid = np.where(column < metal.solidus_degC, rings, 0.0)
        whole = solid.sum(axis=1)
        mean = (solid * metal.flow.stress_MPa(column, 1.0)).sum(axis=1) / np.maximum(whole, 1e-30)
        return np.where(whole > 0, mean, np.inf)

    def _speed_m_s(self, sunk_m: float, flow_MPa: Array) -> float:
        """The speed at which the stack becomes thinner, the sum over its layers.

        The load spreads at 45 degrees up to the face. A flat disc between rough plates carries 1 + d / (3 sqrt 3 h) times its
        flow stress (Siebel, from memory). The strain rate follows the power of the metal's flow law.
        """
        made, stack = self.made, self.made.stack
        edges = np.concatenate([made.height_m[:-1][made.sheet >= 0], [sum(stack.sheets_m)]])
        deep, wide = (edges[1:] + edges[:-1]) / 2, self._electrode_contact_m(sunk_m)
        half = np.minimum(wide / 2 + np.minimum(deep, edges[-1] - deep), stack.face_m / 2)
        hill = 1 + wide / (3 * math.sqrt(3) * float(edges[-1]))
        stress = self.force_N / (math.pi * half**2) / self.contacts.constraint / hill / 1e6
        rates = np.minimum((stress / flow_MPa) ** stack.metal.flow.power, 50.0)
        return float((rates * np.diff(edges)).sum())


@dataclass(frozen=True, eq=False)
class RodSite:
    """Crossed rods, or a rod on a flat bar, under force."""

    made: RodMesh
    contacts: Contacts
    force_N: float
    sunk_m: float
    """Setdown. The mesh follows it in steps."""
    cells: int
    """Cells of the mesh to a radius of the thinner rod."""

    @classmethod
    def begun(cls, cross: RodCross, contacts: Contacts, force_N: float, cells: int) -> RodSite:
        wanted = cold_area_m2(cross.metal, force_N)
        low, high = 0.0, DEEPEST * cross.thin_m
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if cross.patch_m2(middle) < wanted else (low, middle)
        return cls(rod_mesh(cross, high, cells), contacts, force_N, high, cells)

    @property
    def mesh(self) -> Mesh:
        return self.made.mesh

    @property
    def metal(self) -> Properties:
        return self.made.metal

    @property
    def share(self) -> float:
        return 0.25

    def contact(self, at_C: Array, amperes: float) -> FieldContact:
        mesh, cross = self.mesh, self.made.cross
        ohm, heat, held_ohm, held_heat = no_contact(mesh)
        each = self.metal.resistivity_ohm_m(at_C)
        part = self.made.patch
        one, two = mesh.left[part], mesh.right[part]
        middle = (at_C[one] + at_C[two]) / 2
        pressure = self.force_N / self.made.patch_m2
        ohm[part], heat[part] = contact_values(
            self.contacts, middle, (each[one] + each[two]) / 2, cross.metal.hardness_Pa(middle), pressure
        )
        own = amperes * self.share
        ohm[part] = limited_by_melting(ohm[part], mesh.face_m2[part], own, middle, cross.metal.melting_degC)
        for strip, half, along in zip(self.made.strips, self.made.halves_m, cross.along_m, strict=True):
            cells, copper = mesh.held[strip], cross.electrode
            hardness = np.minimum(cross.metal.hardness_Pa(at_C[cells]), copper.hardness_Pa(at_C[cells]))
            film = contact_values(
                self.contacts,
                at_C[cells],
                each[cells],
                hardness,
                self.force_N / (2 * half * along),
                self.contacts.tip_share,
            )
            melting = min(cross.metal.melting_degC, copper.melting_degC)
            film_ohm = limited_by_melting(film[0], mesh.held_m2[strip], own, at_C[cells], melting)
            # The spreading resistance of a long strip on a half-space, the copper: ln(4 length / width) / (pi length).
            spreads = 2 * half * math.log(4 * along / (2 * half)) / math.pi
            cold = 4  # index of 20 degC in the tables
            held_ohm[strip] = film_ohm + spreads * copper.resistivity[cold]
            held_heat[strip] = 1 / (1 / film[1] + spreads / copper.conductivity[cold])
        return FieldContact(ohm, heat, held_ohm, held_heat)

    def measured(self, at_C: Array) -> SiteMeasures:
        mesh, part = self.mesh, self.made.patch
        middle = (at_C[mesh.left[part]] + at_C[mesh.right[part]]) / 2
        mean = float(np.average(middle, weights=mesh.face_m2[part]))
        tip = max(float(at_C[mesh.held[strip]].max()) for strip in self.made.strips)
        wide = 2 * math.sqrt(self.made.patch_m2 / math.pi)
        metal, hottest_first = self.made.cross.metal, np.argsort(-middle)
        edges = np.sqrt(np.concatenate([[0.0], 4 / math.pi * np.cumsum(mesh.face_m2[part][hottest_first])]))
        melted = float(edges[int((middle > metal.melting_degC).sum())])
        lifts = melt_force_N(Melt(edges, middle[hottest_first], melted, float(edges[-1])), metal)
        return SiteMeasures(mean, float(middle.max()), tip, self.sunk_m, 2 * melted, wide, lifts)

    def deformed(self, warmth: FieldWarmth, step_s: float) -> tuple[RodSite, FieldWarmth]:
        """The rods after one step. The step is implicit, since the patch widens with the setdown."""
        warmth = self._melt_spread(warmth)
        cross, layers = self.made.cross, self._layers(warmth.at_C)
        sunk_m = self._sunk_after(step_s, layers)
        sunk = replace(self, sunk_m=sunk_m)
        if cross.flat_m is None:
            small = sunk_m - self.made.setdown_m < _REMADE * cross.thin_m
        else:  # a contact along a line widens far more than it sinks
            small = cross.patch_m2(sunk_m) < _WIDENED * self.made.patch_m2
        if small:
            return sunk, warmth
        made = rod_mesh(cross, sunk_m, self.cells)
        at_C = mapped(self.made, made, warmth.at_C, self._shares(sunk_m, layers))
        return replace(sunk, made=made), FieldWarmth(made.metal.enthalpy_J_m3(at_C), at_C)

    def _sunk_after(self, step_s: float, layers: list[tuple[Array, Array, Array]]) -> float:
        """The setdown at the end of a step whose speed is that of its end. The deeper, the slower."""

        def deeper_m(end_m: float) -> float:
            return self.sunk_m + step_s * self._speed_m_s(end_m, layers) - end_m

        deepest = min(self.sunk_m + deeper_m(self.sunk_m), DEEPEST * self.made.cross.thin_m)
        if deepest <= self.sunk_m or deeper_m(deepest) >= 0:
            return max(deepest, self.sunk_m)
        return root(deeper_m, self.sunk_m, deepest)

    def _melt_spread(self, warmth: FieldWarmth) -> FieldWarmth:
        """The heat above melting, spread evenly over the patch, as melt between the rods is pressed aside over all of it.

        Without this a cell that is small against the patch would boil.
        """
        mesh, part, metal = self.mesh, self.made.patch, self.made.cross.metal
        cells = np.concatenate([mesh.left[part], mesh.right[part]])
        full = float(np.interp(metal.liquidus_degC, metal.grid_C, metal.enthalpy_J_m3))
        there, volume = warmth.enthalpy_J_m3[cells], mesh.volume_m3[cells]
        over = np.clip(there - full, 0, None)
        if not over.any():
            return warmth
        enthalpy = warmth.enthalpy_J_m3.copy()
        enthalpy[cells] = there - over + float((over * volume).sum() / volume.sum())
        return FieldWarmth(enthalpy, self.metal.temperature_C(enthalpy))

    def _layers(self, at_C: Array) -> list[tuple[Array, Array, Array]]:
        """For each rod the depth below the patch, the thickness and the mean temperature of its layers within the patch."""
        found = []
        half_x, half_y = self._halves_m(self.made.setdown_m)
        sides = ((half_x, half_y), (half_y, half_x))
        for number, (along, across, up), (far, wide) in zip(self.made.boxes, self.made.edges, sides, strict=True):
            weights = np.outer(_within(along, far), _within(across, wide))[:, : number.shape[1]]
            there = number >= 0
            box = np.where(there, at_C[np.maximum(number, 0)], 0.0)
            weight = there * weights[:, :, None]
            total = np.maximum(weight.sum(axis=(0, 1)), 1e-30)
            mean = (box * weight).sum(axis=(0, 1)) / total
            found.append((up[-1] - (up[1:] + up[:-1]) / 2, np.diff(up), mean))
        return found

    def _halves_m(self, sunk_m: float) -> tuple[float, float]:
        """Half of the patch along x and y. For crossed rods a disc of equal area is taken, for a rod on a bar the strip."""
        cross = self.made.cross
        if cross.flat_m is None:
            half = math.sqrt(cross.patch_m2(sunk_m) / math.pi)
            return half, half
        (half_x, half_y), (wide_x, wide_y) = cross.half_widths(sunk_m), cross.wider(sunk_m)
        return half_x * wide_x, half_y * wide_y

    def _speed_m_s(self, sunk_m: float, layers: list[tuple[Array, Array, Array]]) -> float:
        """The speed of setdown at this setdown."""
        return float(sum(each.sum() for each in self._speeds_m_s(sunk_m, layers)))

    def _shares(self, sunk_m: float, layers: list[tuple[Array, Array, Array]]) -> tuple[Array, Array]:
        """The share of each layer in the setdown of its rod."""
        lower, upper = (each / max(float(each.sum()), 1e-30) for each in self._speeds_m_s(sunk_m, layers))
        return lower, upper

    def _speeds_m_s(self, sunk_m: float, layers: list[tuple[Array, Array, Array]]) -> tuple[Array, ...]:
        """The speed at which each layer of both rods becomes thinner. The load spreads at 45 degrees."""
        area, flow = self.made.cross.patch_m2(sunk_m), self.made.cross.metal.flow
        half_x, half_y = self._halves_m(sunk_m)
        found = []
        for deep, thick, mean in layers:
            stress = self.force_N / (area * (1 + deep / half_x) * (1 + deep / half_y)) / self.contacts.constraint / 1e6
            found.append(np.minimum(flow.rate_per_s(mean, stress), 1e4) * thick)
        return tuple(found)


def _within(edges: Array, end_m: float) -> Array:
    return np.clip(np.minimum(edges[1:], end_m) - edges[:-1], 0, None)
