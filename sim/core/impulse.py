"""Every swing of a transformer's current under a firing pattern, and the flux in its core.

`run` follows one pattern from one residue. The other functions run special cases: the worst residue, the inrush at a
delay, an odd half-cycle, a missed firing, open electrodes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from gen.words import GATE_END_DEG
from sim.bench.mains import HalfCycle
from sim.core.transformer import Event, LinearSolution, TransformerCircuit, fade

_MOST_SOLUTIONS = 200  # a half-cycle: more than this means the current flutters at zero


@dataclass(frozen=True)
class Firing:
    """A gate to both thyristors, held on from `on_s` to `off_s` of the run."""

    on_s: float
    off_s: float


@dataclass(frozen=True)
class Swing:
    """One swing of the primary current, from zero to zero. Secondary currents are referred to the primary.

    `half_cycle` is the index of the mains half-cycle in which the swing begins; the degrees count from the start of that
    half-cycle. RMS values are taken over the length of one half-cycle. The secondary's integral goes on until the next swing
    begins or the supply ends, because the core's current flows in the secondary meanwhile.
    """

    half_cycle: int
    positive: bool
    start_deg: float
    end_deg: float
    primary_rms_A: float
    primary_peak_A: float
    secondary_rms_A: float
    secondary_peak_A: float
    charge_C: float
    flux_at_end_Vs: float


@dataclass(frozen=True)
class Impulse:
    """The result of a firing pattern that starts from `initial_flux_Vs`."""

    initial_flux_Vs: float
    electrodes_closed: bool
    swings: tuple[Swing, ...]
    peak_flux_Vs: float
    extinction_s: float | None
    """End of the last current; None if none flowed."""
    flux_at_extinction_Vs: float
    """With the electrodes open the remanent flux; the initial flux if no current flowed."""

    @property
    def primary_peak_A(self) -> float:
        """Greatest primary current."""
        return max((s.primary_peak_A for s in self.swings), default=0.0)

    @property
    def secondary_peak_A(self) -> float:
        """Greatest secondary current, referred."""
        return max((s.secondary_peak_A for s in self.swings), default=0.0)

    @property
    def charge_C(self) -> float:
        """Integral of the primary current: 0 in a balanced impulse."""
        return sum(s.charge_C for s in self.swings)

    @property
    def half_wave(self) -> bool:
        """Whether two or more swings all have one polarity, which drives the core into saturation."""
        return len(self.swings) > 1 and len({s.positive for s in self.swings}) == 1


def sine(voltage_V: float, frequency_Hz: float, half_cycles: int, first_positive: bool = True) -> tuple[HalfCycle, ...]:
    """An undistorted supply of this RMS voltage, from time 0."""
    t, peak = 0.5 / frequency_Hz, voltage_V * math.sqrt(2)
    return tuple(HalfCycle(n, n * t, t, (n % 2 == 0) == first_positive, peak) for n in range(half_cycles))


def gate_windows(
    supply: Sequence[HalfCycle], delays_deg: Sequence[float | None], until_deg: float = GATE_END_DEG
) -> tuple[Firing, ...]:
    """Gates from each half-cycle's firing delay until `until_deg` of it. A half-cycle without a delay is not fired."""
    return tuple(
        Firing(half.start_s + delay / 180 * half.length_s, half.start_s + until_deg / 180 * half.length_s)
        for half, delay in zip(supply, delays_deg, strict=False)
        if delay is not None
    )


def run(
    circuit: TransformerCircuit,
    supply: Sequence[HalfCycle],
    gates: Sequence[Firing],
    initial_flux_Vs: float = 0.0,
    electrodes_closed: bool = True,
    *,
    remanent: bool = False,
) -> Impulse:
    """Fire `gates` into the transformer until the last current has ended, from no primary current and this flux.

    With the electrodes closed, a secondary current holds the flux while no primary current flows, and both fade.
    `remanent`: the core keeps the initial flux without a current, and only the rest fades. That is the worst case:
    alternating current removes some of a real residue.
    With the electrodes open the core keeps its flux: the magnetising curve is shifted to pass through it at no current. At
    each extinction the flux goes to the remanence, with the sign of the current that ended.
    If a gate is on as the current passes zero, the other thyristor conducts at once. A current that outlasts the supply
    goes on in the supply's last sine. ValueError for an empty supply, ArithmeticError if the current does not settle.
    """
    if not supply:
        raise ValueError("a run needs at least one half-cycle")
    return _followed(circuit, tuple(supply), tuple(gates), initial_flux_Vs, electrodes_closed, remanent)


@lru_cache(maxsize=256)  # paces and remedies that are tried ask of one weld again
def _followed(
    circuit: TransformerCircuit,
    supply: tuple[HalfCycle, ...],
    gates: tuple[Firing, ...],
    initial_flux_Vs: float,
    electrodes_closed: bool,
    remanent: bool,
) -> Impulse:
    return _Run(circuit, supply, gates, initial_flux_Vs, electrodes_closed, remanent).impulse()


