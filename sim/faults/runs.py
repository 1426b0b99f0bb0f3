"""Injects faults into a simulated machine and reports what the board did and what ended the current."""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from gen.firmware import with_crc
from gen.job import Job
from gen.words import ARMED_STATES, STATE_NAMES
from sim.bench.board import BoardSpec
from sim.bench.pedal import PedalSpec, Press
from sim.bench.recording import Recording
from sim.bench.world import Bench, bench_for, simulate
from sim.faults.catalogue import ALL_FAULTS, FAULTS, Fault
from sim.faults.injections import Injection
from sim.faults.invariants import INVARIANTS, over_run, worst_flux
from sim.faults.observed import ObservedRun, Violation

LOCKED_OUT = STATE_NAMES[-1]
PRESS_S = 0.45  # from power-up; the lock takes half of it
DETOUR_S = 0.5  # time taken by storing, or by a lockout before the press
NOTICED_S = 2.0  # a person who hears the transformer hum reaches the stop button; common practice, no source
THEN_S = 1.0  # and the isolator


class FaultTarget:
    """A machine with its schedule and firmware, into which faults are injected.

    `again`: the pedal is pressed a second time after the weld. `knows_rest`: the board can prove its rest after a reset;
    else the duty guard hides the other protections.
    """

    def __init__(
        self,
        job: Job,
        *,
        again: bool = False,
        knows_rest: bool = False,
    ) -> None:
        self.welder = job.welder
        self.table = job.strongest
        self.bundle = job.bundle
        self._again = again
        self._knows_rest = knows_rest
        self._half_s = 0.5 / job.table.frequency_Hz
        self._plain: dict[tuple[int, str], tuple[Bench, dict[str, tuple[float, float]]]] = {}
        self.half_cycles = sum(row.half_cycles for row in job.table.impulse_rows)

    def plain(self, seed: int, state: str) -> tuple[Bench, dict[str, tuple[float, float]]]:
        """A bench whose run reaches `state`, and the first (start, end) of each state in its run without a fault."""
        by = state if state in ("storing", "locked out") else ""
        if (seed, by) not in self._plain:
            bench = self._bench(seed, by)
            self._plain[seed, by] = bench, _first_spans(simulate(self.bundle, self.table, bench))
        return self._plain[seed, by]

    def _bench(self, seed: int, by: str) -> Bench:
        chance = random.Random(seed)
        bench = bench_for(self.welder, self.table, minutes=0.001, seed=seed)
        off_s = self.table.time_of("off") * self._half_s
        weld_s = self.table.half_cycles * self._half_s - off_s
        press_s = PRESS_S + (DETOUR_S if by else 0) + chance.uniform(0, 0.04)
        presses = [Press(press_s, weld_s + chance.uniform(0.15, 0.3))]
        end_s = press_s + weld_s + 0.35
        if self._again:
            presses.append(Press(presses[0].start_s + presses[0].hold_s + off_s + 0.4, weld_s + 0.2))
            end_s = presses[1].start_s + weld_s + 0.25
        request = f'{{"jsonrpc": "2.0", "id": 1, "method": "select", "params": {{"name": "{self.table.name}"}}}}'
        return replace(
            bench,
            pedal=PedalSpec(tuple(presses), bounce_ms=chance.uniform(0, 8)),
            length_s=end_s,
            serial=((0.3, with_crc(request).encode() + b"\n"),) if by == "storing" else (),
            hots=((0.3, 0.25),) if by == "locked out" else (),
            forces=((0.05, 1),) if self.welder.force.force_switch else (),
            board=replace(bench.board, rested_after_reset_ms=BoardSpec.rested_ms if self._knows_rest else 0),
        )


def _first_spans(recording: Recording) -> dict[str, tuple[float, float]]:
    spans = {"starting": (0.0, 0.0)}  # one step long, the first
    ends = [*(change.time_s for change in recording.states[1:]), recording.length_s]
    for change, end_s in zip(recording.states, ends, strict=True):
        spans.setdefault(change.state, (change.time_s, end_s))
    return spans


@dataclass(frozen=True)
class Case:
    """One run with faults: names in the catalogue, and the bench with them injected."""

    faults: tuple[str, ...]
    state: str
    """The state in which the first fault begins in a run without a fault."""
    at_s: float
    """Time at which the first fault begins."""
    bench: Bench
    stop_s: float | None = None
    """Time at which a person presses the stop; the isolator follows after `THEN_S`. None if no person has to act."""


