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
import tomllib
import tty
from collections.abc import Callable, Generator
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from types import TracebackType
from typing import Self

import simpy

from gen.boards import boards
from gen.commissioning.values import CONTACTS, LOGIC, OPEN, RESISTIVE, SCRAP, SHORTED, SUPPLY, UNPOWERED
from gen.firmware import FirmwareBundle
from gen.machine.welder import Welder
from gen.wiring.netlist import Netlist
from gen.wiring.upgrade import upgrade
from gen.words import CONTACTOR_OPEN, FORCE, HOT, PEDAL, STOP_OPEN
from sim.bench.ammeter import AmmeterSpec, PrimaryAmmeter
from sim.bench.chip import Clock, Flash
from sim.bench.circuit import BenchWork, SeriesLoad
from sim.bench.detector import DetectorSpec
from sim.bench.driver import HostDriver, Sensed, SerialLine
from sim.bench.gate import DetectorSettings, GateUnit
from sim.bench.host import Firmware, Host
from sim.bench.mains import MainsSpec, MainsSupply
from sim.bench.pin import PinTrace, Wires
from sim.bench.switch import SolidStateSwitch, SwitchSpec
from sim.core.impulse import Firing, Impulse, run
from tests.support.link.hidden_truth import Truth
from tests.support.miswired.circuit import Circuit, Load, Setting
from tests.support.miswired.plant import HANDS, Plant
from tests.support.wiring.upgrade_machines import chosen

SLICE_S = 0.02
TURNS, BURDEN_OHM = 1000, 20  # of the current transformer, as it is
WORKS_AFTER_S = 0.4
AFTER_S = 0.2  # time goes on so long after an answer: who asked may wait for another that belongs to it


