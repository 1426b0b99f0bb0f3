"""A linear thermal network in its modes, where every step of constant power is exact, and the power of one weld."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LinearNetwork:
    """z' = -rates z + gains u; temperature = ambient + readout z + direct u. The state z is in modes, zero when cold.

    ValueError if the shapes do not match or a rate is not above 0.
    """

    rates_per_s: Array
    """Rates of the n modes, all above 0, so that there is an equilibrium."""
    gains: Array
    """n x inputs."""
    readout: Array
    """Outputs x n, in kelvins."""
    direct: Array
    """Outputs x inputs: the rise that follows its input at once (of a case without capacity, of half a layer)."""
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    ambient_degC: float

    def __post_init__(self) -> None:
        n, m, p = len(self.rates_per_s), len(self.inputs), len(self.outputs)
        shapes = (self.gains.shape, self.readout.shape, self.direct.shape)
        if shapes != ((n, m), (p, n), (p, m)):
            raise ValueError(f"{n} modes, {m} inputs and {p} outputs do not go with matrices of {shapes}")
        if not np.all(self.rates_per_s > 0):
            raise ValueError("heat cannot leave this network: every node needs a way to ambient")

    @property
    def cold(self) -> Array:
        """The state with everything at ambient."""
        return np.zeros(len(self.rates_per_s))

    @property
    def slowest_s(self) -> float:
        """The longest time constant."""
        return float(1 / np.min(self.rates_per_s))

    def row(self, output: str) -> int:
        """Index of an output. Raises ValueError where there is none of that name."""
        if output not in self.outputs:
            raise ValueError(f"no output {output!r}; there are {', '.join(self.outputs)}")
        return self.outputs.index(output)

    def steady(self, inputs: ArrayLike) -> Array:
        """The equilibrium under constant inputs."""
        return np.asarray(self.gains @ np.asarray(inputs, dtype=float) / self.rates_per_s)

    def step(self, state: Array, inputs: ArrayLike, dt_s: float) -> Array:
        """The state after `dt_s` of constant inputs, exact."""
        fall = np.expm1(-self.rates_per_s * dt_s)
        return np.asarray(state + fall * (state - self.steady(inputs)))

    def temperatures_degC(self, state: Array, inputs: ArrayLike) -> Array:
        """Every output, in the order of `outputs`."""
        return np.asarray(self.ambient_degC + self.readout @ state + self.direct @ np.asarray(inputs, dtype=float))


@dataclass(frozen=True, eq=False)
class NodeRow:
    """Nodes in a row. One conductance links each to the next, another to ambient."""

    capacities_J_per_K: ArrayLike
    links_W_per_K: ArrayLike
    """Conductance from each node to the next: one fewer than nodes."""
    to_ambient_W_per_K: ArrayLike


def row_network(
    row: NodeRow,
    inputs: Mapping[str, ArrayLike],
    outputs: Mapping[str, tuple[ArrayLike, ArrayLike]],
    ambient_degC: float,
) -> LinearNetwork:
    """The network of a row of nodes.

    `inputs`, by name: the watts that one unit puts into each node. `outputs`, by name: the weights of the nodes' rises, and
    the kelvins that one unit of each input adds at once.
    C x' = -G x + B u with G symmetric, so C^-1/2 G C^-1/2 has real eigenvalues and orthogonal vectors; in a row it is
    tridiagonal. For some sixty nodes NumPy's dense solver takes less time than importing SciPy's tridiagonal one.
    """
    capacity, links = np.asarray(row.capacities_J_per_K, dtype=float), np.asarray(row.links_W_per_K, dtype=float)
    shares = np.column_stack([np.asarray(share, dtype=float) for share in inputs.values()])
    readout = np.array([weights for weights, _ in outputs.values()], dtype=float)
    if not np.all(capacity > 0):
        raise ValueError("every node needs a capacity above 0 J/K")
    root = np.sqrt(capacity)
    out = np.asarray(row.to_ambient_W_per_K, dtype=float) + np.append(links, 0) + np.append(0, links)
    between = -links / (root[:-1] * root[1:])
    rates, vectors = np.linalg.eigh(np.diag(out / capacity) + np.diag(between, 1) + np.diag(between, -1))
    return LinearNetwork(
        rates_per_s=rates,
        gains=vectors.T @ (shares / root[:, None]),
        readout=(readout / root) @ vectors,
        direct=np.array([direct for _, direct in outputs.values()], dtype=float),
        inputs=tuple(inputs),
        outputs=tuple(outputs),
        ambient_degC=ambient_degC,
    )


_SAME_TIME_S = 1e-9  # far above the rounding of an hour in seconds, far below a slice of a half-cycle


@dataclass(frozen=True)
class Segment:
    """Constant inputs, in the order of the network's `inputs`, for `length_s` from `start_s` after the weld begins."""

    start_s: float
    length_s: float
    inputs: tuple[float, ...]

    @property
    def end_s(self) -> float:
        return self.start_s + self.length_s


@dataclass(frozen=True)
class PowerProfile:
    """One weld as segments in order of time. ValueError if they overlap or a figure is not finite."""

    segments: tuple[Segment, ...]

    def __post_init__(self) -> None:
        if not self.segments:
            raise ValueError("a weld needs at least one segment; for no power at all give one of 0 W")
        before_s = 0.0
        for s in self.segments:
            if not (s.length_s > 0 and all(map(math.isfinite, (s.start_s, s.length_s, *s.inputs)))):
                raise ValueError(f"a segment needs a length above 0 s and finite figures: {s}")
            if s.start_s < before_s - _SAME_TIME_S or s.end_s <= before_s:
                raise ValueError(f"the segment at {s.start_s:g} s begins before the last one ends, at {before_s:g} s")
            if len(s.inputs) != len(self.segments[0].inputs):
                raise ValueError("all segments need the same number of inputs")
            before_s = s.end_s

    @classmethod
    def of(cls, pulses: Iterable[tuple[float, float, float]]) -> PowerProfile:
        """From (start_s, length_s, power_W), for a network with one input."""
        return cls(tuple(Segment(start, length, (power,)) for start, length, power in pulses))

    @property
    def end_s(self) -> float:
        return self.segments[-1].end_s

    @cached_property
    def intervals(self) -> tuple[Array, Array]:
        """(k + 1 times from 0 to the end, the inputs between them: k x inputs), pauses included."""
        times, inputs = [0.0], []
        nothing = (0.0,) * len(self.segments[0].inputs)
        for s in self.segments:
            if s.start_s > times[-1] + _SAME_TIME_S:
                times.append(s.start_s)
                inputs.append(nothing)
            times.append(s.end_s)
            inputs.append(s.inputs)
        return np.array(times), np.array(inputs, dtype=float)
