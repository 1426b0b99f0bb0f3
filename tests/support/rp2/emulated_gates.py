"""The emulated PIO as the gate of a recorded run: the real driver and the emitted words, given that run's inputs.

In the simulated world nothing that the gate does reaches the detector, the stop circuit or the pedal: they follow the mains
and the bench alone. All else that the gate hardware gets are the calls of the application. So the detector's edges, the
changes of stop circuit and pedal and the firing calls of a recording, at the times they had, are all there is to give; and
as long as every gate edge and every answer comes out the same, the run with the emulator as its gate would have been this one.

Limits: the application is not run again, so where a gate edge or an answer differs within the tolerance, what the
microsecond might have led to (another answer, another extinction of the current) is not followed. Calls take no time
here. Even so an edge of the detector can fall between reading the pin and the first poll of the state machine, half a
microsecond later, which then ends with nothing fired; the simulator has no such gap, and a run that meets it is counted
as undecided. The period meter and the sense across the switch are the simulator's own. The emulator knows the state
machine; the DMA channels beside it are stand-ins (fake_board.py).
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from gen.firmware import FirmwareBundle
from gen.pio import pio_module
from sim.bench.driver import CALL_INTS, CALL_NAMES, DONE, FIRED, OFF, SET, START
from sim.bench.host import Firmware
from sim.bench.recording import LevelChange, Recording
from tests.support.replay.seeded_runs import EARLY, EDGES, OTHERS, Run, run_of
from tests.support.rp2.fake_board import BOARD_IO, DRIVER, Board
from tests.support.rp2.pio_bench import Steps

KINDS = (*OTHERS, *EARLY, *EDGES)
TOLERANCE_US = 2
FIRING_CALLS = {SET: 4, START: 3, DONE: 0, FIRED: 1, OFF: 0}  # and how many arguments each has
SETTINGS = ("OFFSET_RISE_US", "OFFSET_FALL_US", "MAX_HALF_CYCLES")

Edge = tuple[float, int]  # microseconds of the run, level


@cache
def numbered_run(number: int) -> Run:
    """Four numbers in a row are one kind of run with both detectors at both frequencies; the rest is drawn."""
    return run_of(KINDS[number // 4 % len(KINDS)], number)


@dataclass(frozen=True)
class Call:
    """One call to the gate hardware, and its answer."""

    time_us: float
    code: int
    arguments: tuple[int, ...]
    answer: int


@dataclass(frozen=True)
class Emulated:
    """What the driver and the emulated state machine made of a run."""

    edges: list[Edge]
    answers: list[int]  # to each of `firing_calls`, 0 where there is none
    ended_us: list[float]  # when each half-cycle was reported


@dataclass(frozen=True)
class Comparison:
    """`differences` in words, empty when the two gates are one; the rest says what was compared.

    `undecided`: the gates differ, and a start fell together with an edge of the detector.
    """

    differences: list[str]
    undecided: bool
    edges: int
    worst_us: float
    answers: int
    excused: int  # answers that differ at an edge within the tolerance


def firing_calls(recording: Recording) -> list[Call]:
    """The calls that reach the gate hardware, in order."""
    made = []
    for number, time_s in enumerate(recording.call_times):
        code, *arguments, answer = recording.calls[number * CALL_INTS : (number + 1) * CALL_INTS]
        if code in FIRING_CALLS:
            made.append(Call(time_s * 1e6, code, tuple(arguments[: FIRING_CALLS[code]]), answer))
    return made


def simulated_edges(recording: Recording) -> list[Edge]:
    """The gate's edges in the recording; a gate that the end of the run cuts short has no second one."""
    edges = [edge for on, off in recording.gates for edge in ((on * 1e6, 1), (off * 1e6, 0))]
    return edges[:-1] if edges and recording.gates[-1][1] == recording.length_s else edges


