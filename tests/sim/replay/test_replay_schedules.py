"""The emitted application makes the same driver calls under MicroPython, 64 and 32 bit, as in the simulator.

Longer welds like the demonstration's and the directed runs under both; of fifty seeded schedules each under one of the two, and
a thousand under both in `python -m tests.campaigns.replay_schedules`. What they visit of the application is told by the last
tests, so that equality is not equality of idling.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import pytest

from gen import words
from gen.boards import boards
from gen.firmware import render
from gen.schedule import Schedule
from gen.timing import compile_schedule
from sim.bench.driver import CALL_INTS, CALL_NAMES, CONDUCTION, DONE, FIRED, NOW, OFF, START, WRITE
from sim.bench.host import Firmware
from sim.bench.recording import Recording
from sim.bench.world import bench_for
from sim.replay.playback import INTERPRETERS, Interpreter, replay
from tests.support.machines import make_welder
from tests.support.replay.cut_off_runs import cut_off_run
from tests.support.replay.directed_runs import DIRECTED, record
from tests.support.replay.seeded_runs import EARLY, EDGES, Run, run_of, seeded_run
from tests.support.replay.tracing import Transition

SEEDS = range(50)
BOARDS = {f"on {board.name}": board.name for board in boards().values() if board.welds and board.name != "pico"}
CUT_OFF = [f"cut off {seed}" for seed in (3, 4, 5, 6)]
NAMES = ["demonstration", *BOARDS, *(f"seed {seed}" for seed in SEEDS), *CUT_OFF, *DIRECTED]


def demonstration(board: str = "pico", minutes: float = 0.15) -> Run:
    """Three welds of 20 cycles with pulses and an upslope, at the pace of a busy hand; or fewer, on another board."""
    phases = (
        {"squeeze": "0.4 s"},
        {"pulse": "2 cycles", "current_percent": 60, "repeat": 2, "cool": "3 cycles"},
        {"weld": "20 cycles", "current_percent": 75, "upslope": "3 cycles"},
        {"hold": "15 cycles"},
        {"off": "1 s"},
    )
    welder = make_welder()
    schedule = Schedule.model_validate({"name": "demonstration", "frequency_Hz": 50, "phases": phases})
    table = compile_schedule(schedule, welder, boards()[board], Path("demonstration.toml"))
    bench = bench_for(welder, table, minutes=minutes, welds_per_minute=20)
    return Run(
        "nothing",
        frozenset(("pulse", "slope", "percent")),
        welder,
        table,
        render(table, welder, boards()[board]),
        bench,
    )


@cache
def run_named(name: str) -> Run:
    if name == "demonstration":
        return demonstration()
    if name in BOARDS:
        return demonstration(BOARDS[name], minutes=0.05)
    if name in CUT_OFF:
        return cut_off_run(int(name.removeprefix("cut off ")))
    return DIRECTED[name].run if name in DIRECTED else seeded_run(int(name.removeprefix("seed ")))


@cache
def recorded(name: str) -> tuple[Recording, list[Transition]]:
    if name in DIRECTED:
        return record(run_named(name), DIRECTED[name].part, DIRECTED[name].instead)
    return record(run_named(name))


def pairs() -> Iterator[Any]:
    """Each run and the interpreters that it is played back to. Of every six seeds each interpreter meets each sort of trouble."""
    seeded = {f"seed {seed}": seed for seed in SEEDS}
    for name in NAMES:
        both = name not in seeded
        for place, interpreter in enumerate(INTERPRETERS):
            if both or seeded[name] // 3 % 2 == place:
                yield pytest.param(name, interpreter, id=f"{name}-{interpreter.name}")


@pytest.mark.parametrize(("name", "interpreter"), list(pairs()))
def test_equal_at_every_call(name: str, interpreter: Interpreter) -> None:
    """Protects the language subset: no call, argument or answered line differs, and the heap gains nothing while armed."""
    if not interpreter.available():
        pytest.skip(f"{interpreter.needs} is not installed")
    recording, transitions = recorded(name)
    result = replay(run_named(name).bundle, recording, interpreter)
    assert result.difference is None, str(result.difference)
    assert result.calls == len(recording.calls) // CALL_INTS
    assert result.armed_bytes == 0
    assert result.armings == sum(1 for _, state, _ in transitions if state == "squeeze")
    assert result.bits == int(interpreter.name[-2:])


# -- what the runs are worth ---------------------------------------------------------------------------------------------


def test_the_schedules_are_varied() -> None:
    """Every schedule has two of pulse, slope and percent; a third is ended early and a third meets a wrong edge."""
    runs = [run_named(f"seed {seed}") for seed in SEEDS]
    assert all(len(run.features) >= 2 for run in runs)
    assert all(run.bench.pedal.bounce_ms > 0 for run in runs)
    assert sum(run.happens in EARLY for run in runs) >= len(runs) // 3
    assert sum(run.happens in EDGES for run in runs) >= len(runs) // 3
    kinds = Counter((run.welder.detector.kind, run.welder.mains.frequency_Hz) for run in runs)
    assert min(kinds[kind, frequency] for kind in ("square", "pulse") for frequency in (50, 60)) >= 8
    assert len({run.bundle.digest for run in runs}) == len(runs)


def test_the_clock_wraps_in_a_tenth_of_the_runs() -> None:
    """The board's milliseconds run modulo 2**30; every tenth run crosses that, with its weld on either side."""
    clocks = {seed: numbers(f"seed {seed}", NOW) for seed in SEEDS}
    wrapped = [seed for seed, clock in clocks.items() if clock[-1] < clock[0]]
    assert wrapped == [seed for seed in SEEDS if seed % 10 == 3]


