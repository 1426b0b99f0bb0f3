"""The driver interface over the simulated parts, with every call recorded for the replay."""

from __future__ import annotations

from array import array
from collections import deque
from dataclasses import dataclass
from typing import Any

from gen.words import (
    BLOCKING,
    CONDUCTING,
    CONTACTOR_OPEN,
    FORCE,
    HOT,
    MEMORY_BAD,
    NOT_FITTED,
    PEDAL,
    STOP_OPEN,
    WATCHDOG,
)
from sim.bench.ammeter import PrimaryAmmeter
from sim.bench.chip import MASK, Clock, Flash
from sim.bench.gate import GateUnit
from sim.bench.pin import Wires
from sim.bench.sense import ConductionTimer
from sim.bench.switch import SolidStateSwitch

METER_QUEUE = 8  # half-cycles in the period meter's queue

# Codes of driver calls in a recording. A call is CALL_INTS integers: code, four arguments (0 where unused), result.
NOW, WAIT, RESTED, INPUTS, CROSSING, CONDUCTION, SAMPLED, SET, START, DONE, FIRED, OFF, ALIVE, READ, WRITE = range(15)
RESTART, READ_FILE, WRITE_FILE, CONDUCTION_US, SAMPLE, GATE_SAMPLE = range(15, 21)
CALL_NAMES = [
    "now_ms",
    "wait_until",
    "rested_ms",
    "inputs",
    "crossing_us",
    "conduction",
    "sampled",
    "set_half_cycle",
    "start",
    "done",
    "fired",
    "off",
    "alive",
    "read_byte",
    "write",
    "restart",
    "read_file",
    "write_file",
    "conduction_us",
    "sample",
    "gate_sample",
]
CALL_INTS = 6


class SerialLine:
    """The serial line: bytes on their way to the board, and all traffic in both directions."""

    def __init__(self) -> None:
        self.received = bytearray()
        """Bytes sent by the computer."""
        self.sent: list[bytes] = []
        """Bytes sent by the board, write by write."""
        self._waiting: deque[int] = deque()

    def arrive(self, data: bytes) -> None:
        """Bytes from the computer."""
        self.received.extend(data)
        self._waiting.extend(data)

    def read_byte(self) -> int:
        """The next byte waiting, -1 for none."""
        return self._waiting.popleft() if self._waiting else -1

    def clear(self) -> None:
        """Discard the bytes waiting."""
        self._waiting.clear()


@dataclass(frozen=True)
class Sensed:
    """The board's sensors of the weld's current."""

    switch: SolidStateSwitch
    ammeter: PrimaryAmmeter