def emulate(bundle: FirmwareBundle, recording: Recording, *, fast: bool = True, **config: int) -> Emulated:
    """The run of `recording` on the fake board, with the emitted files; `config` replaces settings of the bundle."""
    emitted = Firmware(bundle).config
    square = bool(emitted.DETECTOR_SQUARE)
    # The fake board takes both from where the bundle has them from.
    assert bundle.files["driver.py"] == DRIVER.read_text(encoding="utf-8")
    assert bundle.files["board_io.py"] == BOARD_IO.read_text(encoding="utf-8")
    assert bundle.files["pio_programs.py"] == pio_module(square, bool(emitted.RELEASE_STOPS))
    settings: dict[str, int | None] = {name: getattr(emitted, name) for name in SETTINGS}
    pedal = Steps((change.time_s * 1e6 for change in recording.pedal), start_level=1)  # high: open
    board = Board(_steps(recording.detector), _steps(recording.stops), square, pedal, config=settings | config)
    board.release_stops = bool(emitted.RELEASE_STOPS)
    driver = board.load()
    del board.machines[4]  # the period meter: no gate comes of it
    board.fire.fast = fast
    answers = []
    for call in firing_calls(recording):
        board.run(call.time_us)
        answers.append(_make(driver, call))
    end_us = recording.length_s * 1e6
    board.run(end_us)
    edges = [edge for edge in board.fire.gate_edges if edge[0] <= end_us]
    return Emulated(edges, answers, [time_us for time_us, _ in board.fire.pushed])


def _steps(changes: tuple[LevelChange, ...]) -> Steps:
    assert [change.value for change in changes] == [1 - n % 2 for n in range(len(changes))]
    return Steps(change.time_s * 1e6 for change in changes)


def _make(driver: Any, call: Call) -> int:
    answer = getattr(driver, CALL_NAMES[call.code])(*call.arguments)
    return 0 if answer is None else int(answer)


def compare(recording: Recording, emulated: Emulated) -> Comparison:
    """Hold the recording against the emulator: every gate edge and every answer."""
    calls, edges = firing_calls(recording), simulated_edges(recording)
    differences = _edge_differences(edges, emulated.edges)
    offs_us = [call.time_us for call in calls if call.code == OFF]
    # The edge that `off` makes is no excuse for what the calls after it are answered.
    chosen = [time_us for time_us, _ in edges if not _near(time_us, offs_us, 0)]
    moments = [*emulated.ended_us, *chosen]
    excused = 0
    for call, answer in zip(calls, emulated.answers, strict=True):
        if answer == call.answer:
            continue
        if call.code in (DONE, FIRED) and _near(call.time_us, moments, TOLERANCE_US):
            excused += 1
        else:
            what = f"{CALL_NAMES[call.code]}{call.arguments}"
            differences.append(f"{call.time_us:.1f} us: {what} answers {call.answer}, emulated {answer}")
    detected = [change.time_s * 1e6 for change in recording.detector]
    if differences and any(call.code == START and _near(call.time_us, detected, TOLERANCE_US) for call in calls):
        return Comparison([], True, 0, 0, 0, 0)
    worst_us = max((abs(a - b) for (a, _), (b, _) in zip(edges, emulated.edges, strict=False)), default=0.0)
    return Comparison(differences, False, len(edges), worst_us, len(calls), excused)


def _near(time_us: float, moments_us: list[float], tolerance_us: float) -> bool:
    return any(abs(time_us - moment_us) <= tolerance_us for moment_us in moments_us)


def _edge_differences(simulated: list[Edge], emulated: list[Edge]) -> list[str]:
    """The first difference alone: every later edge may be out of step."""
    for (time_us, level), (emulated_us, emulated_level) in zip(simulated, emulated, strict=False):
        if level != emulated_level or abs(time_us - emulated_us) > TOLERANCE_US:
            return [f"gate {level} at {time_us:.1f} us, emulated {emulated_level} at {emulated_us:.1f} us"]
    if len(simulated) != len(emulated):
        return [f"{len(simulated)} gate edges, emulated {len(emulated)}"]
    return []
