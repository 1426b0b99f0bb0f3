"""A welder to be commissioned: the emitted application on the simulator's parts, behind a pseudo-terminal, and a person.

Simulated time passes while a question of the line is open or somebody sleeps, as fast as it can be reckoned. The person
reads what is printed, works the contacts, and types what the meters show: currents from the simulated circuits.
"""

from __future__ import annotations

import io
import math
import os
import pty
import select
import threading
import tty
from collections.abc import Callable, Generator
from itertools import pairwise
from types import TracebackType
from typing import Self

import simpy

from gen.firmware import FirmwareBundle
from gen.words import FORCE, HOT, PEDAL, STOP_OPEN
from sim.bench.ammeter import AmmeterSpec, PrimaryAmmeter
from sim.bench.chip import Clock, Flash
from sim.bench.circuit import SeriesLoad
from sim.bench.detector import CrossingDetector, DetectorSpec
from sim.bench.driver import HostDriver, Sensed, SerialLine
from sim.bench.gate import DetectorSettings, GateUnit
from sim.bench.host import Firmware, Host
from sim.bench.joint import BenchWork
from sim.bench.mains import MainsSpec, MainsSupply
from sim.bench.pin import PinTrace, Wires
from sim.bench.protection import Contactor, GateDrive, ProtectionSpec
from sim.bench.switch import SolidStateSwitch, SwitchSpec
from sim.core.impulse import Firing, Impulse, run
from tests.support.link.hidden_truth import Truth

SLICE_S = 0.02
WORKS_AFTER_S = 0.4
AFTER_S = 0.2  # time goes on so long after an answer: who asked may wait for another that belongs to it


class _OneSided(SolidStateSwitch):
    """A pair of which one thyristor does not fire; or none, where the gate lead is off."""

    one_sided = False
    lead_off = False

    def gate(self, level: int) -> None:
        if level and (self.lead_off or (self.one_sided and not self._mains.at(self._env.now).positive)):
            return
        super().gate(level)


