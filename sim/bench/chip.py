"""The chip of the board: a clock that may run fast or slow, and a flash that may fail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import simpy

MASK = (1 << 30) - 1  # milliseconds count modulo 2**30


class Clock:
    """The board's clock, and time-outs in its seconds. `starts_ms`: its first reading."""

    def __init__(self, env: simpy.Environment, rate: float = 1.0, starts_ms: int = 0, rested_ms: int = 0) -> None:
        self.env = env
        self.rate = rate
        """Seconds of this clock in one true second."""
        self.rested_ms = rested_ms
        """The rest before this start as known to the board, ms. 0: unknown."""
        self._offset_ms = starts_ms

    def now_ms(self) -> int:
        """The clock's reading, ms."""
        return (int(self.env.now * 1000 * self.rate + 1e-6) + self._offset_ms) & MASK

    def timeout(self, delay_s: float) -> simpy.Timeout:
        """An event after `delay_s` of this clock."""
        return self.env.timeout(delay_s / self.rate)

    def restart(self, rested_ms: int) -> None:
        """Count from 0 again. `rested_ms`: the rest known to the board."""
        self.rested_ms = rested_ms
        self._offset_ms = -int(self.env.now * 1000 * self.rate)

    def leap(self, ms: int) -> None:
        """Advance the clock."""
        self._offset_ms += ms


WRITE_S = 0.05  # a sector erased and written; flash data sheets say 45 to 400 ms; from memory


class PowerLost(Exception):
    """Power was lost during a write. The board does nothing more."""


@dataclass(frozen=True)
class FlashFault:
    """A fault of one write."""

    write: int
    """Its number, from 0."""
    kind: Literal["cut", "torn", "lost", "failed"]
    """The kind of fault. "cut": power is lost after `length` bytes, and the file holds only those. "torn": the write reports
    success, but from `length` on the file keeps its old content. "lost": the write reports success, but nothing is written.
    "failed": the write reports its failure."""
    length: int = 0


class Flash:
    """Files by name."""

    def __init__(self, files: dict[str, bytes], faults: tuple[FlashFault, ...] = (), write_s: float = WRITE_S) -> None:
        self.files = dict(files)
        self.writes = 0
        """Number of writes attempted."""
        self.write_s = write_s
        """Duration of one write, during which the program stops."""
        self._faults = {fault.write: fault for fault in faults}

    def read(self, name: str) -> bytes | None:
        """Content of a file. None where it does not exist."""
        return self.files.get(name)

    def write(self, name: str, data: bytes) -> int:
        """Replace a file. Returns 1, or 0 where the failure is reported. Raises PowerLost."""
        fault = self._faults.get(self.writes)
        self.writes += 1
        if fault is None:
            self.files[name] = data
            return 1
        if fault.kind == "torn":
            self.files[name] = data[: fault.length] + self.files.get(name, b"")[fault.length :]
        elif fault.kind == "cut":
            self.files[name] = data[: fault.length]
            raise PowerLost
        return int(fault.kind != "failed")