def test_the_first_step_counts_no_seconds_of_an_old_clock() -> None:
    """A board restarted without a reset keeps its clock: the duty guard must not step through all the seconds on it."""
    firmware = Firmware(run_named("demonstration").bundle)
    answers = {f"{name}.return_value": 0 for name in CALL_NAMES}
    driver = Mock(**answers | {"read_byte.return_value": -1, "read_file.return_value": None})
    supervisor = firmware.supervisor.Supervisor(driver, firmware.config)
    behind_ms = []
    supervisor.duty.check = lambda now_ms: behind_ms.append(now_ms - supervisor.duty.second_ms)
    supervisor.step(1 << 29)
    assert behind_ms == [0]


def numbers(name: str, code: int) -> list[int]:
    """The answers to one call of the driver in a run."""
    calls = recorded(name)[0].calls
    return [calls[n + CALL_INTS - 1] for n in range(0, len(calls), CALL_INTS) if calls[n] == code]


def test_every_call_and_kind_of_answer_is_met() -> None:
    """A call that no run makes, or an answer that none gives, would be equal for want of trying."""
    answers = {code: {answer for name in NAMES for answer in numbers(name, code)} for code in range(len(CALL_NAMES))}
    assert {CALL_NAMES[code] for code, met in answers.items() if not met} == set()
    assert answers[CONDUCTION] == {0, 1, 2, 3}
    assert answers[START] == answers[FIRED] == answers[OFF] == {0, 1}
    assert len(answers[DONE]) > 30
    assert sum(len(numbers(name, WRITE)) for name in NAMES) > 50


POWER_UP, WAITING, READY, STORING, SQUEEZE, WELD, HOLD, OFF_TIME, LOCKED_OUT = words.STATE_NAMES
NONE = ""
STOP_OPEN = words.REASON_NAMES[words.STOP_CIRCUIT_OPEN]
HOT = words.REASON_NAMES[words.OVER_TEMPERATURE]
EXTRA_EDGES = words.REASON_NAMES[words.EXTRA_EDGES]
OUT_OF_BAND = words.REASON_NAMES[words.OUT_OF_BAND]
STUCK_PEDAL = words.REASON_NAMES[words.STUCK_PEDAL]
MAINS_LOST = words.REASON_NAMES[words.MAINS_LOST]
GATE_STUCK = words.REASON_NAMES[words.GATE_STUCK]
NO_CONDUCTION = words.REASON_NAMES[words.NO_CONDUCTION]
ONE_SIDED = words.REASON_NAMES[words.ONE_SIDED]
LOPSIDED = words.REASON_NAMES[words.LOPSIDED]
SHORTED = words.REASON_NAMES[words.SWITCH_SHORTED]
WATCHDOG = words.REASON_NAMES[words.WATCHDOG_RESTART]
TOO_LONG = words.REASON_NAMES[words.TOO_LONG]
SENSE_FAULT = words.REASON_NAMES[words.CURRENT_SENSE_FAULT]
DISAGREE = words.REASON_NAMES[words.SENSES_DISAGREE]
HIGH = words.REASON_NAMES[words.CURRENT_HIGH]
LOW = words.REASON_NAMES[words.CURRENT_LOW]
SHUT = words.REASON_NAMES[words.CONTACTOR_SHUT]
NOT_SHUT = words.REASON_NAMES[words.CONTACTOR_NOT_SHUT]
DUTY = words.REASON_NAMES[words.DUTY]
DAMAGED = words.REASON_NAMES[words.SETTINGS_DAMAGED]
FAILED = words.REASON_NAMES[words.PROGRAM_FAILED]
MEMORY = words.REASON_NAMES[words.MEMORY_DAMAGED]
FILE = words.REASON_NAMES[words.FILE_DAMAGED]  # main.py tells it, and nothing of the application runs

