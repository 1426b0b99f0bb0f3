"""Simulation of every broken part's consequence in each state of the weld: who notices it, and when.

There is one simulation for each consequence and state, whatever the number of parts that have it. Each run has two welds.
The fault begins in the first, or before it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, get_args

from gen.job import Job
from gen.words import STATE_NAMES
from sim.faults.catalogue import ALL_FAULTS
from sim.faults.consequences import CONSEQUENCES, Consequence
from sim.faults.invariants import over_run
from sim.faults.observed import ObservedRun
from sim.faults.runs import LOCKED_OUT, NOTICED_S, THEN_S, FaultTarget, Outcome, case_of, run_case

Notices = Literal["person", "nobody", "step", "work", "hardware", "board"]
"""Who ends or notices it, the gravest first: a person by a device or by care, nobody, a commissioning step only, the person who
sees that no weld is made, fitted hardware, or the board by a lockout."""
_TRAIN_S = 0.060  # the contactor stage turns the coil off this long after the last edge of the pulse train
_ROW_S = 0.030  # currents no further apart than this are one row
_STEP_HALF_CYCLES = 4  # the program's reaction time, and the half-cycle that has begun


class PartBroken(Protocol):
    """One part in one mode, as gen.wiring.broken_parts lists them."""

    @property
    def name(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def where(self) -> str: ...
    @property
    def mode(self) -> str: ...
    @property
    def consequence(self) -> str:
        """A key of `CONSEQUENCES`."""


@dataclass(frozen=True)
class PartOutcome:
    """One consequence that began in one state."""

    state: str
    did: str
    """The board's reaction, in words."""
    over_run: int
    """Unwanted half-cycles of current, after the weld should have ended."""
    released: int
    """The longest row of unwanted half-cycles with the pedal released."""
    lasts: bool
    """Whether the current was still there at the end."""
    by_hand: bool
    """Whether a person's stop or isolator ended it."""
    ended_by: str
    noticed_after: int | None
    """Half-cycles from the fault's beginning to the lockout; None where the board did not lock out."""


@dataclass(frozen=True)
class PartRow:
    """One consequence on one machine, with the parts that have it and a run for each state."""

    key: str
    consequence: Consequence
    parts: tuple[PartBroken, ...]
    outcomes: tuple[PartOutcome, ...]
    steps: tuple[str, ...]
    """Keys of this machine's commissioning steps that would reveal it."""
    bound: int
    """Half-cycles in a row that are allowed with the pedal released."""

    @property
    def worst(self) -> PartOutcome | None:
        """The run with the gravest outcome; None where nothing is simulated."""
        return max(self.outcomes, key=lambda o: (o.lasts, o.over_run), default=None)

    @property
    def lasts(self) -> bool:
        return any(o.lasts for o in self.outcomes)

    @property
    def by_hand(self) -> bool:
        return any(o.by_hand for o in self.outcomes)

    @property
    def over_run(self) -> int:
        return max((o.over_run for o in self.outcomes), default=0)

    @property
    def released(self) -> int:
        """The longest row of unwanted half-cycles with the pedal released."""
        return max((o.released for o in self.outcomes), default=0)

    @property
    def unseen_in(self) -> tuple[str, ...]:
        """The states in which it began and no lockout followed."""
        return tuple(o.state for o in self.outcomes if o.noticed_after is None)

    @property
    def within(self) -> bool:
        """Whether the current with the pedal released ended inside the bound."""
        return not self.lasts and self.released <= self.bound

    @property
    def notices(self) -> Notices:
        """Who notices it in the run in which it is noticed least."""
        if self.lasts or self.by_hand or (self.consequence.unasked and self.over_run):
            return "person"
        if self.outcomes and len(self.unseen_in) < len(self.outcomes):
            return "board"
        if self.consequence.no_weld:
            return "work"
        if self.over_run:
            return "hardware"
        return "step" if self.steps else "nobody"

    @property
    def parts_text(self) -> str:
        """The parts with their modes: `Q43 shorted, R45 open`."""
        modes: dict[str, list[str]] = {}
        for part in self.parts:
            modes.setdefault(part.name, []).append(part.mode)
        return ", ".join(f"{name} {' or '.join(how)}" for name, how in modes.items())

    @property
    def result_text(self) -> str:
        """The result of the runs in sentences: over-run, lockouts with their half-cycles, and the states without one."""
        worst = self.worst
        if worst is None:
            return _capital(f"{self.consequence.unseen}.")
        said = []
        if self.lasts:
            said.append("Nothing that the welder file names ends the current.")
        elif self.over_run:
            by = "the end of the table" if self.consequence.unasked else worst.ended_by
            said.append(
                f"Over-run {self.over_run} half-cycles where it begins in {worst.state}, ended by {by}; "
                f"at most {self.released} in a row with the pedal released."
            )
        if self.slowest is not None:
            did = [o.did for o in self.outcomes if o.noticed_after is not None]
            most = max(dict.fromkeys(did), key=did.count)
            said.append(f"{_capital(most)}, within {self.slowest} half-cycles.")
            if self.unseen_in:
                said.append(f"No lockout where it begins in {', '.join(self.unseen_in)}.")
        if self.unseen_in and self.consequence.unseen:
            said.append(_capital(f"{self.consequence.unseen}."))
        return " ".join(said)

    @property
    def slowest(self) -> int | None:
        """The most half-cycles to a lockout, of the runs that have one."""
        return max((o.noticed_after for o in self.outcomes if o.noticed_after is not None), default=None)


