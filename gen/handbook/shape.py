"""The form of the current: a bedding pulse, a slope, or several impulses for thick work. All common practice."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.handbook.practice import COMMON

LEAST_PERCENT = 40  # below it change the tap instead (common practice, no source)
SOFT = 0.6  # percent current of the bedding pulse and of a slope's start, over the weld's
BEDDING_S, BEDDING_COOL_S = 0.04, 0.08
BEDDING_FROM_S = 0.2  # a shorter weld has no bedding pulse
UPSLOPE_S, UPSLOPE_FROM_S = 0.1, 0.4
THICK_SHEETS_MM = 4.77  # the whole pile: two of 0.094 in
THICK_ROD_MM = 9.5  # the thinner: 0.375 in
MOST_IMPULSES = 20  # the most repeats of a schedule; a longer weld has longer impulses
IMPULSE_S, IMPULSE_COOL_S = 20 / 60, 5 / 60  # 20 cycles on and 5 off at 60 Hz: the handbook's pulsation, from memory


@dataclass(frozen=True)
class Shape:
    """The form of the current, times in s."""

    soft_percent: int = LEAST_PERCENT
    """Current of the bedding pulse and at the start of the slope."""
    bedding_s: float = 0.0
    """0 for no bedding pulse."""
    upslope_s: float = 0.0
    """0 for no slope."""
    impulses: int = 1
    """More than one is pulsation: they share the weld time, with `IMPULSE_COOL_S` between them."""

    @property
    def longer(self) -> float:
        """The factor on the long end of the weld time: as if each pause lost the heat that it could have made."""
        return 1 + IMPULSE_COOL_S / IMPULSE_S if self.impulses > 1 else 1.0

    @property
    def practice(self) -> tuple[str, ...]:
        """The shape in words, with the source of each."""
        found = []
        if self.bedding_s:
            found.append(
                f"A pulse of {BEDDING_S:g} s at {self.soft_percent} % beds the rods in before the weld; it is not counted in the "
                f"weld time. Two of them where the rods are rusty or do not lie close ({COMMON})."
            )
        if self.upslope_s:
            found.append(
                f"The current rises over {self.upslope_s:g} s, inside the weld time: there is less expulsion while the contact "
                f"is still small ({COMMON})."
            )
        if self.impulses > 1:
            found.append(
                f"Thick work: pulsation, {self.impulses} impulses with {1e3 * IMPULSE_COOL_S:.0f} ms between, so that the "
                "electrodes cool while the work stays hot (20 cycles on and 5 off at 60 Hz, from memory). The tables here are "
                "for a single impulse. Our assumption, outside the tables: the same total time under current, and at the long "
                f"end {100 * (self.longer - 1):.0f} % more."
            )
        return tuple(found)


SINGLE = Shape()


def _soft(percent: int) -> int:
    return max(LEAST_PERCENT, math.floor(SOFT * percent + 0.5))


def _impulses(weld_s: float) -> int:
    return min(MOST_IMPULSES, max(1, math.ceil(weld_s / IMPULSE_S - 0.01)))


def sheet_shape(pile_mm: float, weld_s: float) -> Shape:
    """Sheets: one impulse, several for a thick pile."""
    return Shape(impulses=_impulses(weld_s) if pile_mm >= THICK_SHEETS_MM else 1)


def rod_shape(thin_mm: float, weld_s: float, percent: int) -> Shape:
    """Rods: bedding pulse and slope if weld time and current are large enough; several impulses if thick."""
    soft = _soft(percent)
    room = soft < percent
    impulses = _impulses(weld_s) if thin_mm >= THICK_ROD_MM else 1
    return Shape(
        soft_percent=soft,
        bedding_s=BEDDING_S if room and weld_s >= BEDDING_FROM_S else 0.0,
        upslope_s=UPSLOPE_S if room and impulses == 1 and weld_s >= UPSLOPE_FROM_S else 0.0,
        impulses=impulses,
    )
