"""Conduction in two crossed low-carbon rods between copper electrodes: three-dimensional, transient, by finite volumes.

The outside check of gen/handbook/rods.py, with which it shares nothing. A quarter of the pair is solved (both rods have their
own plane of symmetry through the crossing). The rods are cylinders, cut flat where they touch each other and the electrodes;
cells that the cylinder cuts count with the part of their volume and faces that lies inside. The touching patch is an ellipse of
constant size; the electrodes are at 20 degC and of one potential over a strip. Currents are RMS, the ripple of the mains is not
followed. Left out: growth of the patch, resistance of the contacts, melting heat, radiation. The ends of the rods are insulated.

Calibrated on one figure: the ratio of the patch to the rods, so that 5 mm rods take the table's time at the table's current.
Joined: the mean temperature of the patch is `JOINED_C`. SI units; temperatures in degC.

Properties, from memory: low-carbon steel of 0.06 to 0.08 % carbon in the British Iron and Steel Research Association's
*Physical Constants of Some Commercial Steels at Elevated Temperatures* (1953), as the metals handbooks print it; the heat of
the transformation is in the heat capacity at 750 degC.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.float64]
Numbers = NDArray[np.int64]

COLD_C = 20.0
JOINED_C = 1200.0
DENSITY_KG_M3 = 7860.0
_AT_C = [0, 100, 200, 300, 400, 500, 600, 700, 750, 800, 900, 1000, 1100, 1200, 1300, 1500]
_RESISTIVITY = [13.2, 19.0, 26.3, 35.2, 45.8, 58.4, 73.4, 90.5, 100, 108.1, 113.0, 116.5, 119.3, 122.0, 124.4, 128]
_CONDUCTIVITY = [59.5, 57.8, 53.2, 49.4, 45.6, 41.0, 36.8, 33.1, 30.5, 28.5, 27.6, 27.6, 28.5, 29.7, 30.5, 32]
_HEAT_AT_C = [0, 75, 175, 275, 375, 475, 575, 675, 725, 775, 875, 1000, 1500]
_HEAT = [460, 482, 523, 557, 599, 662, 749, 846, 1432, 950, 735, 650, 690]


def resistivity_ohm_m(at_C: Array) -> Array:
    """Of low-carbon steel."""
    return 1e-8 * np.interp(at_C, _AT_C, _RESISTIVITY)


def conductivity_W_mK(at_C: Array) -> Array:
    """Thermal, of low-carbon steel."""
    return np.interp(at_C, _AT_C, _CONDUCTIVITY)


def heat_capacity_J_m3K(at_C: Array) -> Array:
    """Of low-carbon steel, with the heat of the transformation."""
    return DENSITY_KG_M3 * np.interp(at_C, _HEAT_AT_C, _HEAT)


@dataclass(frozen=True)
class Electrode:
    """Where an electrode touches its rod: half of the strip's width, and half of its length, in diameters of the rod."""

    half_width: float
    half_length: float


FLAT = Electrode(0.15, 0.5)  # a flat face on a round rod: a narrow strip
GROOVE = Electrode(0.25, 1.0)  # a groove of the rod's radius


@dataclass(frozen=True)
class _Rod:
    """Cells of a quarter of one rod, and the faces between them: cells on either side, half-distance over area to each."""

    numbers: Numbers  # along, across, up; -1 where the rod is not
    volume: Array
    left: Numbers
    right: Numbers
    left_length: Array
    right_length: Array


def graded(even_m: float, step_m: float, end_m: float) -> Array:
    """Edges of cells: even up to `even_m`, then each a quarter longer than the last, beyond `end_m`."""
    edges = list(np.linspace(0, even_m, max(2, round(even_m / step_m)) + 1))
    step = edges[1]
    while edges[-1] < end_m:
        step *= 1.25
        edges.append(edges[-1] + step)
    return np.array(edges)


