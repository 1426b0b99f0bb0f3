"""A first schedule with its reasons: what the tables give for a joint, and what follows for one machine's current."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.handbook.shape import BEDDING_COOL_S, IMPULSE_COOL_S, SINGLE, Shape
from gen.joint import Joint
from gen.ranges import Figure, shown

TYPICAL = "typical (common practice, no source)"
SQUEEZE = Figure(0.4, 0.4, "s", f"{TYPICAL}; the tables here have none; longer where the force rises slowly")
OFF = Figure(3, 3, "s", f"{TYPICAL}; the duty of the machine may require more")


@dataclass(frozen=True)
class Suggestion:
    """A first schedule for a joint, or why there is none."""

    joint: Joint
    frequency_Hz: int
    current: Figure
    """The machine's secondary current at 100 %."""
    why_not: str = ""
    """Why nothing is known; there is no weld time and no schedule then. "" for a suggestion."""
    helps: tuple[str, ...] = ()
    """What would help where nothing is known."""
    percent: int = 100
    weld: Figure | None = None
    """The range of the weld time in s, all impulses together."""
    start_s: float = 0.0
    """The first weld time to try, for the upper end of the current: a cold weld only needs another try."""
    hold: Figure | None = None
    figures: tuple[tuple[str, Figure], ...] = ()
    """Name and figure, whose source names table and row. A name stands twice where tables differ."""
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    other_times: tuple[Figure, ...] = ()
    """Weld times of other tables at the same current, each with the table's own force."""
    against: str = ""
    """The machine's current at 100 % compared with the tables', in words."""
    practice: tuple[str, ...] = ()
    """How to make the weld, in words."""
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
        """The first weld time in whole cycles of the mains: all impulses together, without the bedding pulse."""
        return max(self.shape.impulses, self._cycles(self.start_s))

    def _cycles(self, time_s: float) -> int:
        return max(1, math.floor(time_s * self.frequency_Hz + 0.5))

    def schedule_text(self) -> str:
        """The schedule file. Raises ValueError where nothing is known."""
        if self.weld is None or self.hold is None:
            raise ValueError(self.why_not)
        notes = [
            f"First guess for {self.joint.title}, on a machine of {self.current.text} in the secondary.",
            f"Weld time: {self.weld.text}; find it on scrap, from this one upwards. {self.weld.source}.",
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
        """The phases with current: bedding pulse, earlier impulses, and the weld, which is the last impulse."""
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
    """`percent` of a current."""
    share = percent / 100
    return Figure(current.low * share, current.high * share, current.unit, f"delivered at {percent:g} %")


def percent_for(wanted_A: float, current: Figure) -> int:
    """Percent current that brings the middle of `current` down to `wanted_A`; at most 100."""
    return min(100, math.floor(100 * wanted_A / current.middle))


def compared(current: Figure, wanted_A: float) -> str:
    """A current as a share of a table's: `77 to 85 %`."""
    low, high = (f"{100 * end_A / wanted_A:.0f}" for end_A in (current.low, current.high))
    return f"{low if low == high else f'{low} to {high}'} %"
