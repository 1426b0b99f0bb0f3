"""Temperatures, times to a limit and safe paces of one weld repeated at a pace, in closed form instead of time steps.

With Phi the decay over one period and g the rise from one weld, the state after n welds is Phi^n z + (I + Phi + ...) g, a
geometric series; its limit is (I - Phi)^-1 g. In modes that is one division a mode.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from gen.roots import root
from sim.thermal.network import Array, LinearNetwork, PowerProfile

_SAMPLES = np.concatenate(([0.0], np.geomspace(1e-4, 1, 17)))  # where in an interval a peak or a crossing is searched
_FORGOTTEN = 40.0  # time constants after which the past is below double precision
_ALIKE_DIGITS = 12  # digits of a length in seconds, a thousandth of what changes the quickest mode
_TAIL = 3.0  # time constants after a weld in which a node far from the heat may still rise
_LEAST_WAIT_S = 1e-4  # a shorter wait counts as none


@dataclass(frozen=True)
class Cycle:
    """One output over one period, from the start of a weld to the start of the next."""

    mean_degC: float
    peak_degC: float
    peak_at_s: float
    end_degC: float


@dataclass(frozen=True)
class Forecast:
    """The cycles of the last weld, of the last complete one a minute later, and of endless work."""

    now: Cycle
    minute_later: Cycle
    equilibrium: Cycle


class _Weld:
    """A profile's effect on a network, computed once: the states at its edges, from cold."""

    def __init__(self, network: LinearNetwork, profile: PowerProfile) -> None:
        self.network, self.profile = network, profile
        self.times, self.inputs = profile.intervals
        if self.inputs.shape[1] != len(network.inputs):
            wanted = ", ".join(network.inputs)
            raise ValueError(f"a segment gives {self.inputs.shape[1]} inputs where the network takes {wanted}")
        self.settled = self.inputs @ (network.gains / network.rates_per_s[:, None]).T
        falls = np.expm1(-np.outer(np.diff(self.times), network.rates_per_s))
        states = [network.cold]
        for fall, settled in zip(falls, self.settled, strict=True):
            states.append(states[-1] + fall * (states[-1] - settled))
        self.forced = np.array(states)
        self._cold: dict[str, _Stretch] = {}

    @cached_property
    def left(self) -> Array:
        """The part of each mode of the first state left at each edge: edges x modes."""
        return np.asarray(np.exp(-np.outer(self.times, self.network.rates_per_s)))

    @cached_property
    def decays(self) -> Array:
        """The part of each mode left at each sample within each interval: intervals x samples x modes."""
        return _decays(np.diff(self.times), self.network.rates_per_s)

    @cached_property
    def left_at_samples(self) -> Array:
        """The part of the first state left there: intervals and samples x modes."""
        return np.asarray(self.left[:-1, None, :] * self.decays).reshape(-1, len(self.network.rates_per_s))

    def cold(self, output: str) -> _Stretch:
        """One output during a weld from cold."""
        if output not in self._cold:
            net, row = self.network, self.network.row(output)
            levels = net.ambient_degC + self.settled @ net.readout[row] + self.inputs @ net.direct[row]
            weights = net.readout[row] * (self.forced[:-1] - self.settled)
            self._cold[output] = _stretch(levels, weights, self.decays)
        return self._cold[output]

    def added(self, period_s: float) -> Array:
        """The state at the end of a period that began cold."""
        if period_s < self.profile.end_s * (1 - 1e-12):
            end = self.profile.end_s
            raise ValueError(f"a weld of {end:g} s does not fit a period of {period_s:g} s: weld more slowly")
        rest_s = max(0.0, period_s - self.profile.end_s)
        return np.asarray(self.forced[-1] * np.exp(-self.network.rates_per_s * rest_s))

    def cyclic(self, period_s: float) -> Array:
        return np.asarray(self.added(period_s) / -np.expm1(-self.network.rates_per_s * period_s))

    def after(self, period_s: float, welds: int, state: Array) -> Array:
        final = self.cyclic(period_s)
        return np.asarray(final + np.exp(-self.network.rates_per_s * period_s * welds) * (state - final))

    def course(self, period_s: float, state: Array, output: str) -> _Course:
        """One output over one period that begins in `state`: the weld from cold, plus what is left of the state."""
        net, row, cold = self.network, self.network.row(output), self.cold(output)
        end = net.step(state, self.inputs[0] * 0, period_s) + self.added(period_s)
        read = net.readout[row] * state
        weld = _Stretch(
            cold.levels,
            cold.weights + self.left[:-1] * read,
            cold.values + (self.left_at_samples @ read).reshape(cold.values.shape),
        )
        times, rest_s = self.times, period_s - self.times[-1]
        if rest_s > 0:
            weights = net.readout[row] * self.forced[-1:] + self.left[-1:] * read
            rest = _stretch(np.array([net.ambient_degC]), weights, _decays_in(rest_s, net.rates_per_s))
            times, weld = np.append(times, period_s), weld.then(rest)
        mean_input = np.diff(self.times) @ self.inputs / period_s
        mean_state = (net.gains @ mean_input - (end - state) / period_s) / net.rates_per_s
        mean = net.temperatures_degC(mean_state, mean_input)[row]
        return _Course(times, weld, net.rates_per_s, float(mean), float(net.ambient_degC + net.readout[row] @ end))


