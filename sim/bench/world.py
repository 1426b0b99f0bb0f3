"""Puts one bench together, with the emitted files in charge of it, and runs it."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Generator
from dataclasses import dataclass, field, replace

import simpy

from gen.firmware import FirmwareBundle
from gen.machine.welder import Welder
from gen.table import TimingTable
from gen.words import FORCE, HOT, PEDAL, STOP_OPEN, WATCHDOG
from sim.bench.board import BoardFault, TimerBoard, clocked
from sim.bench.circuit import SeriesLoad
from sim.bench.detector import CrossingDetector, DetectorSpec
from sim.bench.flash import Flash, FlashFault
from sim.bench.gate import GateUnit
from sim.bench.host import Firmware, Host, HostDriver
from sim.bench.mains import MainsSpec, MainsSupply
from sim.bench.pedal import Pedal, PedalSpec, Press
from sim.bench.pin import Pin
from sim.bench.protection import Chain, ProtectionSpec, protection_of
from sim.bench.recording import LevelChange, ObservedWeld, Recording, StateChange
from sim.bench.switch import SolidStateSwitch, SwitchSpec

SETTLE_S = 0.6  # from power-up to the first press: locking to the mains takes a quarter of it
LIFT_S = 0.2  # a person cannot press again before having let go
OPEN_LOAD_ANGLE_DEG = 85.0  # magnetising current only


@dataclass(frozen=True)
class Bench:
    """The welder, the mains and the person, as they really are; the firmware knows only what the welder file says.

    `stops`: (time, length) of presses of the stop button. `hots`: (time, length) of an open over-temperature contact.
    `forces`: (time, level) changes of the force switch. `serial`: (time, bytes) that arrive. `rested_ms`: what the board
    knows of the rest before its start (0: nothing, and it must assume the worst). `files`: what an earlier run has stored;
    `flash_write_s`: how long the program stands still for a write of a file. `clock_rate`: the board's seconds in a true one.
    `stop_reaches_gate`: False where the firing hardware's own test of the stop circuit does not work.
    `rested_after_reset_ms`: as `rested_ms`, after a reset in the run. Times in seconds.
    """

    mains: MainsSpec
    detector: DetectorSpec
    switch: SwitchSpec
    load: SeriesLoad
    pedal: PedalSpec
    length_s: float
    seed: int = 0
    stops: tuple[tuple[float, float], ...] = ()
    hots: tuple[tuple[float, float], ...] = ()
    forces: tuple[tuple[float, int], ...] = ()
    serial: tuple[tuple[float, bytes], ...] = ()
    rested_ms: int = 3_600_000
    watchdog_bit: bool = False
    files: tuple[tuple[str, bytes], ...] = ()
    flash_faults: tuple[FlashFault, ...] = ()
    flash_write_s: float = 0.05
    protection: ProtectionSpec = field(default_factory=ProtectionSpec)
    board_faults: tuple[BoardFault, ...] = ()
    clock_rate: float = 1.0
    stop_reaches_gate: bool = True
    rested_after_reset_ms: int = 0


def bench_for(
    welder: Welder,
    table: TimingTable,
    *,
    minutes: float = 1,
    welds_per_minute: float = 4,
    seed: int = 0,
    open_electrodes: bool = False,
) -> Bench:
    """The bench that this welder file describes, welding this table at a pace.

    Its detector and load are near what the file says and not equal to it: what a seed draws from the tolerance of parts.
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
        length_s=SETTLE_S
        + max(60 * minutes, (count - 1) * interval_s + weld_s + table.time_of("off") * 0.5 / mains.frequency_Hz + 0.5),
        seed=seed,
    )


def without_detector_error(bench: Bench, welder: Welder) -> Bench:
    """The same bench with a detector exactly as the welder file says, and steady mains."""
    d = welder.detector
    return replace(
        bench,
        detector=replace(bench.detector, rise_us=d.offset_rise_us, fall_us=d.offset_fall_us),
        mains=replace(bench.mains, frequency_Hz=welder.mains.frequency_Hz, jitter_us=0),
    )


