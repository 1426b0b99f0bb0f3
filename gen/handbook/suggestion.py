"""A first schedule with its reasons: what the tables say of a joint, and what follows for one machine's current."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.figures import Figure, shown
from gen.joint import Joint

LEAST_PERCENT = 40  # below it change the tap instead (common practice, no source)
TYPICAL = "typical (common practice, no source)"
SQUEEZE = Figure(0.4, 0.4, "s", f"{TYPICAL}; longer where the force comes slowly")
OFF = Figure(3, 3, "s", f"{TYPICAL}; the duty of the machine may want more")

HELPS = (
    "a higher tap",
    "shorter arms and electrodes, and no steel in the throat",
    "bright, clean metal",
    "a smaller electrode face or, for rods, a groove",
)


@dataclass(frozen=True)
class Suggestion:
    """Where `why_not` says why nothing is known, there is no weld time and no schedule; `helps` are ways on.

    `figures`: name and figure, its source naming table and row; the same name twice where tables differ. `weld` is the
    range to look in, s, and `start_s` where to begin: as for the most current, since a cold weld only wants another try.
    """

    joint: Joint
    frequency_Hz: int
    current: Figure
    why_not: str = ""
    helps: tuple[str, ...] = ()
    percent: int = 100
    weld: Figure | None = None
    start_s: float = 0.0
    hold: Figure | None = None
    figures: tuple[tuple[str, Figure], ...] = ()
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def known(self) -> bool:
        return not self.why_not

    @property
    def delivered(self) -> Figure:
        """The current at the percentage suggested."""
        return scaled(self.current, self.percent)

    @property
    def weld_cycles(self) -> int:
        """The first weld time in whole cycles of the mains."""
        return max(1, math.floor(self.start_s * self.frequency_Hz + 0.5))

    def schedule_text(self) -> str:
        """The schedule file. Raises ValueError where nothing is known."""
        if self.weld is None or self.hold is None:
            raise ValueError(self.why_not)
        notes = [
            f"First guess for {self.joint.title}, on a machine of {self.current.text} in the secondary.",
            f"Weld time: somewhere in {self.weld.text}; find it on scrap, from here upwards. {self.weld.source}.",
            *self.assumptions,
            *(f"Caution: {caution}" for caution in self.cautions),
        ]
        lines = [f"# {note}" for note in notes]
        lines += [f"frequency_Hz = {self.frequency_Hz}", f'title = "{self.joint.title}"', ""]
        lines += ["[[phase]]", f'squeeze = "{shown(SQUEEZE.middle)} s"  # typical', ""]
        lines += ["[[phase]]", f'weld = "{self.weld_cycles} cycles"', f"current_percent = {self.percent}", ""]
        lines += ["[[phase]]", f'hold = "{shown(self.hold.middle)} s"  # {self.hold.source}', ""]
        lines += ["[[phase]]", f'off = "{shown(OFF.middle)} s"  # typical']
        return "\n".join(lines) + "\n"


def scaled(current: Figure, percent: float) -> Figure:
    """A current at `percent` of it."""
    share = percent / 100
    return Figure(current.low * share, current.high * share, current.unit, f"{percent:g} % of the working current")


def percent_for(wanted_A: float, current: Figure) -> int:
    """Percent current that brings the middle of `current` down to `wanted_A`; at most 100."""
    return min(100, math.floor(100 * wanted_A / current.middle))


def force_caution(joint: Joint, table: Figure) -> tuple[str, ...]:
    """What the force given means, where it is far from the table's."""
    if joint.force_N is None or 0.7 * table.low <= joint.force_N <= 1.4 * table.high:
        return ()
    here = f"{shown(joint.force_N)} N is far from the table's {table.text}"
    if joint.force_N < table.low:
        return (f"{here}: expect expulsion in the first cycles; begin with less time or fewer percent",)
    return (f"{here}: less heat in the contact; expect to need more time or current",)
