"""The board's file storage, with what can happen to a write."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

WRITE_S = 0.05  # a sector erased and written; flash data sheets say 45 to 400 ms; from memory


class PowerLost(Exception):
    """The power went in the middle of a write; the board does nothing more."""


@dataclass(frozen=True)
class FlashFault:
    """What happens to one write."""

    write: int
    """Its number, from 0."""
    kind: Literal["cut", "torn", "lost", "failed"]
    """What goes wrong. "cut": the power goes after `length` bytes, and the file holds only those. "torn": the board is told
    that all is written, but from `length` on the file holds what was there before. "lost": the same, and nothing is written.
    "failed": the board is told so."""
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
        """Replace a file. 1, or 0 where the board is told that it failed. Raises PowerLost."""
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