class CommissionBench:
    """`port` is what the command opens. Also stands in for the module `time`. `files` is the board's flash.

    `circuit`: the machine as somebody wired it, else as the sheet of welder.toml in this folder says. What the board's pins
    read and what reaches the switch follows from that.
    """

    def __init__(
        self,
        bundle: FirmwareBundle,
        truth: Truth,
        files: dict[str, bytes],
        rested_ms: int = 3_600_000,
        *,
        circuit: Circuit | None = None,
    ) -> None:
        self.truth = truth
        self.files = files
        env = self._env = simpy.Environment()
        firmware = Firmware(bundle)
        config = firmware.config
        self._mains = MainsSupply(MainsSpec(truth.mains_V, truth.mains_Hz, jitter_us=15), seed=1)
        spec = DetectorSpec("square", truth.rise_us, truth.fall_us, truth.mains_V)
        self._wires = wires = Wires(env)
        circuit = circuit or as_drawn(Path("welder.toml").read_text())
        self.plant = plant = Plant(env, wires, self._mains, spec, circuit, truth.one_shot_ms / 1000)
        self._right = as_wired(circuit.netlist)
        heater = SeriesLoad((truth.mains_V**2) / (truth.plate_W * truth.load_over_plate), 1e-5)
        work = BenchWork(heater, None)
        self._switch = SolidStateSwitch(env, SwitchSpec("scr_pair", 0.2, 0.1, 10), work, self._mains, plant, wires)
        plant.change(pedal=truth.pedal_inverted, off=frozenset(truth.off), joined=frozenset(truth.joined))
        self._edges = PinTrace(env, wires.gate).changes
        clock = Clock(env, rested_ms=rested_ms)
        offsets = DetectorSettings(True, config.OFFSET_RISE_US, config.OFFSET_FALL_US)
        gate = GateUnit(
            clock, wires.detector, wires.stop, wires.gate, offsets, wires.pedal if config.RELEASE_STOPS else None
        )
        self._line = SerialLine()
        flash = Flash({})
        flash.files = files  # the board's own, which outlives this start of it
        spec_A = (
            AmmeterSpec(TURNS, BURDEN_OHM, error=truth.ammeter_shows - 1) if config.CURRENT_SENSE else AmmeterSpec()
        )
        self._measures = bool(config.CURRENT_SENSE)
        ammeter = PrimaryAmmeter(clock, spec_A, self._switch, wires.gate, seed=1)
        driver = HostDriver(clock, wires, gate, Sensed(self._switch, ammeter), flash, self._line, config)
        driver.hold_blips()
        self._host = Host(clock, firmware, driver, [], 1)
        for pin in (wires.pedal, wires.stop, wires.force, wires.hot):
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
                if sent and not self.plant.silent:
                    os.write(self._ours, sent)
                    until_s = self._env.now + AFTER_S
                    asked = False
            elif self._env.now < until_s:
                with self._lock:
                    self._env.run(until=self._env.now + SLICE_S)

    # -- the person's hands --------------------------------------------------------------------------------------

    def set(self, bit: int, level: int, after_s: float = WORKS_AFTER_S) -> None:
        """Bring a contact to a level in a while."""
        what = HANDS[bit]
        if "." in what:
            self.later(lambda: self.lead(what, on=not level), after_s)
        else:
            self.later(lambda: self.plant.change(**{what: bool(level)}), after_s)

    def later(self, act: Callable[[], None], after_s: float = WORKS_AFTER_S) -> None:
        """Do something in a while."""

        def worked() -> Generator[simpy.Event, None, None]:
            yield self._env.timeout(after_s)
            act()

        with self._lock:
            self._env.process(worked())

    def lead(self, *terminals: str, on: bool) -> None:
        """Take leads off their terminals, or put them back where they are not off for good."""
        off = self.plant.setting.off
        self.plant.change(off=off - (set(terminals) - set(self.truth.off)) if on else off | set(terminals))

    def stage(self, title: str) -> None:
        """Bring the machine into the state that a stage asks for."""
        power, control, gates, load = STAGES[title]
        with self._lock:
            self.lead("V1.G", "V2.G", on=gates)
            self.plant.change(power=power, control=control, load=load)
            if self._measures and load == "shorted":  # what the transformer around the conductor is to see
                t = self.truth
                short = SeriesLoad.from_working_point(t.mains_V, t.shorted_A, t.shorted_deg, t.mains_Hz)
                self._switch._work = BenchWork(short, None)

    # -- the person's eyes ---------------------------------------------------------------------------------------

    @property
    def gates(self) -> list[tuple[float, float]]:
        """(on, off) of each gate that has ended."""
        times = [time_s for time_s, _ in self._edges]
        return list(zip(times[::2], times[1::2], strict=False))

    def one_sided(self) -> None:
        """One thyristor fires no more."""
        with self._lock:
            self.lead("V1.G", on=False)

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
        fires = self._given()
        if not fires:
            return 0.0
        if circuit == "load":
            swings = [c.rms_A for c in self._switch.conductions if c.start_s >= fires[0].on_s]
        else:
            swings = [swing.primary_rms_A for swing in self._impulse(circuit).swings]
        reading = self._share() * math.sqrt(sum(rms_A**2 for rms_A in swings) * half_s / self._length_s())
        return round(reading, 2 if reading < 10 else 1)

    def _share(self) -> float:
        """What flows through the load as it is wired, over what would flow: in the polarity where more does."""
        fired = replace(FIRED, load=self.plant.setting.load)
        shares = [
            self.plant.circuit.look(replace(fired, positive=p, off=self.plant.setting.off), self.plant.broken).load_A
            / self._right.look(replace(fired, positive=p)).load_A
            for p in (True, False)
        ]
        return max(shares)

    def clamp_dc_A(self) -> float:
        """What a d.c. clamp meter holds of it with open electrodes: the mean of the current."""
        if not self._given():
            return 0.0
        return round(self._share() * self._impulse("open").charge_C / self._length_s(), 2)

    def _given(self) -> list[Firing]:
        """The gates of the last impulse that turned the switch on."""
        starts = [c.start_s for c in self._switch.conductions]
        return [Firing(on, off) for on, off in self.last_impulse() if any(on <= s <= off for s in starts[-200:])]

    def _length_s(self) -> float:
        gates = self.last_impulse()
        return (self._mains.at(gates[-1][0]).index - self._mains.at(gates[0][0]).index + 1) * 0.5 / self.truth.mains_Hz

    def _impulse(self, circuit: str) -> Impulse:
        """What the gates of the last impulse do to the transformer."""
        gates = self.last_impulse()
        first, last = self._mains.at(gates[0][0]).index, self._mains.at(gates[-1][0]).index
        supply = [self._mains.half_cycle(n) for n in range(first, last + 2)]
        return run(self.truth.circuit(work=circuit == "work"), supply, self._given(), 0.0, circuit != "open")

    # -- other meters ----------------------------------------------------------------------------------------------

    def earth_ohm(self) -> float:
        """The worst of the touchable metal parts, to the supply's protective earth."""
        touchable = [t for t in ("EN.PE", "H1.PE", "T1.core") if t in self.plant.circuit.terminals]
        touchable += ["E2.1"] if "XS.PE" in self.plant.circuit.terminals else []
        return self.truth.earth_ohm + min(max(self._ohms("Q0.PE", t) for t in touchable), 9e5)

    def insulation_Mohm(self, one: tuple[str, ...], other: tuple[str, ...], whole: float) -> float:
        """At 500 V between two parts of the transformer, board and switch and the secondary's earth taken off."""
        off = {t for t in self.plant.circuit.terminals if t.partition(".")[0] not in ("T1", "E1", "E2", "XE", "K1")}
        found = min(self._ohms(a, b, off=frozenset(off)) for a in one for b in other) / 1e6
        return whole if found > 5 else found

    def open_Mohm(self) -> float:
        """The least of all open contacts, and of the fuses' holders."""
        found = [self._ohms(f"{p}.{a}", f"{p}.{b}") for p in ("Q1", "Q2", "K1") for a, b in (("1", "2"), ("3", "4"))]
        parts = self.plant.circuit.parts
        for fuse in ("F1", "F2", "F3"):
            if not getattr(parts[fuse], "link", False):
                found.append(self._ohms(f"{fuse}.1", f"{fuse}.2", out=frozenset({fuse})))
        return round(min(found) / 1e6, 3)

    def varistor_Mohm(self) -> float:
        """At a voltage at which it conducts."""
        return 0.4 if self.plant.circuit.lies_across("RV1", "F1.2", "Q1.4", self._dead()) else 900.0

    def clamp_V(self) -> float:
        """The peak at the coil as it drops: of a clamp, or of nothing but the winding."""
        return 62.0 if self.plant.circuit.lies_across("D2", "K1.A1", "K1.A2", self._dead()) else 400.0

    def diode_V(self) -> float:
        """The meter's diode test backwards across the detector's light-emitting diode."""
        return self.plant.circuit.junction_V("U1.K", "U1.A", self._dead())

    def ohms(self, one: str, other: str) -> float:
        """An ohmmeter on two terminals."""
        return min(self._ohms(one, other), 9e5)

    def _dead(self) -> Setting:
        s = self.plant.setting
        return Setting(usb=False, off=s.off, joined=s.joined)

    def snubber_uF(self) -> float:
        """What a capacitance meter shows across the switch: a thousand where it cannot settle."""
        z = self.plant.circuit.ohms("V1.A", "V1.K", self._dead(), METER_HZ)
        if abs(z.real) >= abs(z.imag):
            return 0.0 if abs(z) > 1e6 else 1000.0
        return round(-1e6 / (2 * math.pi * METER_HZ * z.imag), 3)

    def pulls_ohm(self, to: str, *roles: str) -> float:
        """The greatest resistance from some pins of the board."""
        pins = [f"A1.{role}" for role in roles if f"A1.{role}" in self.plant.circuit.terminals]
        return min(max(self._ohms(pin, to) for pin in pins), 9e5)

    def pull_ups_ohm(self, *roles: str) -> float:
        """The same to 3.3 V, the stop pressed and the leads of the contacts that are closed at rest taken off meanwhile."""
        dead, circuit = self._dead(), self.plant.circuit
        opened = replace(dead, stop=True, off=dead.off | {"B2.1", "K1.21"})
        pins = [f"A1.{role}" for role in roles if f"A1.{role}" in circuit.terminals]
        return min(max(abs(circuit.ohms(pin, "A1.3V3", opened)) for pin in pins), 9e5)

    def volts(self, *pairs: tuple[str, str]) -> list[float]:
        """What a voltmeter shows on each pair of terminals, whichever way round."""
        plant = self.plant
        return [abs(plant.circuit.volts(one, other, plant.setting, plant.broken)) for one, other in pairs]

    def with_stop(self) -> float:
        """The greater voltage at coil and gate stage with the stop pressed."""
        self.set(STOP_OPEN, 1, 0.0)
        self.sleep(0.5)
        found = max(self.volts(*FEEDS))
        self.set(STOP_OPEN, 0, 0.0)
        self.sleep(0.5)
        return found

    def coil_and_release(self) -> float:
        """The voltage across the coil while the stop is pressed, which is let go a little after."""
        found = self.volts(COIL)[0]
        self.set(STOP_OPEN, 0, 1.0)
        return found

    def with_lead_off(self, terminal: str, pairs: tuple[tuple[str, str], ...], onto: str = "") -> float:
        """The greater of some voltages with a lead off its terminal, or held onto another."""
        before = self.plant.setting
        self._hold(terminal, onto)
        self.sleep(0.5)
        found = max(self.volts(*pairs))
        self._put_back(before)
        return found

    def train_V(self) -> float:
        """Across the coil with the contactor pin's lead on 3.3 V, the board's over-temperature lead off meanwhile."""
        before = self.plant.setting
        with self._lock:
            self.lead("B2.1", on=False)
        self.sleep(0.5)
        found = self.with_lead_off("A1.contactor", (COIL,), onto="A1.3V3")
        self._put_back(before)
        return found

    def switches_V(self) -> float:
        """Between the two switches of the coil, and behind the second: the box of that stage shows only what is behind."""
        return max(self.volts(("A3.OUT", "A3.0V"))[0], 24.0 if self.truth.switch_stays else 0.0)

    def _hold(self, terminal: str, onto: str) -> None:
        with self._lock:
            s = self.plant.setting
            joined = s.joined | ({(f"{terminal}'", onto)} if onto else set())
            self.plant.change(off=s.off | {terminal}, joined=joined)

    def _put_back(self, before: Setting) -> None:
        with self._lock:
            self.plant.change(off=before.off, joined=before.joined)
        self.sleep(0.5)

    def pulse_ms(self) -> float:
        """How long the gate stage's output is up, when the lead of its pin is held on 3.3 V."""
        plant, before, up = self.plant, self.plant.setting, 0
        with self._lock:
            touch = {("A1.gate'", "A1.3V3")}
            plant.change(off=before.off | {"A1.gate"}, joined=before.joined | touch)
            for _ in range(300):
                up += self.volts(("U2.A", "U2.K"))[0] > 1
                self._env.run(until=self._env.now + 1e-4)
        self._put_back(before)
        return round(up / 10, 1)

    def discharge_V(self) -> float:
        """What is left on the snubber's capacitor 5 s after the worst moment to open the isolators: 1 Gohm leaks."""
        farad = self.snubber_uF() * 1e-6
        if not 0 < farad < 1e-4:
            return 0.0
        ohm = self._ohms("C1.1", "C1.2")
        return round(self.truth.mains_V * math.sqrt(2) * math.exp(-5 / (farad * (1e9 if ohm > 2e7 else ohm))), 1)

    def _ohms(
        self, one: str, other: str, off: frozenset[str] = frozenset(), out: frozenset[str] = frozenset()
    ) -> float:
        dead = self._dead()
        return abs(self.plant.circuit.ohms(one, other, replace(dead, off=dead.off | off), 0.0, out))


