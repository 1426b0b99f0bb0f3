"""Potential and heat on a mesh of cells by finite volumes. The cells' heat sums exactly to the circuit's power.

A `Mesh` holds cells, the faces between them and the cells held from outside, without their origin (sheets, rods). Heat is
stepped implicitly and then balanced by enthalpy, so heat supplied equals heat stored or lost, to rounding, also in melting.
SI units; temperatures in degC.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse  # type: ignore[import-untyped,unused-ignore]
from scipy.linalg import solveh_banded  # type: ignore[import-untyped,unused-ignore]

from sim.joint.metals import Array, Properties

Numbers = NDArray[np.int64]

_BANDED = 90  # a wider band is solved by conjugate gradients
_TIGHT = 1e-7  # relative tolerance of conjugate gradients
_MOST_ROUNDS = 5000
_SETTLED_K = 0.5  # a round that changes no cell by more is the last
_ROUNDS = 3  # rounds of a heat step: enough for the melting to settle


def _sums(cells: Numbers, values: Array, count: int) -> Array:
    """The sum of the values of each of `count` cells."""
    return np.bincount(cells, values, count).astype(np.float64)


class Diverged(ArithmeticError):
    """The field did not settle. No figure of it may be used."""


@dataclass(frozen=True, eq=False)
class Mesh:
    """Cells, the faces between them, and the cells held from outside."""

    volume_m3: Array
    """Volume of each cell."""
    left: Numbers
    """The cell on one side of each face."""
    right: Numbers
    """The cell on the other side of each face."""
    left_per_m: Array
    """Distance from the middle of the left cell to the face, over the face's area."""
    right_per_m: Array
    """Distance from the middle of the right cell to the face, over the face's area."""
    face_m2: Array
    """Area of each face."""
    held: Numbers
    """The cells held from outside."""
    held_per_m: Array
    """Distance from the middle of each held cell to its outer face, over the face's area."""
    held_m2: Array
    """Area of the outer face of each held cell."""
    held_V: Array
    """Outer potential of each held cell, 0 or 1."""
    held_C: Array
    """Outer temperature of each held cell."""

    @property
    def cells(self) -> int:
        return len(self.volume_m3)

    @cached_property
    def band(self) -> int:
        return int(np.abs(self.left - self.right).max())

    @cached_property
    def _banded_places(self) -> tuple[Numbers, Numbers]:
        low = np.minimum(self.left, self.right)
        return np.abs(self.left - self.right), low

    @cached_property
    def _sparse_pattern(self) -> tuple[sparse.csr_matrix, Numbers]:
        """A matrix of this mesh, and the index of each of its entries in (faces, faces, diagonal)."""
        n, diagonal = self.cells, np.arange(self.cells)
        rows = np.concatenate([self.left, self.right, diagonal])
        columns = np.concatenate([self.right, self.left, diagonal])
        pattern = sparse.csr_matrix((np.arange(1, len(rows) + 1, dtype=float), (rows, columns)), shape=(n, n))
        return pattern, pattern.data.astype(np.int64) - 1

    def solved(self, faces: Array, diagonal: Array, given: Array, guess: Array | None = None) -> Array:
        """The x for which `diagonal` x plus the flow out through faces of these conductances equals `given`."""
        n = self.cells
        whole = diagonal + _sums(self.left, faces, n) + _sums(self.right, faces, n)
        if self.band <= _BANDED:
            matrix = np.zeros((self.band + 1, n))
            matrix[0] = whole
            matrix[self._banded_places] = -faces
            try:
                return np.asarray(solveh_banded(matrix, given, lower=True, overwrite_ab=True, check_finite=False))
            except np.linalg.LinAlgError as error:
                raise Diverged(f"the field has no solution: {error}") from None
        pattern, order = self._sparse_pattern
        matrix = pattern.copy()
        matrix.data = np.concatenate([-faces, -faces, whole])[order]
        # Scaled to a unit diagonal. The loop is our own: SciPy's has ten times the overhead of the products.
        scale = 1 / np.sqrt(whole)
        matrix.data *= scale[matrix.indices] * np.repeat(scale, np.diff(matrix.indptr))
        return scale * _conjugate(matrix, given * scale, None if guess is None else guess / scale)