@dataclass(frozen=True)
class Outcome:
    """The result of a case."""

    case: Case
    recording: Recording
    violations: tuple[Violation, ...]
    state: str
    """The state that the board was in when the fault began."""
    did: str
    """The board's reaction, in words."""
    unwanted: int
    """Over-run: unwanted half-cycles of current."""
    lasts: bool
    """Whether the current was still there at the end of the run."""
    ended_by: str
    """What ended the current, in words; "" for nothing."""
    by_hand: bool
    """Whether a person ended it, with the stop or the isolator."""
    flux: float
    """The greatest flux, in steady peaks; 0 where the currents are not those of the board's gates."""

    @property
    def seen(self) -> bool:
        """Whether the board noticed: it locked out."""
        return any(c.state == LOCKED_OUT and c.time_s >= self.case.at_s for c in self.recording.states)

    @property
    def safe(self) -> bool:
        """Whether no invariant was violated and the current ended."""
        return not self.violations and not self.lasts


def case_of(
    target: FaultTarget, names: tuple[str, ...], state: str, seed: int, chance: random.Random, part: float | None = None
) -> Case | None:
    """The case of these faults in this state; None where the state is not reached. `part`: 0 the state's start, 1 its end."""
    bench, spans = target.plain(seed, state)
    if state not in spans:
        return None
    from_s, to_s = spans[state]
    at_s = from_s + (chance.random() if part is None else part) * (to_s - from_s)
    stop_s = None
    injection = Injection(bench, at_s, chance)
    for number, name in enumerate(names):
        injection = replace(injection, at_s=at_s if not number else at_s + chance.choice((0.0, chance.uniform(0, 0.1))))
        injection = replace(injection, bench=ALL_FAULTS[name].apply(injection))
    bench = injection.bench
    if any(ALL_FAULTS[name].acts for name in names):
        ends_s = spans["hold"][0] if "hold" in spans else at_s
        stop_s = max(at_s, ends_s) + NOTICED_S
        isolator_s = stop_s + THEN_S if target.welder.protection.isolator else float("inf")
        bench = replace(
            bench,
            stops=(*(span for span in bench.stops if sum(span) < stop_s), (stop_s, 9.0)),
            protection=replace(bench.protection, isolated_s=isolator_s),
            length_s=stop_s + THEN_S + 0.3,
        )
    return Case(names, state, at_s, bench, stop_s)


def run_case(target: FaultTarget, case: Case) -> Outcome:
    """Simulate the case and judge its run."""
    recording = simulate(target.bundle, target.table, case.bench)
    observed = ObservedRun(recording, target.table, target.welder, case.bench)
    faults = [ALL_FAULTS[name] for name in case.faults]
    violations = tuple(v for check in INVARIANTS if _asked(check.__name__, faults) for v in check(observed))
    unwanted = over_run(observed)
    ends = [c.end_s for c in recording.conductions[-1:]]
    lasts = bool(unwanted) and bool(ends) and ends[0] > case.bench.length_s - 0.05
    return Outcome(
        case,
        recording,
        violations,
        state_at(recording, case.at_s),
        _did(observed, case),
        len(unwanted),
        lasts,
        _ended_by(case, faults, unwanted, lasts),
        not lasts and _ended_by_hand(case, unwanted) is not None,
        worst_flux(observed) if _asked("flux", faults) else 0.0,
    )


def _asked(invariant: str, faults: Iterable[Fault]) -> bool:
    return not any(invariant in fault.not_asked for fault in faults)


def state_at(recording: Recording, time_s: float) -> str:
    """The state just before a moment; at power-up it is starting."""
    at = bisect_left(recording.states, time_s, key=lambda change: change.time_s)
    return recording.states[at - 1].state if at else "starting"


def _did(observed: ObservedRun, case: Case) -> str:
    """The board's reaction, in a few words."""
    r = observed.recording
    after = [change for change in r.states if change.time_s >= case.at_s]
    said = []
    if any(start_s > case.at_s for start_s in r.starts):
        said.append("restarted")
    reasons = [change.reason for change in after if change.state == LOCKED_OUT]
    if reasons:
        said.append(f"locked out: {reasons[-1]}")
    elif case.state in ARMED_STATES:
        weld = next((weld for weld in r.welds if weld.asked_s <= case.at_s < weld.ended_s), None)
        if weld is not None:
            said.append("weld completed" if weld.gates >= weld.planned else "weld ended early")
    return ", ".join(said) or "went on as before"