def _rod(along: Array, across: Array, up: Array, radius_m: float, axis_m: float) -> _Rod:
    """A rod along the first axis, its own axis at the height `axis_m`."""
    dx, dy, dz = (np.diff(edges) for edges in (along, across, up))
    fine = up[:-1, None] + (np.arange(32) + 0.5) / 32 * dz[:, None]
    chord = np.sqrt(np.clip(radius_m**2 - (fine - axis_m) ** 2, 0, None))
    inside = np.clip(np.minimum(across[1:, None, None], chord) - across[:-1, None, None], 0, None)
    section = inside.mean(axis=2) * dz
    shape = (len(dx), len(dy), len(dz))
    there = np.broadcast_to(section > 0.03 * dy[:, None] * dz, shape)
    numbers = np.full(shape, -1, dtype=np.int64)
    numbers[there] = np.arange(there.sum())
    half_y = np.sqrt(np.clip(radius_m**2 - across[1:-1] ** 2, 0, None))[:, None]
    high = np.minimum(up[1:], axis_m + half_y) - np.maximum(up[:-1], axis_m - half_y)
    half_z = np.sqrt(np.clip(radius_m**2 - (up[1:-1] - axis_m) ** 2, 0, None))
    wide = np.minimum(across[1:, None], half_z) - across[:-1, None]
    areas = (
        np.broadcast_to(section, shape)[1:],
        np.broadcast_to(dx[:, None, None] * np.clip(high, 0, None), (shape[0], shape[1] - 1, shape[2])),
        np.broadcast_to(dx[:, None, None] * np.clip(wide, 0, None), (shape[0], shape[1], shape[2] - 1)),
    )
    steps = (dx[:, None, None], dy[None, :, None], dz[None, None, :])
    found: list[tuple[Numbers, Numbers, Array, Array]] = []
    for axis, (area, step) in enumerate(zip(areas, steps, strict=True)):
        half = np.broadcast_to(step / 2, shape)
        ends = [slice(None, -1), slice(1, None)]
        one, two = (np.moveaxis(numbers, axis, 0)[end] for end in ends)
        near, far = (np.moveaxis(half, axis, 0)[end] for end in ends)
        face = np.moveaxis(area, axis, 0)
        met = (one >= 0) & (two >= 0) & (face > 0)
        found.append((one[met], two[met], near[met] / face[met], far[met] / face[met]))
    left, right, near, far = (np.concatenate(part) for part in zip(*found, strict=True))
    volume = np.broadcast_to(dx[:, None, None] * section, shape)[there]
    return _Rod(numbers, volume, left, right, near, far)


