"""The switch: the junctions of two thyristors, their common case and the heat sink."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sim.thermal.network import Array, LinearNetwork, NodeRow, PowerProfile, Segment, row_network


@dataclass(frozen=True)
class OnState:
    """On-state voltage: threshold plus slope resistance times current. Data sheets give both for a hot junction."""

    threshold_V: float
    slope_ohm: float

    def loss_W(self, mean_A: float, rms_A: float) -> float:
        """Mean loss over the time of `mean_A` (of the absolute value) and `rms_A`."""
        return self.threshold_V * mean_A + self.slope_ohm * rms_A**2


@dataclass(frozen=True)
class FosterTerm:
    """One term of a data sheet's transient thermal impedance, R (1 - exp(-t / tau)). It is no layer of the device."""

    resistance_K_per_W: float
    time_constant_s: float


@dataclass(frozen=True)
class Cooling:
    """The path of heat from the common case to ambient. If `case_J_per_K` is None, the case follows the loss at once."""

    case_to_sink_K_per_W: float
    sink_to_ambient_K_per_W: float
    sink_J_per_K: float
    ambient_degC: float
    case_J_per_K: float | None = None


def foster_network(ladder: Sequence[FosterTerm], case_degC: float = 0.0) -> LinearNetwork:
    """A junction over a case of constant temperature: input `loss_W`, output `junction`.

    Raises ValueError where a term is not above zero.
    """
    rates, gains = _modes(ladder)
    ones = np.ones((1, len(rates)))
    return LinearNetwork(rates, gains[:, None], ones, np.zeros((1, 1)), ("loss_W",), ("junction",), case_degC)


def switch_network(ladder: Sequence[FosterTerm], cooling: Cooling) -> LinearNetwork:
    """Inputs `loss_1_W` and `loss_2_W`, the two thyristors; outputs `junction_1`, `junction_2`, `case`, `sink`.

    A junction's temperature is the case temperature under the total loss, plus its own ladder's response to its own loss.
    The ladder is not connected to the sink: its nodes are fitted terms, not temperatures.
    """
    rates, gains = _modes(ladder)
    base = _cooling_network(cooling)
    n, b = len(rates), len(base.rates_per_s)
    all_gains = np.zeros((2 * n + b, 2))
    all_gains[:n, 0] = all_gains[n : 2 * n, 1] = gains
    all_gains[2 * n :] = base.gains  # one column: the total loss, which both thyristors feed
    readout = np.zeros((4, 2 * n + b))
    readout[:, 2 * n :] = base.readout[[0, 0, 0, 1]]
    readout[0, :n] = readout[1, n : 2 * n] = 1
    direct = np.repeat(base.direct[[0, 0, 0, 1]], 2, axis=1)
    return LinearNetwork(
        np.concatenate((rates, rates, base.rates_per_s)),
        all_gains,
        readout,
        direct,
        ("loss_1_W", "loss_2_W"),
        ("junction_1", "junction_2", "case", "sink"),
        cooling.ambient_degC,
    )


def alternating(start_s: float, half_cycle_s: float, losses_W: Sequence[float]) -> PowerProfile:
    """Consecutive half-cycles of constant loss, in the two thyristors by turns, number 1 first.

    The peak is at the end of a half-cycle. After an even number thyristor 2 conducts last and ends hotter.
    A real loss rises and falls within the half-cycle: the peak is earlier and higher, by about a sixth of the rise with a
    term of 1.5 ms. Near a limit use `alternating_slices`.
    """
    starts = [start_s + n * half_cycle_s for n in range(len(losses_W))]
    return alternating_slices([[(s, half_cycle_s, loss)] for s, loss in zip(starts, losses_W, strict=True)])


def alternating_slices(conductions: Sequence[Sequence[tuple[float, float, float]]]) -> PowerProfile:
    """Conductions in the two thyristors by turns, number 1 first, each as slices of (start_s, length_s, power_W)."""
    return PowerProfile(
        tuple(
            Segment(start, length, (0.0, power) if n % 2 else (power, 0.0))
            for n, slices in enumerate(conductions)
            for start, length, power in slices
        )
    )


def loss_slices(
    on_state: OnState, current_A: Callable[[float], float], start_s: float, end_s: float, slices: int = 12
) -> list[tuple[float, float, float]]:
    """(start_s, length_s, power_W) of slices of one conduction, each with its mean loss (Simpson's rule).

    A junction with terms faster than a half-cycle has its peak before the current ends.
    """
    length = (end_s - start_s) / slices

    def power(time_s: float) -> float:
        current = abs(current_A(time_s))
        return on_state.loss_W(current, current)

    starts = [start_s + n * length for n in range(slices)]
    return [(s, length, (power(s) + 4 * power(s + length / 2) + power(s + length)) / 6) for s in starts]


def _modes(ladder: Sequence[FosterTerm]) -> tuple[Array, Array]:
    """(Rates, gains in kelvins per second and watt) of the terms."""
    if not ladder:
        raise ValueError("a Foster ladder needs at least one term")
    for term in ladder:
        if not (term.resistance_K_per_W > 0 and term.time_constant_s > 0):
            raise ValueError(f"every term of a Foster ladder is above zero: {term}")
    rates = np.array([1 / term.time_constant_s for term in ladder])
    return rates, rates * np.array([term.resistance_K_per_W for term in ladder])


def _cooling_network(c: Cooling) -> LinearNetwork:
    """Total loss in, `case` and `sink` out."""
    out = 1 / c.sink_to_ambient_K_per_W
    if c.case_J_per_K is None:
        sink = NodeRow([c.sink_J_per_K], [], [out])
        outputs: dict[str, tuple[ArrayLike, ArrayLike]] = {"case": ([1], [c.case_to_sink_K_per_W]), "sink": ([1], [0])}
        return row_network(sink, {"loss_W": [1]}, outputs, c.ambient_degC)
    case_and_sink = NodeRow([c.case_J_per_K, c.sink_J_per_K], [1 / c.case_to_sink_K_per_W], [0, out])
    outputs = {"case": ([1, 0], [0]), "sink": ([0, 1], [0])}
    return row_network(case_and_sink, {"loss_W": [1, 0]}, outputs, c.ambient_degC)
