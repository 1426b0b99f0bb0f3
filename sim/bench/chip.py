"""What the board's chip has of its own: a clock that may run fast or slow, and a flash that may fail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import simpy

MASK = (1 << 30) - 1  # milliseconds count modulo 2**30


class Clock:
    """Tells the board's time and makes time-outs of so many of its seconds. `starts_ms`: what it shows at first."""

    def __init__(self, env: simpy.Environment, rate: float = 1.0, starts_ms: int = 0, rested_ms: int = 0) -> None:
        self.env = env
        self.rate = rate
        """Seconds of this clock in one true second."""
        self.rested_ms = rested_ms
        """What it knows of the rest before this start of the board; 0: nothing."""
        self._offset_ms = starts_ms

    def now_ms(self) -> int:
        """Milliseconds on this clock."""
        return (int(self.env.now * 1000 * self.rate + 1e-6) + self._offset_ms) & MASK

    def timeout(self, delay_s: float) -> simpy.Timeout:
        """An event after so many of this clock's seconds."""
        return self.env.timeout(delay_s / self.rate)

    def restart(self, rested_ms: int) -> None:
        """Count from 0 again, knowing so much of the rest before."""
        self.rested_ms = rested_ms
        self._offset_ms = -int(self.env.now * 1000 * self.rate)

    def leap(self, ms: int) -> None:
        """Move the clock on."""
        self._offset_ms += ms


WRITE_S = 0.05  # a sector erased and written; flash data sheets say 45 to 400 ms; from memory


class PowerLost(Exception):
    """The power went in the middle of a write; the board does nothing more."""


@dataclass(frozen=True)
class FlashFault:
    """What happens to one write."""

    write: int
    """Its number, from 0."""
    kind: Literal["cut", "torn", "lost", "failed"]
    """What goes wrong. "cut": the power goes after `length` bytes, and the file holds only those. "torn": the board reads
    that all is written, but from `length` on the file holds what was there before. "lost": the same, and nothing is written.
    "failed": the board learns so."""
    length: int = 0


class Flash:
    """Files by name."""

    def __init__(self, files: dict[str, bytes], faults: tuple[FlashFault, ...] = (), write_s: float = WRITE_S) -> None:
        self.files = dict(files)
        self.writes = 0
        """How many writes were tried."""
        self.write_s = write_s
        """How long the program stands still for one."""
        self._faults = {fault.write: fault for fault in faults}

    def read(self, name: str) -> bytes | None:
        """Content of a file; None where there is none."""
        return self.files.get(name)

    def write(self, name: str, data: bytes) -> int:
        """Replace a file. 1, or 0 where the board learns that it failed. Raises PowerLost."""
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
