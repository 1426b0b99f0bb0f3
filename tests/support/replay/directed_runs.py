"""Runs for what the seeded ones do not meet: long waits, trouble on top of trouble, and boards that misbehave.

The simulated board cannot fail by itself, so that some of these put a part of their own in its place; what it answers is
recorded and replayed as any other answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any
from unittest.mock import patch

from gen.boards import boards
from gen.firmware import render
from gen.table import board_delay_us, heat
from gen.words import CONTACTOR_SHUT, PHASES, REASON_NAMES
from sim.bench.board import BoardSpec
from sim.bench.chip import FlashFault
from sim.bench.circuit import JointCurve, SeriesLoad
from sim.bench.driver import CONDUCTION_US, HostDriver
from sim.bench.gate import GateUnit
from sim.bench.pedal import Press
from sim.bench.recording import Recording
from sim.bench.world import bench_for, simulate
from tests.support.machines import compiled, make_welder
from tests.support.replay.seeded_runs import Run, request, run_of
from tests.support.replay.tracing import Transition, traced


class StuckGate(GateUnit):
    """A gate pin that does not read back low."""

    def off(self) -> int:
        super().off()
        return 0


class DeadFirstStart(GateUnit):
    """The edge falls between reading the detector and starting: the first start finds the wrong level and ends there."""

    started = False

    def start(self, count: int, half_us: int, positive: int) -> int:
        answer = super().start(count, half_us, positive)
        if answer and not self.started:
            self.started = True
            self.off()
        return answer


class StopOpenFromTheStart(HostDriver):
    """The stop wire is broken before the board has power."""

    wire = "stop"

    def __init__(self, clock: Any, wires: Any, *others: Any) -> None:
        getattr(wires, self.wire).level = 1
        super().__init__(clock, wires, *others)


class HotFromTheStart(StopOpenFromTheStart):
    """The over-temperature contact is open before the board has power."""

    wire = "hot"


class OneDirectionBlocks(HostDriver):
    """Every other gate has no current."""

    less_us = 1 << 14

    def conduction_us(self, gate: int) -> int:
        length_us = self._timer.length_us(gate)
        if gate % 2 and length_us > 0:
            length_us = max(length_us - self.less_us, 0)
        return self._record(CONDUCTION_US, gate, result=length_us)


class OneDirectionEndsEarly(OneDirectionBlocks):
    """The core is near saturation: the currents of the other direction last a millisecond longer."""

    less_us = 1000


@dataclass(frozen=True)
class Directed:
    """A run, with a part of the simulator replaced where `part` names one."""

    make: Callable[[], Run]
    part: str = ""
    instead: Any = None

    @cached_property
    def run(self) -> Run:
        return self.make()


def record(run: Run, part: str = "", instead: Any = None) -> tuple[Recording, list[Transition]]:
    """Simulate a run: what happened, and the transitions that the application made."""
    with _replaced(part, instead), traced() as transitions:
        return simulate(run.bundle, run.table, run.bench), transitions


@contextmanager
def _replaced(part: str, instead: Any) -> Iterator[None]:
    if not part:
        yield
        return
    with patch(f"sim.bench.board.{part}", instead):
        yield


def _held_on() -> Run:
    """The pedal is held for longer than STUCK_MS after a weld, while it gets hot for a moment."""
    run = run_of("nothing", 200)
    start = run.bench.pedal.presses[0].start_s
    pedal = replace(run.bench.pedal, presses=(Press(start, 35),))
    return replace(run, bench=replace(run.bench, pedal=pedal, hots=((33.5, 0.2),), length_s=37))


def _rested_out() -> Run:
    """The duty guard begins at its limit, and clears; it gets hot for a moment meanwhile."""
    run = run_of("no rest known, hot later", 201)
    pedal = replace(run.bench.pedal, presses=(Press(62.5, 1),))
    return replace(run, bench=replace(run.bench, pedal=pedal, length_s=65))


def _drifts_away() -> Run:
    """The mains leaves its band in a long off time, so that the board finds it so when it is ready again."""
    run = run_of("nothing", 202, off="8 s")
    drift = -0.025 * run.welder.mains.frequency_Hz
    return replace(run, bench=replace(run.bench, mains=replace(run.bench.mains, drift_Hz_per_s=drift), length_s=11))


def _sensed() -> Run:
    """A quiet run of a board with a sense across the switch."""
    return next(run for run in (run_of("nothing", n) for n in range(240, 280)) if run.welder.board.conduction_sense)


MEASURED = {"turns": 1000, "burden_ohm": 15, "end_at_expulsion": True}
PULSES = (
    {"pulse": "4 cycles", "current_percent": 60, "repeat": 2, "cool": "6 cycles"},
    {"weld": "14 cycles", "current_percent": 60},
)


def _measured(ammeter: dict[str, Any] | None = None, **changes: Any) -> Run:
    """A weld of two pulses and 28 half-cycles with both senses; it begins at about 0.9 s and is over at 1.8 s."""
    welder = make_welder(current_sense=MEASURED, board={"conduction_sense": True}, correct={"within_percent": 8})
    table = compiled(welder, *PULSES)
    bench = bench_for(welder, table, minutes=0.05, seed=6)
    bench = replace(bench.with_board(ammeter=replace(bench.board.ammeter, **ammeter or {})), **changes)
    return Run("nothing", frozenset(), welder, table, render(table, welder, boards()["pico"]), bench)


def _measured_load(times: float = 1.0, angle_deg: float = 52.5) -> Run:
    """The same with a load that takes so many times the current, at this angle."""
    run = _measured()
    t, mains = run.welder.transformer, run.welder.mains
    load = SeriesLoad.from_working_point(mains.voltage_V, times * t.working_current_A, angle_deg, mains.frequency_Hz)
    return replace(run, bench=replace(run.bench, load=load))


def _thrown_out() -> Run:
    """The joint's resistance falls at once in the middle of the weld."""
    run = _measured()
    loop = replace(run.bench.load, resistance_ohm=0.6 * run.bench.load.resistance_ohm)
    work = run.bench.load.resistance_ohm - loop.resistance_ohm
    joint = JointCurve(((0.0, work), (0.63, work), (0.632, 0.4 * work)))
    return replace(run, bench=replace(run.bench, load=loop, joint=joint))