def run_anew(
    circuit: TransformerCircuit, supply: Sequence[HalfCycle], gates: Sequence[Firing], initial_flux_Vs: float
) -> Impulse:
    """As `run`, closed and remanent, for a circuit that notes what is asked of it: `run` may know the answer."""
    return _Run(circuit, supply, gates, initial_flux_Vs, True, True).impulse()


def flux_after_pause(
    circuit: TransformerCircuit, impulse: Impulse, pause_s: float, electrodes_closed: bool = True
) -> float:
    """Flux `pause_s` after the last extinction: faded through the secondary, or the remanence if the electrodes open.

    The remanence has the sign of the flux at extinction.
    """
    if electrodes_closed and impulse.electrodes_closed:
        return fade(circuit, impulse.flux_at_extinction_Vs, pause_s)[0]
    flux = impulse.flux_at_extinction_Vs
    return math.copysign(circuit.remanent_Vs, flux) if flux else 0.0


def worst_of_residues(
    circuit: TransformerCircuit, supply: Sequence[HalfCycle], gates: Sequence[Firing], electrodes_closed: bool = True
) -> Impulse:
    """The run with the greatest primary peak, out of three: from no residue, and from the remanence of each sign."""
    residues = sorted({0.0, circuit.remanent_Vs, -circuit.remanent_Vs})
    found = [run(circuit, supply, gates, residue, electrodes_closed, remanent=True) for residue in residues]
    return max(found, key=lambda impulse: impulse.primary_peak_A)


def inrush(
    circuit: TransformerCircuit, supply: Sequence[HalfCycle], delay_deg: float, electrodes_closed: bool = True
) -> Impulse:
    """The gate on from `delay_deg` of the first half-cycle to the end of the supply, from the worst residue."""
    first, last = supply[0], supply[-1]
    gate = Firing(first.start_s + delay_deg / 180 * first.length_s, last.start_s + GATE_END_DEG / 180 * last.length_s)
    return worst_of_residues(circuit, supply, [gate], electrodes_closed)


def odd_half_cycle(
    circuit: TransformerCircuit, supply: Sequence[HalfCycle], delays_deg: Sequence[float | None], gap_half_cycles: int
) -> Impulse:
    """The second of two equal impulses after the first has lost its last half-cycle, so that a polarity is repeated.

    Both are fired with `delays_deg`. The second begins on the polarity that conducted last, after `gap_half_cycles`
    unfired ones, from the flux left with the electrodes closed. Compare with `run` of the same pattern.
    ValueError for an impulse shorter than two half-cycles or longer than the supply, and for an even gap, which would not
    repeat the polarity.
    """
    if not 1 < len(delays_deg) <= len(supply) or gap_half_cycles % 2 != 1:
        raise ValueError(f"{len(delays_deg)} half-cycles with a gap of {gap_half_cycles}")
    first = run(circuit, supply, gate_windows(supply, delays_deg[:-1]))
    length_s = supply[0].length_s
    second_s = supply[len(delays_deg) - 1].start_s + gap_half_cycles * length_s
    residue = 0.0 if first.extinction_s is None else flux_after_pause(circuit, first, second_s - first.extinction_s)
    repeats = bool(first.swings) and first.swings[-1].positive == supply[0].positive
    again = supply if repeats else [replace(half, positive=not half.positive) for half in supply]
    return run(circuit, again, gate_windows(again, delays_deg), residue)


def missed_firing(
    circuit: TransformerCircuit, supply: Sequence[HalfCycle], delays_deg: Sequence[float | None], missed: int
) -> Impulse:
    """The pattern without the firing of half-cycle `missed` (from 0), from the worst residue."""
    left = [None if n == missed else delay for n, delay in enumerate(delays_deg)]
    return worst_of_residues(circuit, supply, gate_windows(supply, left))


def open_electrodes(
    circuit: TransformerCircuit,
    supply: Sequence[HalfCycle],
    delays_deg: Sequence[float | None],
    until_deg: float = GATE_END_DEG,
) -> Impulse:
    """The pattern with the electrodes open, from the worst residue. With gates that end early it conducts half-wave."""
    return worst_of_residues(circuit, supply, gate_windows(supply, delays_deg, until_deg), electrodes_closed=False)


class _Tally:
    """The sums of a swing under way."""

    def __init__(self, half: HalfCycle, start_s: float, direction: int, closed: bool) -> None:
        self.half, self.start_s, self.direction, self.closed = half, start_s, direction, closed
        self.end_s = self.flux_Vs = self.charge = self.primary = self.secondary = self.peak = self.peak2 = 0.0

    def add(self, solution: LinearSolution, event: Event) -> None:
        squares = solution.squares(event.after_s)
        self.primary += squares.primary_A2s
        self.charge += squares.charge_C
        self.peak = max(self.peak, event.peak_primary_A)
        if self.closed:  # open, the solution's secondary current is only rounding
            self.secondary += squares.secondary_A2s
            self.peak2 = max(self.peak2, event.peak_secondary_A)

    def swing(self) -> Swing:
        h = self.half
        degrees = 180 / h.length_s
        return Swing(
            h.index, self.direction > 0, (self.start_s - h.start_s) * degrees, (self.end_s - h.start_s) * degrees,
            math.sqrt(self.primary / h.length_s), self.peak, math.sqrt(self.secondary / h.length_s), self.peak2,
            self.charge, self.flux_Vs,
        )  # fmt: skip