class HostDriver:
    """The driver of one board, over all its starts. `config`: the emitted settings."""

    def __init__(
        self,
        clock: Clock,
        wires: Wires,
        gate: GateUnit,
        sensed: Sensed,
        flash: Flash,
        line: SerialLine,
        config: Any,
    ) -> None:
        self._calls: list[int] = []  # lists, since they grow several times faster than arrays
        self._call_times: list[float] = []
        self.files_read: list[bytes] = []
        """The file contents read. The calls refer to them by number."""
        self._env = clock.env
        self._clock = clock
        self._gate = gate
        self._switch = sensed.switch
        self._flash = flash
        self._line = line
        self._train, self._watchdog = wires.train, wires.watchdog
        self._sense_fitted = bool(config.CONDUCTION_SENSE)
        self._mirror_fitted = bool(config.MIRROR_CONTACT)
        self._inputs = (
            (PEDAL, wires.pedal),
            (STOP_OPEN, wires.stop),
            (FORCE, wires.force),
            (HOT, wires.hot),
            (WATCHDOG, wires.bitten),
            (MEMORY_BAD, wires.memory_bad),
        )
        self._stop, self._pedal = wires.stop, wires.pedal
        self._stop_opened = self._pedal_opened = False
        self._told = 0
        self._stall_s = 0.0
        self._square = bool(config.DETECTOR_SQUARE)
        self._lengths_us: deque[int] = deque()
        self._edge_s: float | None = None
        self._seen = 0  # edges since the last read
        self._sense = wires.conduction
        self._timer = ConductionTimer(clock, wires.gate, wires.conduction)
        self.ammeter = sensed.ammeter
        wires.detector.watchers.append(self._edge)
        wires.conduction.watchers.append(self._conducts)

    def _record(self, code: int, a: int = 0, b: int = 0, c: int = 0, d: int = 0, result: int = 0) -> int:
        self._calls += (code, a, b, c, d, result)
        self._call_times.append(self._env.now)
        return result

    @property
    def calls(self) -> array[int]:
        """Every call, CALL_INTS integers each."""
        return array("i", self._calls)

    @property
    def call_times(self) -> array[float]:
        """The time of each call, in seconds."""
        return array("d", self._call_times)

    def _edge(self, level: int) -> None:
        """Feed the period meter, a short queue of the half-cycles between edges."""
        if not (level or self._square):
            return
        now = self._env.now
        if self._edge_s is not None and len(self._lengths_us) < METER_QUEUE:
            self._lengths_us.append(min(round((now - self._edge_s) * 1e6 * self._clock.rate), MASK))
        self._edge_s = now

    def _conducts(self, level: int) -> None:
        """Follow the sense across the switch."""
        self._seen |= BLOCKING | CONDUCTING if level else BLOCKING

    def hold_blips(self) -> None:
        """Make the next read report a stop circuit or a pedal that opened since the last read, even if closed again."""
        self._stop.watchers.append(self._stop_moves)
        self._pedal.watchers.append(self._pedal_moves)

    def _stop_moves(self, level: int) -> None:
        self._stop_opened = self._stop_opened or bool(level)

    def _pedal_moves(self, level: int) -> None:
        self._pedal_opened = self._pedal_opened or not level

    def restarted(self, rested_ms: int) -> None:
        """The board was reset: its clock restarts, and its queues are empty."""
        self._clock.restart(rested_ms)
        self._timer.reset()
        self.ammeter.stop()
        self._lengths_us.clear()
        self._edge_s = None
        self._seen = 0
        self._stop_opened = self._pedal_opened = False
        self._told = 0
        self._line.clear()
        self._stall_s = 0.0

    def take_stall(self) -> float:
        """The time for which flash writes stopped the program since the last call, in seconds."""
        stall_s, self._stall_s = self._stall_s, 0.0
        return stall_s

    # -- the driver interface; firmware_templates/drivers/interface.py documents each member

    def now_ms(self) -> int:
        return self._record(NOW, result=self._clock.now_ms())

    def wait_until(self, wake_ms: int) -> None:
        self._record(WAIT, wake_ms)

    def rested_ms(self) -> int:
        return self._record(RESTED, result=self._clock.rested_ms)

    def inputs(self) -> int:
        bits = 0
        for bit, pin in self._inputs:
            if pin.level:
                bits |= bit
        if self._mirror_fitted and self._switch.contactor.mirror():
            bits |= CONTACTOR_OPEN
        if self._stop_opened:
            self._stop_opened = False
            bits |= STOP_OPEN
        if self._pedal_opened:
            self._pedal_opened = False
            bits &= ~(self._told & PEDAL)
        self._told = bits
        return self._record(INPUTS, 0, 0, 0, 0, bits)

    def crossing_us(self) -> int:
        return self._record(CROSSING, 0, 0, 0, 0, self._lengths_us.popleft() if self._lengths_us else 0)

    def conduction(self) -> int:
        if not self._sense_fitted:
            return self._record(CONDUCTION, result=NOT_FITTED)
        seen = self._seen | (CONDUCTING if self._sense.level or self._switch.unfed else BLOCKING)
        self._seen = 0
        return self._record(CONDUCTION, result=seen)

    def conduction_us(self, gate: int) -> int:
        return self._record(CONDUCTION_US, gate, result=self._timer.length_us(gate))

    def current_ring(self) -> array[int]:
        return self.ammeter.ring

    def sample(self) -> None:
        self._record(SAMPLE)
        self.ammeter.begin()

    def sampled(self) -> int:
        return self._record(SAMPLED, result=self.ammeter.taken())

    def gate_sample(self, gate: int) -> int:
        return self._record(GATE_SAMPLE, gate, result=self.ammeter.gate_sample(gate))

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self._record(SET, index, delay_us, end_us, positive)
        self._gate.set_half_cycle(index, delay_us, end_us, positive)

    def start(self, count: int, half_us: int, positive: int) -> int:
        if self._sense_fitted:
            self._timer.start(half_us)
        self.ammeter.forget_gates()
        return self._record(START, count, half_us, positive, result=self._gate.start(count, half_us, positive))

    def done(self) -> int:
        return self._record(DONE, result=self._gate.done())

    def fired(self, index: int) -> int:
        return self._record(FIRED, index, result=self._gate.fired(index))

    def off(self) -> int:
        return self._record(OFF, result=self._gate.off())

    def alive(self, contactor: int) -> None:
        self._record(ALIVE, contactor)
        if contactor:
            self._train.toggle()
        self._watchdog.toggle()

    def read_byte(self) -> int:
        return self._record(READ, 0, 0, 0, 0, self._line.read_byte())

    def write(self, data: bytes) -> None:
        self._record(WRITE, len(data), checksum(data))
        self._line.sent.append(data)

    def read_file(self, name: str) -> bytes | None:
        data = self._flash.read(name)
        if data is not None:
            self.files_read.append(data)
        # The content is kept apart from the calls; the result is its index.
        self._record(READ_FILE, checksum(name.encode()), result=-1 if data is None else len(self.files_read) - 1)
        return data

    def write_file(self, name: str, data: bytes) -> int:
        self._stall_s += self._flash.write_s
        result = self._flash.write(name, data)
        return self._record(WRITE_FILE, checksum(name.encode()), len(data), checksum(data), result=result)

    def restart(self, maintain: int) -> None:
        self._record(RESTART, maintain)


def checksum(data: bytes) -> int:
    """A checksum of the written bytes that depends on their order, below 2**24."""
    total = 0
    for byte in data:
        total = (total * 31 + byte) & 0xFFFFFF
    return total