_right: dict[int, Circuit] = {}


def as_wired(netlist: Netlist) -> Circuit:
    """A netlist without a mistake, solved once."""
    return _right.setdefault(id(netlist), Circuit(netlist))


@lru_cache
def as_drawn(text: str) -> Circuit:
    """A welder file's machine, wired as its sheet says."""
    welder = Welder.model_validate(tomllib.loads(text))
    return Circuit(upgrade(welder, boards()[welder.board.name], chosen(welder)))


METER_HZ = 100.0
FIVE_V = ("D3.A", "A1.GND")
FEEDS = (("A3.SUP", "G1.0V"), ("A2.SUP", "G1.0V"))
COIL = ("K1.A1", "K1.A2")
FIRED = Setting(power=True, control=True, pulled=True, gate=True, pulse=True, train=True)

# Title of a stage: Q1 closed, Q2 closed, gate leads on the switch, what is on the primary leads.
STAGES: dict[str, tuple[bool, bool, bool, Load]] = {
    UNPOWERED.title: (False, False, True, "open"),
    SUPPLY.title: (False, False, True, "open"),
    CONTACTS.title: (False, False, True, "open"),
    LOGIC.title: (False, True, False, "open"),
    RESISTIVE.title: (True, True, True, "heater"),
    OPEN.title: (True, True, True, "open"),
    SHORTED.title: (True, True, True, "shorted"),
    SCRAP.title: (True, True, True, "work"),
}


