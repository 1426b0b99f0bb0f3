"""One run of the emitted files on one bench, from the bench's description to the recording.

The user's files become a job: the timing table, and the files that a board runs.

    >>> from pathlib import Path
    >>> from gen.job import make_job
    >>> from gen.machine.welder import Welder
    >>> from gen.schedule import Schedule
    >>> welder = Welder.model_validate({
    ...     "mains": {"voltage_V": 230, "frequency_Hz": 50},
    ...     "transformer": {"rating_kVA": 3, "rating_duty_percent": 50, "working_current_A": 20},
    ...     "force": {"source": "foot_lever"},
    ...     "protection": {"gate_drive": "one_shot", "contactor": True},
    ...     "board": {"name": "pico"},
    ... })
    >>> phases = ({"squeeze": "0.2 s"}, {"weld": "10 cycles"}, {"hold": "5 cycles"}, {"off": "0.5 s"})
    >>> schedule = Schedule.model_validate({"name": "example", "frequency_Hz": 50, "phases": phases})
    >>> job = make_job(schedule, welder, Path("example.toml"))

A `Bench` holds the true properties of mains, detector, switch, load, protection, board and operator. It is a value: a fault is
the same bench with a field changed.

    >>> bench = bench_for(welder, job.table, minutes=0.02, seed=1)
    >>> missed = replace(bench, detector=replace(bench.detector, missing=frozenset({90})))

A `World` makes each part once, in one SimPy environment. Parts communicate by the levels of pins only. Time passes only in
`run`. Between runs the state of every part can be read.

    >>> world = World(job.bundle, bench)
    >>> world.run(0.5)
    >>> world.wires.gate.level, world.board.states[-1].state
    (0, 'ready')
    >>> world.run()

The result is a frozen `Recording`. Verdict and report are made from it.

    >>> recording = world.recording(job.table)
    >>> [(weld.gates, weld.conducted, weld.ending) for weld in recording.welds]
    [(20, 20, 'completed')]

`simulate` does all of this in one call. The same input gives the same recording.

    >>> simulate(job.bundle, job.table, bench).gates == recording.gates
    True
    >>> [weld.ending for weld in simulate(job.bundle, job.table, missed).welds]
    ['ended early']
"""

from __future__ import annotations

import random
from collections.abc import Generator, Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import simpy

from gen.firmware import FirmwareBundle
from gen.machine.welder import Welder
from gen.table import TimingTable
from gen.words import ARMED_STATES
from sim.bench.ammeter import AmmeterSpec
from sim.bench.board import BoardSpec, TimerBoard
from sim.bench.circuit import BenchWork, JointCurve, SeriesLoad
from sim.bench.detector import CrossingDetector, DetectorSpec
from sim.bench.mains import MainsSpec, MainsSupply
from sim.bench.pedal import Pedal, PedalSpec, Press
from sim.bench.pin import Pin, PinTrace, Wires
from sim.bench.protection import Contactor, GateDrive, ProtectionSpec, protection_of
from sim.bench.recording import LevelChange, ObservedWeld, Recording, StateChange
from sim.bench.sense import ConductionSense, SenseSpec
from sim.bench.switch import Conduction, SolidStateSwitch, SwitchSpec

SETTLE_S = 0.6  # from power-up to the first press: locking to the mains takes a quarter of it
LIFT_S = 0.2  # least time between releasing the pedal and the next press
OPEN_LOAD_ANGLE_DEG = 85.0  # magnetising current only


@dataclass(frozen=True)
class Bench:
    """The true properties of welder, mains and operator. The firmware knows only the welder file.

    Times in seconds from the start of the run.
    """

    mains: MainsSpec
    detector: DetectorSpec
    switch: SwitchSpec
    load: SeriesLoad
    pedal: PedalSpec
    length_s: float
    seed: int = 0
    stops: tuple[tuple[float, float], ...] = ()
    """(time, length) of presses of the stop button."""
    hots: tuple[tuple[float, float], ...] = ()
    """(time, length) of an open over-temperature contact."""
    forces: tuple[tuple[float, int], ...] = ()
    """(time, level) changes of the force switch, which starts open. Empty: no switch is fitted."""
    serial: tuple[tuple[float, bytes], ...] = ()
    """(time, bytes) that arrive on the serial line."""
    sense: SenseSpec = field(default_factory=SenseSpec)
    joint: JointCurve | None = None
    """The resistance of the work, in series with `load`. None: it is constant and part of `load`."""
    protection: ProtectionSpec = field(default_factory=ProtectionSpec)
    board: BoardSpec = field(default_factory=BoardSpec)

    def with_board(self, **changes: Any) -> Bench:
        """The same bench with these fields of its board changed."""
        return replace(self, board=replace(self.board, **changes))


