"""A joint under force: its mesh as it is now, its contacts, and how it gives way. What `sim.joint.weld` steps through time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from sim.joint.contact import Contacts, Melt, cold_area_m2, not_over_melting, pressed_radius_m, shut_in_N, touching
from sim.joint.field import FieldContact, FieldWarmth, Mesh, no_contact
from sim.joint.metals import Array, Properties
from sim.joint.rods import DEEPEST, RodCross, RodMesh, carried, rod_mesh
from sim.joint.sheets import SheetMesh, SheetStack, sheet_mesh

_HALVINGS = 40
_APART = 1e-6  # of the conductance of what touches, where nothing does
_WIDENED = 1.08  # of a rod on a flat bar: when the patch has grown by so much
_REMADE = 0.004  # the rods' mesh is remade when they have sunk by so much of the thinner one since it was made


@dataclass(frozen=True)
class SiteMeasures:
    """Of a joint at an instant: m and degC. `joint_C`: mean over what touches; `core_C`: its hottest place.

    `lifts_N`: what force it takes to hold the parts together against the melt between them, see `shut_in_N`.
    """

    joint_C: float
    core_C: float
    tip_C: float
    setdown_m: float
    nugget_m: float
    contact_m: float
    lifts_N: float = 0.0


class Site(Protocol):
    """A joint at one instant. `share`: of the joint that the mesh is (a quarter of crossed rods)."""

    @property
    def mesh(self) -> Mesh: ...
    @property
    def metal(self) -> Properties: ...
    @property
    def share(self) -> float: ...
    def contact(self, at_C: Array, amperes: float) -> FieldContact: ...
    def measured(self, at_C: Array) -> SiteMeasures: ...
    def given_way(self, warmth: FieldWarmth, step_s: float) -> tuple[Site, FieldWarmth]: ...


@dataclass(frozen=True, eq=False)
class SheetSite:
    """Sheets under force. `sunk_m`: both electrodes' marks together. `pressed_m`: radius that a dome's indentation has."""

    made: SheetMesh
    contacts: Contacts
    force_N: float
    pressed_m: float = math.inf
    sunk_m: float = 0.0

    @classmethod
    def begun(cls, stack: SheetStack, contacts: Contacts, force_N: float, across: int, through: int) -> SheetSite:
        pressed_m = pressed_radius_m(force_N, stack.dome_m, stack.metals)
        return cls(sheet_mesh(stack, across, through), contacts, force_N, pressed_m)

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
    def bears_m(self) -> float:
        """Diameter over which an electrode touches its sheet."""
        return self._bears_m(self.sunk_m)

    @property
    def touch_m(self) -> float:
        """Diameter over which the sheets touch: as much wider than the electrode's as that of a flat face."""
        return self.made.stack.touch_m - self.made.stack.face_m + self.bears_m

    def _bears_m(self, sunk_m: float) -> float:
        """A dome of radius R that sinks by h touches over a radius more: a^2 = (what indentation gives)^2 + 2 R h."""
        stack = self.made.stack
        if math.isinf(stack.dome_m):
            return stack.face_m
        return min(stack.face_m, 2 * math.sqrt(self.pressed_m**2 + stack.dome_m * sunk_m))

    def _within(self, part: slice, wide_m: float) -> Array:
        """The share of each ring of a contact that lies within a diameter."""
        area, r = self.mesh.face_m2[part], self.made.radius_m[: part.stop - part.start + 1]
        inside = math.pi * (np.clip(np.minimum(r[1:], wide_m / 2), r[:-1], None) ** 2 - r[:-1] ** 2)
        return np.clip(inside / area, _APART, 1.0)

    def contact(self, at_C: Array, amperes: float) -> FieldContact:
        mesh, stack = self.mesh, self.made.stack
        ohm, heat, held_ohm, held_heat = no_contact(mesh)
        each = self.metal.resistivity_ohm_m(at_C)
        places = [(part, self.touch_m, 1.0, False) for part in self.made.faying]
        places += [(part, self.bears_m, self.contacts.tip_share, True) for part in self.made.tips]
        for part, wide_m, film, copper in places:
            one, two = mesh.left[part], mesh.right[part]
            middle = (at_C[one] + at_C[two]) / 2
            hardness = stack.metal.hardness_Pa(middle)
            if copper:
                hardness = np.minimum(hardness, stack.electrode.hardness_Pa(middle))
            pressure = self.force_N / (math.pi / 4 * wide_m**2)
            alone, heat[part] = touching(self.contacts, middle, (each[one] + each[two]) / 2, hardness, pressure, film)
            melting = min(metal.melting_degC for metal in (stack.metals if copper else stack.metals[:1]))
            here = self._within(part, wide_m)
            ohm[part] = not_over_melting(alone, here * mesh.face_m2[part], amperes, middle, melting) / here
            heat[part] *= here
        return FieldContact(ohm, heat, held_ohm, held_heat)

    def measured(self, at_C: Array) -> SiteMeasures:
        mesh, made = self.mesh, self.made
        hottest = joint = nugget = lifts = 0.0
        for part in made.faying:
            sides = mesh.left[part], mesh.right[part]
            rows = [int(np.flatnonzero((made.number == cells[0]).any(axis=1))[0]) for cells in sides]
            at = np.maximum(*(np.where(made.number[row] >= 0, at_C[made.number[row]], 0.0) for row in rows))
            weights = self._within(part, self.touch_m) * mesh.face_m2[part]
            mean = float(np.average((at_C[mesh.left[part]] + at_C[mesh.right[part]]) / 2, weights=weights))
            joint, hottest = max(joint, mean), max(hottest, float(at.max()))
            melted = self._melted_m(at)
            nugget = max(nugget, melted)
            shut = Melt(made.radius_m, at, melted / 2, self.touch_m / 2)
            lifts = max(lifts, shut_in_N(shut, made.stack.metal))
        tips = [float(at_C[np.concatenate([mesh.left[part], mesh.right[part]])].max()) for part in made.tips]
        return SiteMeasures(joint, hottest, max(tips), self.sunk_m, nugget, self.touch_m, lifts)

    def _melted_m(self, at_C: Array) -> float:
        """Diameter of what is above the middle of melting, along one contact from the axis out; between cells on a line."""
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

    def given_way(self, warmth: FieldWarmth, step_s: float) -> tuple[SheetSite, FieldWarmth]:
        """The sheets are squeezed under the electrodes, layer by layer; the mesh stays as it is.

        A dome's indentation grows as its surroundings grow softer, and does not shrink again.
        """
        made, stack = self.made, self.made.stack
        column = warmth.at_C[made.number[made.sheet >= 0]]
        bear_MPa = self._bear_MPa(column)
        most = 0.5 * sum(stack.sheets_m)
        if math.isinf(self.pressed_m):
            sunk_m = min(self.sunk_m + step_s * self._speed_m_s(self.sunk_m, bear_MPa), most)
            return replace(self, sunk_m=sunk_m), warmth
        outer_C = float(column[0, 0] + column[-1, 0]) / 2
        pressed_m = max(self.pressed_m, pressed_radius_m(self.force_N, stack.dome_m, stack.metals, outer_C))
        # Implicitly: the more it sinks, the wider it bears.
        now, low, high = replace(self, pressed_m=pressed_m), self.sunk_m, most
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            deeper = self.sunk_m + step_s * now._speed_m_s(middle, bear_MPa) > middle
            low, high = (middle, high) if deeper else (low, middle)
        return replace(now, sunk_m=low), warmth

    def _bear_MPa(self, column: Array) -> Array:
        """What each layer under an electrode bears at 1 /s, its solid rings side by side; infinite where all is molten.

        What melts is held by its ring and is not squeezed out.
        """
        r, metal = self.made.radius_m, self.made.stack.metal
        rings = np.clip(np.minimum(r[1:], self.bears_m / 2), r[:-1], None) ** 2 - r[:-1] ** 2
        solid = np.where(column < metal.solidus_degC, rings, 0.0)
        whole = solid.sum(axis=1)
        mean = (solid * metal.flow.stress_MPa(column, 1.0)).sum(axis=1) / np.maximum(whole, 1e-30)
        return np.where(whole > 0, mean, np.inf)

    def _speed_m_s(self, sunk_m: float, bear_MPa: Array) -> float:
        """How fast the pile grows thinner, each layer at its own rate.

        The load spreads at 45 degrees up to the face. A flat disc between rough plates bears 1 + d / (3 sqrt 3 h) times its
        flow stress (Siebel, from memory); the rate goes by the power of the metal's law.
        """
        made, stack = self.made, self.made.stack
        edges = np.concatenate([made.height_m[:-1][made.sheet >= 0], [sum(stack.sheets_m)]])
        deep, bears = (edges[1:] + edges[:-1]) / 2, self._bears_m(sunk_m)
        half = np.minimum(bears / 2 + np.minimum(deep, edges[-1] - deep), stack.face_m / 2)
        hill = 1 + bears / (3 * math.sqrt(3) * float(edges[-1]))
        stress = self.force_N / (math.pi * half**2) / self.contacts.constraint / hill / 1e6
        rates = np.minimum((stress / bear_MPa) ** stack.metal.flow.power, 50.0)
        return float((rates * np.diff(edges)).sum())


