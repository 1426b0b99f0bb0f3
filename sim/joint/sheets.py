"""The mesh of two or three sheets between two electrodes, with rotational symmetry, and its contact faces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sim.joint.field import Links, Mesh, Numbers
from sim.joint.metals import METALS, Array, Metal, Properties

COOLANT_C = 20.0  # temperature of the electrodes' far ends
_CROWDED = 0.9  # grading of the cells towards an end: 0 is even, 1 is a cosine


@dataclass(frozen=True)
class SheetStack:
    """Sheets between two equal electrodes. Lengths are in m."""

    sheets_m: tuple[float, ...]
    """Thickness of each sheet, the lowest first."""
    metal: Metal
    electrode: Metal
    face_m: float
    """Diameter of the electrode's face."""
    faying_m: float
    """Greatest diameter of the faying surface."""
    body_m: float = 0.0127
    """Diameter of the electrode's body."""
    slope: float = 1.0
    """Radius over height of the cone from the face to the body."""
    copper_m: float = 0.010
    """Length of the electrode that is modelled."""
    dome_m: float = math.inf
    """Radius of a domed face; infinite for a flat one."""

    @property
    def metals(self) -> tuple[Metal, Metal]:
        """The metals of work and electrode."""
        return self.metal, self.electrode


@dataclass(frozen=True, eq=False)
class SheetMesh:
    """The mesh of a stack."""

    stack: SheetStack
    mesh: Mesh
    metal: Properties
    radius_m: Array
    """Edges of the cells along the radius."""
    height_m: Array
    """Edges of the rows of cells, from the lower electrode up; 0 is the bottom of the lowest sheet."""
    number: Numbers
    """Number of the cell at each row and radius; -1 for none."""
    faying: tuple[slice, ...]
    """The mesh's faces at each faying surface, the lowest first."""
    tips: tuple[slice, slice]
    """The mesh's faces between sheet and electrode, lower and upper."""
    sheet: Numbers
    """The sheet of each row of cells, by index; -1 for an electrode."""


def graded(edges: list[float], first_m: float, end_m: float, growth: float = 1.25) -> list[float]:
    """The edges, continued to `end_m`. Each step is longer than the one before; the first is at most about `first_m`."""
    start, far, step = edges[-1], [0.0], first_m
    if end_m <= start * (1 + 1e-9):
        return edges
    while far[-1] < end_m - start:
        far.append(far[-1] + step)
        step *= growth
    shrunk = (end_m - start) / far[-1]
    return edges + [start + shrunk * each for each in far[1:]]


def crowded(start_m: float, end_m: float, count: int, at_start: bool = True) -> list[float]:
    """Edges from start to end, denser at the end and, if `at_start`, at the start as well."""
    even = np.linspace(0, 1, count + 1)
    share = (1 - np.cos(math.pi * even)) / 2 if at_start else np.sin(math.pi / 2 * even)
    share = _CROWDED * share + (1 - _CROWDED) * even
    return [float(start_m + (end_m - start_m) * each) for each in share]


def _even(end_m: float, count: int) -> list[float]:
    return [end_m * k / count for k in range(count + 1)]