class CrossedRods:
    """A quarter of two crossed rods on its grid. The thinner or first rod lies below, along x; the other along y.

    `patch`: semi-axis of the touching ellipse over the diameter, for equal rods. Unlike rods are pressed together as far as
    equal rods of the smaller diameter: setdown goes by the thinner, and semi-axes by the root of diameter times setdown.
    `cells`: to a radius of the thinner rod.
    """

    def __init__(
        self, first_m: float, second_m: float, patch: float, electrode: Electrode = FLAT, cells: int = 6
    ) -> None:
        thin = min(first_m, second_m)
        step, radii = thin / 2 / cells, (first_m / 2, second_m / 2)
        # Pressed in by setdown s, a cylinder of diameter d touches over a half-chord of sqrt(d s): along the other rod's axis.
        half_y, half_x = (patch * math.sqrt(d * thin) for d in (first_m, second_m))
        strips = [electrode.half_width * d for d in (first_m, second_m)]
        long = [electrode.half_length * d for d in (first_m, second_m)]
        x = graded(max(radii[1], long[0]), step, 8 * first_m)
        y = graded(max(radii[0], long[1]), step, 8 * second_m)
        to_axis = [math.sqrt(r * r - half * half) for r, half in zip(radii, (half_y, half_x), strict=True)]
        heights = [a + math.sqrt(r * r - w * w) for a, r, w in zip(to_axis, radii, strips, strict=True)]
        z = [np.linspace(0, height, max(4, round(height / step)) + 1) for height in heights]
        lower = _rod(x, y, z[0] - heights[0], radii[0], -to_axis[0])
        upper = _rod(y, x, z[1], radii[1], to_axis[1])
        below = len(lower.volume)
        self.volume = np.concatenate([lower.volume, upper.volume])
        patch_area = _ellipse(x, y, half_x, half_y)
        under, over = lower.numbers[:, :, -1], upper.numbers.transpose(1, 0, 2)[:, :, 0]
        met = (patch_area > 0) & (under >= 0) & (over >= 0)
        self._patch = under[met], over[met] + below, patch_area[met]
        self.left = np.concatenate([lower.left, upper.left + below, self._patch[0]])
        self.right = np.concatenate([lower.right, upper.right + below, self._patch[1]])
        tops = [edges[1] / 2 for edges in z]
        self.left_length = np.concatenate([lower.left_length, upper.left_length, tops[0] / self._patch[2]])
        self.right_length = np.concatenate([lower.right_length, upper.right_length, tops[1] / self._patch[2]])
        ends = [
            _strip(lower.numbers[:, :, 0], x, y, long[0], strips[0], tops[0]),
            _strip(upper.numbers[:, :, -1], y, x, long[1], strips[1], tops[1]),
        ]
        self._held = np.concatenate([ends[0][0], ends[1][0] + below])
        self._held_length = np.concatenate([ends[0][1], ends[1][1]])
        self._held_V = np.concatenate([np.zeros(len(ends[0][0])), np.ones(len(ends[1][0]))])
        faces, cells_in_all = np.arange(len(self.left)), len(self.volume)
        signs = np.concatenate([np.ones(len(faces)), -np.ones(len(faces))])
        places = np.concatenate([faces, faces]), np.concatenate([self.left, self.right])
        self._across = sparse.csr_matrix((signs, places), shape=(len(faces), cells_in_all))
        self._back = self._across.T.tocsr()

    def patch_C(self, at_C: Array) -> float:
        """Mean temperature of the touching patch."""
        under, over, area = self._patch
        return float(np.average((at_C[under] + at_C[over]) / 2, weights=area))

    def _conducting(self, each: Array) -> tuple[Array, Array, sparse.csr_matrix]:
        """Conductance of the faces and of the electrodes' strips, and the matrix of both, for a conductivity of each cell."""
        faces = 1 / (self.left_length / each[self.left] + self.right_length / each[self.right])
        held = each[self._held] / self._held_length
        to_held = np.bincount(self._held, held, len(each))
        return faces, held, self._back @ sparse.diags(faces) @ self._across + sparse.diags(to_held)

    def _heated(self, at_C: Array, guess_V: Array | None) -> tuple[Array, Array]:
        """Potential of each cell at 1 V between the electrodes, and its heat (W) at 1 A through a quarter."""
        each = 1 / resistivity_ohm_m(at_C)
        faces, held, matrix = self._conducting(each)
        volts = _solved(matrix, np.bincount(self._held, held * self._held_V, len(each)), guess_V)
        watts = faces * (self._across @ volts) ** 2
        first, second = self.left_length / each[self.left], self.right_length / each[self.right]
        share = first / (first + second)
        over = self._held_V - volts[self._held]
        heat = np.bincount(self.left, watts * share, len(each)) + np.bincount(
            self.right, watts * (1 - share), len(each)
        )
        heat += np.bincount(self._held, held * over**2, len(each))
        amperes = float((held * over)[self._held_V == 1].sum())
        return volts, heat / amperes**2

    def cold_ohm(self) -> float:
        """Resistance of both rods at 20 degC between their electrodes, of a quarter."""
        _, heat = self._heated(np.full(len(self.volume), COLD_C), None)
        return float(heat.sum())

    def joined_s(self, current_A: float, longest_s: float, at_C: float = JOINED_C, step_C: float = 40.0) -> float:
        """Time until the patch's mean is `at_C`; infinite where it is not within `longest_s`.

        Implicit steps in time, each about `step_C` of the patch, with the properties at their beginning.
        """
        now = np.full(len(self.volume), COLD_C)
        volts: Array | None = None
        time_s, step_s, patch = 0.0, 1e-4, COLD_C
        while time_s < longest_s:
            volts, heat = self._heated(now, volts)
            _, held, matrix = self._conducting(conductivity_W_mK(now))
            storing = heat_capacity_J_m3K(now) * self.volume / step_s
            given = storing * now + heat * (current_A / 4) ** 2
            given += COLD_C * np.bincount(self._held, held, len(now))
            now = _solved(matrix + sparse.diags(storing), given, now)
            time_s, before, patch = time_s + step_s, patch, self.patch_C(now)
            if patch >= at_C:
                return time_s - (patch - at_C) / (patch - before) * step_s
            step_s = min(step_s * min(1.5, max(0.5, step_C / max(abs(patch - before), 1e-9))), longest_s / 20)
        return math.inf