class Person(io.TextIOBase):
    """Standard input: each line is what a person answers to what `said` asked last."""

    def __init__(self, bench: CommissionBench, tools: bool = True) -> None:
        self._bench = bench
        self._tools = tools
        self.said = Said(self._do)
        self.asked: list[str] = []

    def _do(self, text: str) -> None:
        """Work the contacts as asked."""
        bench, truth = self._bench, self._bench.truth
        pressed, let_go = (0, 1) if truth.pedal_inverted else (1, 0)
        if "Press the pedal and keep it down" in text:
            bench.set(PEDAL, pressed)
        elif "Let go of the pedal" in text:
            bench.set(PEDAL, let_go)
        elif "push the contactor (K1) in" in text:
            bench.set(STOP_OPEN, 1)
            bench.set(CONTACTOR_OPEN, 1, 1.0)
        elif "Let the contactor go" in text:
            bench.set(CONTACTOR_OPEN, 0)
            bench.set(STOP_OPEN, 0, WORKS_AFTER_S + 0.02)
        elif "Press the stop" in text:
            bench.set(STOP_OPEN, 1)
        elif "Release the stop" in text:
            bench.set(STOP_OPEN, 0)
        elif "over-temperature contact (B2) off" in text:
            bench.set(HOT, 1)
        elif "Put the lead back" in text:
            bench.set(HOT, 0)
        elif "Close the electrodes" in text:
            bench.set(FORCE, 1)
        elif "Open the electrodes" in text:
            bench.set(FORCE, 0)
        elif "press the pedal and let go" in text:
            bench.set(PEDAL, 1)
            bench.set(PEDAL, 0, 4.0 if truth.holds_on else 1.1)
        elif "press the pedal and the stop" in text:
            bench.set(FORCE, 1)
            bench.set(PEDAL, 1)
            bench.set(STOP_OPEN, int(not truth.misses_the_stop), 1.3)
            bench.set(PEDAL, 0, 2.5)
            bench.set(FORCE, 0, 2.5)
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
        """The step that was reported last."""
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
            said = self.said.getvalue()
            bench.stage(max(STAGES, key=said.rfind))
            return "y"
        if prompt.startswith("Write "):
            return "y"
        if prompt.startswith(tuple(PARTS)):
            return next(value for begins, value in PARTS.items() if prompt.startswith(begins))
        if not self._tools and title.startswith(
            ("Mains voltage", "Voltage to earth", "Line impedance", "Loop impedance", "Residual-current device")
        ):
            return "none"
        if not self._tools and title in ("Varistor", "Snubber", "The coil's clamp", "The one-shot ends the gate"):
            return "none"
        if not self._tools and title.startswith("Detector's offset"):
            return "parts"
        if prompt.endswith("is there one? [y/N]:"):
            return "y" if self._tools else "n"
        if "held by" in prompt or title == "Stop drops the contactor":
            bench.sleep(4.5)  # the shot, and the pedal let go
        meters: dict[str, Callable[[], float]] = {
            "Earth continuity": bench.earth_ohm,
            "The current transformer": lambda: bench.clamp_A("shorted"),
            "Insulation, mains to earth": lambda: bench.insulation_Mohm(PRIMARY, FRAME, truth.insulation_Mohm),
            "Insulation, mains to secondary": lambda: bench.insulation_Mohm(
                PRIMARY, SECONDARY, truth.insulation_welding_Mohm
            ),
            "Insulation, secondary to earth": lambda: bench.insulation_Mohm(
                SECONDARY, FRAME, truth.insulation_secondary_Mohm
            ),
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
            "Contacts that must be open": bench.open_Mohm,
            "Varistor": bench.varistor_Mohm,
            "0 V to protective earth": lambda: bench.ohms("G1.0V", "XE.bar"),
            "Leads of the board's supply": lambda: max(bench.ohms("G2.0V", "A1.GND"), bench.ohms("D3.K", "A1.5V")),
            "USB isolator": lambda: bench.ohms("A4.H", "A1.GND") / 1e6,
            "The detector's diode": bench.diode_V,
            "Two feeds of the board apart": lambda: bench.volts(FIVE_V)[0],
            "Line where it belongs": lambda: round(bench.volts(("F2.2", "XE.bar"))[0] / math.sqrt(2), 1),
            "Supply of the board": lambda: bench.volts(FIVE_V)[0],
            "The coil's clamp": bench.clamp_V,
            "Snubber": bench.snubber_uF,
            "Pull-downs": lambda: bench.pulls_ohm("A1.GND", "gate", "contactor", "detector"),
            "Pull-ups": lambda: bench.pull_ups_ohm("stop", "pedal", "over_temperature", "force", "mirror"),
            "Supply of contactor and gate stage": lambda: min(bench.volts(*FEEDS)),
            "Stop cuts contactor and gate stage": bench.with_stop,
            "Over-temperature contact cuts contactor and gate stage": lambda: bench.with_lead_off("B1.1", FEEDS),
            "A stopped pulse train drops the contactor": bench.train_V,
            "Each switch of the coil opens by itself": bench.switches_V,
            "A gate pin that stands still": lambda: bench.with_lead_off("A1.gate", (("U2.A", "U2.K"),), onto="A1.3V3"),
            "The one-shot ends the gate": bench.pulse_ms,
            "Stop drops the contactor": bench.coil_and_release,
            "The snubber discharges": bench.discharge_V,
            "First weld": lambda: bench.clamp_A("work"),
        }
        return f"{meters[title]():g}"


PRIMARY, SECONDARY, FRAME = ("T1.1", "T1.2"), ("T1.X1", "T1.X2"), ("XE.bar", "T1.core")

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
