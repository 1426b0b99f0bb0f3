"""The solid-state switch: it latches, and turns off only at the end of a current. It may fail."""

from __future__ import annotations

import math
from collections.abc import Generator
from contextlib import suppress
from dataclasses import dataclass

import simpy

from sim.bench.circuit import BenchWork, Current
from sim.bench.mains import HalfCycle, MainsSupply
from sim.bench.pin import Wires
from sim.bench.protection import Contactor


@dataclass(frozen=True)
class SwitchSpec:
    """The true properties of the switch, and its faults."""

    kind: str
    """The kind, as named in the welder file."""
    latching_A: float
    holding_A: float
    turn_on_us: float
    inhibit_V: float = 25
    """The voltage below which a zero-cross relay can turn on."""
    recovers_V: float | None = None
    """A triac or relay turns on again without a gate if its voltage at extinction is above this. None: never."""
    gate_pulse_us: float | None = None
    """Length of each gate that a saturating gate transformer passes. None: all of it."""
    fault: str = ""
    """Empty for none. "gate_open": never turns on. "shorted": never turns off. "half_wave": turns on in positive half-cycles
    only."""
    fault_s: float = 0
    """Beginning of the fault."""


@dataclass(frozen=True)
class Conduction:
    """One current from beginning to end."""

    start_s: float
    end_s: float
    half_cycle: int
    """Index of the mains half-cycle in which it began."""
    positive: bool
    latched: bool
    rms_A: float
    peak_A: float
    current: Current


class SolidStateSwitch:
    """Follows its gate, and conducts the load's current while the contactor feeds it."""

    def __init__(
        self,
        env: simpy.Environment,
        spec: SwitchSpec,
        work: BenchWork,
        mains: MainsSupply,
        contactor: Contactor,
        wires: Wires,
    ) -> None:
        self._env = env
        self._spec = spec
        self._work = work
        self._mains = mains
        self.contactor = contactor
        """The contactor, which feeds the switch."""
        self._carrying = wires.carrying
        wires.fired.watchers.append(self.gate)
        self.conductions: list[Conduction] = []
        self.flowing: Current | None = None
        """The current that has begun and not ended."""
        self.gate_on = False
        self._process: simpy.Process | None = None
        self._needs_gate = False  # True: not latched, so the current ends with the gate
        self.conducting = False
        self._shorted = False
        if spec.fault == "shorted":
            if spec.fault_s > 0:
                env.process(self._short(spec.fault_s))
            else:
                self._begin_short()

    def _short(self, time_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(time_s)
        self._begin_short()

    def _begin_short(self) -> None:
        """Conduct from now on as with a permanent gate."""
        self.gate(1)
        self._shorted = True
        self.conducting = True
        self._carrying.set(1)

    @property
    def mains_omega(self) -> float:
        """Nominal angular frequency of the mains."""
        return 2 * math.pi * self._mains.spec.frequency_Hz

    @property
    def unfed(self) -> bool:
        """Whether no voltage reaches the switch. A sense across it then reads as with a current."""
        return not self.contactor.feeds()

    def _fails(self, fault: str) -> bool:
        return self._spec.fault == fault and self._env.now >= self._spec.fault_s

    def _blocks(self, half: HalfCycle) -> bool:
        return self._fails("half_wave") and not half.positive

    def gate(self, level: int) -> None:
        """Take a change of the gate's level."""
        if self._shorted:
            return
        if level and self._spec.gate_pulse_us is not None:
            self._env.process(self._end_pulse(self._spec.gate_pulse_us))
        if bool(level) == self.gate_on:
            return
        self.gate_on = bool(level)
        if level:
            if not self.conducting and not self._fails("gate_open") and not self._blocks(self._mains.at(self._env.now)):
                self._process = self._env.process(self._turn_on())
        elif self._needs_gate and self._process is not None:
            self._needs_gate = False
            self._process.interrupt()

    def _end_pulse(self, length_us: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(length_us * 1e-6)
        self.gate(0)

    def _turn_on(self) -> Generator[simpy.Event, None, None]:
        """Conduct current after current, from a gate or a failure to recover, until no cause for a further one remains."""
        env, spec = self._env, self._spec
        self.conducting = True
        yield env.timeout(spec.turn_on_us * 1e-6)
        if spec.kind == "zero_cross_relay":
            yield from self._await_zero()
        cause, conducted = self.gate_on, False
        while cause:
            conducted |= yield from self._conduct(follows=conducted)
            step_V = abs(self._mains.at(env.now).voltage(env.now))
            cause = self.gate_on or (spec.recovers_V is not None and step_V > spec.recovers_V)
        self.conducting = False
        if conducted:
            self._carrying.set(0)

    def _await_zero(self) -> Generator[simpy.Event, None, None]:
        half = self._mains.at(self._env.now)
        if abs(half.voltage(self._env.now)) > self._spec.inhibit_V:
            yield self._env.timeout(half.start_s + half.length_s - self._env.now)

    def _conduct(self, follows: bool) -> Generator[simpy.Event, None, bool]:
        """One current, or the wait for a half-cycle in which one is possible. Returns True for a current.

        `follows`: it begins at the end of another current, without a gap that a sense could detect.
        """
        env, spec = self._env, self._spec
        start = env.now
        half = self._mains.at(start)
        if half.amplitude_V == 0 or self._blocks(half) or not self.contactor.feeds():
            yield env.timeout(half.start_s + half.length_s - start)
            return False
        current = Current(self._work.load_at(start), half, start)
        latched_s = current.reaches(spec.latching_A, half.start_s + half.length_s)
        self.flowing = current
        if not follows:
            self._carrying.set(1)
        # An unlatched current lasts as long as the gate, to the end of the half-cycle at most.
        unlatched_s = (half.start_s + half.length_s if latched_s is None else latched_s) - start
        self._needs_gate = self.gate_on  # False: it turned on without a gate, and stays on to the end
        with suppress(simpy.Interrupt):
            yield env.timeout(unlatched_s)
        self._needs_gate = False
        if latched_s is not None and env.now >= latched_s:
            end = current.extinction(spec.holding_A, latched_s)
            if end > env.now:
                yield env.timeout(end - env.now)
            latched = True
        else:
            latched = False
        self.flowing = None
        rms, peak = current.rms_and_peak(env.now)
        self.conductions.append(Conduction(start, env.now, half.index, current.sign > 0, latched, rms, peak, current))
        return True