def _conjugate(matrix: sparse.csr_matrix, given: Array, guess: Array | None) -> Array:
    """Conjugate gradients (Hestenes and Stiefel 1952). Raises Diverged where they do not settle."""
    found = np.zeros_like(given) if guess is None else guess.copy()
    rest = given - matrix @ found
    toward, square = rest.copy(), float(rest @ rest)
    enough = _TIGHT**2 * float(given @ given)
    for _ in range(_MOST_ROUNDS):
        if square <= enough:
            return found
        product = matrix @ toward
        step = square / float(toward @ product)
        found += step * toward
        product *= step
        rest -= product
        before, square = square, float(rest @ rest)
        toward *= square / before
        toward += rest
    raise Diverged(f"conjugate gradients did not settle in {_MOST_ROUNDS} rounds")


class FieldContact(NamedTuple):
    """The contacts at all faces and held cells. Without a contact the resistance is 0 and the heat conductance infinite."""

    face_ohm_m2: Array
    """Resistance times area at each face."""
    face_W_m2K: Array
    """Heat conductance over area at each face."""
    held_ohm_m2: Array
    """Resistance times area at each held cell."""
    held_W_m2K: Array
    """Heat conductance over area at each held cell."""


def no_contact(mesh: Mesh) -> FieldContact:
    """Solid metal everywhere, without a contact."""
    faces, held = len(mesh.left), len(mesh.held)
    return FieldContact(np.zeros(faces), np.full(faces, np.inf), np.zeros(held), np.full(held, np.inf))


@dataclass(frozen=True, eq=False)
class CurrentField:
    """The current of a mesh between its held ends."""

    volts: Array
    """Potential of each cell, at 1 V between the ends."""
    ohm: float
    """Resistance between the ends."""
    cell_ohm: Array
    """Heat of each cell at 1 A, W."""
    held_ohm: float
    """Heat at 1 A that goes from the contacts at the held cells to the outside, W."""
    contact_ohm: float
    """Heat at 1 A of the contacts at faces, which is part of the cells' heat, W."""
    through: Array
    """Current through each face at 1 A, A."""


def current(mesh: Mesh, resistivity: Array, contact: FieldContact, guess: Array | None = None) -> CurrentField:
    """The current's field and its heat. Half of a contact's heat goes to either side."""
    n = mesh.cells
    near = mesh.left_per_m * resistivity[mesh.left]
    far = mesh.right_per_m * resistivity[mesh.right]
    film = contact.face_ohm_m2 / mesh.face_m2
    faces = 1 / (near + far + film)
    own, film_held = mesh.held_per_m * resistivity[mesh.held], contact.held_ohm_m2 / mesh.held_m2
    held = 1 / (own + film_held)
    diagonal = _sums(mesh.held, held, n)
    volts = mesh.solved(faces, diagonal, _sums(mesh.held, held * mesh.held_V, n), guess)
    through = faces * (volts[mesh.right] - volts[mesh.left])
    in_held = held * (mesh.held_V - volts[mesh.held])
    amperes = float(in_held[mesh.held_V > 0.5].sum())
    if not (np.isfinite(amperes) and amperes > 0):
        raise Diverged("no current flows from end to end")
    through, in_held = through / amperes, in_held / amperes
    squares, held_squares = through**2, in_held**2
    heat = _sums(mesh.left, squares * (near + film / 2), n)
    heat += _sums(mesh.right, squares * (far + film / 2), n)
    heat += _sums(mesh.held, held_squares * (own + film_held / 2), n)
    outside = float((held_squares * film_held / 2).sum())
    ohm = float(1 / amperes)
    return CurrentField(volts, ohm, heat, outside, float((squares * film).sum()), through)


@dataclass(frozen=True, eq=False)
class FieldWarmth:
    """Enthalpy per volume and temperature of each cell."""

    enthalpy_J_m3: Array
    at_C: Array