@lru_cache(maxsize=8)
def _weld(network: LinearNetwork, profile: PowerProfile) -> _Weld:
    return _Weld(network, profile)


@dataclass(frozen=True, eq=False)
class _Stretch:
    """One output. In interval k, s after its start: levels[k] + sum of weights[k] exp(-rates s); values[k] at the samples."""

    levels: Array
    weights: Array
    values: Array

    def then(self, other: _Stretch) -> _Stretch:
        pairs = ((self.levels, other.levels), (self.weights, other.weights), (self.values, other.values))
        return _Stretch(*(np.concatenate(pair) for pair in pairs))


def _stretch(levels: Array, weights: Array, decays: Array) -> _Stretch:
    return _Stretch(levels, weights, levels[:, None] + np.einsum("kjm,km->kj", decays, weights))


def _decays(lengths_s: Array, rates_per_s: Array) -> Array:
    """The part of each mode left at each sample within intervals of these lengths: intervals x samples x modes.

    Many intervals are of equal length but for rounding; each length is computed once.
    """
    alike, which = np.unique(np.round(lengths_s, _ALIKE_DIGITS), return_inverse=True)
    return np.asarray(np.exp(-np.multiply.outer(np.outer(alike, _SAMPLES), rates_per_s)))[which]


def _decays_in(length_s: float, rates_per_s: Array) -> Array:
    """As `_decays`, for one interval."""
    return np.asarray(np.exp(-np.multiply.outer(np.round(length_s, _ALIKE_DIGITS) * _SAMPLES, rates_per_s)))[None]


@dataclass(frozen=True, eq=False)
class _Course:
    """One output over one period, sampled where it may change most."""

    times: Array
    stretch: _Stretch
    rates: Array
    mean_degC: float
    end_degC: float

    def at(self, k: int, s: float) -> float:
        return float(self.stretch.levels[k] + self.stretch.weights[k] @ np.exp(-self.rates * s))

    def slope(self, k: int, s: float) -> float:
        return float(-(self.stretch.weights[k] * self.rates) @ np.exp(-self.rates * s))

    def samples(self) -> tuple[Array, Array]:
        """(Offsets within each interval, temperatures there), both intervals x samples."""
        return np.outer(np.diff(self.times), _SAMPLES), self.stretch.values

    def peak(self) -> tuple[float, float]:
        """(Greatest value, when). Exact at the edges; between two samples the root of the slope."""
        offsets, values = self.samples()
        k, j = (int(i) for i in np.unravel_index(np.argmax(values), values.shape))
        s, value = float(offsets[k, j]), float(values[k, j])
        low, high = float(offsets[k, max(j - 1, 0)]), float(offsets[k, min(j + 1, len(_SAMPLES) - 1)])
        if self.slope(k, low) > 0 > self.slope(k, high):
            s = root(lambda x: self.slope(k, x), low, high)
            value = max(value, self.at(k, s))
        return value, float(self.times[k]) + s

    def first_above(self, limit_degC: float) -> float:
        """Time at which the output first passes the limit. Its peak must pass it."""
        offsets, values = self.samples()
        above = np.argwhere(values > limit_degC)
        if len(above) == 0:  # only the peak between two samples passes it
            when = self.peak()[1]
            k = int(np.searchsorted(self.times, when, side="right")) - 1
            high = when - float(self.times[k])
            low = float(offsets[k][offsets[k] < high][-1])
        else:
            k, j = (int(i) for i in above[0])
            if j == 0:
                return float(self.times[k])
            low, high = float(offsets[k, j - 1]), float(offsets[k, j])
        return float(self.times[k]) + root(lambda s: self.at(k, s) - limit_degC, low, high)


def cyclic_state(network: LinearNetwork, profile: PowerProfile, period_s: float) -> Array:
    """The state at the start of each weld in endless work. ValueError where the weld does not fit the period."""
    return _weld(network, profile).cyclic(period_s)


def state_after(
    network: LinearNetwork, profile: PowerProfile, period_s: float, welds: int, state: Array | None = None
) -> Array:
    """The state after `welds` whole periods from `state`; None for cold."""
    return _weld(network, profile).after(period_s, welds, network.cold if state is None else state)


def nth_cycle(network: LinearNetwork, profile: PowerProfile, period_s: float, weld: int, output: str) -> Cycle:
    """The cycle of weld number `weld`. Number 1 begins cold."""
    if weld < 1:
        raise ValueError(f"welds are counted from 1, not {weld}")
    one = _weld(network, profile)
    return _cycle(one, period_s, one.after(period_s, weld - 1, network.cold), output)


def equilibrium(network: LinearNetwork, profile: PowerProfile, period_s: float, output: str) -> Cycle:
    """The cycle that endless work at this pace repeats."""
    one = _weld(network, profile)
    return _cycle(one, period_s, one.cyclic(period_s), output)