@dataclass(frozen=True, eq=False)
class RodSite:
    """Crossed rods under force. `sunk_m`: setdown till now, which the mesh follows in steps."""

    made: RodMesh
    contacts: Contacts
    force_N: float
    sunk_m: float
    cells: int

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
        ohm[part], heat[part] = touching(
            self.contacts, middle, (each[one] + each[two]) / 2, cross.metal.hardness_Pa(middle), pressure
        )
        own = amperes * self.share
        ohm[part] = not_over_melting(ohm[part], mesh.face_m2[part], own, middle, cross.metal.melting_degC)
        for strip, half, along in zip(self.made.strips, self.made.halves_m, cross.along_m, strict=True):
            cells, copper = mesh.held[strip], cross.electrode
            hardness = np.minimum(cross.metal.hardness_Pa(at_C[cells]), copper.hardness_Pa(at_C[cells]))
            film = touching(
                self.contacts,
                at_C[cells],
                each[cells],
                hardness,
                self.force_N / (2 * half * along),
                self.contacts.tip_share,
            )
            melting = min(cross.metal.melting_degC, copper.melting_degC)
            film_ohm = not_over_melting(film[0], mesh.held_m2[strip], own, at_C[cells], melting)
            # Into the copper the strip spreads as a long one on a half-space: ln(4 length / width) / (pi length).
            spreads = 2 * half * math.log(4 * along / (2 * half)) / math.pi
            cold = 4  # of the tables: 20 degC
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
        lifts = shut_in_N(Melt(edges, middle[hottest_first], melted, float(edges[-1])), metal)
        return SiteMeasures(mean, float(middle.max()), tip, self.sunk_m, 2 * melted, wide, lifts)

    def given_way(self, warmth: FieldWarmth, step_s: float) -> tuple[RodSite, FieldWarmth]:
        """They sink as far as the hot metal gives way in this step, implicitly: the more they sink, the wider they bear."""
        warmth = self._melt_spread(warmth)
        cross, layers = self.made.cross, self._layers(warmth.at_C)
        low, high = self.sunk_m, DEEPEST * cross.thin_m
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            deeper = self.sunk_m + step_s * self._speed_m_s(middle, layers) > middle
            low, high = (middle, high) if deeper else (low, middle)
        sunk = replace(self, sunk_m=low)
        if cross.flat_m is None:
            small = low - self.made.setdown_m < _REMADE * cross.thin_m
        else:  # a line widens far more than it sinks
            small = cross.patch_m2(low) < _WIDENED * self.made.patch_m2
        if small:
            return sunk, warmth
        made = rod_mesh(cross, low, self.cells)
        at_C = carried(self.made, made, warmth.at_C, self._shares(low, layers))
        return replace(sunk, made=made), FieldWarmth(made.metal.enthalpy_J_m3(at_C), at_C)

    def _melt_spread(self, warmth: FieldWarmth) -> FieldWarmth:
        """Melt between the rods is pressed aside over all that touches: what heat it has over melting is spread there.

        Without this one cell that is small beside the patch would boil.
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
        """Of each rod: depth below the patch, thickness and mean temperature of its layers, within the patch's width."""
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
        """Half of the patch along x and y: of crossed rods, of a disc as large; of a rod on a bar, of the strip."""
        cross = self.made.cross
        if cross.flat_m is None:
            half = math.sqrt(cross.patch_m2(sunk_m) / math.pi)
            return half, half
        (half_x, half_y), (wide_x, wide_y) = cross.half_widths(sunk_m), cross.wider(sunk_m)
        return half_x * wide_x, half_y * wide_y

    def _speed_m_s(self, sunk_m: float, layers: list[tuple[Array, Array, Array]]) -> float:
        """How fast they would sink there."""
        return float(sum(each.sum() for each in self._speeds_m_s(sunk_m, layers)))

    def _shares(self, sunk_m: float, layers: list[tuple[Array, Array, Array]]) -> tuple[Array, Array]:
        """Of each layer in how far its rod sinks."""
        lower, upper = (each / max(float(each.sum()), 1e-30) for each in self._speeds_m_s(sunk_m, layers))
        return lower, upper

    def _speeds_m_s(self, sunk_m: float, layers: list[tuple[Array, Array, Array]]) -> tuple[Array, ...]:
        """How fast each layer grows thinner: by its own rate, under a load that spreads at 45 degrees."""
        area, flow = self.made.cross.patch_m2(sunk_m), self.made.cross.metal.flow
        half_x, half_y = self._halves_m(sunk_m)
        found = []
        for deep, thick, mean in layers:
            stress = self.force_N / (area * (1 + deep / half_x) * (1 + deep / half_y)) / self.contacts.constraint / 1e6
            found.append(np.minimum(flow.rate_per_s(mean, stress), 1e4) * thick)
        return tuple(found)


def _within(edges: Array, end_m: float) -> Array:
    return np.clip(np.minimum(edges[1:], end_m) - edges[:-1], 0, None)
