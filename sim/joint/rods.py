"""Two crossed rods that sink into each other, or a rod into a flat bar: the mesh of one quarter, remade as they sink.

Each rod has a plane of symmetry through the crossing. The lower lies along x, the upper along y; they meet in the plane z = 0.
A rod is a cylinder; its surface cuts the cells. A setdown s shortens each rod by half of s at the crossing. The displaced metal
fills the gap around the patch, the narrowest part first (`filled_m`); at a small setdown this doubles the patch. From about a
fifth of the diameter the gap is full, and the rods grow wider at the crossing instead (`widened`), which spreads force and
current. Beyond the crossing a rod keeps its section.

A flat bar takes the upper rod's place and keeps its shape; the rod loses all of s. The displaced metal fills the gap on both
sides of the line of contact. From about a tenth of the diameter the gap is full, and the rod grows wider.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.joint.field import Links, Mesh, Numbers
from sim.joint.metals import Array, Metal, Properties
from sim.joint.sheets import COOLANT_C, crowded, graded

_LEAST_SHARE = 0.03  # a cell with a smaller share of metal is left out
_FILLING = 96  # points across a quarter of the crossing, over which the gap is filled
_FINE = 32  # slices of a cell for its cut by the surface
DEEPEST = 0.8  # greatest setdown that the mesh can follow, share of the thinner rod
_FINS = 6.0  # modelled length of a rod beyond the crossing, in diameters: farther than heat travels in a weld


@dataclass(frozen=True)
class RodCross:
    """Two crossed rods, or a rod on a flat bar, between electrodes. The first is the lower one. Lengths are in m."""

    rods_m: tuple[float, float]
    """Diameters of the rods; the second is the thickness of a flat bar."""
    metal: Metal
    electrode: Metal
    strip: tuple[float, float]
    """Half of the width over which each electrode touches its rod, over the rod's diameter."""
    along_m: tuple[float, float]
    """Length over which each electrode touches its rod."""
    flat_m: float | None = None
    """Width of the flat bar; None for two rods."""

    @property
    def thin_m(self) -> float:
        """Diameter of the thinner rod; with a flat bar that of the rod."""
        return min(self.rods_m) if self.flat_m is None else self.rods_m[0]

    @property
    def length_m(self) -> float:
        """Length of the contact of rod and flat bar, along the rod. The force spreads at 45 degrees through the rod."""
        return min(self.flat_m or 0.0, self.along_m[0] + self.rods_m[0])

    @property
    def lowers(self) -> tuple[float, float]:
        """The share of the setdown by which each part becomes lower at the crossing."""
        return (0.5, 0.5) if self.flat_m is None else (1.0, 0.0)

    def deep_m(self, setdown_m: float) -> float:
        """Overlap depth of the undeformed shapes over the patch, displaced metal included."""
        if self.flat_m is None:
            return filled_m(self.rods_m, setdown_m)
        return float(np.interp(setdown_m, *_filling_flat(self.rods_m[0])))

    def half_widths(self, setdown_m: float) -> tuple[float, float]:
        """Half of the patch along x and along y, before the rods grow wider."""
        if self.flat_m is None:
            return half_widths(self.rods_m, setdown_m)
        radius, deep_m = self.rods_m[0] / 2, self.deep_m(setdown_m)
        return self.length_m / 2, math.sqrt(max(0.0, radius**2 - max(0.0, radius - deep_m) ** 2))

    def wider(self, setdown_m: float) -> tuple[float, float]:
        """Growth of the crossing along x and along y, as factors on its width."""
        if self.flat_m is None:
            times = widened(self.rods_m, setdown_m)
            return times, times
        share = min(setdown_m, DEEPEST * self.rods_m[0]) / self.rods_m[0]
        return 1.0, max(1.0, math.pi / 4 / max(math.pi / 8 + 0.5 - share, 0.05))

    def patch_m2(self, setdown_m: float) -> float:
        """Area of the whole patch, through which force and current pass."""
        if self.flat_m is None:
            return overlap_m2(self.rods_m, setdown_m)
        half_x, half_y = self.half_widths(setdown_m)
        return 4 * half_x * half_y * self.wider(setdown_m)[1]

    def reach_m(self, setdown_m: float, x: Array) -> Array:
        """Half of the patch's width at a distance x along the lower rod."""
        if self.flat_m is None:
            return _reach(self.rods_m, setdown_m, x)
        half_x, half_y = self.half_widths(setdown_m)
        return np.where(x < half_x, half_y, 0.0)


