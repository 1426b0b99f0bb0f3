"""The timer board, and the faults of its interpreter, clock, supply and watchdog."""

from __future__ import annotations

import random
from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Literal

import simpy

from gen.firmware import FirmwareBundle
from gen.words import FILE_DAMAGED, LOCKED_OUT, REASON_NAMES, STATE_NAMES
from sim.bench.ammeter import AmmeterSpec, PrimaryAmmeter
from sim.bench.chip import WRITE_S, Clock, Flash, FlashFault
from sim.bench.driver import HostDriver, Sensed, SerialLine
from sim.bench.gate import DetectorSettings, GateUnit
from sim.bench.host import SELF_TEST, Firmware, Host, damaged_file
from sim.bench.pin import Pin, Wires
from sim.bench.recording import StateChange
from sim.bench.switch import SolidStateSwitch

BOOT_S = 0.25  # from a reset to the first step; from memory
SOFT_S = 0.05  # from a soft reset to boot.py, which switches the pins off; from memory
GOODBYE_S = 0.1  # delay of main.py's own restart, in which the last answer leaves


@dataclass(frozen=True)
class BoardFault:
    """A fault of the board."""

    kind: Literal["hang", "exception", "soft reset", "watchdog", "brown-out", "leap", "damage", "flip", "stick"]
    """The kind of fault. "hang": the interpreter stops for `length_s` (math.inf: for ever), and the firing hardware continues.
    "exception": the next step raises, and main.py ends as it must. "soft reset": the interpreter restarts, and the pin keeps
    its level until boot.py. "watchdog": the watchdog resets the board. "brown-out": no supply for `length_s`. "leap": the
    board's clock is advanced by `length_s`, as after an idle time. "damage": every stored file is truncated. "flip": one bit of
    the firmware in flash is inverted. "stick": one bit of the memory of the half-cycles sticks."""
    at_s: float
    length_s: float = 0.0


@dataclass(frozen=True)
class BoardSpec:
    """The true properties of the board, and its faults."""

    rested_ms: int = 3_600_000
    """The rest before its start as known to the board, ms. 0: unknown, so it must assume the worst."""
    rested_after_reset_ms: int = 0
    """The rest before a restart within the run as known to the board, ms."""
    bitten: bool = False
    """The watchdog caused the start at the beginning of the run."""
    memory_bad: bool = False
    """A bit of the memory of the half-cycles sticks from before that start on."""
    clock_rate: float = 1.0
    """Seconds of the board's clock in one true second."""
    stop_reaches_gate: bool = True
    """False: the firing hardware's own test of the stop circuit does not work."""
    release_reaches_gate: bool = True
    """False: the firing hardware's test of the pedal, for machines whose weld ends at release, does not work."""
    blips_held: bool = True
    """False: a contact that opens and closes again between two reads by the program is not reported."""
    ammeter: AmmeterSpec = field(default_factory=AmmeterSpec)
    """The current transformer before its converter."""
    files: tuple[tuple[str, bytes], ...] = ()
    """Files stored by an earlier run, by name."""
    flash_write_s: float = WRITE_S
    """Duration of a file write, during which the program stops."""
    flash_faults: tuple[FlashFault, ...] = ()
    faults: tuple[BoardFault, ...] = ()


def flipped(bundle: FirmwareBundle, chance: random.Random) -> FirmwareBundle:
    """The firmware with one bit of one file turned over, of those below the eighth, which would leave no text."""
    path = chance.choice([name for name in bundle.files if name != SELF_TEST])
    text = bundle.files[path]
    at = chance.randrange(len(text))
    other = chr(ord(text[at]) ^ 1 << chance.randrange(7))
    return FirmwareBundle({**bundle.files, path: text[:at] + other + text[at + 1 :]})


