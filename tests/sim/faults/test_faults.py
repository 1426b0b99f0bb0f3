"""The named faults: each begins in a weld under way, and none leaves the transformer on where hardware for it is fitted."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from gen.words import ARMED_STATES, STATE_NAMES
from sim.bench.board import BoardFault
from sim.bench.protection import PULSE_S, TRAIN_S, protection_of
from sim.bench.world import simulate
from sim.faults.catalogue import FAULTS
from sim.faults.runs import FaultTarget, case_of, inject_all, numbered_case, run_case, set_size
from sim.faults.text import finding_of, recording_text
from tests.support.app.weakened import constant
from tests.support.faults.fault_grounds import ALONE, MACHINES, ground, ground_of, numbered, pairs, why_empty
from tests.support.machines import job_of, make_welder

OPENS_S = protection_of(make_welder()).opens_s
RUNS = 100  # of the campaign's 100 000: `python -m tests.campaigns.faults 100000 faults.json`
REQUIRED = [
    "missing crossing",
    "doubled edges",
    "noise burst",
    "frequency step",
    "frequency ramp",
    "sag",
    "half-wave supply",
    "dropout of a second",
    "dropout of an hour",
    "detector stuck high",
    "detector stuck low",
    "detector drift",
    "pedal bounce",
    "pedal stuck",
    "pedal chatters",
    "release",
    "stop",
    "stop for a millisecond",
    "release, Python hung",
    "over-temperature",
    "gate wire open",
    "gate driver stuck on",
    "switch shorted",
    "switch half-wave",
    "late gate",
    "garbage-collection pause",
    "interpreter hang",
    "exception",
    "soft reset in a gate",
    "watchdog bite",
    "brown-out",
    "serial flood",
    "settings damaged",
    "clock 3 % fast",
    "clock 3 % slow",
    "contactor welded shut",
    "contactor slow",
    "contactor does not close",
    "mirror contact stuck",
]


def outcome_of(name: str, tables: dict | None = None, state: str = "weld", seed: int = 2, part: float = 0.5):
    machine = ground(0) if tables is None else ground_of(tables)
    case = case_of(machine, (name,), state, seed, random.Random(name), part)
    return run_case(machine, case)


def test_nothing_that_was_asked_for_is_missing() -> None:
    assert set(REQUIRED) <= set(FAULTS)


def test_a_seeded_part_of_the_campaign() -> None:
    """No violation, no current without end, and nearly all with a weld under way."""
    amiss, under_way, made = [], 0, 0
    for number in range(RUNS):
        ground_and_case = numbered(number)
        if ground_and_case is None:
            continue
        outcome = run_case(*ground_and_case)
        made += 1
        under_way += outcome.state in ARMED_STATES
        amiss += [(number, outcome.case.faults, v) for v in outcome.violations]
        if outcome.lasts:
            amiss.append((number, outcome.case.faults, "the current does not end"))
    assert amiss == []
    assert made > 0.95 * RUNS
    assert under_way > 0.8 * made


def test_what_was_timed_is_forgotten_over_a_reset() -> None:
    """A weld cut off by a brown-out, then a pedal let go in the squeeze: the old currents are not those of the new start."""
    made = numbered(2008)
    assert made is not None
    assert run_case(*made).safe


def test_a_case_is_the_same_every_time() -> None:
    """A number is a run, or no violation could be replayed."""
    for number in (3, 10, 28):
        one, other = numbered(number), numbered(number)
        assert one is not None
        assert other is not None
        assert one[1] == other[1]
        assert recording_text(run_case(*one)) == recording_text(run_case(*other))


def test_every_pair_is_run_or_has_its_reason() -> None:
    run, left_out = pairs()
    count = len(FAULTS)
    assert len(run) + len(left_out) == count * (count - 1) // 2
    assert all(why for _, _, why in left_out)
    assert len(run) > 500


def test_no_cell_of_the_matrix_is_empty_without_a_reason() -> None:
    for name, fault in FAULTS.items():
        for state in STATE_NAMES:
            assert (state in fault.states) != bool(why_empty(name, state)), (name, state)


@pytest.mark.parametrize("number", range(len(MACHINES)))
def test_every_machine_comes_through_every_state(number: int) -> None:
    """Or its cells of the matrix would be empty by accident."""
    for state in STATE_NAMES:
        assert state in ground(number).plain(0, state)[1], state


def test_no_fault_undoes_its_own_effect() -> None:
    """A strike in a lockout finds the board locked out, though it may be of the kind that made the lockout."""
    for name, fault in FAULTS.items():
        if "locked out" in fault.states:
            assert outcome_of(name, state="locked out").state == "locked out", name


def test_a_hung_interpreter_is_reset_and_ends_the_weld_by_its_table() -> None:
    """The hang itself lengthens nothing; without the watchdog nothing would ever come back."""
    outcome = outcome_of("interpreter hang")
    assert outcome.did.startswith("restarted")
    assert outcome.unwanted == 0
    machine = ground(0)
    dead = simulate(constant("WATCHDOG_MS", 1_000_000)(machine.bundle), machine.table, outcome.case.bench)
    assert dead.starts == ()


def test_stop_with_a_hung_interpreter_is_the_firing_hardware_s() -> None:
    """A gate or two before stop is open, none after; with neither test the gates go on, and hardware ends the current."""
    by_test = outcome_of("stop, Python hung", part=0.2)
    stop_s = by_test.recording.stops[0].time_s
    assert by_test.safe
    assert by_test.recording.gates
    assert not any(on > stop_s for on, _ in by_test.recording.gates[:16])
    by_chain = outcome_of("stop, hung, no test", part=0.2)
    stop_s = by_chain.recording.stops[0].time_s
    assert sum(on > stop_s for on, _ in by_chain.recording.gates) > 3
    assert not any(c.start_s > stop_s + OPENS_S for c in by_chain.recording.conductions)
    bare = outcome_of("stop, hung, no test", ALONE, part=0.2)
    assert not bare.safe
    assert "no hardware" in bare.violations[0].what


LONG_WELD = {"weld": "126 cycles", "current_percent": 60}


@pytest.mark.parametrize("source", ["hand", "foot_lever"])
def test_a_pedal_let_go_with_a_hung_interpreter_is_the_firing_hardware_s(source: str) -> None:
    """One half-cycle more at most, where without its test 178 came until the watchdog: hand and lever are the force.

    The machine has nothing beyond the board that would end it.
    """
    welder = make_welder(force={"source": source}, protection=ALONE["protection"])
    machine = FaultTarget(job_of(welder, LONG_WELD), again=False)
    case = case_of(machine, ("release, Python hung",), "weld", 2, random.Random(1), 0.1)
    assert case is not None
    tested = run_case(machine, case)
    assert tested.safe
    assert tested.recording.gates
    assert tested.unwanted <= 1
    untested = replace(case, bench=case.bench.with_board(release_reaches_gate=False))
    without = run_case(machine, untested)
    assert without.unwanted > 170
    assert {v.invariant for v in without.violations} == {"after-release"}


def test_a_shorted_switch_is_carried_by_what_is_fitted_and_by_nothing_else() -> None:
    """A contactor: the end of hold; with a sense, some half-cycles. An isolator: that. Nothing: refused.

    With the contactor no hand is needed, and no current flows before a pedal.
    """
    sensed = outcome_of("switch shorted", {"board": {"conduction_sense": True}})
    assert sensed.ended_by == "contactor"
    assert sensed.safe
    once = ground_of({"force": {"source": "foot_lever"}}, again=False)
    case = case_of(once, ("switch shorted",), "weld", 2, random.Random(1), 0.5)
    assert case is not None
    stopped = run_case(once, case)
    assert stopped.ended_by == "contactor"
    assert not stopped.by_hand
    assert stopped.unwanted <= once.table.time_of("hold") + 100 * (TRAIN_S + OPENS_S + 0.05) + once.half_cycles
    isolated = outcome_of("switch shorted", ALONE)
    assert isolated.ended_by == "isolator"
    assert isolated.safe
    assert isolated.unwanted > stopped.unwanted
    alone = outcome_of("switch shorted", {"protection": ALONE["protection"] | {"isolator": False}})
    assert alone.ended_by == ""
    assert alone.lasts
    assert not alone.safe


def test_the_pulse_train_holds_the_contactor() -> None:
    """After a hang current ends once train and contactor have had their time, whatever the gate does."""
    machine = ground_of({"force": {"source": "air"}})
    bench = machine.plain(2, "weld")[0]
    at_s = machine.plain(2, "weld")[1]["weld"][0] + 0.03
    hung = replace(
        bench.with_board(faults=(BoardFault("hang", at_s, math.inf),)),
        protection=replace(bench.protection, stuck_on_s=at_s),
        length_s=3.0,
    )
    ends_s = simulate(machine.bundle, machine.table, hung).conductions[-1].end_s
    assert at_s + TRAIN_S < ends_s < at_s + 0.025 + TRAIN_S + OPENS_S + 0.02
    welded = replace(hung, protection=replace(hung.protection, welded_s=at_s))
    assert simulate(machine.bundle, machine.table, welded).conductions[-1].end_s > 2.9
    apart = replace(hung, protection=replace(hung.protection, welded_s=at_s + TRAIN_S + OPENS_S + 0.03))
    assert (
        simulate(machine.bundle, machine.table, apart).conductions[-1].end_s == ends_s
    )  # contacts that are open cannot weld


def test_stop_in_every_half_cycle() -> None:
    """No gate after it, whichever half-cycle of the weld it is pressed in."""
    machine = ground(0)
    for n in range(machine.half_cycles):
        case = case_of(machine, ("stop",), "weld", 1, random.Random(n), (n + 0.5) / machine.half_cycles)
        assert case is not None
        recording = simulate(machine.bundle, machine.table, case.bench)
        (open_s, length_s), *_ = case.bench.stops
        assert not any(open_s + 2e-6 < on_s < open_s + length_s for on_s, _ in recording.gates), n


def test_a_bounded_gate_drive_ends_what_a_frozen_pin_does_not() -> None:
    """The pin is high until boot.py; the current lasts no longer than one drive's pulse and its half-cycle."""
    machine = ground(0)
    bench, _spans = machine.plain(2, "weld")
    on_s, off_s = simulate(machine.bundle, machine.table, bench).gates[5]
    frozen = replace(bench.with_board(faults=(BoardFault("soft reset", (on_s + off_s) / 2),)), length_s=1.5)
    bounded = simulate(machine.bundle, machine.table, frozen)
    assert bounded.gates[5][1] - on_s > 0.03
    assert bounded.conductions[-1].end_s < on_s + PULSE_S + 0.02
    direct = simulate(
        machine.bundle, machine.table, replace(frozen, protection=replace(frozen.protection, pulse_s=None))
    )
    assert len(direct.conductions) > len(bounded.conductions) + 2