def bench_for(
    welder: Welder,
    table: TimingTable,
    *,
    minutes: float = 1,
    welds_per_minute: float = 4,
    seed: int = 0,
    open_electrodes: bool = False,
) -> Bench:
    """The bench of this welder file, welding this table at a pace.

    Its detector and load differ from the file's values by draws from the tolerances of parts, fixed by the seed.
    """
    chance = random.Random(seed)
    mains, transformer, switch, detector = welder.mains, welder.transformer, welder.switch, welder.detector
    angle = (transformer.load_angle_min_deg + transformer.load_angle_max_deg) / 2
    if open_electrodes:
        load = SeriesLoad.from_working_point(
            mains.voltage_V, transformer.idle_current_A, OPEN_LOAD_ANGLE_DEG, mains.frequency_Hz
        )
    else:
        load = SeriesLoad.from_working_point(mains.voltage_V, transformer.working_current_A, angle, mains.frequency_Hz)
    weld_s = (table.half_cycles - table.time_of("off")) * 0.5 / mains.frequency_Hz
    interval_s = 60 / welds_per_minute
    count = max(1, int(minutes * welds_per_minute + 1e-9))
    presses: list[Press] = []
    for n in range(count):
        lifted_s = presses[-1].start_s + presses[-1].hold_s + LIFT_S if presses else 0.0
        presses.append(Press(max(SETTLE_S + n * interval_s, lifted_s), weld_s + chance.uniform(0.15, 0.3)))
    return Bench(
        mains=MainsSpec(mains.voltage_V, mains.frequency_Hz * (1 + chance.uniform(-0.002, 0.002)), jitter_us=15),
        detector=DetectorSpec(
            detector.kind,
            detector.offset_rise_us + chance.uniform(-15, 15),
            detector.offset_fall_us + chance.uniform(-15, 15),
            mains.voltage_V,
        ),
        switch=SwitchSpec(switch.kind, switch.latching_current_A, switch.holding_current_A, switch.turn_on_delay_us),
        load=load,
        pedal=PedalSpec(tuple(presses)),
        protection=protection_of(welder),
        board=BoardSpec(ammeter=_ammeter(welder, chance)),
        length_s=SETTLE_S
        + max(60 * minutes, (count - 1) * interval_s + weld_s + table.time_of("off") * 0.5 / mains.frequency_Hz + 0.5),
        seed=seed,
    )


def _ammeter(welder: Welder, chance: random.Random) -> AmmeterSpec:
    """The ammeter that the file names, with drawn errors of its parts."""
    sense = welder.current_sense
    if sense is None:
        return AmmeterSpec()
    return AmmeterSpec(
        sense.turns, sense.burden_ohm, error=1 / sense.reading_factor - 1 + chance.uniform(-0.01, 0.01),
        bias=2048 + chance.uniform(-20, 20),
    )  # fmt: skip


def without_detector_error(bench: Bench, welder: Welder) -> Bench:
    """The same bench with a detector exactly as the welder file says, and steady mains."""
    d = welder.detector
    return replace(
        bench,
        detector=replace(bench.detector, rise_us=d.offset_rise_us, fall_us=d.offset_fall_us),
        mains=replace(bench.mains, frequency_Hz=welder.mains.frequency_Hz, jitter_us=0),
    )