def _shorted(at_s: float) -> Run:
    """The switch conducts by itself from then on."""
    run = _measured()
    return replace(run, bench=replace(run.bench, switch=replace(run.bench.switch, fault="shorted", fault_s=at_s)))


def _corrected() -> Run:
    """The same with the mains 5 % down, and a second weld that is let go: it is fired for what the first fell short of."""
    run = _measured()
    press = Press(run.bench.pedal.presses[0].start_s + 1.75, 0.4)
    pedal = replace(run.bench.pedal, presses=(*run.bench.pedal.presses, press))
    told = ((press.start_s + 1.1, request("welds", 1, {"since": 0})),)
    mains = replace(run.bench.mains, voltage_V=0.95 * run.bench.mains.voltage_V)
    length_s = press.start_s + 1.2
    return replace(run, bench=replace(run.bench, mains=mains, pedal=pedal, serial=told, length_s=length_s))


def _contactor(**changes: Any) -> Run:
    """The same weld with a contactor that fails."""
    run = _measured()
    return replace(run, bench=replace(run.bench, protection=replace(run.bench.protection, **changes)))


@cache
def _locked_for_good() -> tuple[tuple[str, bytes], ...]:
    """The files of a board that has found its contactor welded."""
    return record(_contactor(welded_s=1.2))[0].files


def _cleared() -> Run:
    """Such a board after a repair: locked out from the start, until it is cleared."""
    run = _measured()
    bench = replace(run.bench.with_board(files=_locked_for_good()))
    reason = REASON_NAMES[CONTACTOR_SHUT]
    lines = ((0.4, request("clear", 1, {"reason": "none"})), (0.5, request("clear", 2, {"reason": reason})))
    return replace(run, bench=replace(bench, serial=lines))


SHORT = 0.05  # between two lines


def _pushed(run: Run, at: float, name: str = "pushed") -> tuple[tuple[float, bytes], ...]:
    """Lines that push the run's own table under another name, select it, and take the old one away."""
    table = replace(run.table, name=name)
    rows = [[PHASES.index(row.phase), row.half_cycles, board_delay_us(row), heat(row)] for row in table.rows]
    asked: list[tuple[str, dict[str, Any]]] = [("hello", {}), ("status", {})]
    asked.append(("push_begin", {"name": name, "digest": table.digest, "rows_total": len(rows)}))
    for first in range(0, len(rows), 8):
        asked.append(("push_rows", {"from": first, "rows": rows[first : first + 8]}))
    asked += [("push_commit", {}), ("select", {"name": name}), ("remove", {"name": run.table.name})]
    asked += [("schedules", {}), ("read", {"name": name, "from": 0}), ("welds", {"since": 0})]
    asked += [("read", {"name": "another", "from": 0}), ("welds", {"since": -1}), ("push_commit", {})]
    return tuple((at + SHORT * n, request(method, n + 1, params)) for n, (method, params) in enumerate(asked))


def _with(name: str, seed: int, **changes: Any) -> Run:
    run = run_of(name, seed)
    if "serial" in changes:
        changes["serial"] = changes["serial"](run)
    return replace(run, bench=replace(run.bench, **changes))


def _sent(at: float) -> Any:
    return lambda run: _pushed(run, at)


def _maintained(run: Run) -> tuple[tuple[float, bytes], ...]:
    return ((0.4, request("maintain", 3, {})),)


@cache
def _whole() -> tuple[tuple[str, bytes], ...]:
    """The files of a board that has welded."""
    return record(run_of("nothing", 230))[0].files