@dataclass(frozen=True, eq=False)
class FieldStep:
    """The result of a time step."""

    warmth: FieldWarmth
    lost_W: float
    """Heat flow to the held ends."""


def heated(
    mesh: Mesh,
    metal: Properties,
    warmth: FieldWarmth,
    watts: Array,
    step_s: float,
    contact: FieldContact,
    rounds: int = _ROUNDS,
) -> FieldStep:
    """One implicit heat step, with the conductivities at its beginning. `watts`: heat made in each cell."""
    n = mesh.cells
    each = metal.conductivity_W_mK(warmth.at_C)
    faces = 1 / (
        mesh.left_per_m / each[mesh.left]
        + mesh.right_per_m / each[mesh.right]
        + 1 / (contact.face_W_m2K * mesh.face_m2)
    )
    held = 1 / (mesh.held_per_m / each[mesh.held] + 1 / (contact.held_W_m2K * mesh.held_m2))
    to_held = _sums(mesh.held, held, n)
    from_held = _sums(mesh.held, held * mesh.held_C, n)
    before, now = warmth.enthalpy_J_m3, warmth.at_C
    rate = mesh.volume_m3 / step_s
    slope = metal.slope_J_m3K(now)
    tried = now
    for turn in range(rounds):
        storing = slope * rate
        enthalpy = metal.enthalpy_J_m3(tried)
        given = storing * tried - (enthalpy - before) * rate + watts + from_held
        found = mesh.solved(faces, storing + to_held, given, tried)
        moved = found - tried
        tried = found
        if turn < rounds - 1:
            if float(np.abs(moved).max()) < _SETTLED_K:
                break
            reached = metal.enthalpy_J_m3(found) - enthalpy
            slope = np.where(
                np.abs(moved) > 0.1, reached / np.where(np.abs(moved) > 0.1, moved, 1), metal.slope_J_m3K(found)
            )
            slope = np.maximum(slope, 1e5)
    flow = faces * (tried[mesh.right] - tried[mesh.left])
    out = held * (tried[mesh.held] - mesh.held_C)
    gained = watts + _sums(mesh.left, flow, n) - _sums(mesh.right, flow, n) - _sums(mesh.held, out, n)
    after = before + gained * step_s / mesh.volume_m3
    if not np.isfinite(after).all():
        raise Diverged("the temperatures did not settle")
    return FieldStep(FieldWarmth(after, metal.temperature_C(after)), float(out.sum()))


def even(metal: Properties, cells: int, at_C: float) -> FieldWarmth:
    """All cells at one temperature."""
    at = np.full(cells, at_C)
    return FieldWarmth(metal.enthalpy_J_m3(at), at)


class Links:
    """Builder of a mesh: collects faces and held cells."""

    def __init__(self) -> None:
        self._faces: list[tuple[Numbers, Numbers, Array, Array, Array]] = []
        self._held: list[tuple[Numbers, Array, Array, Array, Array]] = []

    def faces(self, left: Numbers, right: Numbers, left_m: Array, right_m: Array, area_m2: Array) -> slice:
        """Join cells through faces, from half-distances and areas. Returns the faces' indices in the mesh."""
        start = sum(len(part[0]) for part in self._faces)
        self._faces.append((left, right, left_m / area_m2, right_m / area_m2, area_m2))
        return slice(start, start + len(left))

    def held(self, cells: Numbers, half_m: Array, area_m2: Array, volt: float, at_C: float) -> slice:
        """Hold cells from outside. Returns their indices among the held cells."""
        start = sum(len(part[0]) for part in self._held)
        full = np.ones(len(cells))
        self._held.append((cells, half_m / area_m2, area_m2, volt * full, at_C * full))
        return slice(start, start + len(cells))

    def mesh(self, volume_m3: Array) -> Mesh:
        left, right, near, far, area = (np.concatenate(part) for part in zip(*self._faces, strict=True))
        cells, half, held_area, volts, at_C = (np.concatenate(part) for part in zip(*self._held, strict=True))
        return Mesh(volume_m3, left, right, near, far, area, cells, half, held_area, volts, at_C)
