"""Each invariant holds with everything as it is, and is violated when the protection that it watches is taken out.

Out of the application, out of the firing hardware's inputs, or out of the hardware beyond the board.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from sim.bench.board import BoardFault
from sim.bench.pedal import Press
from sim.bench.world import Bench, simulate
from sim.faults.catalogue import FAULTS
from sim.faults.invariants import (
    INVARIANTS,
    after_release,
    after_stop,
    duty,
    flux,
    fresh_request,
    let_go,
    lock,
    lockouts,
    mains_loss,
    one_train,
    over_run,
    polarity,
    table_count,
    window,
)
from sim.faults.observed import ObservedRun, Violation
from sim.faults.runs import FaultTarget, numbered_case, run_case, set_size
from tests.support.app.weakened import Change, always, answers, constant, never, sets, together, unset
from tests.support.faults.fault_grounds import ONE_A_MINUTE, ground_of, numbered

AIR = {"force": {"source": "air"}}
NO_STOP = never("Supervisor._trouble", "STOP_OPEN")
FOREVER = float("inf")


@dataclass(frozen=True)
class Taken:
    """`invariant` watches a protection, `bench` makes the run.

    `changes` of the application and `cut` of the bench take it out.
    """

    name: str
    invariant: Callable[[ObservedRun], list[Violation]]
    bench: Callable[[Bench], Bench]
    changes: tuple[Change, ...] = ()
    cut: Callable[[Bench], Bench] = field(default=lambda bench: bench)
    tables: dict[str, Any] = field(default_factory=lambda: dict(AIR))
    knows_rest: bool = True
    not_asked: tuple[str, ...] = ()


def pressed(
    *presses: tuple[float, float], faults: tuple[BoardFault, ...] = (), **changes: Any
) -> Callable[[Bench], Bench]:
    def make(bench: Bench) -> Bench:
        pedal = replace(bench.pedal, presses=tuple(Press(*press) for press in presses))
        return replace(bench.with_board(faults=faults), pedal=pedal, **changes)

    return make


def mains(bench: Bench, **changes: Any) -> Bench:
    return replace(bench, mains=replace(bench.mains, **changes))


def stopped(bench: Bench, **changes: Any) -> Bench:
    """Stop is pressed in the first weld. `changes`: of the board."""
    return replace(bench.with_board(**changes), stops=((0.80, 0.5),))


HANG = (BoardFault("hang", 0.77, FOREVER),)

TAKEN = (
    Taken(
        "after a restart the pedal must be seen open",
        fresh_request,
        pressed((0.45, 3.0), faults=(BoardFault("watchdog", 0.8),), length_s=3.0),
        (
            never("Supervisor._start", "WATCHDOG"),
            never("Supervisor._start", "pedal"),
            sets("Supervisor.step", "pedal_opened", "True"),
        ),
    ),
    Taken(
        "the pedal must be seen open between welds",
        table_count,
        pressed((0.45, 3.0), length_s=2.5),
        (unset("Supervisor._ready", "pedal_opened"),),
    ),
    Taken(
        "a weld that was cut off is not begun again",
        one_train,
        lambda bench: mains(bench, sags=((0.78, 0.15, 0.0),)),
        (always("Supervisor._weld", "START_TRIES"),),
    ),
    Taken(
        "the pulse train runs from the pedal to the end of hold and no longer",
        let_go,
        lambda bench: replace(bench, switch=replace(bench.switch, fault="shorted", fault_s=0.1)),
        (answers("Supervisor._wants_contactor", "1"),),
        tables=AIR | {"protection": {"mirror_contact": False}},
        not_asked=("flux",),
    ),
    Taken(
        "where the hand is the force it ends with the hand",
        let_go,
        lambda bench: replace(
            pressed((0.45, 0.5), length_s=2.5)(bench), switch=replace(bench.switch, fault="shorted", fault_s=0.1)
        ),
        (never("Supervisor._wants_contactor", "RELEASE_STOPS"),),
        tables={},
        not_asked=("flux",),
    ),
    Taken(
        "the firing hardware tests stop before every gate",
        after_stop,
        stopped,
        (NO_STOP,),
        lambda bench: replace(
            bench.with_board(faults=HANG, stop_reaches_gate=False),
            protection=replace(bench.protection, stop_cuts_gate=False, stop_cuts_contactor=False),
        ),
    ),
    Taken(
        "without that test the program ends it",
        after_stop,
        lambda bench: stopped(bench, stop_reaches_gate=False),
        (
            NO_STOP,
            answers("Supervisor._contactor_trouble", "0"),
        ),  # a mirror contact would tell of the coil that stop breaks
    ),
    Taken(
        "with neither, the stop contacts break the gate supply",
        after_stop,
        lambda bench: stopped(bench, stop_reaches_gate=False, faults=HANG),
        (),
        lambda bench: replace(
            bench, protection=replace(bench.protection, stop_cuts_gate=False, stop_cuts_contactor=False)
        ),
    ),
    Taken(
        "a stop that opens for a millisecond under a gate is told all the same",
        fresh_request,
        lambda bench: replace(bench, stops=((0.8345, 0.001),)),
        (),
        lambda bench: bench.with_board(blips_held=False),
    ),
    Taken(
        "the firing hardware tests the pedal before every gate",
        after_release,
        pressed((0.45, 0.35), faults=HANG, length_s=1.5),
        (),
        lambda bench: bench.with_board(release_reaches_gate=False),
        tables={},
    ),
    Taken(
        "without that test the program ends what was let go",
        after_release,
        lambda bench: pressed((0.45, 0.35), length_s=1.5)(bench).with_board(release_reaches_gate=False),
        (never("Supervisor._weld", "RELEASE_STOPS"),),
        tables={},
    ),
    Taken(
        "what was left of a weld does not fire when the mains is back",
        mains_loss,
        lambda bench: mains(bench, sags=((0.78, 0.15, 0.0),)),
        (always("Supervisor._weld", "START_TRIES"),),
    ),
    Taken(
        "the detector's offset is taken off",
        window,
        pressed((0.45, 1.0), length_s=1.5),
        (constant("OFFSET_RISE_US", -900),),
    ),
    Taken(
        "false edges excuse no more than the half-cycles that it takes to see them",
        window,
        lambda bench: replace(
            bench, detector=replace(bench.detector, false_s=tuple(0.7552 + 0.01 * n for n in range(30)))
        ),
        (
            constant("OFFSET_RISE_US", -620),
            constant("OFFSET_FALL_US", -620),
            answers("MainsLock.noisy_under_current", "False"),
        ),
    ),
    Taken(
        "a missed edge does not count as agreed",
        window,
        # Forty milliseconds before the pedal: the mean of eight half-cycles would be 11,250 us as the weld is prepared.
        lambda bench: replace(
            pressed((0.45, 0.6), (2.0, 1.0), length_s=3.0)(bench),
            detector=replace(bench.detector, missing=frozenset({41})),
        ),
        (always("MainsLock.edge", "in_band"),),
    ),
    Taken(
        "the next weld begins on the other polarity than the last that conducted",
        polarity,
        pressed((0.45, 0.34), (1.6, 1.0), length_s=2.6),
        (unset("Supervisor._finish", "positive"),),
        tables={},
    ),
    Taken(
        "the first half-cycle is fired late",
        flux,
        pressed((0.45, 1.0), length_s=1.5),
        (sets("Plan.fill", "delay_us", "600", of="nominal_half_us"),),
    ),
    Taken(
        "no weld before the mains is locked to",
        lock,
        lambda bench: mains(pressed((0.45, 1.0), length_s=1.5)(bench), frequency_Hz=54.5),
        (answers("MainsLock.locked", "True"),),
    ),
    Taken(
        "after a start the minute's duty counts as spent",
        duty,
        pressed((0.45, 0.3), (1.8, 1.0), faults=(BoardFault("brown-out", 0.8, 0.05),), length_s=3.0),
        (never("DutyGuard.begin", "rested_ms"),),
        knows_rest=False,
    ),
    Taken(
        "a weld is charged to the minute's duty",
        duty,
        pressed((0.45, 1.0), (2.0, 1.0), length_s=3.0),
        (never("Supervisor._fire", "tries"),),
        tables=ONE_A_MINUTE,
    ),
    Taken(
        "a lockout has a reason",
        lockouts,
        stopped,
        (never("Supervisor._lock_out", "LOCKED_OUT"),),
    ),
)


def observed_of(ground: FaultTarget, bench: Bench, changes: tuple[Change, ...] = ()) -> ObservedRun:
    recording = simulate(together(*changes)(ground.bundle), ground.table, bench)
    return ObservedRun(recording, ground.table, ground.welder, bench)


@pytest.mark.parametrize("taken", TAKEN, ids=lambda taken: taken.name.replace(" ", "-"))
def test_taken_out_it_is_violated(taken: Taken) -> None:
    """With the protection every invariant holds and a gate is given; without it this one does not."""
    ground = ground_of(taken.tables, knows_rest=taken.knows_rest)
    bench = taken.bench(ground.plain(2, "weld")[0])
    whole = observed_of(ground, bench)
    asked = [check for check in INVARIANTS if check.__name__ not in taken.not_asked]
    assert [v for check in asked for v in check(whole)] == []
    without = observed_of(ground, taken.cut(bench), taken.changes)
    assert without.recording.gates
    assert taken.invariant(without), "nothing is violated without the protection: this test proves nothing"


NOTICED = (
    ("polarity always one", unset("Supervisor._finish", "positive"), "polarity", range(50, 60)),
    ("duty not charged", never("Supervisor._fire", "tries"), "duty", range(30, 40)),
)


@pytest.mark.parametrize(
    ("name", "change", "invariant", "runs"), NOTICED, ids=[n[0].replace(" ", "-") for n in NOTICED]
)
def test_the_campaign_s_own_runs_notice_it(name: str, change: Change, invariant: str, runs: range) -> None:
    """Neither is seen in a single weld: the campaign must have runs whose second weld it spoils."""
    for made in filter(None, map(numbered, runs)):
        machine = copy(made[0])
        machine.bundle = change(machine.bundle)
        if invariant in {violation.invariant for violation in run_case(machine, made[1]).violations}:
            return
    pytest.fail(f"none of {runs} notices it")


def test_the_set_of_faults_notices_a_missed_edge_that_counts_as_agreed() -> None:
    """The set strikes an idle board so late that the edge is missed while the next weld's half-cycle is measured."""
    machine = copy(ground_of({}))
    machine.bundle = always("MainsLock.edge", "in_band")(machine.bundle)
    numbers = [n for n in range(set_size()) if n % len(FAULTS) == list(FAULTS).index("missing crossing")]
    cases = [case for n in numbers if (case := numbered_case(machine, n, 0)) is not None]
    assert "window" in {violation.invariant for case in cases for violation in run_case(machine, case).violations}


def test_every_invariant_is_proven() -> None:
    """An invariant without such a run could hold by saying nothing."""
    assert {taken.invariant for taken in TAKEN} == set(INVARIANTS)


def test_over_run_counts_what_nobody_wants() -> None:
    """A plain weld has none; a switch that conducts for ever has a half-cycle for each of the mains, which is arithmetic."""
    ground = ground_of(AIR, again=False)
    bench = ground.plain(2, "weld")[0]
    assert over_run(observed_of(ground, bench)) == []
    shorted = replace(
        bench,
        switch=replace(bench.switch, fault="shorted", fault_s=0.1),
        protection=replace(bench.protection, contactor=False),
        pedal=replace(bench.pedal, presses=()),
        length_s=1.1,
    )
    unwanted = over_run(observed_of(ground, shorted))
    assert abs(len(unwanted) - 100) <= 1, "a second at 50 Hz"
