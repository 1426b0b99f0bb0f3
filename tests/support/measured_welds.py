"""Seeded welds on a bench with every error that may be: the sense's report of each half-cycle, and the true values.

The bench is sim/bench (mains with a fifth harmonic, circuit, switch); the coupler, the detector and the board's clock have
errors of their own. What estimates the resistance knows none of them: it is given the firing delay that the board aimed at and
the length that the board timed.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from scipy.optimize import brentq

from firmware_templates.app.curve import Curve
from gen.current_limits import LOPSIDED_DEG
from gen.measured import Timing
from sim.bench.circuit import Current, JointCurve, SeriesLoad
from sim.bench.mains import HalfCycle
from tests.support.app.ammeter_settings import settings
from tests.support.one_delay import MeasuredLoop, loop_from_short, work_resistance

VOLTAGE_V, FREQUENCY_HZ = 230.0, 50.0
HALF_US = 10_000
COUPLER_US = (5.0, 60.0)
COUPLER_MIDDLE_US = sum(COUPLER_US) / 2  # all that the estimate knows of it
NOISE_OHM = 0.01  # of the joint from half-cycle to half-cycle, as a share
DETECTOR_V = 12.0


@dataclass(frozen=True)
class Errors:
    """What is wrong with a bench: set to 0 what is to be left out."""

    mains: float = 0.1
    fifth_percent: float = 5.0
    coupler: bool = True
    clamp: float = 0.02
    detector: bool = True
    aged: bool = True
    """The coupler is another one, or another day's, than when the electrodes were shorted."""


@dataclass(frozen=True)
class SeenGate:
    """One gate: what the board aimed at and timed, and the true resistance of the work."""

    aimed_us: float
    length_us: int
    work_ohm: float


def joint_curve(chance: random.Random, ohm: float) -> JointCurve:
    """Dip, rise and fall of mild sheet (Dickinson, Franklin and Stanya, Welding Journal 59, 1980, from memory; shape only)."""
    dip_s, peak_s, end_s = chance.uniform(0.02, 0.05), chance.uniform(0.1, 0.2), chance.uniform(0.3, 0.45)
    shape = ((0.0, 1.3), (dip_s, 0.85), (peak_s, 1.1), (end_s, 0.75))
    return JointCurve(tuple((time_s, ohm * share) for time_s, share in shape))


@dataclass(frozen=True)
class Machine:
    """A machine and its grid: the loop with shorted electrodes, the fifth harmonic, the coupler."""

    loop: SeriesLoad
    work_ohm: float
    fifth: tuple[float, float]
    threshold_V: float
    turn_on_us: float
    holding_A: float
    coupler_us: float
    """The coupler as it was new."""

    @property
    def reactance_ohm(self) -> float:
        return 2 * math.pi * FREQUENCY_HZ * self.loop.inductance_H


def machine(chance: random.Random, errors: Errors) -> Machine:
    """15 to 60 A and 45 to 68 degrees with shorted electrodes; the work is a quarter to one and a half of that resistance."""
    z = VOLTAGE_V / chance.uniform(15, 60)
    angle = math.radians(chance.uniform(45, 68))
    loop = SeriesLoad(z * math.cos(angle), z * math.sin(angle) / (2 * math.pi * FREQUENCY_HZ))
    fifth = (chance.uniform(0, errors.fifth_percent), chance.uniform(0, 360))
    new = chance.uniform(*COUPLER_US) if errors.coupler else COUPLER_MIDDLE_US
    work = loop.resistance_ohm * chance.uniform(0.25, 1.5)
    return Machine(loop, work, fifth, chance.uniform(5, 20), chance.uniform(2, 20), chance.uniform(0.02, 0.1), new)


def _half(made: Machine, voltage_V: float, positive: bool) -> HalfCycle:
    harmonics = ((5, *made.fifth),) if made.fifth[0] else ()
    return HalfCycle(0, 0.0, 0.5 / FREQUENCY_HZ, positive, voltage_V * math.sqrt(2), harmonics)


def _edge_late_us(half: HalfCycle) -> float:
    """How much later than on clean nominal mains the detector's edge comes, against the crossing of the fundamental."""
    sign = 1 if half.positive else -1
    found = brentq(lambda t: sign * half.voltage(t) - DETECTOR_V, -1e-3, 1.5e-3)
    nominal = math.asin(DETECTOR_V / (VOLTAGE_V * math.sqrt(2))) / half.omega
    return float(found - nominal) * 1e6


def seen(
    made: Machine, load: SeriesLoad, voltage_V: float, aimed_us: int, positive: bool, coupler_us: float, error_us: float
) -> tuple[int, float]:
    """(Microseconds that the board times after a gate aimed at `aimed_us`, RMS current over the half-cycle)."""
    half = _half(made, voltage_V, positive)
    gate_s = (aimed_us + error_us) * 1e-6
    current = Current(load, half, gate_s + made.turn_on_us * 1e-6)
    end_s = current.extinction(made.holding_A, current.start_s + 2e-4)
    shown_s = end_s
    for _ in range(400):  # until there is enough voltage for the coupler
        if abs(half.voltage(shown_s)) >= made.threshold_V:
            break
        shown_s += 5e-6
    return round((shown_s - gate_s) * 1e6 + coupler_us), current.rms_and_peak(end_s)[0]