def simulate(bundle: FirmwareBundle, table: TimingTable, bench: Bench) -> Recording:
    """Run the emitted files on the bench, and return what happened. Same input, same recording."""
    env = simpy.Environment()
    first = Firmware(bundle)
    config = first.config
    mains = MainsSupply(bench.mains, bench.seed)
    detector = CrossingDetector(env, bench.detector, mains)
    pedal = Pedal(env, bench.pedal, bench.seed)
    stop, hot, force, watchdog = (
        Pin(env, level) for level in (0, 0, 0 if bench.forces else 1, int(bench.watchdog_bit))
    )
    serial: deque[int] = deque()
    flash = Flash(dict(bench.files), bench.flash_faults)
    gates: list[tuple[float, float]] = []
    rose: list[float] = []
    states: list[StateChange] = []

    def on_conduction(conducting: bool) -> None:
        driver.conduction_changed(conducting)

    def fed() -> bool:
        return chain.feeds()

    switch = SolidStateSwitch(env, bench.switch, bench.load, mains, on_conduction, fed)
    chain = Chain(env, bench.protection, stop, hot, switch.gate)

    def on_gate(level: int) -> None:
        chain.gate(level)
        if level:
            rose.append(env.now)
        else:
            gates.append((rose[-1], env.now))

    gate = GateUnit(
        env if bench.clock_rate == 1 else clocked(env, bench.clock_rate),
        detector.pin,
        stop if bench.stop_reaches_gate else Pin(env),
        on_gate,
        bool(config.DETECTOR_SQUARE),
        config.OFFSET_RISE_US,
        config.OFFSET_FALL_US,
    )
    edges, stops, pedals = _followed(env, detector.pin), _followed(env, stop), _followed(env, pedal.pin)
    inputs = {PEDAL: pedal.pin, STOP_OPEN: stop, FORCE: force, HOT: hot, WATCHDOG: watchdog}
    # A tenth of the runs starts just before the clock wraps.
    clock_ms = (1 << 30) - 1500 if bench.seed % 10 == 3 else 1000 * bench.seed

    def on_alive(contactor: int) -> None:
        chain.train(contactor)
        board.fed()

    driver = HostDriver(
        env,
        gate,
        detector.pin,
        inputs,
        switch,
        bool(config.CONDUCTION_SENSE),
        bool(config.DETECTOR_SQUARE),
        bench.rested_ms,
        clock_ms,
        serial,
        flash,
        bench.flash_write_s,
        bench.clock_rate,
        on_alive,
    )

    def start(number: int) -> Host:
        firmware = Firmware(bundle) if number else first
        return Host(
            env, firmware, driver, bench.seed + number, bench.clock_rate, states, lambda again: board.ended(again)
        )

    board = TimerBoard(
        env,
        start,
        gate,
        driver,
        watchdog,
        flash,
        states,
        config.WATCHDOG_MS / 1000,
        bench.rested_after_reset_ms,
        bench.board_faults,
    )
    for pin in (pedal.pin, stop, hot, force):
        pin.watchers.append(board.wake)
    for pin, times in ((stop, bench.stops), (hot, bench.hots)):
        env.process(_drive(env, pin, sorted([(t, 1) for t, _ in times] + [(t + length, 0) for t, length in times])))
    env.process(_drive(env, force, bench.forces))
    env.process(_deliver(env, serial, board, driver, bench.serial))
    env.run(until=bench.length_s)
    if gate.level:
        gates.append((rose[-1], env.now))
    return Recording(
        length_s=bench.length_s,
        half_cycles=tuple(mains.half_cycles),
        detector=tuple(edges),
        stops=tuple(stops),
        gates=tuple(gates),
        conductions=tuple(switch.conductions),
        states=tuple(states),
        presses=tuple(press.start_s for press in bench.pedal.presses),
        welds=_welds(states, table, gates, switch, bench.length_s),
        calls=driver.calls,
        call_times=driver.call_times,
        received=bytes(driver.received),
        sent=tuple(driver.sent),
        files_read=tuple(driver.files_read),
        files=tuple(flash.files.items()),
        seed=bench.seed,
        pedal=tuple(pedals),
        starts=tuple(board.starts),
    )


def _followed(env: simpy.Environment, pin: Pin) -> list[LevelChange]:
    """A list that will hold every change of a pin."""
    changes: list[LevelChange] = []
    pin.watchers.append(lambda level: changes.append(LevelChange(env.now, level)))
    return changes


def _drive(
    env: simpy.Environment, pin: Pin, changes: list[tuple[float, int]] | tuple[tuple[float, int], ...]
) -> Generator[simpy.Event, None, None]:
    for time_s, level in changes:
        yield env.timeout(max(0.0, time_s - env.now))
        pin.set(level)


def _deliver(
    env: simpy.Environment,
    serial: deque[int],
    board: TimerBoard,
    driver: HostDriver,
    arrivals: tuple[tuple[float, bytes], ...],
) -> Generator[simpy.Event, None, None]:
    for time_s, data in arrivals:
        yield env.timeout(max(0.0, time_s - env.now))
        serial.extend(data)
        driver.received.extend(data)
        board.wake()


def _welds(
    states: list[StateChange],
    table: TimingTable,
    gates: list[tuple[float, float]],
    switch: SolidStateSwitch,
    length_s: float,
) -> tuple[ObservedWeld, ...]:
    """Cut the run into welds at the state changes, and count what the gate and the current did in each."""
    welds: list[ObservedWeld] = []
    armed = ("squeeze", "weld", "hold", "off")
    for n, change in enumerate(states):
        if change.state != "squeeze":
            continue
        after = [later for later in states[n:] if later.state not in armed]
        end = after[0].time_s if after else length_s
        went = [later.state for later in states[n:] if later.time_s < end]
        conducted = sum(1 for c in switch.conductions if change.time_s <= c.start_s < end and c.latched)
        given = sum(1 for on, _ in gates if change.time_s <= on < end)
        ending = "completed" if "hold" in went else "ended early"
        welds.append(ObservedWeld(change.time_s, end, table.fired_half_cycles, given, conducted, ending))
    return tuple(welds)