def _ends_of_sines(supply: Sequence[HalfCycle]) -> list[float]:
    """The end of each half-cycle's sine: after the following half-cycles of the same wave, and past the supply's end."""
    ends = [supply[-1].start_s + 4 * supply[-1].length_s]
    for half, after in zip(supply[-2::-1], supply[:0:-1], strict=True):
        same = half.positive != after.positive and half.harmonics == after.harmonics
        same = same and half.amplitude_V == after.amplitude_V and math.isclose(half.length_s, after.length_s)
        goes_on = same and math.isclose(half.start_s + half.length_s, after.start_s)
        ends.append(ends[-1] if goes_on else after.start_s)
    return ends[::-1]


class _Run:
    """A run under way: the time, the primary current, the flux, and the swings so far."""

    def __init__(
        self,
        circuit: TransformerCircuit,
        supply: Sequence[HalfCycle],
        gates: Sequence[Firing],
        flux_Vs: float,
        closed: bool,
        remanent: bool,
    ) -> None:
        self._circuit, self._supply, self._closed = circuit, supply, closed
        self._held_A = circuit.curve.current(flux_Vs) if remanent and closed else 0.0
        self._end_s = supply[-1].start_s + supply[-1].length_s
        self._gates = sorted((g for g in gates if g.on_s < self._end_s), key=lambda g: g.on_s)
        self._ends = _ends_of_sines(supply)
        self._initial_Vs = flux_Vs
        self._now, self._flux = supply[0].start_s, flux_Vs
        self._peak_flux = abs(flux_Vs)
        self._half = self._gate = 0
        self._tallies: list[_Tally] = []

    def impulse(self) -> Impulse:
        extinction = None
        while (on_s := self._next_gate()) is not None:
            self._idle_until(on_s)
            self._conduct()
            extinction = self._now
            if not self._closed:
                self._flux = self._tallies[-1].direction * self._circuit.remanent_Vs
        flux = self._flux
        self._idle_until(self._end_s)
        swings = tuple(tally.swing() for tally in self._tallies)
        return Impulse(self._initial_Vs, self._closed, swings, self._peak_flux, extinction, flux)

    def _next_gate(self) -> float | None:
        """The begin of the next gate, now if one is on. None if none comes before the supply ends."""
        self._pass_gates()
        if self._gate == len(self._gates):
            return None
        on_s = max(self._gates[self._gate].on_s, self._now)
        return on_s if on_s < self._end_s else None

    def _pass_gates(self) -> None:
        """Skip the gates that have ended."""
        while self._gate < len(self._gates) and self._gates[self._gate].off_s <= self._now:
            self._gate += 1

    def _idle_until(self, until_s: float) -> None:
        """No primary current. The core's fading current heats the secondary; the last swing gets that heat."""
        if until_s > self._now:
            if self._closed:
                self._flux, heat = fade(self._circuit, self._flux, until_s - self._now, self._held_A)
                if self._tallies:
                    self._tallies[-1].secondary += heat
            self._now = until_s

    def _gated(self) -> bool:
        self._pass_gates()
        return self._now < self._end_s and self._gate < len(self._gates) and self._gates[self._gate].on_s <= self._now

    def _conduct(self) -> None:
        """From a gate to an extinction, one swing after another."""
        curve, branches, supply = self._circuit.curve, self._circuit.branches, self._supply
        segment, current = curve.segment(self._flux), 0.0
        held = self._held_A if self._closed else curve.current(self._flux)
        tally: _Tally | None = None
        for _ in range(_MOST_SOLUTIONS * len(supply)):
            while self._half + 1 < len(supply) and self._now >= supply[self._half + 1].start_s:
                self._half += 1
            half = supply[self._half]
            span_s = self._ends[self._half] - self._now
            lower, upper, _, offset = curve.segments[segment]
            solution = branches[segment].solution(half, self._now, current, self._flux, offset - held, self._closed)
            event = solution.run_to_event(span_s, lower, upper, half.length_s)
            if tally is None:
                tally = _Tally(half, self._now, event.direction, self._closed)
                self._tallies.append(tally)
            tally.add(solution, event)
            self._now += event.after_s
            self._flux, current = event.flux_Vs, event.current_A
            self._peak_flux = max(self._peak_flux, event.peak_flux_Vs)
            if event.kind == "zero":
                tally.end_s, tally.flux_Vs = self._now, self._flux
                if not self._gated():
                    return
                tally, current = None, 0.0
            elif event.kind in ("upper", "lower"):
                segment += 1 if event.kind == "upper" else -1
                self._flux = upper if event.kind == "upper" else lower
            else:
                self._now = self._ends[self._half]
        raise ArithmeticError(f"the current at {self._now} s does not settle")
