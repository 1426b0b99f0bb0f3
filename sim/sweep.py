"""Judges many machines that the welder file allows: how certain is the verdict, and on which inputs does it depend?

A machine is drawn evenly from every range: each factor on a reading and each angle (gen.machine.derived). The circuit
follows from them as from the file itself, so that every drawn machine has its owner's readings. Draws that contradict each
other are repeated. Inputs without a reading (core, joint, sink, switch) are drawn separately. Even and independent draws
are our choice: the shares are of these draws, not probabilities.

The timing table is that of the welder file, as it would be flashed. Rows are simulated up to `LONGEST_ROW`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gen.errors import InputError
from gen.job import Job
from gen.machine.derived import CLAMP, Impossible, MachineCase, derive_at, ends
from gen.machine.inductance import Loop, loop_of
from gen.machine.welder import Welder
from sim.core.weld_current import JOINT_SHARE_RANGE, Assumed, weld_currents
from sim.verdict import PacedJob, judge_plan
from sim.workers import WorkerLost, by_workers

LONGEST_ROW = 24  # half-cycles; after them a row repeats
_CHUNK = 8  # machines sent to a worker at a time
_TRIES = 1000
_LEAST_LEAN = 0.1  # a weaker rank correlation is not reported
_CHANCE = 3.0  # standard deviations (one is 1 / sqrt(machines)); a correlation within them may be chance


class NoMachine(Exception):
    """None of a thousand machines drawn has all readings of the welder file: one of them is probably wrong."""


# The name of each factor of a `MachineCase`, in order; then the angle.
_READINGS = (
    "source impedance", "shorted-current reading", "working-current reading", "secondary-voltage reading",
    "one tap against another", "loop reactance", "resistance of joints", "work resistance",
)  # fmt: skip
_ANGLE = "load angle"


@dataclass(frozen=True)
class Range:
    """One uncertain input, from `low` to `high`."""

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class Spread:
    """One finding over all machines."""

    name: str
    unit: str
    limit: float
    refused: float
    """Share of machines, 0 to 1."""
    cautioned: float
    """Share of machines, 0 to 1."""
    figures: tuple[float, float, float]
    """5, 50 and 95 % quantiles."""
    leans: tuple[tuple[str, float], ...]
    """Inputs correlated with the nearness to the limit, (name, rank correlation), strongest first."""


@dataclass(frozen=True)
class Sweep:
    """All findings, gravest first."""

    machines: int
    seed: int
    ranges: tuple[Range, ...]
    refused: float
    cautioned: float
    spreads: tuple[Spread, ...]
    leans: tuple[tuple[str, float], ...]
    """Inputs correlated with the worst finding of each machine, as in `Spread`."""


@dataclass(frozen=True)
class JudgedMachine:
    """One drawn machine: its inputs, in the order of the ranges, and (severity, figure, limit, strain) by finding."""

    inputs: tuple[float, ...]
    findings: dict[str, tuple[str, float, float, float]]
    units: dict[str, str]


@dataclass(frozen=True)
class SweepPlan:
    """The job, pace and seed of a sweep, as sent to every worker."""

    job: Job
    welds_per_minute: float
    seed: int

    @property
    def welder(self) -> Welder:
        return self.job.welder

    def ranges(self) -> tuple[Range, ...]:
        """Every uncertain input of this welder."""
        w = self.welder
        readings = [
            Range(name, min(values), max(values))
            for name, values in zip(_READINGS, ends(w, _loop(w)), strict=True)
            if min(values) < max(values)
        ]
        idle_A, known = w.transformer.idle_current_A, w.transformer.open_current_A is not None
        idle = (1 - CLAMP, 1 + CLAMP) if known else (0.5, 2.0)
        given = {"offset_rise_us", "offset_fall_us"} <= w.detector.model_fields_set
        offsets_known = given and w.detector.offsets_from == "measured"
        late_us = 30.0 if offsets_known else 300.0
        s, sink = w.switch, w.heat_sink
        return (
            *readings,
            Range(_ANGLE, 0, 1),
            Range("idle current", idle_A * idle[0], idle_A * idle[1]),
            Range("knee", 1.05, 1.4),
            Range("remanence", 0, 0.8),
            Range("reactance, core saturated", w.machine.air_core_reactance.low, w.machine.air_core_reactance.high),
            Range("joint's share", *JOINT_SHARE_RANGE),
            Range("heat sink", 0.7 * sink.K_per_W, 1.3 * sink.K_per_W),
            Range("case to sink", 0.7 * s.case_to_sink_K_per_W, 1.3 * s.case_to_sink_K_per_W),
            Range("latching current", 0.5 * s.latching_current_A, 1.5 * s.latching_current_A),
            Range("detector offset", -late_us, late_us),
            Range("ambient", 10, 40),
        )

    def judged(self, number: int) -> JudgedMachine:
        """Machine `number`, the same in every process. Raises NoMachine if none can be found."""
        ranges = self.ranges()
        chance = np.random.default_rng([self.seed, number])
        for _ in range(_TRIES):
            drawn = {r.name: float(chance.uniform(r.low, r.high)) for r in ranges}
            try:
                return self._judged(drawn)
            except Impossible:
                continue
        raise NoMachine

    def _judged(self, drawn: dict[str, float]) -> JudgedMachine:
        w = self.welder
        factors = [drawn.get(name, known[0]) for name, known in zip(_READINGS, ends(w, _loop(w)), strict=True)]
        case = MachineCase(*factors, *[drawn[_ANGLE]])
        welder = w.at(
            derive_at(w, case),
            transformer=w.transformer.model_copy(update={"open_current_A": drawn["idle current"]}),
            heat_sink=w.heat_sink.model_copy(update={"K_per_W": drawn["heat sink"]}),
            switch=w.switch.model_copy(
                update={"case_to_sink_K_per_W": drawn["case to sink"], "latching_current_A": drawn["latching current"]}
            ),
            ambient=w.ambient.model_copy(update={"temperature_C": drawn["ambient"]}),
        )
        share = drawn["joint's share"]  # of this machine: the most is the same
        assumed = Assumed(drawn["knee"], drawn["remanence"], drawn["reactance, core saturated"], share, share)
        currents = weld_currents(
            self.job.strongest, welder, assumed, late_us=drawn["detector offset"], longest_row=LONGEST_ROW
        )
        job = replace(self.job, welder=welder)
        plan = PacedJob(job=job, welds_per_minute=self.welds_per_minute, currents=currents, advises=False)
        found = judge_plan(plan).findings
        return JudgedMachine(
            tuple(drawn.values()),
            {f.name: (f.severity, f.figure, f.limit or 0.0, f.strain) for f in found},
            {f.name: ", ".join((f.unit, *f.conditions)) for f in found},
        )


def sweep(plan: SweepPlan, machines: int, workers: int = 1, made: Callable[[int], None] = lambda _: None) -> Sweep:
    """Draw and judge so many machines. `made` is called with the number newly done. The result does not depend on `workers`."""
    if workers == 1:
        rows = []
        for number in range(machines):
            rows.append(plan.judged(number))
            made(1)
        return summary(plan, rows)
    chunks = [range(start, min(start + _CHUNK, machines)) for start in range(0, machines, _CHUNK)]
    try:
        return summary(plan, by_workers(plan, chunks, workers, made))
    except WorkerLost:
        allowed = "allowed: fewer --workers, where the memory is short"
        raise InputError("sweep", "a process that judged machines was ended from outside", None, allowed) from None


def summary(plan: SweepPlan, rows: Sequence[JudgedMachine]) -> Sweep:
    """The summary of the machines' findings."""
    ranges = plan.ranges()
    inputs = np.array([row.inputs for row in rows])
    names = list(dict.fromkeys(name for row in rows for name in row.findings))
    spreads = []
    for name in names:
        found = [row.findings[name] for row in rows if name in row.findings]
        severities = [f[0] for f in found]
        low, middle, high = (float(x) for x in np.percentile([f[1] for f in found], (5, 50, 95)))
        spreads.append(
            Spread(
                name,
                next(row.units[name] for row in rows if name in row.units),
                float(np.median([f[2] for f in found])),
                severities.count("refuse") / len(rows),
                severities.count("caution") / len(rows),
                (low, middle, high),
                _leans(ranges, inputs, np.array([row.findings[name][3] for row in rows if name in row.findings])),
            )
        )
    gravest = [{f[0] for f in row.findings.values()} for row in rows]
    refused = sum("refuse" in words for words in gravest)
    cautioned = sum("refuse" not in words and "caution" in words for words in gravest)
    moving = [s.name for s in spreads if s.leans]
    worst = np.array([max((row.findings[name][3] for name in moving), default=0.0) for row in rows])
    spreads.sort(key=lambda s: (-s.refused, -s.cautioned))
    return Sweep(
        len(rows),
        plan.seed,
        ranges,
        refused / len(rows),
        cautioned / len(rows),
        tuple(spreads),
        _leans(ranges, inputs, worst),
    )


def _leans(
    ranges: tuple[Range, ...], inputs: NDArray[np.float64], strains: NDArray[np.float64]
) -> tuple[tuple[str, float], ...]:
    """Spearman's rank correlation of each input with the strain, strongest first; empty for a constant strain."""
    from scipy.stats import spearmanr  # type: ignore[import-untyped,unused-ignore]

    if len(strains) != len(inputs) or len(strains) < 3 or not np.all(np.isfinite(strains)) or np.ptp(strains) == 0:
        return ()
    least = max(_LEAST_LEAN, _CHANCE / math.sqrt(len(strains)))
    found = [(r.name, float(spearmanr(inputs[:, n], strains).statistic)) for n, r in enumerate(ranges)]
    return tuple(sorted((f for f in found if abs(f[1]) >= least), key=lambda f: -abs(f[1])))


def _loop(welder: Welder) -> Loop | None:
    return loop_of(welder.arms, welder.electrodes, welder.mains.frequency_Hz) if welder.arms else None
