"""The emitted PIO words as the gate of whole runs: every gate edge and every answer is that of the simulated gate.

The runs are those of the replay: every kind of trouble that it knows, each with both detectors, both frequencies and two
schedules of its own. `python -m tests.campaigns.world_gates` has both detectors at 50 and at 60 Hz, and a thousand runs.
Why this is as good as the emulator in the world, and where it is not: emulated_gates.py.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

import pytest

from sim.bench.driver import START
from sim.bench.gate import GateUnit
from sim.bench.host import Firmware
from sim.bench.recording import Recording
from sim.bench.world import simulate
from tests.support.rp2 import wrong_gates
from tests.support.rp2.emulated_gates import KINDS, Comparison, Emulated, compare, emulate, firing_calls, numbered_run
from tests.support.rp2.fake_board import DMA
from tests.support.rp2.pio_bench import AS_DELIVERED

# Of four numbers of a kind two that have neither detector nor frequency in common.
NUMBERS = [number for kind in range(len(KINDS)) for number in (4 * kind + kind % 2, 4 * kind + 3 - kind % 2)]
# What ends these is not the gate hardware: they never come to a start.
WITHOUT_A_GATE = {"shorted", "out of band", "no rest known", "noise in ready"}


@cache
def recorded(number: int) -> Recording:
    run = numbered_run(number)
    return simulate(run.bundle, run.table, run.bench)


@cache
def emulated(number: int) -> Emulated:
    return emulate(numbered_run(number).bundle, recorded(number))


def compared(number: int) -> Comparison:
    return compare(recorded(number), emulated(number))


@pytest.mark.parametrize("number", NUMBERS, ids=lambda number: f"{KINDS[number // 4]}-{number}")
def test_every_edge_and_answer(number: int) -> None:
    """Gate edges within 2 us; start, off, done and fired answer the same, unless an edge is that near to the call."""
    assert compared(number).differences == []


def test_the_runs_are_worth_it() -> None:
    """Equal gates of runs without gates say nothing, and an excuse for every answer as little."""
    runs, results = [numbered_run(number) for number in NUMBERS], [compared(number) for number in NUMBERS]
    fired = {run.happens for run, result in zip(runs, results, strict=True) if result.edges}
    assert set(KINDS) - fired == WITHOUT_A_GATE
    combinations = {(run.happens, run.welder.detector.kind, run.welder.mains.frequency_Hz) for run in runs}
    assert len(combinations) == len({run.bundle.digest for run in runs}) == len(NUMBERS)
    assert not any(result.undecided for result in results)
    both = {(run.happens, part) for run in runs for part in (run.welder.detector.kind, run.welder.mains.frequency_Hz)}
    assert len(both) == 4 * len(KINDS)
    assert sum(result.edges > 0 for result in results) >= 70
    assert sum(result.edges for result in results) > 3_000
    assert sum(result.excused for result in results) < sum(result.answers for result in results) / 1_000
    assert max(len(recorded(number).stops) for number in NUMBERS) == 2


@pytest.mark.parametrize("number", [49, 82])
def test_clock_by_clock(number: int) -> None:
    """Skipping the rounds of counted loops changes nothing: two short runs without it, one for each detector."""
    assert len(emulated(number).edges) >= 8
    assert emulate(numbered_run(number).bundle, recorded(number), fast=False) == emulated(number)


def test_the_emulator_as_it_was_delivered(monkeypatch: pytest.MonkeyPatch) -> None:
    """pio_bench.py gives it faster ways to copy a state and to decode; a run without them is the same."""
    quick = emulated(82)
    for module, name, own in AS_DELIVERED:
        monkeypatch.setattr(module, name, own)
    assert emulate(numbered_run(82).bundle, recorded(82)) == quick


def test_a_start_at_an_edge_is_undecided() -> None:
    """The detector's edge comes after the pin was read and before the state machine polls it: it never fires."""
    run = numbered_run(0)
    recording = recorded(0)
    start_s = next(call.time_us for call in firing_calls(recording) if call.code == START) / 1e6
    edge = next(n for n, change in enumerate(recording.detector) if change.time_s > start_s)
    moved = replace(recording.detector[edge], time_s=start_s + 0.25e-6)
    detector = (*recording.detector[:edge], moved, *recording.detector[edge + 1 :])
    assert recording.detector[edge - 1].time_s < start_s - 1e-3
    tied = replace(recording, detector=detector)
    outcome = emulate(run.bundle, tied)
    assert len(outcome.edges) < len(recording.gates) * 2
    assert compare(tied, outcome).undecided
    assert not compare(recording, outcome).undecided


# -- what it would notice --------------------------------------------------------------------------------------------

# What is wrong with the simulated gate, and the kind of run that shows it.
GATE_FAULTS: list[tuple[type[GateUnit], str]] = [
    (wrong_gates.Late, "nothing"),
    (wrong_gates.Longer, "nothing"),
    (wrong_gates.OffsetsExchanged, "nothing"),
    (wrong_gates.LastWordLost, "nothing"),
    (wrong_gates.OneLeadIn, "hot in weld"),
    (wrong_gates.LeadInNotLeftOut, "nothing"),
    (wrong_gates.StopNotTested, "stop button in weld"),
    (wrong_gates.PedalNotTested, "let go in weld, hand"),
    (wrong_gates.WindowsTooLong, "missing in weld"),
    (wrong_gates.LaterWindowsAsTheFirst, "missing in weld"),
    (wrong_gates.FirstWindowTooShort, "nothing"),
    (wrong_gates.LaterWindowsTooShort, "nothing"),
    (wrong_gates.UnfiredTakeNoTime, "false in weld"),
    (wrong_gates.OffLeavesTheGateOn, "hot in weld"),
    (wrong_gates.CutShortNotCounted, "hot in weld"),
]


def differ(kind: str, emulated_run: Callable[[int, Recording], Emulated]) -> Iterator[bool]:
    """Of each of four runs of a kind, whether the two gates are not equal."""
    first = 4 * KINDS.index(kind)
    for number in range(first, first + 4):
        run = numbered_run(number)
        recording = simulate(run.bundle, run.table, run.bench)
        yield bool(compare(recording, emulated_run(number, recording)).differences)


def as_emitted(number: int, recording: Recording) -> Emulated:
    return emulate(numbered_run(number).bundle, recording)


@pytest.mark.parametrize(("wrong", "kind"), GATE_FAULTS, ids=lambda part: getattr(part, "__name__", ""))
def test_a_wrong_model_is_noticed(wrong: type[GateUnit], kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A simulated gate with one thing wrong is not equal to the emitted one."""
    monkeypatch.setattr("sim.bench.board.GateUnit", wrong)
    assert any(differ(kind, as_emitted))


def test_a_word_lost_on_the_board_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The feeding channel stops after seven words."""
    monkeypatch.setattr(DMA, "starved_after", 7)
    assert all(differ("nothing", as_emitted))


def test_a_gate_late_on_the_board_is_noticed() -> None:
    """The driver takes 3 us less for the detector's offset."""

    def late(number: int, recording: Recording) -> Emulated:
        rise_us = Firmware(numbered_run(number).bundle).config.OFFSET_RISE_US
        return emulate(numbered_run(number).bundle, recording, OFFSET_RISE_US=rise_us - 3)

    assert all(differ("nothing", late))