class World:
    """One bench: its parts, joined by wires, controlled by the emitted files."""

    def __init__(self, bundle: FirmwareBundle, bench: Bench) -> None:
        self.bench = bench
        self.env = env = simpy.Environment()
        self.wires = wires = Wires(env)
        self.mains = MainsSupply(bench.mains, bench.seed)
        CrossingDetector(env, bench.detector, self.mains, wires.detector)
        Pedal(env, bench.pedal, bench.seed, wires.pedal)
        GateDrive(env, bench.protection, wires)
        contactor = Contactor(env, bench.protection, wires)
        self.switch = SolidStateSwitch(
            env, bench.switch, BenchWork(bench.load, bench.joint), self.mains, contactor, wires
        )
        ConductionSense(env, bench.sense, self.mains, wires.carrying, wires.conduction)
        self._traces = {pin: PinTrace(env, pin) for pin in (wires.detector, wires.stop, wires.pedal, wires.gate)}
        if bench.forces:
            wires.force.level = 0
        self.board = TimerBoard(env, bundle, wires, self.switch, bench.board, bench.seed)
        for pin, times in ((wires.stop, bench.stops), (wires.hot, bench.hots)):
            env.process(_drive(env, pin, sorted([(t, 1) for t, _ in times] + [(t + length, 0) for t, length in times])))
        env.process(_drive(env, wires.force, bench.forces))
        env.process(_deliver(env, self.board, bench.serial))

    def run(self, until_s: float | None = None) -> None:
        """Let time pass, to `until_s` or to the end of the bench's run."""
        self.env.run(until=self.bench.length_s if until_s is None else until_s)

    def recording(self, table: TimingTable) -> Recording:
        """The recording so far. `table`: the board's timing table, by which half-cycles are counted."""
        wires, board, length_s = self.wires, self.board, self.env.now
        detector, stops, pedal, edges = (
            self._traces[pin].changes for pin in (wires.detector, wires.stop, wires.pedal, wires.gate)
        )
        times = [time_s for time_s, _ in edges] + [length_s] * (len(edges) % 2)
        gates = tuple(zip(times[::2], times[1::2], strict=True))
        return Recording(
            length_s=length_s,
            half_cycles=tuple(self.mains.half_cycles),
            detector=_changes(detector),
            stops=_changes(stops),
            gates=gates,
            conductions=tuple(self.switch.conductions),
            states=tuple(board.states),
            presses=tuple(press.start_s for press in self.bench.pedal.presses),
            welds=_welds(board.states, table, gates, self.switch.conductions, length_s),
            calls=board.driver.calls,
            call_times=board.driver.call_times,
            received=bytes(board.line.received),
            sent=tuple(board.line.sent),
            files_read=tuple(board.driver.files_read),
            files=tuple(board.flash.files.items()),
            seed=self.bench.seed,
            samples=board.driver.ammeter.samples,
            pedal=_changes(pedal),
            starts=tuple(board.starts),
        )


def simulate(bundle: FirmwareBundle, table: TimingTable, bench: Bench) -> Recording:
    """Run the emitted files on the bench, and return the recording. Same input, same recording."""
    world = World(bundle, bench)
    world.run()
    return world.recording(table)


def _changes(trace: list[tuple[float, int]]) -> tuple[LevelChange, ...]:
    return tuple(LevelChange(time_s, level) for time_s, level in trace)


def _drive(
    env: simpy.Environment, pin: Pin, changes: Iterable[tuple[float, int]]
) -> Generator[simpy.Event, None, None]:
    for time_s, level in changes:
        yield env.timeout(max(0.0, time_s - env.now))
        pin.set(level)


def _deliver(
    env: simpy.Environment, board: TimerBoard, arrivals: tuple[tuple[float, bytes], ...]
) -> Generator[simpy.Event, None, None]:
    for time_s, data in arrivals:
        yield env.timeout(max(0.0, time_s - env.now))
        board.line.arrive(data)
        board.wake()


def _welds(
    states: list[StateChange],
    table: TimingTable,
    gates: tuple[tuple[float, float], ...],
    conductions: list[Conduction],
    length_s: float,
) -> tuple[ObservedWeld, ...]:
    """Divide the run into welds at the state changes, and count gates and currents in each."""
    welds: list[ObservedWeld] = []
    for n, change in enumerate(states):
        if change.state != "squeeze":
            continue
        after = [later for later in states[n:] if later.state not in ARMED_STATES]
        end = after[0].time_s if after else length_s
        went = [later.state for later in states[n:] if later.time_s < end]
        conducted = sum(1 for c in conductions if change.time_s <= c.start_s < end and c.latched)
        given = sum(1 for on, _ in gates if change.time_s <= on < end)
        ending = "completed" if "hold" in went else "ended early"
        welds.append(ObservedWeld(change.time_s, end, table.fired_half_cycles, given, conducted, ending))
    return tuple(welds)