_LAYERS = {"firmware": "program", "firing hardware": "firing hardware", "table": "end of the table"}


def _ended_by(case: Case, faults: list[Fault], unwanted: list[float], lasts: bool) -> str:
    """The device that ended the current if a person had to act, else the layer that protects against the fault."""
    fitted = case.bench.protection
    if lasts:
        return ""
    by_hand = _ended_by_hand(case, unwanted)
    if by_hand == "isolator":
        return "isolator"
    if by_hand == "stop":
        return f"stop: {_fitted(contactor=fitted.contactor, gate_supply=fitted.stop_cuts_gate)}"
    if case.stop_s is not None and unwanted and fitted.contactor:
        return "contactor"
    if faults[0].layer != "hardware":
        return _LAYERS[faults[0].layer]
    if "stop" in faults[0].takes:
        return _fitted(contactor=fitted.stop_cuts_contactor, gate_supply=fitted.stop_cuts_gate)
    return "gate drive" if fitted.pulse_s is not None else "boot.py, at the next start"


def _ended_by_hand(case: Case, unwanted: list[float]) -> Literal["stop", "isolator"] | None:
    """The device by which a person ended the current; None if it had ended before."""
    if case.stop_s is None or not unwanted:
        return None
    if unwanted[-1] > case.bench.protection.isolated_s - 0.02:
        return "isolator"
    return "stop" if unwanted[-1] > case.stop_s - 0.02 else None


def _fitted(**parts: bool) -> str:
    return ", ".join(name.replace("_", " ") for name, fitted in parts.items() if fitted)


# When the set of `weldbeat faults` injects each fault: (state, part of it, 0 to 1); None draws the part.
SET_MOMENTS: tuple[tuple[str, float | None], ...] = (
    ("weld", None),
    ("weld", 0.01),
    ("weld", 0.97),
    ("squeeze", None),
    ("hold", None),
    ("ready", 0.9),
)
SHORT_MOMENTS = SET_MOMENTS[:1]  # those of the report


@dataclass(frozen=True)
class FaultRuns:
    """One fault on one machine: every run of the set, with its number for the replay."""

    fault: Fault
    outcomes: tuple[tuple[int, Outcome], ...]

    @property
    def worst(self) -> tuple[int, Outcome]:
        """The run with the gravest outcome; of equals the first."""
        return max(self.outcomes, key=lambda o: (not o[1].safe, o[1].unwanted))

    @property
    def safe(self) -> bool:
        return all(outcome.safe for _, outcome in self.outcomes)

    @property
    def unseen(self) -> str:
        """`Fault.unseen` if the board missed the fault in any run; "" if it did not, or if the failed part is not fitted."""
        fitted = self.fault.takes != {"contactor"} or self.worst[1].case.bench.protection.contactor
        return "" if not fitted or all(outcome.seen for _, outcome in self.outcomes) else self.fault.unseen

    @property
    def ended_by(self) -> str:
        """The device or layer that ended the current of the worst run."""
        return self.worst[1].ended_by if self.safe else "nothing that the welder file names"


def numbered_case(target: FaultTarget, number: int, seed: int) -> Case | None:
    """Case `number` of the set, all faults at each moment in turn. None where fault or schedule has no such moment."""
    names = list(FAULTS)
    name, (state, part) = names[number % len(names)], SET_MOMENTS[number // len(names)]
    if state not in FAULTS[name].states:
        return None
    return case_of(target, (name,), state, seed, random.Random(f"{seed} {name} {number // len(names)}"), part)


def set_size(moments: int = len(SET_MOMENTS)) -> int:
    """Number of runs in the first `moments` of the set."""
    return moments * len(FAULTS)


def inject_all(target: FaultTarget, seed: int, moments: int = len(SET_MOMENTS)) -> list[FaultRuns]:
    """Run every fault at each of the first `moments` of the set."""
    found: dict[str, list[tuple[int, Outcome]]] = {name: [] for name in FAULTS}
    for number in range(set_size(moments)):
        case = numbered_case(target, number, seed)
        if case is not None:
            found[case.faults[0]].append((number, run_case(target, case)))
    return [FaultRuns(FAULTS[name], tuple(outcomes)) for name, outcomes in found.items() if outcomes]