def test_the_protection_is_what_the_welder_file_says() -> None:
    assert protection_of(make_welder()).pulse_s == PULSE_S
    assert protection_of(make_welder(protection={"gate_drive": "direct"})).pulse_s is None
    assert protection_of(make_welder(protection={"gate_drive": "capacitor"})).blocks_dc
    assert not protection_of(make_welder(protection={"contactor": False})).stop_cuts_contactor


def test_a_clock_off_by_3_percent_scales_what_the_board_times() -> None:
    """Angles come out the same, for edges and gates are timed by one crystal; a weld is as many half-cycles as ever."""
    machine = ground(0)
    bench = machine.plain(2, "weld")[0]
    true, fast = (simulate(machine.bundle, machine.table, bench.with_board(clock_rate=rate)) for rate in (1.0, 1.03))
    assert len(fast.gates) == len(true.gates)
    on_s = [r.gates[3][0] - r.half_cycle_at(r.gates[3][0]).start_s for r in (true, fast)]
    assert on_s[0] == pytest.approx(on_s[1], abs=60e-6)
    lasts_ms = [
        next(b.time_s - a.time_s for a, b in zip(r.states, r.states[1:]) if a.state == "hold") for r in (true, fast)
    ]
    assert lasts_ms[1] < lasts_ms[0] + 0.03