def equilibrium_mean_degC(network: LinearNetwork, profile: PowerProfile, period_s: float, output: str) -> float:
    """The mean of `equilibrium`, computed from the mean of the inputs."""
    if period_s < profile.end_s * (1 - 1e-12):
        raise ValueError(f"a weld of {profile.end_s:g} s does not fit a period of {period_s:g} s: weld more slowly")
    times, inputs = profile.intervals
    mean_input = np.diff(times) @ inputs / period_s
    return float(network.temperatures_degC(network.steady(mean_input), mean_input)[network.row(output)])


def equilibrium_course(
    network: LinearNetwork, profile: PowerProfile, period_s: float, output: str
) -> tuple[Array, Array]:
    """(Times, temperatures) of the cycle that endless work repeats. Exact at the samples, which are densest after a change."""
    one = _weld(network, profile)
    course = one.course(period_s, one.cyclic(period_s), output)
    offsets, values = course.samples()
    return (course.times[:-1, None] + offsets).ravel(), values.ravel()


def forecast(network: LinearNetwork, profile: PowerProfile, period_s: float, welds: int, output: str) -> Forecast:
    """After `welds` welds from cold (at least 1), after a minute more at the same pace, and at equilibrium.

    With a period above a minute, the minute later is the next weld's cycle.
    """
    now = nth_cycle(network, profile, period_s, welds, output)
    later = welds + max(1, math.floor(60 / period_s + 1e-9))
    minute_later = nth_cycle(network, profile, period_s, later, output)
    return Forecast(now, minute_later, equilibrium(network, profile, period_s, output))


def fastest_safe_pace(
    network: LinearNetwork, profile: PowerProfile, limit_degC: float, output: str, least_period_s: float = 0.0
) -> float:
    """The most welds a minute whose peak never passes the limit; 0 if even one from cold passes it.

    No period is shorter than `least_period_s` or the weld. Every slower pace is safe too.
    """
    one = _weld(network, profile)
    least_s = max(least_period_s, profile.end_s)

    def excess(pause_s: float) -> float:
        period_s = least_s + pause_s
        return one.course(period_s, one.cyclic(period_s), output).peak()[0] - limit_degC

    pause_s = _least_wait_s(excess, network.slowest_s)
    return 60 / (least_s + pause_s) if math.isfinite(pause_s) else 0.0


def rest_after_burst_s(
    network: LinearNetwork, profile: PowerProfile, period_s: float, welds: int, limit_degC: float, output: str
) -> float:
    """Pause from the end of the last of `welds` welds (from cold, at this period) until one more is safe; inf: never."""
    one = _weld(network, profile)
    begun = one.after(period_s, max(welds - 1, 0), network.cold)
    ended = one.added(profile.end_s) + np.exp(-network.rates_per_s * profile.end_s) * begun if welds else begun
    tail_s = profile.end_s + _TAIL * network.slowest_s

    def excess(rest_s: float) -> float:
        return one.course(tail_s, ended * np.exp(-network.rates_per_s * rest_s), output).peak()[0] - limit_degC

    return _least_wait_s(excess, network.slowest_s)


def time_to_limit_s(
    network: LinearNetwork,
    profile: PowerProfile,
    period_s: float,
    limit_degC: float,
    output: str,
    state: Array | None = None,
) -> float:
    """Time at this pace until the limit is first passed; inf: never.

    It starts from cold, or from a `state` no hotter than equilibrium.
    """
    one = _weld(network, profile)
    start = network.cold if state is None else state

    def course(weld: int) -> _Course:
        return one.course(period_s, one.after(period_s, weld, start), output)

    def passes(weld: int) -> bool:
        return course(weld).peak()[0] > limit_degC

    if passes(0):
        return course(0).first_above(limit_degC)
    if one.course(period_s, one.cyclic(period_s), output).peak()[0] <= limit_degC:
        return math.inf
    safe, unsafe = 0, 1
    while not passes(unsafe):
        safe, unsafe = unsafe, 2 * unsafe
        if period_s * safe > 2 * _FORGOTTEN * network.slowest_s:  # passed by less than double precision resolves
            return math.inf
    while unsafe - safe > 1:
        middle = (safe + unsafe) // 2
        safe, unsafe = (safe, middle) if passes(middle) else (middle, unsafe)
    return unsafe * period_s + course(unsafe).first_above(limit_degC)


def _cycle(one: _Weld, period_s: float, state: Array, output: str) -> Cycle:
    course = one.course(period_s, state, output)
    peak, when = course.peak()
    return Cycle(course.mean_degC, peak, when, course.end_degC)


def _least_wait_s(excess: Callable[[float], float], slowest_s: float) -> float:
    """The wait from which on there is no excess; inf if there is always one. A longer wait never has more of it."""
    if excess(0.0) <= 0:
        return 0.0
    safe = _FORGOTTEN * slowest_s
    if excess(safe) > 0:
        return math.inf
    while safe > _LEAST_WAIT_S:
        shorter = safe / 2
        if excess(shorter) > 0:
            return root(excess, shorter, safe)
        safe = shorter
    return 0.0
