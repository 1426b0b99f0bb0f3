"""Each protection of the application on the bench, and the same with that protection taken out: the property must then fail.

Properties are read from gates, currents and states on the bench, never from the firmware's own counters.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import pytest

from gen.boards import boards
from gen.firmware import render, with_crc
from gen.words import LOPSIDED, REASON_NAMES
from sim.bench.board import BoardFault, BoardSpec
from sim.bench.mains import MainsSpec
from sim.bench.protection import ProtectionSpec, protection_of
from sim.bench.recording import Recording
from sim.bench.sense import SenseSpec
from sim.bench.world import bench_for, simulate
from tests.support.app.bench_runs import WELD, gates_after, quiet_bench, run, states
from tests.support.app.weakened import Change, always, answers, constant, never, sets, together, unset
from tests.support.machines import compiled, make_welder

FOREVER_MS = (1 << 30) - 1
STEP_S = 0.045  # a wake time, a late step and one half-cycle under way
HELD = (0.6, 1.5)  # long enough for the whole weld
FULL = 40  # half-cycles of WELD


@dataclass(frozen=True)
class Protection:
    """`runs` takes a change of the application or None; `holds` judges the recording; `without` takes the protection out."""

    name: str
    runs: Callable[..., Recording]
    holds: Callable[[Recording], bool]
    without: Change


def mains(**changes: Any) -> MainsSpec:
    return MainsSpec(230, 50, **changes)


def fault(kind: str) -> dict[str, Any]:
    welder = make_welder(board={"conduction_sense": True})
    switch = bench_for(welder, compiled(welder, WELD)).switch
    return {"welder": welder, "switch": replace(switch, fault=kind)}


def shorts_at(time_s: float) -> dict[str, Any]:
    found = fault("shorted")
    return found | {"switch": replace(found["switch"], fault_s=time_s)}


def polarity_kept(recording: Recording) -> bool:
    sides = [c.positive for c in recording.conductions]
    return len(sides) > 20 and all(a != b for a, b in zip(sides, sides[1:], strict=False))


def missed_edge(*presses: tuple[float, float], change: Change | None = None) -> Recording:
    detector = bench_for(make_welder(), compiled(make_welder(), WELD)).detector
    exact = replace(detector, rise_us=0, fall_us=0)
    return run(*presses, change=change, detector=replace(exact, missing=frozenset({59})))


def end_of_half_cycle(recording: Recording, time_s: float) -> float:
    half = recording.half_cycle_at(time_s)
    return half.start_s + half.length_s


# Stored at 1.3 s; each copy stops the program for 0.05 s.
SELECTED = (
    (1.29, with_crc('{"jsonrpc": "2.0", "id": 1, "method": "select", "params": {"name": "test"}}').encode() + b"\n"),
)


NOT_SHUT = "locked out: contactor did not close, or opened under current"
SHUT = "locked out: contactor stayed closed"
OPENS_S = make_welder().contactor_opens_ms / 1000
CLEARED = (
    (3.5, with_crc('{"jsonrpc": "2.0", "id": 1, "method": "clear", "params": {"reason": "none"}}').encode() + b"\n"),
)


def contactor(**changes: Any) -> ProtectionSpec:
    return replace(protection_of(make_welder()), **changes)


def lasts_s(recording: Recording, state: str) -> float:
    """The longest stay in a state."""
    ends = [*(change.time_s for change in recording.states[1:]), recording.length_s]
    return max(
        (end - c.time_s for c, end in zip(recording.states, ends, strict=True) if c.state == state), default=99.0
    )


def waited_s(recording: Recording) -> float:
    """From the end of storing to ready."""
    after = [change for change in recording.states if change.time_s > 1.2]
    assert [change.state for change in after] == ["storing", "waiting for mains", "ready"]
    return after[2].time_s - after[1].time_s


PROTECTIONS = (
    Protection(
        "with a foot lever, letting go ends the weld at once",
        # The firing hardware sees to it as well: here the program is alone.
        partial(run, (0.6, 0.4), board=BoardSpec(release_reaches_gate=False)),
        lambda r: 0 < r.fired < FULL and gates_after(r, 1.0 + 0.004 + STEP_S) == 0,
        never("Supervisor._weld", "RELEASE_STOPS"),
    ),
    Protection(
        "letting go during squeeze means no weld",
        partial(run, (0.6, 0.1), welder=make_welder(force={"source": "air"})),
        lambda r: r.fired == 0 and "squeeze" in states(r),
        never("Supervisor._squeeze", "pedal"),
    ),
    Protection(
        "the pedal must be seen open between welds",
        partial(run, (0.6, 3.3)),
        lambda r: len(r.welds) == 1 and r.fired == FULL,
        unset("Supervisor._ready", "pedal_opened"),
    ),
    Protection(
        "a pedal down at power-up does nothing until it is let go",
        partial(run, (0.0, 2.0)),
        lambda r: r.fired == 0 and "locked out: pedal stuck closed" in states(r) and states(r)[-1] == "ready",
        never("Supervisor._start", "pedal"),
    ),
    Protection(
        "no weld before eight crossings agree",
        partial(run, (0.01, 1.5), length_s=2, mains=mains(), board=BoardSpec(rested_ms=10**7)),
        lambda r: all(s.time_s > 0.08 for s in r.states if s.state == "ready") and "ready" in states(r),
        answers("MainsLock.locked", "True"),
    ),
    Protection(
        "no weld past the minute's duty",
        partial(
            run,
            *[(0.6 + 1.6 * n, 1.0) for n in range(10)],
            length_s=17,
            welder=make_welder(transformer={"rating_kVA": 0.86, "rating_duty_percent": 30}),
        ),
        # 4 A rated at 30 %, 20 A working: 1.2 % of 6000 half-cycles, 72; a weld counts 40 x 0.64 = 25.6
        lambda r: len(r.welds) == 2 and "locked out: duty used up" in states(r),
        never("Supervisor._ready", "allows"),
    ),
    Protection(
        "after a start the board assumes that the minute's duty is spent",
        partial(run, (0.6, 1.5), board=BoardSpec(rested_ms=0)),
        lambda r: r.fired == 0 and "locked out: duty used up" in states(r),
        never("DutyGuard.begin", "rested_ms"),
    ),
    Protection(
        "the next weld starts on the polarity opposite to the last that conducted",
        partial(run, (0.6, 0.35), (2.0, 1.5), seed=5),  # a seed that ends the first weld after an odd number
        lambda r: sum(1 for c in r.conductions if c.start_s < 1.5) % 2 == 1 and polarity_kept(r),
        unset("Supervisor._finish", "positive"),
    ),
    Protection(
        "with a force switch nothing is fired before the force is there",
        # The test under current would end it too, before the first gate: so it must not come so far.
        partial(run, HELD, welder=make_welder(force={"source": "air", "force_switch": True}), forces=((9.0, 1),)),
        lambda r: r.fired == 0 and "squeeze" in states(r) and "weld" not in states(r),
        always("Supervisor._squeeze", "FORCE_SWITCH"),
    ),
    Protection(
        "force lost under current ends the weld",
        partial(
            run,
            HELD,
            welder=make_welder(force={"source": "air", "force_switch": True}),
            forces=((0.0, 1), (1.0, 0)),
        ),
        lambda r: 0 < r.fired < FULL and gates_after(r, 1.0 + STEP_S) == 0,
        never("Supervisor._weld", "FORCE_SWITCH"),
    ),
    Protection(
        "an over-temperature contact ends the weld and locks out while it is open",
        partial(run, HELD, hots=((1.0, 0.5),)),
        lambda r: (
            0 < r.fired < FULL
            and gates_after(r, 1.0 + STEP_S) == 0
            and "locked out: over-temperature contact open" in states(r)
            and states(r)[-1] == "ready"
        ),
        never("Supervisor._trouble", "HOT"),
    ),
    Protection(
        "the stop line ends a weld",
        partial(run, HELD, serial=((1.0, b'{"jsonrpc": "2.0", "id": 0, "method": "stop"} 273b6c09\n'),)),
        lambda r: 0 < r.fired < FULL and gates_after(r, 1.0 + STEP_S) == 0,
        never("Supervisor.step", "stop_line"),
    ),
    Protection(
        "a switch that conducts without a gate is found before any weld",
        partial(run, (2.0, 1.5), **fault("shorted")),
        lambda r: r.fired == 0 and states(r)[-1] == "locked out: switch conducts without a gate",
        constant("SHORTED_MS", FOREVER_MS),
    ),
    Protection(
        "gates without conduction end the weld",
        partial(run, HELD, **fault("gate_open")),
        lambda r: 0 < r.fired < FULL and states(r)[-1] == "locked out: no conduction after firing",
        together(never("Supervisor._weld", "CONDUCTION_SENSE"), constant("NONE_IN_A_ROW", 1000)),
    ),
    Protection(
        "current in one direction only ends the weld",
        partial(run, HELD, **fault("half_wave")),
        lambda r: 4 <= r.fired <= 8 and states(r)[-1] == "locked out: current flows in one direction only",
        answers("Curve._judge", "0"),
    ),
    Protection(
        "a dropout in a weld locks out, and the return of the mains fires nothing",
        partial(run, HELD, mains=mains(sags=((1.0, 0.3, 0.0),)), length_s=5),
        lambda r: (
            0 < r.fired < FULL and gates_after(r, 1.02) == 0 and "locked out: mains lost or unsteady" in states(r)
        ),
        constant("STALL_MS", FOREVER_MS),
    ),
    Protection(
        "a switch that shorts in a weld ends it within the half-cycles of three steps",
        partial(run, HELD, **shorts_at(1.0)),
        lambda r: 0 < r.fired < FULL / 2 and "locked out: switch conducts without a gate" in states(r),
        answers("Curve._flows_ungated", "False"),
    ),
    Protection(
        "a switch that shorts at the last gate is found before the weld's off time is over",
        partial(run, HELD, **shorts_at(1.26)),
        lambda r: not any(state == "ready" for state in states(r)[2:]),
        sets("Supervisor._watch_switch", "quiet", "False"),
    ),
    Protection(
        "a weld that the program has lost sight of for longer than the contactor holds is ended",
        partial(
            run,
            HELD,
            welder=make_welder(force={"source": "air"}, protection={"mirror_contact": False}),
            board=BoardSpec(faults=(BoardFault("hang", 1.0, 0.1),)),
        ),
        lambda r: 0 < r.fired < FULL,
        never("Supervisor._weld", "paused"),
    ),
    Protection(
        "an edge that was missed shortly before a weld lengthens no half-cycle of it",
        # Just before the pedal. Counted as agreed, it would make the mean 11,250 us, and gates end past the crossing.
        partial(missed_edge, (0.6, 0.9), (2.0, 1.2)),
        lambda r: gates_after(r, 0) > 0 and all(off < end_of_half_cycle(r, on) for on, off in r.gates),
        always("MainsLock.edge", "in_band"),
    ),
    Protection(
        "a pedal pressed before the mains was locked to does nothing until it is let go",
        partial(run, (0.16, 2.0), (2.5, 1.2)),
        lambda r: gates_after(r, 0) == gates_after(r, 2.5) == FULL,
        unset("Supervisor.step", "pedal_opened"),
    ),
    Protection(
        "a start that met no edge is not tried again before edges have come back",
        partial(run, HELD, mains=mains(sags=((0.86, 0.07, 0.0),))),
        lambda r: r.fired == 0 and "locked out: mains lost or unsteady" in states(r),
        answers("MainsLock.present", "self.locked()"),
    ),
    Protection(
        "mains that comes back after a long time is not taken for one out of its band",
        partial(run, mains=mains(sags=((1.0, 6.0, 0.0),)), length_s=8),
        lambda r: "locked out: frequency out of band" not in states(r) and states(r)[-1] == "ready",
        never("MainsLock.edge", "LATE_MS"),
    ),
    Protection(
        "after a bite of the watchdog nothing works until stop was pressed and let go",
        partial(run, (0.6, 1.5), (3.0, 1.5), board=BoardSpec(bitten=True), stops=((2.3, 0.2),), length_s=5),
        lambda r: gates_after(r, 0) == gates_after(r, 2.5) == FULL,
        never("Supervisor._start", "WATCHDOG"),
    ),
    Protection(
        "mains out of its band locks out",
        partial(run, (7.0, 1.5), mains=MainsSpec(230, 54), length_s=8),
        lambda r: r.fired == 0 and "locked out: frequency out of band" in states(r),
        answers("MainsLock.out_of_band", "False"),
    ),
    Protection(
        "a noisy detector locks out",
        partial(
            run,
            (2.2, 1.5),
            length_s=4,
            detector=replace(
                bench_for(make_welder(), compiled(make_welder(), WELD)).detector,
                false_s=tuple(0.5 + 0.003 * n for n in range(1000)),
            ),
        ),
        lambda r: r.fired == 0 and "locked out: extra edges from the detector" in states(r),
        answers("MainsLock.noisy", "False"),
    ),
    Protection(
        "a detector that grows noisy under current ends the weld",
        partial(
            run,
            HELD,
            # far from the windows, so that the firing hardware lets them pass
            detector=replace(
                bench_for(make_welder(), compiled(make_welder(), WELD)).detector,
                false_s=tuple(0.995 + 0.01 * n for n in range(100)),
            ),
        ),
        lambda r: gates_after(r, 1.05) == 0 and r.fired > 0,
        constant("EXTRA_UNDER_CURRENT", FOREVER_MS),
    ),
    Protection(
        "a false edge seen before the first gate ends the weld before it has begun",
        partial(
            run,
            HELD,
            detector=replace(bench_for(make_welder(), compiled(make_welder(), WELD)).detector, false_s=(0.873,)),
        ),
        lambda r: r.fired == 0 and "weld" in states(r) and "locked out: extra edges from the detector" in states(r),
        answers("MainsLock.noisy_under_current", "self.extra >= EXTRA_UNDER_CURRENT"),
    ),
    Protection(
        "a pedal stuck down after a weld locks out",
        partial(run, (0.6, 33.0), length_s=36),
        lambda r: r.fired == FULL and "locked out: pedal stuck closed" in states(r) and states(r)[-1] == "ready",
        constant("STUCK_MS", FOREVER_MS),
    ),
    Protection(
        "a pedal pressed while settings are stored does nothing until it is let go",
        partial(run, (1.3, 2.5), serial=SELECTED),
        lambda r: r.fired == 0 and "storing" in states(r) and states(r)[-1] == "ready",
        unset("Supervisor.step", "pedal_opened"),
    ),
    Protection(
        "a sense that never blocks with the contactor closed is told, and no gate waits for it",
        partial(run, HELD, welder=make_welder(board={"conduction_sense": True}), sense=SenseSpec(stuck=1)),
        lambda r: (
            r.fired == 0
            and states(r)[-1] == "locked out: switch conducts without a gate"
            and lasts_s(r, "squeeze") < make_welder().contactor_closes_ms / 1000 + 0.06 + 0.05
        ),
        constant("SHORTED_MS", FOREVER_MS),
    ),
    *(
        Protection(
            f"a sense that is blind to the {polarity} half-cycles ends the weld within three cycles",
            # It is what the shot through the resistive load proves at commissioning.
            partial(run, HELD, welder=make_welder(board={"conduction_sense": True}), sense=SenseSpec(blind=blind)),
            lambda r: 0 < r.fired <= 6 and states(r)[-1] == f"locked out: {REASON_NAMES[LOPSIDED]}",
            answers("Curve._judge", "0"),
        )
        for blind, polarity in enumerate(("negative", "positive"))
    ),
    Protection(
        "a squeeze ends however often its waits begin anew",
        partial(
            run,
            (0.6, 9.0),
            length_s=9,
            board=BoardSpec(faults=tuple(BoardFault("hang", 0.7 + 0.07 * n, 0.06) for n in range(110))),
        ),
        lambda r: r.fired == 0 and lasts_s(r, "squeeze") < 0.6 + 5.0 + 0.1,
        never("Supervisor._squeeze", "WAIT_MS", "accepted_ms"),
    ),
    Protection(
        "a contactor that does not close is told before the first gate",
        partial(run, HELD, protection=contactor(coil_open_s=0.3)),
        lambda r: r.fired == 0 and states(r)[-1] == NOT_SHUT,
        never("Supervisor._contactor_trouble", "late"),
    ),
    Protection(
        "a contactor that opens under current ends the weld",
        partial(run, HELD, protection=contactor(coil_open_s=1.0)),
        lambda r: 0 < r.fired < FULL and gates_after(r, 1.0 + OPENS_S + STEP_S) == 0 and states(r)[-1] == NOT_SHUT,
        never("Supervisor._contactor_trouble", "late"),
    ),
    Protection(
        "a contactor that stays closed is told after the weld",
        partial(run, HELD, protection=contactor(welded_s=1.0)),
        lambda r: r.fired == FULL and states(r)[-1] == SHUT,
        never("Supervisor._contactor_trouble", "contactor_on_ms"),
    ),
    Protection(
        "a shorted switch stays locked out, whatever stop and pedal do",
        partial(run, HELD, stops=((2.6, 0.3),), length_s=3.5, **fault("shorted")),
        lambda r: states(r)[-1] == "locked out: switch conducts without a gate",
        never("Supervisor._locked_out", "LASTING"),
    ),
    Protection(
        "and so it does over a loss of power",
        partial(
            run,
            HELD,
            protection=contactor(welded_s=1.0),
            board=BoardSpec(faults=(BoardFault("brown-out", 3.0, 0.1),)),
            length_s=3.45,  # before the mirror contact could tell anew
        ),
        lambda r: states(r)[-1] == SHUT and "starting" in states(r)[1:],
        never("Supervisor._start", "LASTING"),
    ),
    Protection(
        "it is cleared only by its name",
        partial(run, HELD, protection=contactor(mirror_stuck=(1.0, 0)), serial=CLEARED, length_s=4.1),
        lambda r: states(r)[-1] == SHUT and "storing" not in states(r),
        never("Requests._clear", "held"),
    ),
    Protection(
        "after a write to flash the mains is locked to anew",
        partial(run, serial=SELECTED),
        lambda r: waited_s(r) > 0.08,
        unset("Supervisor._storing", "flash_written"),
    ),
)


@pytest.mark.parametrize("protection", PROTECTIONS, ids=lambda p: p.name.replace(" ", "-"))
def test_protection(protection: Protection) -> None:
    """The property holds with the emitted application, and fails when the protection is taken out of it."""
    whole = protection.runs()
    assert protection.holds(whole), (states(whole), whole.fired)
    without = protection.runs(change=protection.without)
    assert not protection.holds(without), "the property holds without the protection: this test proves nothing"


def test_no_weld_begins_before_the_contactor_of_the_last_one_has_opened() -> None:
    """An off time of 0.5 s, and a contactor that takes a second to open, as its file allows: the next squeeze waits for it."""
    welder = make_welder(contactor={"opens_ms": 1000})
    table = compiled(welder, WELD)
    bundle = render(table, welder, boards()["pico"])
    bench = quiet_bench(welder, table, 4.5, HELD, (2.2, 2.0), protection=contactor(opens_s=0.95))
    for change, waits in ((None, True), (never("Supervisor._ready", "CONTACTOR_OPEN"), False)):
        recording = simulate(bundle if change is None else change(bundle), table, bench)
        begun = [change.time_s for change in recording.states if change.state == "squeeze"]
        hold_ends_s = next(change.time_s for change in recording.states if change.state == "off")
        assert len(begun) == 2
        assert (begun[1] > hold_ends_s + 0.95) == waits


def test_a_protection_that_is_not_there_cannot_be_taken_out() -> None:
    """Renamed or doubled, it is reported: no property is ever shown against an application that was left whole."""
    for change in (never("Supervisor._weld", "unheard_of"), never("Supervisor.step", "state"), constant("STALL", 1)):
        with pytest.raises(AssertionError, match="what is to be changed is there"):
            run(HELD, change=change)


def test_air_finishes_a_counted_weld() -> None:
    """Only where air holds the force may a weld complete after the pedal is let go."""
    assert run((0.6, 0.4), welder=make_welder(force={"source": "air"})).fired == FULL


def test_stop_ends_a_weld_in_python_and_in_the_firing_hardware() -> None:
    """The stop circuit is tested twice: with the application's test taken out the firing hardware still ends the weld."""
    for change in (None, never("Supervisor._trouble", "STOP_OPEN")):
        recording = run(HELD, stops=((1.0, 1.0),), change=change)
        assert 0 < recording.fired < FULL
        assert gates_after(recording, 1.0) == 0


def test_stop_in_every_half_cycle_leaves_the_right_polarity() -> None:
    """A stop at each half-cycle of a weld: no new gate after it, and the weld after that starts on the other polarity."""
    for n in range(0, FULL, 3):
        recording = run(HELD, (2.5, 1.5), stops=((0.88 + 0.01 * n, 0.3),), length_s=4.5)
        assert gates_after(recording, 0.88 + 0.01 * n) == FULL, n
        assert polarity_kept(recording), n


def test_the_clock_may_wrap() -> None:
    """Runs that start just before the clock wraps (seed 3 of every ten) end like all others."""
    reference = run(HELD, (2.5, 1.5), length_s=4.5, seed=2)
    wrapped = run(HELD, (2.5, 1.5), length_s=4.5, seed=3)
    assert states(wrapped) == states(reference)
    assert wrapped.fired == reference.fired == 2 * FULL


def test_lateness_moves_a_reaction_and_adds_no_firing() -> None:
    """Twenty seeds, each with steps 0 to 20 ms late in its own way: always the table's half-cycles, never one more."""
    for seed in range(20):
        recording = run(HELD, seed=seed)
        assert [w.gates for w in recording.welds] == [FULL], seed
