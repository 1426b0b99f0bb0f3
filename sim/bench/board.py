"""The timer board, and what can happen to it: to its interpreter, its clock, its supply and its watchdog."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Literal

import simpy

from gen.firmware import FirmwareBundle
from sim.bench.ammeter import AmmeterSpec, PrimaryAmmeter
from sim.bench.chip import WRITE_S, Clock, Flash, FlashFault
from sim.bench.driver import HostDriver, Sensed, SerialLine
from sim.bench.gate import DetectorSettings, GateUnit
from sim.bench.host import Firmware, Host
from sim.bench.pin import Pin, Wires
from sim.bench.recording import StateChange
from sim.bench.switch import SolidStateSwitch

BOOT_S = 0.25  # from a reset to the first step; from memory
SOFT_S = 0.05  # from a soft reset to boot.py, which puts the pins off; from memory
GOODBYE_S = 0.1  # main.py's own restart lets the last answer leave


@dataclass(frozen=True)
class BoardFault:
    """Something that happens to the board."""

    kind: Literal["hang", "exception", "soft reset", "watchdog", "brown-out", "leap", "damage"]
    """What happens. "hang": the interpreter stands still for `length_s` (math.inf: for ever), and the firing hardware goes on
    by itself. "exception": the next step raises, and main.py ends as it must. "soft reset": the interpreter starts again, the
    pin stays as it was until boot.py. "watchdog": it bites. "brown-out": no supply for `length_s`. "leap": the board's clock
    is moved on by `length_s`, as if nothing had happened for so long. "damage": every stored file loses its end."""
    at_s: float
    length_s: float = 0.0


@dataclass(frozen=True)
class BoardSpec:
    """The board as it really is, and what happens to it."""

    rested_ms: int = 3_600_000
    """What the board knows of the rest before its start; 0: nothing, and it must assume the worst."""
    rested_after_reset_ms: int = 0
    """The same after a reset in the run."""
    bitten: bool = False
    """The watchdog caused the start at the beginning of the run."""
    clock_rate: float = 1.0
    """Seconds of the board's clock in one true second."""
    stop_reaches_gate: bool = True
    """False: the firing hardware's own test of the stop circuit does not work."""
    release_reaches_gate: bool = True
    """False: its own test of the pedal does not work, where letting go is to end a weld."""
    blips_held: bool = True
    """False: a contact that opens and closes again between two looks of the program is not told."""
    ammeter: AmmeterSpec = field(default_factory=AmmeterSpec)
    """The current transformer before its converter."""
    files: tuple[tuple[str, bytes], ...] = ()
    """What an earlier run has stored, by name."""
    flash_write_s: float = WRITE_S
    """How long the program stands still for a write of a file."""
    flash_faults: tuple[FlashFault, ...] = ()
    faults: tuple[BoardFault, ...] = ()


class TimerBoard:
    """Runs the emitted files, lets faults happen to them, and starts them again after a reset.

    The watchdog runs from its first feed of each start.
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
        self._spec = spec
        self._seed = seed
        self._bitten = wires.bitten
        self._bitten.level = int(spec.bitten)
        firmware = Firmware(bundle)
        config = firmware.config
        self._watchdog_s = config.WATCHDOG_MS / 1000
        # A tenth of the runs starts just before the clock wraps.
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
        """The application's states, through every start."""
        self.starts: list[float] = []
        """When the program was started again after a reset."""
        self._resets = 0
        self._fed_s: float | None = None
        self._program = self._begin(firmware)
        for pin in (wires.pedal, wires.stop, wires.hot, wires.force):
            pin.watchers.append(self.wake)
        wires.watchdog.watchers.append(self._feed)
        for fault in sorted(spec.faults, key=lambda f: f.at_s):
            env.process(self._strike(fault))

    def _begin(self, firmware: Firmware) -> Host:
        program = Host(self._clock, firmware, self.driver, self.states, self._seed + self._resets)
        program.process.callbacks.append(self._ended)
        return program

    def wake(self, level: int = 0) -> None:
        """An input has changed, or bytes have come."""
        self._program.wake()

    def _ended(self, process: simpy.Event) -> None:
        """The program has ended by itself, unless its value is None: it restarts the board, or nothing runs any more."""
        if not process.ok or process.value is None:
            return
        if process.value:
            self._reset(GOODBYE_S, bitten=False)
        else:
            self._resets += 1
            self._fed_s = None

    def _feed(self, level: int) -> None:
        """The watchdog is fed."""
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
            self._program.hang(fault.length_s)
        elif fault.kind == "exception":
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

    def _reset(self, dark_s: float, *, bitten: bool, hard: bool = True) -> None:
        """End the program at once, and start it again `dark_s` and a boot later."""
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
        self.driver.restarted(self._spec.rested_after_reset_ms)
        self.starts.append(self._env.now)
        self._program = self._begin(Firmware(self._bundle))
