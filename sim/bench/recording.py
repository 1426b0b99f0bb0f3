"""The recording of one run: driver calls, events and currents. It is frozen. Verdict, report and files are made from it."""

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
    """A level that holds from `time_s`."""

    time_s: float
    value: int


@dataclass(frozen=True)
class StateChange:
    """The application's state, and while locked out the reason, both by name."""

    time_s: float
    state: str
    reason: str


@dataclass(frozen=True)
class ObservedWeld:
    """One weld as observed outside the firmware: gates and currents are the simulator's."""

    asked_s: float  # time at which the pedal was accepted
    ended_s: float  # end of the off time, or of the run
    planned: int  # half-cycles with a gate, from the timing table
    gates: int  # number of gates
    conducted: int  # half-cycles with latched current
    ending: str


@dataclass(frozen=True)
class Recording:
    """The recording of one run. Times in seconds."""

    length_s: float
    half_cycles: tuple[HalfCycle, ...]
    """The true half-cycles of the mains."""
    detector: tuple[LevelChange, ...]
    """Its edges."""
    stops: tuple[LevelChange, ...]
    """The stop circuit's changes, 1 = open."""
    gates: tuple[tuple[float, float], ...]
    """(on, off) of the board's gate pin."""
    conductions: tuple[Conduction, ...]
    states: tuple[StateChange, ...]
    presses: tuple[float, ...]
    """Times of the pedal's presses."""
    welds: tuple[ObservedWeld, ...]
    calls: array[int]
    """The driver calls in order, CALL_INTS integers each (named in sim/bench/driver.py), for the replay."""
    call_times: array[float]
    """The time of each call."""
    received: bytes
    """Bytes sent by the computer over the serial line."""
    sent: tuple[bytes, ...]
    """Bytes sent by the board, write by write."""
    files_read: tuple[bytes, ...]
    """The file contents that the calls refer to."""
    files: tuple[tuple[str, bytes], ...]
    """The stored files at the end."""
    seed: int
    samples: array[int]
    """All samples of the primary current that were written to the ring."""
    pedal: tuple[LevelChange, ...] = ()
    """The contact's changes, 1 = closed."""
    starts: tuple[float, ...] = ()
    """Times of the program's restarts after a reset of the board."""

    def half_cycle_at(self, time_s: float) -> HalfCycle:
        """The true half-cycle at a time."""
        low, high = 0, len(self.half_cycles) - 1
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.half_cycles[middle].start_s <= time_s else (low, middle - 1)
        return self.half_cycles[low]

    @property
    def fired(self) -> int:
        """Number of gates in the whole run."""
        return len(self.gates)

    @property
    def conducted(self) -> int:
        """Number of half-cycles with latched current."""
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