class CommissionBench:
    """`port` is what the command opens. Also stands in for the module `time`. `files` is the board's flash."""

    def __init__(
        self, bundle: FirmwareBundle, truth: Truth, files: dict[str, bytes], rested_ms: int = 3_600_000
    ) -> None:
        self.truth = truth
        self.files = files
        env = self._env = simpy.Environment()
        firmware = Firmware(bundle)
        config = firmware.config
        self._mains = MainsSupply(MainsSpec(truth.mains_V, truth.mains_Hz, jitter_us=15), seed=1)
        spec = DetectorSpec("square", truth.rise_us, truth.fall_us, truth.mains_V)
        self._wires = wires = Wires(env)
        CrossingDetector(env, spec, self._mains, wires.detector)
        self._pins = {PEDAL: wires.pedal, STOP_OPEN: wires.stop, FORCE: wires.force, HOT: wires.hot}
        wires.pedal.level, wires.stop.level, wires.force.level = int(truth.pedal_inverted), int(truth.stop_lead_off), 0
        heater = SeriesLoad((truth.mains_V**2) / (truth.plate_W * truth.load_over_plate), 1e-5)
        GateDrive(env, ProtectionSpec(), wires)
        contactor = Contactor(env, ProtectionSpec(), wires)
        self._switch = _OneSided(
            env, SwitchSpec("scr_pair", 0.2, 0.1, 10), BenchWork(heater, None), self._mains, contactor, wires
        )
        self._switch.lead_off = truth.gate_lead_off
        self._edges = PinTrace(env, wires.gate).changes
        clock = Clock(env, rested_ms=rested_ms)
        offsets = DetectorSettings(True, config.OFFSET_RISE_US, config.OFFSET_FALL_US)
        gate = GateUnit(
            clock, wires.detector, wires.stop, wires.gate, offsets, wires.pedal if config.RELEASE_STOPS else None
        )
        self._line = SerialLine()
        flash = Flash({})
        flash.files = files  # the board's own, which outlives this start of it
        ammeter = PrimaryAmmeter(clock, AmmeterSpec(), self._switch, wires.gate, seed=1)
        driver = HostDriver(clock, wires, gate, Sensed(self._switch, ammeter), flash, self._line, config)
        driver.hold_blips()
        self._host = Host(clock, firmware, driver, [], 1)
        for pin in self._pins.values():
            pin.watchers.append(self._host.wake)
        self._lock = threading.Lock()
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        self._running = True
        self._thread = threading.Thread(target=self._carry)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._running:
            self.unplug()

    def unplug(self) -> None:
        """Pull the cable."""
        self._running = False
        self._thread.join(10)
        os.close(self._ours)
        os.close(self._theirs)

    # -- as the module `time` ------------------------------------------------------------------------------------

    def monotonic(self) -> float:
        return float(self._env.now)

    def sleep(self, seconds: float) -> None:
        with self._lock:
            self._env.run(until=self._env.now + seconds)

    # -- the cable -----------------------------------------------------------------------------------------------

    def _carry(self) -> None:
        asked, until_s = False, 0.0
        while self._running:
            if select.select([self._ours], [], [], 0 if asked else 0.005)[0]:
                data = os.read(self._ours, 4096)
                with self._lock:
                    self._line.arrive(data)
                    self._host.wake()
                asked = True
            if asked:
                with self._lock:
                    self._env.run(until=self._env.now + SLICE_S)
                    sent, self._line.sent = b"".join(self._line.sent), []
                if sent:
                    os.write(self._ours, sent)
                    until_s = self._env.now + AFTER_S
                    asked = False
            elif self._env.now < until_s:
                with self._lock:
                    self._env.run(until=self._env.now + SLICE_S)

    # -- the person's hands --------------------------------------------------------------------------------------

    def set(self, bit: int, level: int, after_s: float = WORKS_AFTER_S) -> None:
        """Bring a contact to a level in a while."""

        def worked() -> Generator[simpy.Event, None, None]:
            yield self._env.timeout(after_s)
            self._pins[bit].set(level)

        with self._lock:
            self._env.process(worked())

    # -- the person's eyes ---------------------------------------------------------------------------------------

    @property
    def gates(self) -> list[tuple[float, float]]:
        """(on, off) of each gate that has ended."""
        times = [time_s for time_s, _ in self._edges]
        return list(zip(times[::2], times[1::2], strict=False))

    def one_sided(self) -> None:
        """One thyristor fires no more."""
        self._switch.one_sided = True

    def last_impulse(self) -> list[tuple[float, float]]:
        """The gates of the last impulse."""
        found = self.gates[-1:]
        for earlier, later in reversed(list(pairwise(self.gates))):
            if later[0] - earlier[0] > 0.75 / self.truth.mains_Hz:
                break
            found.insert(0, earlier)
        return found

    def clamp_A(self, circuit: str) -> float:
        """What a true-RMS clamp meter holds of the last impulse, in its digits: `load`, `open`, `shorted` or `work`."""
        half_s = 0.5 / self.truth.mains_Hz
        gates = self._given()
        if not gates:
            return 0.0
        if circuit == "load":
            swings = [c.rms_A for c in self._switch.conductions if c.start_s >= gates[0][0]]
        else:
            swings = [swing.primary_rms_A for swing in self._impulse(circuit).swings]
        reading = math.sqrt(sum(rms_A**2 for rms_A in swings) * half_s / self._length_s(gates))
        return round(reading, 2 if reading < 10 else 1)

    def clamp_dc_A(self) -> float:
        """What a d.c. clamp meter holds of it with open electrodes: the mean of the current."""
        return round(self._impulse("open").charge_C / self._length_s(self._given()), 2)

    def _given(self) -> list[tuple[float, float]]:
        """The gates of the last impulse that reached the switch."""
        return [] if self.truth.gate_lead_off else self.last_impulse()

    def _length_s(self, gates: list[tuple[float, float]]) -> float:
        return (self._mains.at(gates[-1][0]).index - self._mains.at(gates[0][0]).index + 1) * 0.5 / self.truth.mains_Hz

    def _impulse(self, circuit: str) -> Impulse:
        """What the gates of the last impulse do to the transformer."""
        gates = self._given()
        first, last = self._mains.at(gates[0][0]).index, self._mains.at(gates[-1][0]).index
        supply = [self._mains.half_cycle(n) for n in range(first, last + 2)]
        fires = [Firing(on, off) for on, off in gates if not self._switch.one_sided or self._mains.at(on).positive]
        return run(self.truth.circuit(work=circuit == "work"), supply, fires, 0.0, circuit != "open")


