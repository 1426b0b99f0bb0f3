"""The current of seeded welds through a current transformer and a converter with errors, as the application makes it out.

The machines, mains, detector and coupler are those of measured_welds.py. Samples are the bench's own; the board's
ammeter sums them. The same transformer measured the shorted electrodes, and a clamp meter set its ratio right to its own error.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from firmware_templates.app.ammeter import Ammeter
from firmware_templates.app.curve import Curve
from gen.machine.tables import ShortedLoop
from gen.measured import Course, course_of, loop_of, shorted_loop, work_ohms
from gen.measured.load_angle import work_resistance_by_current
from gen.records import GateRecord, WeldRecord
from gen.words import SAMPLE_US
from sim.bench.ammeter import AmmeterSpec, PrimaryAmmeter
from sim.bench.circuit import Current
from tests.support.app.ammeter_settings import SampledDriver, settings
from tests.support.measured_welds import (
    COUPLER_US,
    FREQUENCY_HZ,
    HALF_US,
    NOISE_OHM,
    VOLTAGE_V,
    Errors,
    Machine,
    SeenGate,
    _error_us,
    _half,
    joint_curve,
    timing,
)
from tests.support.one_delay import MeasuredLoop, loop_from_short

BEGIN_S = 0.05  # from the first sample to the first half-cycle
TURNS = 1000.0
RATIO, CLAMP, VOLTMETER = (
    0.02,
    0.02,
    0.01,
)  # errors: of the transformer, of the meter that sets it right, of the voltage


@dataclass(frozen=True)
class MeasuredGate:
    """A gate as timed, its current as made out by the board, and the truth of that."""

    seen: SeenGate
    current_A: float
    true_A: float


@dataclass(frozen=True)
class MeasuredWeld:
    """A weld and the mains voltage that it had."""

    voltage_V: float
    gates: list[MeasuredGate]


def transformer(made: Machine, chance: random.Random) -> AmmeterSpec:
    """Its burden fills the converter's range; ratio, bias and knee are somewhat off, the converter has its wide codes."""
    short_A = VOLTAGE_V / math.hypot(made.loop.resistance_ohm, made.reactance_ohm)
    burden = 1.34 / (short_A * 1.2 * math.sqrt(2) / TURNS)
    error, bias = chance.uniform(-RATIO, RATIO), 2048 + chance.uniform(-20, 20)
    return AmmeterSpec(TURNS, burden, error=error, bias=bias, knee_Vs=0.05)


def measured(
    made: Machine, spec: AmmeterSpec, chance: random.Random, errors: Errors, shots_us: tuple[int, ...] = ()
) -> MeasuredWeld:
    """40 gates on the work, or gates aimed at these delays on shorted electrodes."""
    shorted = bool(shots_us)
    voltage_V = VOLTAGE_V * (1 + chance.uniform(-errors.mains, errors.mains))
    latest = math.degrees(math.atan2(made.reactance_ohm, made.loop.resistance_ohm)) + 3
    aimed_us = 0 if shorted else round(chance.uniform(latest, 120) / 360 / FREQUENCY_HZ * 1e6)
    curve = joint_curve(chance, made.work_ohm)
    coupler_us = made.coupler_us if shorted else chance.uniform(*COUPLER_US)
    own_us = chance.uniform(-15, 15)
    currents: list[tuple[Current, float, float]] = []
    gates: list[tuple[SeenGate, float]] = []
    for n in range(len(shots_us) or 40):
        delay_us = shots_us[n] if shorted else max(aimed_us, 4_833) if n == 0 else aimed_us
        ohm = 0.0 if shorted else curve.ohm(n * HALF_US * 1e-6) * (1 + chance.gauss(0, NOISE_OHM))
        load = replace(made.loop, resistance_ohm=made.loop.resistance_ohm + ohm)
        half = replace(_half(made, voltage_V, n % 2 == 0), start_s=BEGIN_S + n * HALF_US * 1e-6)
        gate_s = half.start_s + (delay_us + _error_us(made, voltage_V, n % 2 == 0, errors, own_us)) * 1e-6
        current = Current(load, half, gate_s + made.turn_on_us * 1e-6)
        end_s = current.extinction(made.holding_A, current.start_s + 2e-4)
        shown_s = end_s
        while abs(half.voltage(shown_s)) < made.threshold_V:
            shown_s += 5e-6
        length_us = round((shown_s - gate_s) * 1e6 + coupler_us)
        currents.append((current, end_s, gate_s))
        gates.append((SeenGate(delay_us, length_us, ohm), current.rms_and_peak(end_s)[0]))
    shown_A = _made_out(spec, currents, chance)
    return MeasuredWeld(
        voltage_V, [MeasuredGate(seen, amperes, true) for (seen, true), amperes in zip(gates, shown_A, strict=True)]
    )