@dataclass(frozen=True, eq=False)
class RodMesh:
    """The mesh of a quarter of the crossing, at one setdown."""

    cross: RodCross
    setdown_m: float
    mesh: Mesh
    metal: Properties
    boxes: tuple[Numbers, Numbers]
    """Numbers of the cells of both rods, along, across and up; -1 for none."""
    edges: tuple[tuple[Array, Array, Array], tuple[Array, Array, Array]]
    """Edges of the cells of both rods, along, across and up."""
    patch: slice
    """The faces between the rods."""
    strips: tuple[slice, slice]
    """The held cells under the lower and the upper electrode."""
    patch_m2: float
    """Area of the whole patch."""
    halves_m: tuple[float, float]
    """Half of the width of each strip, which grows with its rod's width."""


@lru_cache(maxsize=64)
def _filling(first_m: float, second_m: float) -> tuple[Array, Array]:
    """Setdowns, and the overlap depth of cylinders with the same patch as the filled one.

    u is the rise of both surfaces from their first contact. The metal displaced by a setdown s, where u is below s, fills the
    adjacent gap u - s up to the rise at which the mean of u is s.
    """
    share = (np.arange(_FILLING) + 0.5) / _FILLING
    low, high = (d / 2 * (1 - np.sqrt(1 - share**2)) for d in (first_m, second_m))
    rise = np.sort((low[:, None] + high).ravel())
    mean = np.cumsum(rise) / np.arange(1, len(rise) + 1)
    return np.concatenate([[0.0], mean]), np.concatenate([[0.0], rise[:-1], [(first_m + second_m) / 2]])


@lru_cache(maxsize=64)
def _filling_flat(rod_m: float) -> tuple[Array, Array]:
    """Setdowns and overlap depths of a rod on a flat bar, for one width of the bar."""
    share = (np.arange(4 * _FILLING) + 0.5) / (4 * _FILLING)
    rise = rod_m / 2 * (1 - np.sqrt(1 - share**2))
    mean = np.cumsum(rise) / np.arange(1, len(rise) + 1)
    return np.concatenate([[0.0], mean]), np.concatenate([[0.0], rise[:-1], [rod_m / 2]])


def filled_m(rods_m: tuple[float, float], setdown_m: float) -> float:
    """The overlap depth of two cylinders with the same patch as this setdown, displaced metal included."""
    return float(np.interp(setdown_m, *_filling(*rods_m)))


def half_widths(rods_m: tuple[float, float], setdown_m: float) -> tuple[float, float]:
    """Half of the patch along x and along y, filled gap included, before the rods grow wider.

    Along x the upper rod's surface rises from the lower one's crest, and along y the lower rod's falls.
    """
    deep_m, (first, second) = filled_m(rods_m, setdown_m), (d / 2 for d in rods_m)
    along_x = math.sqrt(max(0.0, second**2 - max(0.0, second - deep_m) ** 2))
    along_y = math.sqrt(max(0.0, first**2 - max(0.0, first - deep_m) ** 2))
    return along_x, along_y


def widened(rods_m: tuple[float, float], setdown_m: float) -> float:
    """The factor by which both rods are wider at the crossing, once the gap is filled.

    It follows from their volume: a section of pi d^2 / 4 becomes half an ellipse towards the electrode and a rectangle
    towards the other rod. No metal flows along the rods, where the cold metal holds it.
    """
    share = min(setdown_m, DEEPEST * min(rods_m)) / sum(rods_m)
    return max(1.0, math.pi / 4 / (math.pi / 8 + 0.5 - share))


@lru_cache(maxsize=64)
def overlap_m2(rods_m: tuple[float, float], setdown_m: float, points: int = 200) -> float:
    """Area of the whole patch, seen along the force, filled gap included. Force and current pass through it."""
    half_x = half_widths(rods_m, setdown_m)[0]
    if half_x == 0:
        return 0.0
    x = (np.arange(points) + 0.5) / points * half_x
    area = float(4 * _reach(rods_m, setdown_m, x).sum() * half_x / points)
    return area * widened(rods_m, setdown_m) ** 2