class Person(io.TextIOBase):
    """Standard input: each line is what a person answers to what `said` asked last."""

    def __init__(self, bench: CommissionBench, tools: bool = True) -> None:
        self._bench = bench
        self._tools = tools
        self.said = Said(self._do)
        self.asked: list[str] = []

    def _do(self, text: str) -> None:
        """Work the contacts as asked, as far as the wiring lets."""
        bench, truth = self._bench, self._bench.truth
        pressed, let_go = (0, 1) if truth.pedal_inverted else (1, 0)
        if "Press the pedal and keep it down" in text:
            bench.set(PEDAL, pressed)
        elif "Let go of the pedal" in text:
            bench.set(PEDAL, let_go)
        elif "Press the stop" in text:
            bench.set(STOP_OPEN, 1)
        elif "Release the stop" in text:
            bench.set(STOP_OPEN, int(truth.stop_lead_off))
        elif "over-temperature contact off" in text and not truth.hot_bridged:
            bench.set(HOT, 1)
        elif "Put the lead back" in text:
            bench.set(HOT, 0)
        elif "Close the electrodes" in text and not truth.force_dead:
            bench.set(FORCE, 1)
        elif "Open the electrodes" in text:
            bench.set(FORCE, 0)
        elif "press the pedal and let go" in text:
            bench.set(PEDAL, 1)
            bench.set(PEDAL, 0, 4.0 if truth.holds_on else 1.1)
        elif "press the pedal and hold it" in text:
            if truth.lead_works_loose == self._title():
                bench.one_sided()
            bench.set(FORCE, 1)
            bench.set(PEDAL, 1)
            bench.set(PEDAL, 0, 4.0)
            bench.set(FORCE, 0, 4.2)
            if truth.hits_the_stop and self._title() == "First weld":
                bench.set(STOP_OPEN, 1, 1.4)
                bench.set(STOP_OPEN, 0, 2.4)

    def _title(self) -> str:
        """Of the step that was told last."""
        return next(
            (s.partition(": ")[2] for s in reversed(self.said.getvalue().splitlines()) if s.startswith("Step ")), ""
        )

    def readline(self, size: int | None = -1, /) -> str:
        prompt = self.said.getvalue().splitlines()[-1].strip()
        self.asked.append(prompt)
        answer = f"{self._answer(prompt, self._title())}\n"
        self.said.write(answer)  # as a terminal shows what is typed
        return answer

    def _answer(self, prompt: str, title: str) -> str:
        bench, truth = self._bench, self._bench.truth
        if prompt.startswith("Is all of this so?"):
            return "y"
        if prompt.startswith("Write "):
            return "y"
        if prompt.startswith(tuple(PARTS)):
            return next(value for begins, value in PARTS.items() if prompt.startswith(begins))
        if not self._tools and title.startswith(
            ("Mains voltage", "Voltage to earth", "Line impedance", "Loop impedance", "Residual-current device")
        ):
            return "none"
        if not self._tools and title.startswith("Detector's offset"):
            return "parts"
        if prompt.endswith("is there one? [y/N]:"):
            return "y" if self._tools else "n"
        if "held by" in prompt:
            bench.sleep(4.5)  # the shot, and the pedal let go
        meters: dict[str, Callable[[], float]] = {
            "Earth continuity": lambda: truth.earth_ohm,
            "Insulation, mains to earth": lambda: truth.insulation_Mohm,
            "Insulation, mains to secondary": lambda: truth.insulation_welding_Mohm,
            "Insulation, secondary to earth": lambda: truth.insulation_secondary_Mohm,
            "Residual-current device, current": lambda: truth.residual_mA,
            "Residual-current device, time": lambda: truth.residual_ms,
            "Voltage to earth": lambda: truth.to_earth_V,
            "Protective-conductor current": lambda: truth.earth_mA,
            "Mains voltage": lambda: round(truth.mains_V, 1),
            "Line impedance": lambda: truth.line_ohm,
            "Loop impedance": lambda: truth.loop_ohm,
            "Detector's offset, rising edge": lambda: truth.rise_us,
            "Detector's offset, falling edge": lambda: truth.fall_us,
            "The load": lambda: truth.plate_W,
            "The load through the switch": lambda: bench.clamp_A("load"),
            "Open electrodes": lambda: bench.clamp_A("open"),
            "Open electrodes, d.c.": bench.clamp_dc_A,
            "Shorted electrodes": lambda: bench.clamp_A("shorted"),
            "First weld": lambda: bench.clamp_A("work"),
        }
        return f"{meters[title]():g}"


PARTS = {
    "Resistance before": "100000",
    "Resistance at its output": "10000",
    "Current transfer ratio, least": "50",
    "Current transfer ratio, greatest": "200",
    "Delay of its output, least": "2",
    "Delay of its output, greatest": "60",
}


class Said(io.StringIO):
    """Standard output: `heard` is told each line that begins with "Now: "."""

    def __init__(self, heard: Callable[[str], None]) -> None:
        super().__init__()
        self._heard = heard

    def write(self, text: str, /) -> int:
        written = super().write(text)
        if "Now: " in text:
            self._heard(text)
        return written
