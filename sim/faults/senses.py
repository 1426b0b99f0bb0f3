"""The faults of a weld's senses: the board's lockout for each, or how a person finds it.

None of them may make a weld longer: senses end welds and start none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from gen import words
from gen.job import Job
from gen.machine.welder import Welder
from sim.bench.recording import Recording
from sim.bench.sense import SenseSpec
from sim.bench.world import Bench, bench_for, simulate


@dataclass(frozen=True)
class SenseFault:
    """A fault of the current transformer with its converter, or of the coupler across the switch."""

    name: str
    words: str
    of_current: bool
    """True for the current transformer, false for the sense across the switch."""
    apply: Callable[[Bench], Bench]
    reasons: tuple[int, ...] = ()
    """Lockouts of which one follows if both senses are fitted; none for a fault that the board does not notice."""
    alone: tuple[int, ...] = ()
    """The lockouts if only this sense is fitted."""
    found_by: str = ""
    """How a person finds it if the board does not."""

    def fitted(self, welder: Welder) -> bool:
        """Whether the machine has the sense."""
        return welder.current_sense is not None if self.of_current else welder.board.conduction_sense

    def noticed_as(self, welder: Welder) -> tuple[str, ...]:
        """The words of the lockouts of which one follows on this machine; none where it is not noticed."""
        both = welder.current_sense is not None and welder.board.conduction_sense
        return tuple(words.REASON_NAMES[reason] for reason in (self.reasons if both else self.alone))


def _ammeter(**changes: Any) -> Callable[[Bench], Bench]:
    return lambda bench: bench.with_board(ammeter=replace(bench.board.ammeter, **changes))


def _saturated(bench: Bench) -> Bench:
    """The core is left near its knee by a direct current, and one that is too small for its burden."""
    knee_Vs = 0.06 * bench.board.ammeter.knee_Vs
    return _ammeter(knee_Vs=knee_Vs, residue_Vs=0.9 * knee_Vs)(bench)


def _coupler(stuck: int) -> Callable[[Bench], Bench]:
    return lambda bench: replace(bench, sense=SenseSpec(stuck=stuck))


_FAULT, _NONE = (words.CURRENT_SENSE_FAULT,), (words.NO_CONDUCTION,)
_DISAGREE = (words.SENSES_DISAGREE,)

SENSE_FAULTS = (
    SenseFault(
        "current transformer reversed",
        "its two wires are the wrong way round",
        True,
        _ammeter(on="primary, reversed"),
        found_by="Nothing depends on its direction: the reported currents are the same.",
    ),
    SenseFault(
        "current transformer open",
        "a wire to the burden is broken, or the conductor does not pass through the transformer",
        True,
        _ammeter(on="nothing"),
        _DISAGREE,
        _NONE,
    ),
    SenseFault(
        "current transformer on another conductor",
        "it is on the conductor of another load, which draws 10 A all the time",
        True,
        _ammeter(on="another conductor", other_A=10.0),
        (words.SWITCH_SHORTED,),
        (words.SWITCH_SHORTED,),
    ),
    SenseFault(
        "current transformer saturated",
        "a direct current, or too large a burden, has driven its core to the knee",
        True,
        _saturated,
        (words.CURRENT_LOW, words.SENSES_DISAGREE, words.CURRENT_SENSE_FAULT),
        (words.CURRENT_LOW, words.NO_CONDUCTION, words.ONE_SIDED),
        "If the reading is still above the least planned current, the weld is unchanged. Compare the current of "
        "`weldbeat weld show` with a clamp meter.",
    ),
    SenseFault("converter stuck at 0", "each sample is 0", True, _ammeter(stuck=0), _FAULT, _FAULT),
    SenseFault("converter at its upper end", "each sample is 4095", True, _ammeter(stuck=4095), _FAULT, _FAULT),
    SenseFault("converter stuck in the middle", "each sample is 2048", True, _ammeter(stuck=2048), _DISAGREE, _NONE),
    SenseFault("converter stands still", "no sample comes any more", True, _ammeter(halts_s=0.9), _FAULT, _FAULT),
    SenseFault(
        "bias drifted",
        "a resistor of the divider has aged by a quarter",
        True,
        _ammeter(bias=2048 * 1.14),
        _FAULT,
        _FAULT,
    ),
    SenseFault(
        "noise on the cable",
        "hum of 40 counts and twenty bursts a second",
        True,
        _ammeter(hum_counts=40.0, bursts_a_s=20.0),
        found_by="It is added to each reported current: with no current flowing, the report should be 0.",
    ),
    SenseFault(
        "sense coupler dead",
        "it shows a current all the time",
        False,
        _coupler(1),
        (words.SWITCH_SHORTED,),
        (words.SWITCH_SHORTED,),
    ),
    SenseFault(
        "sense coupler stuck",
        "it shows voltage all the time",
        False,
        _coupler(0),
        (words.SENSES_DISAGREE, words.NO_CONDUCTION),
        _NONE,
    ),
)
"""All of them, in the order in which they are printed."""


@dataclass(frozen=True)
class SenseOutcome:
    """One fault of a sense on one machine. `reason`: of the lockout, "" where the weld went on as before."""

    fault: SenseFault
    reason: str
    longer: bool
    """More gates, or current that lasts longer, than in the weld without the fault."""

    @property
    def did(self) -> str:
        """The board's reaction; if it noticed nothing, how a person finds the fault."""
        return f"locked out: {self.reason}" if self.reason else f"went on as before. {self.fault.found_by}"


def inject_sense_faults(job: Job, seed: int) -> list[SenseOutcome]:
    """One weld with each fault of the senses that the machine has; empty where it has none."""
    fitted = [fault for fault in SENSE_FAULTS if fault.fitted(job.welder)]
    if not fitted:
        return []
    bench = bench_for(job.welder, job.table, minutes=0.001, seed=seed)
    if job.welder.force.force_switch:
        bench = replace(bench, forces=((0.05, 1),))
    whole = simulate(job.bundle, job.table, bench)
    found = []
    for fault in fitted:
        struck = simulate(job.bundle, job.table, fault.apply(bench))
        longer = struck.fired > whole.fired or _ends(struck) > _ends(whole) + _LATER_S
        last = struck.states[-1]
        found.append(SenseOutcome(fault, last.reason if last.reason != "none" else "", longer))
    return found


_LATER_S = 0.021  # a weld that begins a half-cycle or two later, and no longer


def _ends(recording: Recording) -> float:
    return recording.conductions[-1].end_s if recording.conductions else 0.0