NOTICES: tuple[Notices, ...] = get_args(Notices)


@dataclass(frozen=True)
class PartBounds:
    """The most half-cycles of unwanted current in a row, with the pedal released, that one broken part may give."""

    hardware: int
    """If hardware ends it: the rest of the hold time, the pulse train's end, and the contactor's opening."""
    person: int
    """If a person ends it: the hold time, 2 s to reach the stop, and 1 s more to reach the isolator."""
    table: int
    """If a pedal circuit starts an unwanted weld: that one weld, which the table ends."""


@dataclass(frozen=True)
class BrokenMachine:
    """One machine with every part of it broken in turn."""

    parts: tuple[PartBroken, ...]
    rows: tuple[PartRow, ...]
    """One row a consequence, the worst first."""
    bounds: PartBounds

    @property
    def safe(self) -> bool:
        """Whether the current of every broken part ended inside its bound."""
        return all(row.within for row in self.rows)

    @property
    def part_count(self) -> int:
        return len({part.name for part in self.parts})

    @property
    def run_count(self) -> int:
        return sum(len(row.outcomes) for row in self.rows)

    @property
    def case_count(self) -> int:
        """Broken parts times the states of a weld; a consequence that is not simulated is the same in each."""
        return len(self.parts) * len(STATE_NAMES)

    @property
    def worst_text(self) -> str:
        """The greatest over-run, in words."""
        worst = max(self.rows, key=lambda row: (row.lasts, row.over_run))
        if worst.lasts:
            return f"no end, by {worst.parts_text}"
        return f"{worst.over_run}, by {worst.parts_text}" if worst.over_run else "none"


def break_machine(job: Job, parts: Sequence[PartBroken], step_keys: Sequence[str], seed: int) -> BrokenMachine:
    """Break each of the parts in turn. `step_keys`: of the commissioning steps that this machine has."""
    return BrokenMachine(tuple(parts), tuple(break_parts(job, parts, step_keys, seed)), bounds_of(job))


def bounds_of(job: Job) -> PartBounds:
    """The bounds for this machine and schedule."""
    half_s, hold = 0.5 / job.table.frequency_Hz, job.table.time_of("hold")
    opens_s = job.welder.contactor.open_after_ms / 1000
    return PartBounds(
        hold + math.ceil((_TRAIN_S + opens_s) / half_s) + _STEP_HALF_CYCLES,
        hold + math.ceil((NOTICED_S + THEN_S) / half_s) + _STEP_HALF_CYCLES,
        job.table.fired_half_cycles,
    )


