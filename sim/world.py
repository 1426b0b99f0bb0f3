"""Puts one bench together, with the emitted files in charge of it, and runs it."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Generator
from dataclasses import dataclass, replace

import simpy

from gen.firmware import FirmwareBundle
from gen.table import TimingTable
from gen.welder import Welder
from sim.circuit import Load
from sim.detector import Detector, DetectorSpec
from sim.flash import Flash, FlashFault
from sim.gate import GateUnit
from sim.host import FORCE, HOT, PEDAL, STOP_OPEN, WATCHDOG, Firmware, Host, HostDriver
from sim.mains import Mains, MainsSpec
from sim.pedal import Pedal, PedalSpec, Press
from sim.pin import Pin
from sim.recording import Change, Recording, WeldRecord
from sim.switch import Switch, SwitchSpec

SETTLE_S = 0.6  # from power-up to the first press: locking to the mains takes a quarter of it
LIFT_S = 0.2  # a person cannot press again before having let go
OPEN_LOAD_ANGLE_DEG = 85.0  # magnetising current only


@dataclass(frozen=True)
class Bench:
    """The welder, the mains and the person, as they really are; the firmware knows only what the welder file says.

    `stops`: (time, length) of presses of the stop button. `hots`: (time, length) of an open over-temperature contact.
    `forces`: (time, level) changes of the force switch. `serial`: (time, bytes) that arrive. `rested_ms`: what the board
    knows of the rest before its start (0: nothing, and it must assume the worst). `files`: what an earlier run has stored;
    `flash_write_s`: how long the program stands still for a write of a file. Times in seconds.
    """

    mains: MainsSpec
    detector: DetectorSpec
    switch: SwitchSpec
    load: Load
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
        load = Load.from_working_point(
            mains.voltage_V, transformer.idle_current_A, OPEN_LOAD_ANGLE_DEG, mains.frequency_Hz
        )
    else:
        load = Load.from_working_point(mains.voltage_V, transformer.working_current_A, angle, mains.frequency_Hz)
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
    firmware = Firmware(bundle)
    config = firmware.config
    mains = Mains(bench.mains, bench.seed)
    detector = Detector(env, bench.detector, mains)
    pedal = Pedal(env, bench.pedal, bench.seed)
    stop, hot, force, watchdog = (
        Pin(env, level) for level in (0, 0, 0 if bench.forces else 1, int(bench.watchdog_bit))
    )
    serial: deque[int] = deque()
    flash = Flash(dict(bench.files), bench.flash_faults)
    gates: list[tuple[float, float]] = []
    rose: list[float] = []

    def on_conduction(conducting: bool) -> None:
        driver.conduction_changed(conducting)

    switch = Switch(env, bench.switch, bench.load, mains, on_conduction)

    def on_gate(level: int) -> None:
        switch.gate(level)
        if level:
            rose.append(env.now)
        else:
            gates.append((rose[-1], env.now))

    gate = GateUnit(
        env, detector.pin, stop, on_gate, bool(config.DETECTOR_SQUARE), config.OFFSET_RISE_US, config.OFFSET_FALL_US
    )
    edges: list[Change] = []
    stops: list[Change] = []
    detector.pin.watchers.append(lambda level: edges.append(Change(env.now, level)))
    stop.watchers.append(lambda level: stops.append(Change(env.now, level)))
    inputs = {PEDAL: pedal.pin, STOP_OPEN: stop, FORCE: force, HOT: hot, WATCHDOG: watchdog}
    # A tenth of the runs starts just before the clock wraps.
    clock_ms = (1 << 30) - 1500 if bench.seed % 10 == 3 else 1000 * bench.seed
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
    )
    host = Host(env, firmware, driver, bench.seed)
    for pin in (pedal.pin, stop, hot, force):
        pin.watchers.append(host.wake)
    for pin, times in ((stop, bench.stops), (hot, bench.hots)):
        env.process(_drive(env, pin, sorted([(t, 1) for t, _ in times] + [(t + length, 0) for t, length in times])))
    env.process(_drive(env, force, bench.forces))
    env.process(_deliver(env, serial, host, driver, bench.serial))
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
        states=tuple(host.states),
        presses=tuple(press.start_s for press in bench.pedal.presses),
        welds=_welds(host, table, gates, switch, bench.length_s),
        calls=driver.calls,
        call_times=driver.call_times,
        received=bytes(driver.received),
        sent=tuple(driver.sent),
        files_read=tuple(driver.files_read),
        files=tuple(flash.files.items()),
        seed=bench.seed,
    )


def _drive(
    env: simpy.Environment, pin: Pin, changes: list[tuple[float, int]] | tuple[tuple[float, int], ...]
) -> Generator[simpy.Event, None, None]:
    for time_s, level in changes:
        yield env.timeout(max(0.0, time_s - env.now))
        pin.set(level)


def _deliver(
    env: simpy.Environment,
    serial: deque[int],
    host: Host,
    driver: HostDriver,
    arrivals: tuple[tuple[float, bytes], ...],
) -> Generator[simpy.Event, None, None]:
    for time_s, data in arrivals:
        yield env.timeout(max(0.0, time_s - env.now))
        serial.extend(data)
        driver.received.extend(data)
        host.wake()


def _welds(
    host: Host, table: TimingTable, gates: list[tuple[float, float]], switch: Switch, length_s: float
) -> tuple[WeldRecord, ...]:
    """Cut the run into welds at the state changes, and count what the gate and the current did in each."""
    welds: list[WeldRecord] = []
    armed = ("squeeze", "weld", "hold", "off")
    states = host.states
    for n, change in enumerate(states):
        if change.state != "squeeze":
            continue
        after = [later for later in states[n:] if later.state not in armed]
        end = after[0].time_s if after else length_s
        went = [later.state for later in states[n:] if later.time_s < end]
        conducted = sum(1 for c in switch.conductions if change.time_s <= c.start_s < end and c.latched)
        given = sum(1 for on, _ in gates if change.time_s <= on < end)
        ending = "completed" if "hold" in went else "ended early"
        welds.append(WeldRecord(change.time_s, end, table.fired_half_cycles, given, conducted, ending))
    return tuple(welds)