def _torn() -> tuple[tuple[str, bytes], ...]:
    return tuple((name, data[:-1] + b"?") for name, data in _whole())


DIRECTED = {
    "pushed when ready": Directed(
        lambda: _with("nothing", 220, serial=lambda r: _pushed(r, r.bench.pedal.presses[1].start_s + 2.5), length_s=9)
    ),
    "pushed before the first weld": Directed(lambda: _with("nothing", 221, serial=_sent(0.02))),
    "pushed while armed": Directed(
        lambda: _with("nothing", 222, serial=lambda r: _pushed(r, r.bench.pedal.presses[0].start_s + 0.1))
    ),
    "pushed at an open stop": Directed(
        lambda: _with("stop button at power-up", 223, stops=((0.0, 3.0),), serial=_sent(0.5)),
        "HostDriver",
        StopOpenFromTheStart,
    ),
    "settings of another firmware": Directed(lambda: _with("nothing", 231, board=BoardSpec(files=_whole()))),
    "settings of the last start": Directed(lambda: _with("nothing", 230, board=BoardSpec(files=_whole()))),
    "one copy torn": Directed(lambda: _with("nothing", 230, board=BoardSpec(files=(_whole()[0], _torn()[1])))),
    "settings damaged": Directed(lambda: _with("nothing", 230, board=BoardSpec(files=_torn()), serial=_sent(0.3))),
    "the program failed": Directed(
        lambda: _with(
            "nothing",
            232,
            board=BoardSpec(files=(("failure", b"ValueError: x"),)),
            stops=((0.5, 0.1),),
            serial=_sent(0.3),
        )
    ),
    "memory of the half-cycles damaged": Directed(lambda: _with("nothing", 233, board=BoardSpec(memory_bad=True))),
    "storage fails": Directed(
        lambda: _with("nothing", 224, serial=_sent(0.3), board=BoardSpec(flash_faults=(FlashFault(2, "failed"),)))
    ),
    "a write lost": Directed(
        lambda: _with(
            "nothing",
            224,
            serial=_sent(0.3),
            board=BoardSpec(flash_faults=(FlashFault(2, "lost"), FlashFault(4, "torn", 99))),
        )
    ),
    "maintenance": Directed(lambda: _with("nothing", 225, serial=_maintained)),
    "gate stuck after a weld": Directed(lambda: run_of("nothing", 210), "GateUnit", StuckGate),
    "gate stuck at the stop": Directed(lambda: run_of("stop button in ready", 211), "GateUnit", StuckGate),
    "first start dead": Directed(lambda: run_of("nothing", 212), "GateUnit", DeadFirstStart),
    "one direction blocks": Directed(_sensed, "HostDriver", OneDirectionBlocks),
    "one direction ends early": Directed(_sensed, "HostDriver", OneDirectionEndsEarly),
    "measured and corrected": Directed(_corrected),
    "converter railed": Directed(lambda: _measured({"stuck": 0})),
    "converter stands still": Directed(lambda: _measured({"halts_s": 1.1})),
    "transformer on nothing": Directed(lambda: _measured({"on": "nothing"})),
    "more current than planned": Directed(lambda: _measured_load(times=2.4)),
    "less current than planned": Directed(lambda: _measured_load(times=0.4)),
    "current lasts too long": Directed(lambda: _measured_load(angle_deg=82)),
    "metal thrown out": Directed(_thrown_out),
    "shorted in squeeze": Directed(lambda: _shorted(0.7)),
    "shorted between pulses": Directed(lambda: _shorted(1.02)),
    "shorted in hold": Directed(lambda: _shorted(1.62)),
    "shorted in off": Directed(lambda: _shorted(1.78)),
    "contactor stays closed": Directed(lambda: _contactor(welded_s=1.2)),
    "contactor stays closed in ready": Directed(lambda: _contactor(mirror_stuck=(0.45, 0))),
    "contactor does not close": Directed(lambda: _contactor(coil_open_s=0.3)),
    "contactor opens under current": Directed(lambda: _contactor(coil_open_s=1.1)),
    "cleared": Directed(_cleared),
    "stop open from the start": Directed(
        lambda: run_of("stop button at power-up", 213), "HostDriver", StopOpenFromTheStart
    ),
    "hot from the start": Directed(lambda: run_of("hot at power-up", 214), "HostDriver", HotFromTheStart),
    "pedal held on": Directed(_held_on),
    "duty rests out": Directed(_rested_out),
    "mains drifts away in off time": Directed(_drifts_away),
    "hot while waiting": Directed(lambda: run_of("hot while waiting", 215)),
    "hot in squeeze": Directed(lambda: run_of("hot in squeeze", 216)),
    "hot in hold": Directed(lambda: run_of("hot in hold", 217)),
    "stop in hold": Directed(lambda: run_of("stop button in hold", 218)),
    "hot in off": Directed(lambda: run_of("hot in off", 218)),
    "noise in off": Directed(lambda: run_of("noise in off", 219)),
}