# Read from supervisor.py. A gate that does not read back low can come of any lockout; two of them are tried.
EXPECTED: dict[tuple[str, str], tuple[str, ...]] = {
    (POWER_UP, WAITING): (NONE,),
    (POWER_UP, LOCKED_OUT): (
        *(WATCHDOG, STUCK_PEDAL, STOP_OPEN, HOT, DAMAGED, FAILED, MEMORY),
        *(SHUT, SHORTED, ONE_SIDED),  # of the start before
    ),
    (WAITING, READY): (NONE,),
    (WAITING, LOCKED_OUT): (STOP_OPEN, HOT, EXTRA_EDGES, OUT_OF_BAND),
    (READY, WAITING): (NONE,),
    (READY, SQUEEZE): (NONE,),
    (READY, LOCKED_OUT): (STOP_OPEN, HOT, EXTRA_EDGES, OUT_OF_BAND, SHUT, STUCK_PEDAL, DUTY, GATE_STUCK),
    (READY, STORING): (NONE,),
    (WAITING, STORING): (NONE,),
    (LOCKED_OUT, STORING): (STOP_OPEN, SHUT, ONE_SIDED),
    (STORING, WAITING): (NONE,),
    (STORING, LOCKED_OUT): (STOP_OPEN,),
    (SQUEEZE, WELD): (NONE,),
    (SQUEEZE, OFF_TIME): ("released", "stopped", "no force"),
    (SQUEEZE, LOCKED_OUT): (STOP_OPEN, HOT, MAINS_LOST, SHORTED, SENSE_FAULT, NOT_SHUT),
    (WELD, HOLD): (NONE,),
    (WELD, OFF_TIME): ("released", "stopped", "no force", "expulsion"),
    (WELD, LOCKED_OUT): (
        *(STOP_OPEN, HOT, MAINS_LOST, EXTRA_EDGES, NO_CONDUCTION, ONE_SIDED, LOPSIDED, GATE_STUCK),
        *(TOO_LONG, SENSE_FAULT, DISAGREE, HIGH, LOW, SHORTED, NOT_SHUT),
    ),
    (HOLD, OFF_TIME): ("completed",),
    (HOLD, LOCKED_OUT): (STOP_OPEN, HOT, SHORTED),
    (OFF_TIME, READY): (NONE,),
    (OFF_TIME, LOCKED_OUT): (STOP_OPEN, HOT, SHUT),
    (LOCKED_OUT, LOCKED_OUT): (HOT, STOP_OPEN),  # what stands now is told, so that the way out is the right one
    (LOCKED_OUT, WAITING): (
        STOP_OPEN,
        HOT,
        EXTRA_EDGES,
        OUT_OF_BAND,
        MAINS_LOST,
        STUCK_PEDAL,
        DUTY,
    ),
}


def test_every_state_reason_and_transition_is_visited() -> None:
    """A state that no run enters is proven by none; a transition that is not in the list is one that nobody thought of."""
    visited = Counter(transition for name in NAMES for transition in recorded(name)[1])
    for (before, after, why), times in sorted(visited.items()):
        print(f"{times:4}  {before} -> {after}" + (f": {why}" if why else ""))
    expected = {(before, after, why) for (before, after), reasons in EXPECTED.items() for why in reasons}
    assert expected - set(visited) == set()
    assert set(visited) - expected == set()
    assert {state for before, after, _ in visited for state in (before, after)} == set(words.STATE_NAMES)
    reasons = {why for _, after, why in visited if after == LOCKED_OUT}
    assert reasons == set(words.REASON_NAMES) - {"none", FILE}


def test_a_run_is_a_function_of_its_seed() -> None:
    """A difference found once must be found again by its seed."""
    once, again = (record(seeded_run(7))[0] for _ in range(2))
    assert once.calls == again.calls
    assert run_of("nothing", 8).bundle.digest == run_of("nothing", 8).bundle.digest