def sheet_mesh(stack: SheetStack, across: int = 16, through: int = 12) -> SheetMesh:
    """The mesh, with `across` cells to the radius of the contacts and `through` cells to the thinnest sheet."""
    face, touch = stack.face_m / 2, stack.faying_m / 2
    # Cells are thin at the rims of face and faying surface, where the current density is high, and at every surface.
    inner, outer = min(face, touch), max(face, touch)
    step = inner / across
    # Under a dome these rims move, so the cells are equal.
    radius = crowded(0, inner, across, at_start=False) if math.isinf(stack.dome_m) else _even(inner, across)
    if outer > inner * 1.001:
        radius += crowded(inner, outer, max(4, round(1.5 * (outer - inner) / step)))[1:]
    finest = radius[-1] - radius[-2]
    radius = graded(radius, finest, max(2.5 * outer, touch + 4 * max(stack.sheets_m)), 1.35)
    r = np.array(radius)
    thin = min(stack.sheets_m)
    layers = [through if thick < 1.3 * thin else round(1.3 * through) for thick in stack.sheets_m]
    piled = [crowded(0, thick, n) for thick, n in zip(stack.sheets_m, layers, strict=True)]
    below, above = (graded([0.0], pile[1] - pile[0], stack.copper_m, 1.35) for pile in (piled[0], piled[-1]))
    heights = [-edge for edge in reversed(below)]
    owners = [-1] * (len(below) - 1)
    for index, pile in enumerate(piled):
        base = heights[-1]
        heights += [base + edge for edge in pile[1:]]
        owners += [index] * (len(pile) - 1)
    top = heights[-1]
    heights += [top + edge for edge in above[1:]]
    owners += [-1] * (len(above) - 1)
    z, sheet = np.array(heights), np.array(owners)
    nr, nz = len(r) - 1, len(z) - 1

    # The share of each ring that is metal. An electrode has the width of its cone at the row's middle height.
    middle = (z[:-1] + z[1:]) / 2
    away = np.where(middle < 0, -middle, middle - top)
    wide = np.where(sheet >= 0, np.inf, np.minimum(face + stack.slope * np.maximum(away, 0), stack.body_m / 2))
    rim = np.minimum(r[None, 1:], np.maximum(wide[:, None], r[None, :-1]))
    plane = math.pi * (rim**2 - r[:-1] ** 2)
    there = plane > 0.02 * math.pi * (r[1:] ** 2 - r[:-1] ** 2)
    number = np.full((nz, nr), -1, dtype=np.int64)
    number[there] = np.arange(int(there.sum()))
    dz = np.diff(z)
    volume = (plane * dz[:, None])[there]

    links = Links()
    centre = (r[:-1] + r[1:]) / 2
    one, two = number[:, :-1], number[:, 1:]
    met = (one >= 0) & (two >= 0)
    area = np.broadcast_to(2 * math.pi * r[1:-1] * dz[:, None], met.shape)
    near = np.broadcast_to(r[1:-1] - centre[:-1], met.shape)
    far = np.broadcast_to(centre[1:] - r[1:-1], met.shape)
    links.faces(one[met], two[met], near[met], far[met], area[met])
    faying, tips = [], []
    for k, (under, over) in enumerate(pairwise(sheet.tolist())):
        shared = np.minimum(plane[k], plane[k + 1])
        if under == over:
            reach = math.inf
        elif under >= 0 and over >= 0:
            reach = touch
        else:
            reach = face
        if reach < math.inf:
            shared = math.pi * np.clip(np.minimum(r[1:], reach) ** 2 - r[:-1] ** 2, 0, None)
        met = (number[k] >= 0) & (number[k + 1] >= 0) & (shared > 0)
        full = np.ones(int(met.sum()))
        made = links.faces(number[k][met], number[k + 1][met], dz[k] / 2 * full, dz[k + 1] / 2 * full, shared[met])
        if under >= 0 and over >= 0 and under != over:
            faying.append(made)
        elif under != over:
            tips.append(made)
    for row, volt in ((0, 0.0), (nz - 1, 1.0)):
        met = number[row] >= 0
        links.held(number[row][met], np.full(int(met.sum()), dz[row] / 2), plane[row][met], volt, COOLANT_C)
    which = np.broadcast_to(np.where(sheet >= 0, 0, 1)[:, None], number.shape)[there]
    return SheetMesh(
        stack,
        links.mesh(volume),
        Properties(stack.metals, which),
        r,
        z,
        number,
        tuple(faying),
        (tips[0], tips[1]),
        sheet,
    )


def electrode_metal(alloy: str) -> Metal:
    """The metal of an electrode alloy, by its name in the welder file. Raises KeyError for another name."""
    return {"Cu-ETP": METALS["copper"], "CuCr1": METALS["CuCr1"], "CuCr1Zr": METALS["CuCr1Zr"]}[alloy]