def _reach(rods_m: tuple[float, float], setdown_m: float, x: Array) -> Array:
    """Half of the patch's width at a distance x along the lower rod."""
    deep_m, (first, second) = filled_m(rods_m, setdown_m), (d / 2 for d in rods_m)
    over = second - np.sqrt(np.maximum(second**2 - x**2, 0))
    left = np.minimum(np.maximum(deep_m - over, 0), first)
    return np.where(x < second, np.sqrt(first**2 - (first - left) ** 2), 0.0)


def rod_mesh(cross: RodCross, setdown_m: float, cells: int = 6) -> RodMesh:
    """The mesh, with `cells` cells to a radius of the thinner rod. The numbering changes with the setdown, the boxes do not."""
    first, second = cross.rods_m
    step = cross.thin_m / 2 / cells
    half_x, half_y = cross.half_widths(setdown_m)
    strips = [strip * d for strip, d in zip(cross.strip, cross.rods_m, strict=True)]
    long = [length / 2 for length in cross.along_m]
    # Along x lie the lower rod's length and the upper one's width: the rims of the upper strip and of the lower's end are edges.
    ends = [second / 2] if cross.flat_m is None else [half_x, cross.flat_m / 2]
    x = _grid(step, [strips[1], *ends, long[0]], max(_FINS * first, ends[-1]))
    y = _grid(step, [strips[0], first / 2, long[1]], _FINS * max(second, 0.5 * first))
    shared = _patch(cross, setdown_m, x, y)
    wide_x, wide_y = cross.wider(setdown_m)
    if wide_y > 1:
        shared = shared * wide_x * wide_y
        x, y = x + (wide_x - 1) * np.minimum(x, second / 2), y + (wide_y - 1) * np.minimum(y, first / 2)
    deep_m = cross.deep_m(setdown_m)
    lowers = [2 * share * setdown_m for share in cross.lowers]
    over: _Section | _FlatSection = _Section(second, lowers[1], deep_m, half_x, wide_x, strips[1])
    if cross.flat_m is not None:
        over = _FlatSection(second, cross.flat_m)
    end_m = half_x if cross.flat_m is not None else wide_x * second / 2
    lower = _Rod.made(x, y, _Section(first, lowers[0], deep_m, half_y, wide_y, strips[0]), end_m, step)
    upper = _Rod.made(y, x, over, wide_y * first / 2, step)
    below = int((lower.number >= 0).sum())
    links = Links()
    lower.join(links, 0)
    upper.join(links, below)
    # Lower: the last layer is at the patch; upper: its layers count from its electrode as well.
    under, above = lower.number[:, :, -1], upper.number[:, :, -1].T
    nx, ny = min(under.shape[0], above.shape[0]), min(under.shape[1], above.shape[1])
    under, above, shared = under[:nx, :ny], above[:nx, :ny], shared[:nx, :ny]
    met = (shared > 0) & (under >= 0) & (above >= 0)
    full = np.ones(int(met.sum()))
    tops = lower.up[-1] - lower.up[-2], upper.up[-1] - upper.up[-2]
    patch = links.faces(under[met], above[met] + below, tops[0] / 2 * full, tops[1] / 2 * full, shared[met])
    held, halves = [], (strips[0] * wide_y, strips[1] * wide_x)
    for rod, start, volt, half, wide in ((lower, 0, 0.0, long[0], halves[0]), (upper, below, 1.0, long[1], halves[1])):
        area = np.outer(_within(rod.along, half), _within(rod.across, wide))
        first_layer = rod.number[:, :, 0]
        here = (area > 0) & (first_layer >= 0)
        depth = np.full(int(here.sum()), (rod.up[1] - rod.up[0]) / 2)
        held.append(links.held(first_layer[here] + start, depth, area[here], volt, COOLANT_C))
    mesh = links.mesh(np.concatenate([lower.volume, upper.volume]))
    boxes = lower.number, np.where(upper.number >= 0, upper.number + below, -1)
    edges = (lower.along, lower.across, lower.up), (upper.along, upper.across, upper.up)
    metal = Properties((cross.metal,), np.zeros(mesh.cells, dtype=np.int64))
    patch_m2 = 4 * float(shared[met].sum())
    return RodMesh(cross, setdown_m, mesh, metal, boxes, edges, patch, (held[0], held[1]), patch_m2, halves)


