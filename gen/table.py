"""The timing table: half-cycles of the mains in runs of equal ones, frozen.

It is the only thing that the firmware and the simulator share about a schedule.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

from gen.words import DIGEST_LETTERS, FIRED_PHASES

LEVEL_PHASES = ("pulse", "weld")  # phases with one current, unlike a slope


@dataclass(frozen=True)
class TimingRow:
    """A run of equal half-cycles."""

    phase: str
    half_cycles: int
    firing_delay_us: int | None = None
    """Time from the true zero crossing to the gate, at nominal frequency; None for no gate."""
    current_percent: float = 0
    """Percent current of this delay. In the first half-cycle after a pause it may be less than asked."""
    share: tuple[float, float] = (0.0, 0.0)
    """Least and greatest share of the current at full conduction that it delivers."""


def heat(row: TimingRow) -> int:
    """The most heat of one half-cycle, in hundredths of one at full conduction, rounded up."""
    return math.ceil(100 * row.share[1] ** 2 - 1e-9) if row.firing_delay_us is not None else 0


def board_delay_us(row: TimingRow) -> int:
    """The firing delay on the board: -1 for no gate."""
    return -1 if row.firing_delay_us is None else row.firing_delay_us


@dataclass(frozen=True)
class TimingTable:
    """A schedule compiled for one machine."""

    name: str
    frequency_Hz: int
    rows: tuple[TimingRow, ...]
    notes: tuple[str, ...] = ()
    """The roundings, and the current of each percentage on this load. They are not part of the digest."""
    slope_step: str = ""
    """ "half-cycle" or "cycle", whichever kept the flux smaller; "" without slopes."""

    @property
    def digest(self) -> str:
        """First hexadecimal digits of the SHA-256 of the rows. The board computes it from its stored rows."""
        lines = [f"weldbeat 1\n{self.name}\n{self.frequency_Hz}\n"]
        lines += [f"{row.phase},{row.half_cycles},{board_delay_us(row)},{heat(row)}\n" for row in self.rows]
        return hashlib.sha256("".join(lines).encode("ascii")).hexdigest()[:DIGEST_LETTERS]

    def time_of(self, *phases: str) -> int:
        """Half-cycles in the named phases."""
        return sum(row.half_cycles for row in self.rows if row.phase in phases)

    @property
    def fired_half_cycles(self) -> int:
        """Half-cycles with a gate."""
        return self.time_of(*FIRED_PHASES)

    @property
    def half_cycles(self) -> int:
        """Half-cycles from the pedal to the end of off time."""
        return sum(row.half_cycles for row in self.rows)

    @property
    def impulse_rows(self) -> tuple[TimingRow, ...]:
        """The rows from the first fired half-cycle to the last, for the firing hardware."""
        fired = [i for i, row in enumerate(self.rows) if row.firing_delay_us is not None]
        return self.rows[fired[0] : fired[-1] + 1]

    @property
    def heating_half_cycles(self) -> float:
        """Fired half-cycles, each weighted by the square of its greatest current share; the unit of duty."""
        return sum(row.half_cycles * row.share[1] ** 2 for row in self.rows if row.phase in FIRED_PHASES)