def test_damaged_settings_lock_out_after_the_restart() -> None:
    assert outcome_of("settings damaged").did == "restarted, locked out: settings damaged"


def test_the_set_of_the_command_line() -> None:
    """Every fault has its row, every number its run; with all hardware fitted nothing is refused."""
    machine = ground(1)
    rows = inject_all(machine, 0, 1)
    assert [row.fault.name for row in rows] == list(FAULTS)
    assert all(row.safe for row in rows), [row.worst[1].violations for row in rows if not row.safe]
    numbers = [number for row in rows for number, _ in row.outcomes]
    assert sorted(numbers) == list(range(set_size(1)))
    case = numbered_case(machine, numbers[5], 0)
    assert case is not None
    assert case.faults == (rows[5].fault.name,)
    assert {finding_of(row).severity for row in rows} <= {"passed", "caution"}


# The fault, whether the person presses stop afterwards, and what the board reports until then.
WAYS_OUT = (
    ("stop", False, "stop is open"),
    ("dropout of a second", False, "mains lost or unsteady"),
    ("doubled edges", False, "extra edges from the detector"),
    ("over-temperature", False, "over-temperature contact open"),
    ("gate wire open", True, "no conduction after firing"),
    ("watchdog bite", True, "restarted by the watchdog"),
)


@pytest.mark.parametrize(("name", "presses_stop", "reason"), WAYS_OUT)
def test_every_passing_lockout_has_its_way_out(name: str, presses_stop: bool, reason: str) -> None:
    """Locked out for the reason that belongs to the fault, and ready again by the way out that the board reports, not before."""
    machine = ground_of({"board": {"conduction_sense": True}}, knows_rest=True, again=False)
    # Conduction is proven once a weld, by its first half-cycles.
    state = "squeeze" if name == "gate wire open" else "weld"
    case = case_of(machine, (name,), state, 2, random.Random(name), 0.3)
    assert case is not None
    stop_s = case.bench.length_s + 0.5
    stops = ((stop_s, 0.2),) if presses_stop else ()
    bench = replace(case.bench, stops=(*case.bench.stops, *stops), length_s=stop_s + 1.5)
    states = simulate(machine.bundle, machine.table, bench).states
    assert reason in [change.reason for change in states if change.state == "locked out"]
    assert states[-1].state == "ready"
    ready_s = states[-1].time_s
    assert not presses_stop or ready_s > stop_s
