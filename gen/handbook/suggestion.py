"""A first schedule with its reasons: what the tables say of a joint, and what follows for one machine's current."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.handbook.shape import BEDDING_COOL_S, IMPULSE_COOL_S, SINGLE, Shape
from gen.joint import Joint
from gen.ranges import Figure, shown

TYPICAL = "typical (common practice, no source)"
SQUEEZE = Figure(0.4, 0.4, "s", f"{TYPICAL}; the tables here have none; longer where the force comes slowly")
OFF = Figure(3, 3, "s", f"{TYPICAL}; the duty of the machine may want more")


@dataclass(frozen=True)
class Suggestion:
    """Where `why_not` says why nothing is known, there is no weld time and no schedule; `helps` are ways on.

    `figures`: name and figure, its source naming table and row; the same name twice where tables differ. `weld` is the
    range to look in, s, all impulses together, and `start_s` where to begin: as for the most current, since a cold weld
    only wants another try. `beside`: what another table suggests at this very current, with its own force. `against`: the
    machine's whole current beside the tables', in words. `practice`: how to go about it, in words.
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
    beside: tuple[Figure, ...] = ()
    against: str = ""
    practice: tuple[str, ...] = ()
    shape: Shape = SINGLE

    @property
    def known(self) -> bool:
        return not self.why_not

    @property
    def delivered(self) -> Figure:
        """The current at the percentage suggested."""
        return scaled(self.current, self.percent)

    @property
    def weld_cycles(self) -> int:
        """The first weld time in whole cycles of the mains, all impulses together; the bedding pulse is not in it."""
        return max(self.shape.impulses, self._cycles(self.start_s))

    def _cycles(self, time_s: float) -> int:
        return max(1, math.floor(time_s * self.frequency_Hz + 0.5))

    def schedule_text(self) -> str:
        """The schedule file. Raises ValueError where nothing is known."""
        if self.weld is None or self.hold is None:
            raise ValueError(self.why_not)
        notes = [
            f"First guess for {self.joint.title}, on a machine of {self.current.text} in the secondary.",
            f"Weld time: somewhere in {self.weld.text}; find it on scrap, from here upwards. {self.weld.source}.",
            *self.assumptions,
            *self.shape.practice,
            *(f"Caution: {caution}" for caution in self.cautions),
        ]
        lines = [f"# {note}" for note in notes]
        lines += [f"frequency_Hz = {self.frequency_Hz}", f'title = "{self.joint.title}"', ""]
        lines += ["[[phase]]", f'squeeze = "{shown(SQUEEZE.middle)} s"  # typical', ""]
        lines += self._current_lines()
        # The tables' hold is a least: whole cycles upwards.
        hold_cycles = math.ceil(self.hold.middle * self.frequency_Hz - 1e-6)
        lines += ["[[phase]]", f'hold = "{hold_cycles} cycles"  # {self.hold.source}', ""]
        lines += ["[[phase]]", f'off = "{shown(OFF.middle)} s"  # typical']
        return "\n".join(lines) + "\n"

    def _current_lines(self) -> list[str]:
        """The phases under current: bedding pulse, the earlier impulses, and the weld, which is the last of them."""
        shape, lines = self.shape, []
        if shape.bedding_s:
            lines += [
                "[[phase]]",
                f'pulse = "{self._cycles(shape.bedding_s)} cycles"  # beds the rods in; common practice',
            ]
            lines += [f"current_percent = {shape.soft_percent}", f'cool = "{self._cycles(BEDDING_COOL_S)} cycles"', ""]
        impulse = self.weld_cycles // shape.impulses
        if shape.impulses > 1:
            lines += ["[[phase]]", f'pulse = "{impulse} cycles"  # pulsation: the weld below is the last impulse']
            lines += [f"current_percent = {self.percent}", f"repeat = {shape.impulses - 1}"]
            lines += [f'cool = "{self._cycles(IMPULSE_COOL_S)} cycles"', ""]
        lines += ["[[phase]]", f'weld = "{self.weld_cycles - impulse * (shape.impulses - 1)} cycles"']
        lines += [f"current_percent = {self.percent}"]
        if shape.upslope_s:
            lines += [f'upslope = "{self._cycles(shape.upslope_s)} cycles"  # inside the weld time; common practice']
            lines += [f"upslope_from_percent = {shape.soft_percent}"]
        return [*lines, ""]


def scaled(current: Figure, percent: float) -> Figure:
    """A current at `percent` of it."""
    share = percent / 100
    return Figure(current.low * share, current.high * share, current.unit, f"delivered at {percent:g} %")


def percent_for(wanted_A: float, current: Figure) -> int:
    """Percent current that brings the middle of `current` down to `wanted_A`; at most 100."""
    return min(100, math.floor(100 * wanted_A / current.middle))


def compared(current: Figure, wanted_A: float) -> str:
    """A current as a share of a table's: `77 to 85 %`."""
    low, high = (f"{100 * end_A / wanted_A:.0f}" for end_A in (current.low, current.high))
    return f"{low if low == high else f'{low} to {high}'} %"
