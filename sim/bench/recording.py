"""What happened in one run: driver calls, events and currents. Frozen; the verdict, the report and the files read it."""

from __future__ import annotations

import csv
import io
from array import array
from dataclasses import dataclass
from typing import Any

from sim.bench.mains import HalfCycle
from sim.bench.switch import Conduction


@dataclass(frozen=True)
class LevelChange:
    """A level, from `time_s` on."""

    time_s: float
    value: int


@dataclass(frozen=True)
class StateChange:
    """The application's state, and the reason while it is locked out, by name."""

    time_s: float
    state: str
    reason: str


@dataclass(frozen=True)
class ObservedWeld:
    """One weld as seen from outside the firmware: gates and currents are the simulator's own."""

    asked_s: float  # the pedal was accepted
    ended_s: float  # end of off time, or of the run
    planned: int  # half-cycles with a gate, from the timing table
    gates: int  # gates given
    conducted: int  # half-cycles that carried latched current
    ending: str


@dataclass(frozen=True)
class Recording:
    """Everything one run left behind. Times in seconds."""

    length_s: float
    half_cycles: tuple[HalfCycle, ...]
    """The mains as it really was."""
    detector: tuple[LevelChange, ...]
    """Its edges."""
    stops: tuple[LevelChange, ...]
    """The stop circuit's changes, 1 = open."""
    gates: tuple[tuple[float, float], ...]
    """(on, off) of the board's gate pin."""
    conductions: tuple[Conduction, ...]
    states: tuple[StateChange, ...]
    presses: tuple[float, ...]
    """When the pedal went down."""
    welds: tuple[ObservedWeld, ...]
    calls: array[int]
    """The driver calls in order, CALL_INTS integers each (sim/bench/driver.py names them), for the replay."""
    call_times: array[float]
    """When each of them was made."""
    received: bytes
    """What the computer sent over the serial line."""
    sent: tuple[bytes, ...]
    """What the board sent, write by write."""
    files_read: tuple[bytes, ...]
    """The contents that calls refer to."""
    files: tuple[tuple[str, bytes], ...]
    """What is stored in the end."""
    seed: int
    samples: array[int]
    """Of the primary current, all that went into the ring of samples."""
    pedal: tuple[LevelChange, ...] = ()
    """The contact's changes, 1 = closed."""
    starts: tuple[float, ...] = ()
    """When the program was started again after a reset of the board."""

    def half_cycle_at(self, time_s: float) -> HalfCycle:
        """The true half-cycle under way at a time."""
        low, high = 0, len(self.half_cycles) - 1
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.half_cycles[middle].start_s <= time_s else (low, middle - 1)
        return self.half_cycles[low]

    @property
    def fired(self) -> int:
        """Gates given in the whole run."""
        return len(self.gates)

    @property
    def conducted(self) -> int:
        """Half-cycles that carried latched current."""
        return sum(1 for c in self.conductions if c.latched)

    def weld_csv(self) -> str:
        """Each conduction as a line of CSV: weld, half-cycle, polarity, gate, start, end, RMS and peak current."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(
            [
                "weld",
                "mains_half_cycle",
                "polarity",
                "firing_delay_us",
                "start_s",
                "end_s",
                "rms_A",
                "peak_A",
                "latched",
            ]
        )
        for c in self.conductions:
            weld = sum(1 for w in self.welds if w.asked_s <= c.start_s)
            crossing = self.half_cycles[c.half_cycle].start_s
            row: list[Any] = [weld, c.half_cycle, "+" if c.positive else "-", round((c.start_s - crossing) * 1e6)]
            row += [f"{c.start_s:.6f}", f"{c.end_s:.6f}", f"{c.rms_A:.2f}", f"{c.peak_A:.2f}", int(c.latched)]
            writer.writerow(row)
        return out.getvalue()