@cache
def calibrated(
    diameter_m: float,
    current_A: float,
    weld_s: float,
    electrode: Electrode = FLAT,
    cells: int = 6,
    at_C: float = JOINED_C,
) -> float:
    """The patch with which equal rods are joined in `weld_s` at `current_A`, within 1 %."""

    def miss(patch: float) -> float:
        rods = CrossedRods(diameter_m, diameter_m, patch, electrode, cells)
        return math.log(rods.joined_s(current_A, 9 * weld_s, at_C) / weld_s)

    return secant(miss, 0.34, 0.345)


def secant(miss: Callable[[float], float], first: float, second: float, within: float = 0.01) -> float:
    """Where `miss` is nothing, `within` it, stepping at most 15 % at a time and never to a patch as wide as the rod."""
    before, after = miss(first), miss(second)
    while abs(after) > within:
        step = after * (second - first) / (after - before)
        first, second = second, min(0.495, max(0.85 * second, min(1.15 * second, second - step)))
        before, after = after, miss(second)
    return second


def _solved(matrix: sparse.csr_matrix, given: Array, guess: Array | None) -> Array:
    """By conjugate gradients, scaled by the diagonal (Hestenes and Stiefel): what is left over is a millionth of what is given.

    Written out, as SciPy's own takes most of its time between the products. Raises RuntimeError where they do not settle.
    """
    scale, least = 1 / matrix.diagonal(), 1e-6 * math.sqrt(given @ given)
    found = np.zeros(len(given)) if guess is None else guess.copy()
    left = given - matrix @ found
    direction, before = np.zeros(len(given)), 1.0
    for _ in range(5000):
        if math.sqrt(left @ left) <= least:
            return found
        scaled = scale * left
        now = float(left @ scaled)
        direction *= now / before
        direction += scaled
        moved = matrix @ direction
        step = now / float(direction @ moved)
        found += step * direction
        left -= step * moved
        before = now
    raise RuntimeError("conjugate gradients do not settle")


def _ellipse(x: Array, y: Array, half_x: float, half_y: float) -> Array:
    """Area of each cell of a plane that lies in a quarter of an ellipse."""
    fine = x[:-1, None] + (np.arange(16) + 0.5) / 16 * np.diff(x)[:, None]
    chord = half_y * np.sqrt(np.clip(1 - (fine / half_x) ** 2, 0, None))
    inside = np.clip(np.minimum(y[1:], chord[:, :, None]) - y[:-1], 0, None)
    return np.asarray(inside.mean(axis=1) * np.diff(x)[:, None])


def _strip(
    numbers: Numbers, along: Array, across: Array, long_m: float, wide_m: float, deep_m: float
) -> tuple[Numbers, Array]:
    """Cells under an electrode's strip, and depth over area of each."""
    area = np.outer(
        *(
            np.clip(np.minimum(edges[1:], end) - edges[:-1], 0, None)
            for edges, end in ((along, long_m), (across, wide_m))
        )
    )
    met = (area > 0) & (numbers >= 0)
    return numbers[met], deep_m / area[met]