def mapped(old: RodMesh, new: RodMesh, values: Array, shares: tuple[Array, Array]) -> Array:
    """The old mesh's cell values on the new mesh, which has sunk further.

    At the crossing each layer grows thinner by its share of the setdown (`shares`, by rod). So the metal pressed aside is the
    metal that yielded, and colder metal follows. Cells newly filled take the values of their neighbours towards the middle.
    """
    found = np.empty(new.mesh.cells)
    reach, wide = new.cross.half_widths(new.setdown_m), new.cross.wider(new.setdown_m)
    deeper = [share * (new.setdown_m - old.setdown_m) for share in new.cross.lowers]
    each = zip(old.boxes, new.boxes, old.edges, new.edges, shares, reach, wide, deeper, strict=True)
    for was, now, before, after, share, half_m, wider, lower_m in each:
        box = np.where(was >= 0, values[np.maximum(was, 0)], np.nan)
        for across in range(1, box.shape[1]):
            gap = np.isnan(box[:, across])
            box[:, across][gap] = box[:, across - 1][gap]
        thick = np.maximum(np.diff(before[2]) - lower_m * share, 1e-9)
        edges = before[2][0] + np.concatenate([[0.0], np.cumsum(thick)])
        moved = _interpolated(_middles(edges), _middles(after[2]))
        if wider > 1:  # the other rod grew wider: along this rod the metal stays in place
            box = np.tensordot(_interpolated(_middles(before[0]), _middles(after[0])), box, axes=1)
        crossing = after[0][1:] <= max(half_m * wider, after[0][1]) * 1.001
        box[crossing] = box[crossing] @ moved.T
        there = now >= 0
        found[now[there]] = box[there]
    return found


def _middles(edges: Array) -> Array:
    return np.asarray((edges[1:] + edges[:-1]) / 2)


def _interpolated(old: Array, new: Array) -> Array:
    """The matrix of linear interpolation from the rising points `old` to `new`, constant beyond the ends."""
    place = np.clip(np.searchsorted(old, new) - 1, 0, len(old) - 2)
    part = np.clip((new - old[place]) / (old[place + 1] - old[place]), 0, 1)
    matrix = np.zeros((len(new), len(old)))
    rows = np.arange(len(new))
    matrix[rows, place] += 1 - part
    matrix[rows, place + 1] += part
    return matrix


def _grid(step_m: float, marks_m: list[float], end_m: float) -> Array:
    """Edges about `step_m` apart up to the last mark, with an edge at each mark, and growing steps beyond."""
    edges = [0.0]
    for mark in sorted(marks_m):
        span = mark - edges[-1]
        if span > 0.3 * step_m:
            count = max(1, round(span / step_m))
            edges += [edges[-1] + span * k / count for k in range(1, count + 1)]
    return np.array(graded(edges, step_m, end_m))


def _within(edges: Array, end_m: float) -> Array:
    """The length of each cell before `end_m`."""
    return np.clip(np.minimum(edges[1:], end_m) - edges[:-1], 0, None)


def _patch(cross: RodCross, setdown_m: float, x: Array, y: Array) -> Array:
    """The area of each cell of the plane within a quarter of the patch."""
    fine = x[:-1, None] + (np.arange(_FINE) + 0.5) / _FINE * np.diff(x)[:, None]
    reach = cross.reach_m(setdown_m, fine)
    inside = np.clip(np.minimum(y[1:], reach[:, :, None]) - y[:-1], 0, None)
    return np.asarray(inside.mean(axis=1) * np.diff(x)[:, None])


@dataclass(frozen=True)
class _Section:
    """A rod's section at the crossing: a circle, filled out to the patch by displaced metal."""

    diameter_m: float
    setdown_m: float
    deep_m: float
    """Depth below the crest from which on it is filled out."""
    flank_m: float
    """Half of the patch's width."""
    wider: float
    """Growth of the width, as a factor."""
    strip_m: float
    """Half of the width over which the electrode touches it."""

    def chord_m(self, height: Array) -> Array:
        """Half of the section's width at a height above the axis."""
        radius = self.diameter_m / 2
        round_ = np.sqrt(np.clip(radius**2 - height**2, 0, None))
        filled = height > radius - self.deep_m
        return self.wider * np.where(filled, np.maximum(round_, self.flank_m), round_)

    @property
    def ends_m(self) -> tuple[float, float]:
        """Heights of its electrode and of the patch above its axis."""
        radius = self.diameter_m / 2
        return -math.sqrt(radius**2 - self.strip_m**2), radius - self.setdown_m / 2

    @property
    def crest_m(self) -> float:
        """Height of its crest above its axis, without setdown."""
        return self.diameter_m / 2

    @property
    def half_m(self) -> float:
        """Half of its width."""
        return self.wider * self.diameter_m / 2

    @property
    def whole_m2(self) -> float:
        """Half of its section, away from the crossing."""
        return math.pi * self.diameter_m**2 / 8