def break_parts(job: Job, parts: Sequence[PartBroken], step_keys: Sequence[str], seed: int) -> list[PartRow]:
    """A row for each consequence that a part has, worst first. `step_keys`: the machine's commissioning steps."""
    target, bounds = FaultTarget(job, again=True, knows_rest=True), bounds_of(job)
    rows = []
    for key, consequence in CONSEQUENCES.items():
        having = tuple(part for part in parts if part.consequence == key)
        if not having:
            continue
        outcomes = tuple(
            outcome
            for state in (STATE_NAMES[:1] if consequence.from_start else STATE_NAMES)
            if (outcome := _play(target, consequence, state, seed)) is not None
        )
        found_by = tuple(step for step in consequence.steps if step in step_keys)
        by_hand = any(outcome.by_hand for outcome in outcomes)
        lasts = any(outcome.lasts for outcome in outcomes)
        bound = bounds.table if consequence.unasked else bounds.person if by_hand or lasts else bounds.hardware
        rows.append(PartRow(key, consequence, having, outcomes, found_by, bound))
    return sorted(rows, key=lambda row: (not row.lasts, NOTICES.index(row.notices), -row.over_run))


def _play(target: FaultTarget, consequence: Consequence, state: str, seed: int) -> PartOutcome | None:
    """None where nothing is simulated for it, or where the fault or the schedule has no such state."""
    name = consequence.plays
    if not name or state not in ALL_FAULTS[name].states:
        return None
    case = case_of(target, (name,), state, seed, random.Random(f"{seed} {name} {state}"), 0.5)
    if case is None:
        return None
    outcome = run_case(target, case)
    return PartOutcome(
        state,
        outcome.did,
        *_unwanted(target, outcome, consequence, seed),
        outcome.lasts,
        outcome.by_hand,
        outcome.ended_by,
        None
        if consequence.plays_more
        else _noticed_after(outcome, target, 0.0 if consequence.from_start else case.at_s),
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _unwanted(target: FaultTarget, outcome: Outcome, consequence: Consequence, seed: int) -> tuple[int, int]:
    """Over-run, and the longest row of it while no foot was on the pedal, whatever its circuit says; in half-cycles.

    Where the pedal's circuit is the fault, every current without a foot is unwanted, and no press follows.
    """
    case, plain = outcome.case, target.plain(seed, outcome.case.state)[0]
    pressed = [(p.start_s, p.start_s + p.hold_s) for p in plain.pedal.presses]
    if consequence.unasked:
        pressed = [span for span in pressed if span[0] < case.at_s]
        currents = [c.start_s for c in outcome.recording.conductions if c.start_s >= case.at_s]
        unwanted = [at_s for at_s in currents if not _inside(pressed, at_s)]
    else:
        unwanted = over_run(ObservedRun(outcome.recording, target.table, target.welder, case.bench))
    longest = row = 0
    last_s = -1.0
    for at_s in unwanted:
        row = 0 if _inside(pressed, at_s) else row + 1 if at_s - last_s < _ROW_S else 1
        longest, last_s = max(longest, row), at_s
    return len(unwanted), longest


def _inside(spans: Sequence[tuple[float, float]], at_s: float) -> bool:
    return any(start_s <= at_s <= end_s for start_s, end_s in spans)


def _noticed_after(outcome: Outcome, target: FaultTarget, from_s: float) -> int | None:
    times = [c.time_s for c in outcome.recording.states if c.state == LOCKED_OUT and c.time_s >= from_s]
    if outcome.case.state == LOCKED_OUT:  # that of the run's own heat is no answer to the fault
        times = [t for t in times if t > outcome.case.at_s + 0.3]
    return math.ceil((times[0] - from_s) * 2 * target.table.frequency_Hz) if times else None