def _error_us(made: Machine, voltage_V: float, positive: bool, errors: Errors, own_us: float) -> float:
    late_us = _edge_late_us(_half(made, voltage_V, positive)) if errors.detector else 0.0
    return late_us + own_us


def commissioned(made: Machine, chance: random.Random, errors: Errors) -> MeasuredLoop | None:
    """The loop as a shorted weld of six gates and a clamp meter give it: mains as it is that day, the coupler as it is."""
    voltage_V = VOLTAGE_V * (1 + chance.uniform(-errors.mains, errors.mains))
    coupler_us = made.coupler_us
    own_us = chance.uniform(-15, 15) if errors.detector else 0.0
    lengths, rms = [], []
    for n in range(6):
        positive = n % 2 == 0
        error_us = _error_us(made, voltage_V, positive, errors, own_us)
        length_us, amperes = seen(made, made.loop, voltage_V, 5_000, positive, coupler_us, error_us)
        lengths.append(length_us)
        rms.append(amperes)
    read_A = sum(rms) / len(rms) * (1 + chance.uniform(-errors.clamp, errors.clamp))
    read_V = voltage_V * (1 + chance.uniform(-errors.clamp, errors.clamp) / 2)
    return loop_from_short(timing(5_000, sum(lengths) / len(lengths)), read_A, read_V, 1.5 * errors.clamp + 1e-4)


def timing(aimed_us: float, length_us: float) -> Timing:
    """What the host makes of a gate: the middle of what the coupler may be late by is taken off."""
    degrees = 360 * FREQUENCY_HZ / 1e6
    end_us = aimed_us + length_us - COUPLER_MIDDLE_US
    return Timing(aimed_us * degrees, end_us * degrees, 40 * degrees, 60 * degrees)


def weld(made: Machine, chance: random.Random, errors: Errors, gates: int = 40) -> list[SeenGate]:
    """A healthy weld: the coupler drifts within its band, the joint's resistance goes its way with some noise."""
    voltage_V = VOLTAGE_V * (1 + chance.uniform(-errors.mains, errors.mains))
    latest = math.degrees(math.atan2(made.reactance_ohm, made.loop.resistance_ohm)) + 3
    aimed_us = round(chance.uniform(latest, 120) / 360 / FREQUENCY_HZ * 1e6)
    curve = joint_curve(chance, made.work_ohm)
    coupler_us = chance.uniform(*COUPLER_US) if errors.coupler and errors.aged else made.coupler_us
    drift_us = chance.uniform(-0.2, 0.2) if errors.coupler else 0.0
    own_us = chance.uniform(-15, 15) if errors.detector else 0.0
    found = []
    for n in range(gates):
        delay_us = max(aimed_us, 4_833) if n == 0 else aimed_us
        ohm = curve.ohm(n * HALF_US * 1e-6) * (1 + chance.gauss(0, NOISE_OHM))
        load = replace(made.loop, resistance_ohm=made.loop.resistance_ohm + ohm)
        error_us = _error_us(made, voltage_V, n % 2 == 0, errors, own_us)
        coupler_us = min(max(coupler_us + drift_us, COUPLER_US[0]), COUPLER_US[1])
        length_us, _ = seen(made, load, voltage_V, delay_us, n % 2 == 0, coupler_us, error_us)
        found.append(SeenGate(delay_us, length_us, ohm))
    return found


def judged(gates: list[SeenGate], longest_us: int = 9_999) -> tuple[int, int]:
    """(Reason, gates looked at) of the application's own judgement; reason 0 for none."""
    lopsided_us = round(LOPSIDED_DEG / 360 / FREQUENCY_HZ * 1e6)
    curve = Curve(settings(LOPSIDED_US=lopsided_us, LONGEST_US=(longest_us,) * 33))
    curve.begin((("weld", len(gates), gates[-1].aimed_us, 0),), 0, HALF_US)
    for gate in gates:
        curve._add(gate.length_us, HALF_US)
        if curve.fault:
            break
    return curve.fault, curve.count


def cycle_errors(gates: list[SeenGate], loop: MeasuredLoop) -> list[float]:
    """Error of the work's resistance in each whole cycle (both directions' mean), as a share of the truth."""
    found = []
    for one, other in zip(gates[::2], gates[1::2], strict=True):
        told = [work_resistance(timing(gate.aimed_us, gate.length_us), loop) for gate in (one, other)]
        values = [ohms.value for ohms in told if ohms is not None]
        truth = (one.work_ohm + other.work_ohm) / 2
        found.append(sum(values) / len(values) / truth - 1 if len(values) == 2 else math.inf)
    return found