def _made_out(spec: AmmeterSpec, currents: list[tuple[Current, float, float]], chance: random.Random) -> list[float]:
    """The current of each gate by the bench's samples and the application's ammeter."""
    made: list[Any] = [SimpleNamespace(end_s=end_s, current=current) for current, end_s, _ in currents]
    switch = SimpleNamespace(conductions=made, flowing=None, mains_omega=2 * math.pi * FREQUENCY_HZ)
    clock = SimpleNamespace(rate=1.0, env=SimpleNamespace(now=0.0))
    bench = PrimaryAmmeter(clock, spec, switch, SimpleNamespace(watchers=[]), chance.randrange(2**30))  # type: ignore[arg-type]
    step_s, first_s = SAMPLE_US * 1e-6, chance.random() * SAMPLE_US * 1e-6
    total = round((currents[-1][2] + 0.03) / step_s)
    counts = bench.counts(first_s + np.arange(total) * step_s, step_s).tolist()
    stamps = [int((gate_s - first_s + 60e-6) / step_s) + 1 for _, _, gate_s in currents]
    gain = round(spec.supply_V / 4096 * spec.turns / spec.burden_ohm * 10 / 8 * 2**14)
    config = settings(CURRENT_GAIN=gain, LEAST_DA=(0,) * 33, MOST_DA=(30_000,) * 33, STRAY_DA=30_000)
    driver: Any = SampledDriver(counts, stamps)
    curve = Curve(config)
    meter = Ammeter(driver, config, curve)
    meter.begin(driver, 0)
    rows = (("weld", len(stamps), 5_000, 0),)
    curve.begin(rows, 0, HALF_US)
    meter.fire(rows, 0)
    for taken in range(0, total + 100, 100):
        driver.to(taken)
        meter.look(driver, HALF_US, taken // 8)
    return [curve.currents[n] / 10 for n in range(len(stamps))]


@dataclass(frozen=True)
class Commissioned:
    """The loop as the transformer itself measured it, and what its readings are multiplied with from then on."""

    loop: MeasuredLoop
    factor: float


def commissioned_by_current(
    made: Machine, spec: AmmeterSpec, chance: random.Random, errors: Errors
) -> Commissioned | None:
    """Six gates on shorted electrodes, beside a clamp meter and a voltmeter."""
    weld = measured(made, spec, chance, errors, (5_000,) * 6)
    later = weld.gates[1:]
    shown_A = sum(gate.current_A for gate in later) / len(later)
    true_A = sum(gate.true_A for gate in later) / len(later)
    factor = true_A * (1 + chance.uniform(-CLAMP, CLAMP)) / shown_A
    length_us = sum(gate.seen.length_us for gate in later) / len(later)
    read_V = weld.voltage_V * (1 + chance.uniform(-VOLTMETER, VOLTMETER))
    loop = loop_from_short(timing(5_000, length_us), factor * shown_A, read_V, CLAMP + VOLTMETER)
    return None if loop is None else Commissioned(loop, factor)


SEVERAL_US = (5_000, 5_000, *(us for us in (4_000, 4_700, 5_400, 6_200, 7_000) for _ in range(2)))


def commissioned_at_several_delays(
    made: Machine, spec: AmmeterSpec, chance: random.Random, errors: Errors
) -> tuple[ShortedLoop, float] | None:
    """The loop as `weldbeat calibrate --loop` writes it, from a weld at five delays; and what readings are multiplied with."""
    weld = measured(made, spec, chance, errors, SEVERAL_US)
    clamped_A = sum(gate.true_A for gate in weld.gates[1:]) * (1 + chance.uniform(-CLAMP, CLAMP))
    factor = clamped_A / sum(gate.current_A for gate in weld.gates[1:])
    read_V = weld.voltage_V * (1 + chance.uniform(-VOLTMETER, VOLTMETER))
    learnt = loop_of([recorded(weld, factor)], read_V)
    return None if learnt is None else (shorted_loop(learnt, FREQUENCY_HZ), factor)


def recorded(weld: MeasuredWeld, factor: float) -> Course:
    """The weld as `watch` keeps it and `weld show` reads it."""
    record = WeldRecord("pico", 1, 1, "2026-01-01T00:00:00Z", "completed", 40, 40, 40, None, None)
    gates = [
        GateRecord(
            "pico", 1, 1, n, round(gate.seen.aimed_us), gate.seen.length_us, HALF_US, factor * gate.current_A, None
        )
        for n, gate in enumerate(weld.gates)
    ]
    return course_of(record, gates)


def errors_by_loop(weld: MeasuredWeld, loop: ShortedLoop, factor: float, voltage_V: float) -> list[float]:
    """Error of the work's resistance in each whole cycle after the first, as `weld show --volts` tells it."""
    told = dict(work_ohms(recorded(weld, factor), loop, voltage_V, FREQUENCY_HZ))
    truths = [gate.seen.work_ohm for gate in weld.gates]
    return [told.get(n, math.inf) * 2 / (truths[n] + truths[n + 1]) - 1 for n in range(2, len(truths), 2)]


def errors_by_current(weld: MeasuredWeld, known: Commissioned, voltage_V: float) -> list[float]:
    """Error of the work's resistance in each whole cycle after the first, from current and voltage."""

    def told(gate: MeasuredGate) -> float | None:
        delay_deg = gate.seen.aimed_us * 360 * FREQUENCY_HZ / 1e6
        loop = known.loop.reactance.value, known.loop.resistance.value
        return work_resistance_by_current(delay_deg, gate.current_A * known.factor, voltage_V, *loop)

    return _errors(weld, told)


def _errors(weld: MeasuredWeld, told: Callable[[MeasuredGate], float | None]) -> list[float]:
    found = []
    for one, other in zip(weld.gates[2::2], weld.gates[3::2], strict=True):
        values = [value for value in (told(one), told(other)) if value is not None]
        truth = (one.seen.work_ohm + other.seen.work_ohm) / 2
        found.append(sum(values) / 2 / truth - 1 if len(values) == 2 else math.inf)
    return found