class TimerBoard:
    """Runs the emitted files, injects the faults, and restarts the files after a reset.

    The watchdog runs from its first feed after each start.
    """

    def __init__(
        self,
        env: simpy.Environment,
        bundle: FirmwareBundle,
        wires: Wires,
        switch: SolidStateSwitch,
        spec: BoardSpec,
        seed: int,
    ) -> None:
        self._env = env
        self._bundle = bundle
        self._memory_bad = wires.memory_bad
        self._memory_bad.level = self._stuck = int(spec.memory_bad)
        self._spec = spec
        self._seed = seed
        self._bitten = wires.bitten
        self._bitten.level = int(spec.bitten)
        firmware = Firmware(bundle)
        config = firmware.config
        self._watchdog_s = config.WATCHDOG_MS / 1000
        # A tenth of the runs starts shortly before the clock wraps.
        starts_ms = (1 << 30) - 1500 if seed % 10 == 3 else 1000 * seed
        self._clock = Clock(env, spec.clock_rate, starts_ms, spec.rested_ms)
        self.flash = Flash(dict(spec.files), spec.flash_faults, spec.flash_write_s)
        self.line = SerialLine()
        self._gate = GateUnit(
            self._clock,
            wires.detector,
            wires.stop if spec.stop_reaches_gate else Pin(env),
            wires.gate,
            DetectorSettings(bool(config.DETECTOR_SQUARE), config.OFFSET_RISE_US, config.OFFSET_FALL_US),
            wires.pedal if config.RELEASE_STOPS and spec.release_reaches_gate else None,
        )
        ammeter = PrimaryAmmeter(self._clock, spec.ammeter, switch, wires.gate, seed)
        self.driver = HostDriver(self._clock, wires, self._gate, Sensed(switch, ammeter), self.flash, self.line, config)
        if spec.blips_held:
            self.driver.hold_blips()
        self.states: list[StateChange] = []
        """The application's states, over all starts."""
        self.starts: list[float] = []
        """Times of the restarts after a reset."""
        self._resets = 0
        self._fed_s: float | None = None
        self._program = self._begin(firmware)
        for pin in (wires.pedal, wires.stop, wires.hot, wires.force):
            pin.watchers.append(self.wake)
        wires.watchdog.watchers.append(self._feed)
        for fault in sorted(spec.faults, key=lambda f: f.at_s):
            env.process(self._strike(fault))

    def _begin(self, firmware: Firmware | None = None) -> Host | None:
        """Start the program as main.py does; None where a file of it is damaged, and none of it runs."""
        if damaged_file(self._bundle):
            self.states.append(StateChange(self._env.now, STATE_NAMES[LOCKED_OUT], REASON_NAMES[FILE_DAMAGED]))
            return None
        program = Host(
            self._clock, firmware or Firmware(self._bundle), self.driver, self.states, self._seed + self._resets
        )
        program.process.callbacks.append(self._ended)
        return program

    def wake(self, level: int = 0) -> None:
        """Wake the program: an input has changed, or bytes have arrived."""
        if self._program is not None:
            self._program.wake()

    def _ended(self, process: simpy.Event) -> None:
        """The program has ended. Value True: restart the board. False: it stays off. None: it was ended from outside."""
        if not process.ok or process.value is None:
            return
        if process.value:
            self._reset(GOODBYE_S, bitten=False)
        else:
            self._resets += 1
            self._fed_s = None

    def _feed(self, level: int) -> None:
        """Feed the watchdog."""
        begins = self._fed_s is None
        self._fed_s = self._env.now
        if begins:
            self._env.process(self._watch(self._resets))

    def _watch(self, resets: int) -> Generator[simpy.Event, None, None]:
        while self._resets == resets and self._fed_s is not None:
            left_s = self._fed_s + self._watchdog_s - self._env.now
            if left_s <= 1e-9:
                self._reset(0, bitten=True)
                return
            yield self._env.timeout(left_s)

    def _strike(self, fault: BoardFault) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(fault.at_s)
        if fault.kind == "hang":
            if self._program is not None:
                self._program.hang(fault.length_s)
        elif fault.kind == "exception":
            if self._program is not None:
                self._program.fail()
        elif fault.kind == "soft reset":
            self._gate.freeze()
            self._reset(SOFT_S, bitten=False, hard=False)
        elif fault.kind == "watchdog":
            self._reset(0, bitten=True)
        elif fault.kind == "brown-out":
            self._reset(fault.length_s, bitten=False)
        elif fault.kind == "leap":
            self._clock.leap(round(fault.length_s * 1000))
        elif fault.kind == "damage":
            self.flash.files.update({name: data[:-1] for name, data in self.flash.files.items()})
        elif fault.kind == "flip":
            self._bundle = flipped(self._bundle, random.Random(self._seed))
        elif fault.kind == "stick":
            self._stuck = 1

    def _reset(self, dark_s: float, *, bitten: bool, hard: bool = True) -> None:
        """End the program at once, and restart it after `dark_s` and the boot."""
        if self._program is not None:
            self._program.die()
        self._resets += 1
        self._fed_s = None
        if hard:
            self._gate.off()
        self.states.append(StateChange(self._env.now, "starting", "none"))
        self._env.process(self._restart(self._resets, dark_s, bitten))

    def _restart(self, resets: int, dark_s: float, bitten: bool) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(dark_s)
        if self._resets != resets:
            return
        self._gate.off()  # boot.py
        yield self._env.timeout(BOOT_S)
        if self._resets != resets:
            return
        self._bitten.level = int(bitten)
        self._memory_bad.level = self._stuck
        self.driver.restarted(self._spec.rested_after_reset_ms)
        self.starts.append(self._env.now)
        self._program = self._begin()