@dataclass(frozen=True)
class _FlatSection:
    """The section of a flat bar."""

    thick_m: float
    wide_m: float

    def chord_m(self, height: Array) -> Array:
        return np.full_like(height, self.wide_m / 2)

    @property
    def ends_m(self) -> tuple[float, float]:
        return -self.thick_m / 2, self.thick_m / 2

    @property
    def crest_m(self) -> float:
        return self.thick_m / 2

    @property
    def half_m(self) -> float:
        return self.wide_m / 2

    @property
    def whole_m2(self) -> float:
        return self.thick_m * self.wide_m / 2


@dataclass(frozen=True, eq=False)
class _Rod:
    """A quarter of a rod: half of its length and width. `up`: heights above its axis, from its electrode to the patch."""

    number: Numbers
    volume: Array
    along: Array
    across: Array
    up: Array
    section: Array
    high: Array
    wide: Array
    ends: Array

    @classmethod
    def made(cls, along: Array, across: Array, section: _Section | _FlatSection, reach_m: float, step_m: float) -> _Rod:
        """Make the cells of a rod or bar. `reach_m`: the extent of the crossing along it."""
        bottom, top = section.ends_m
        layers = max(6, round((section.crest_m - bottom) / step_m))
        up = np.array(crowded(bottom, top, layers))
        across = across[: int(np.searchsorted(across, section.half_m * (1 - 1e-9))) + 1]
        dy = np.diff(across)
        fine = up[:-1, None] + (np.arange(_FINE) + 0.5) / _FINE * np.diff(up)[:, None]
        chord = section.chord_m(fine)
        inside = np.clip(np.minimum(across[1:, None, None], chord) - across[:-1, None, None], 0, None)
        area = inside.mean(axis=2) * np.diff(up)
        there = area > _LEAST_SHARE * dy[:, None] * np.diff(up)
        area = np.where(there, area, 0.0)
        number = np.full((len(along) - 1, *area.shape), -1, dtype=np.int64)
        number[:, there] = np.arange((len(along) - 1) * int(there.sum())).reshape(len(along) - 1, -1)
        # Beyond the crossing the rod has its original section.
        whole = section.whole_m2 / float(area.sum())
        share = np.clip((along[1:] - reach_m) / np.diff(along), 0, 1)
        ends = 1 + share * (whole - 1)
        volume = (np.diff(along) * ends)[:, None] * area[there]
        # The rod's height at each edge across, and its width at each edge up.
        high = (chord > across[1:-1, None, None]).mean(axis=2) * np.diff(up)
        return cls(number, volume.ravel(), along, across, up, area, high, section.chord_m(up[1:-1]), ends)

    def join(self, links: Links, start: int) -> None:
        dx, dy, dz = np.diff(self.along), np.diff(self.across), np.diff(self.up)
        number = np.where(self.number >= 0, self.number + start, -1)
        share = np.minimum(self.ends[1:], self.ends[:-1])
        lengthwise = share[:, None, None] * np.broadcast_to(self.section, (len(dx) - 1, *self.section.shape))
        _link(links, number, 0, dx, lengthwise)
        _link(links, number, 1, dy, (dx * self.ends)[:, None, None] * self.high)
        plane = np.clip(np.minimum(self.across[1:, None], self.wide) - self.across[:-1, None], 0, None)
        _link(links, number, 2, dz, (dx * self.ends)[:, None, None] * plane)


def _link(links: Links, number: Numbers, axis: int, steps: Array, area: Array) -> None:
    """Join neighbours along an axis over faces of `area`."""
    one, two = np.moveaxis(number, axis, 0)[:-1], np.moveaxis(number, axis, 0)[1:]
    face = np.moveaxis(area, axis, 0)
    face = np.broadcast_to(face, one.shape)
    shape = (-1, 1, 1)
    near = np.broadcast_to((steps[:-1] / 2).reshape(shape), one.shape)
    far = np.broadcast_to((steps[1:] / 2).reshape(shape), one.shape)
    met = (one >= 0) & (two >= 0) & (face > 0)
    links.faces(one[met], two[met], near[met], far[met], face[met])
