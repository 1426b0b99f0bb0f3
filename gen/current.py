"""The meaning of percent current on a machine, and the current that a firing delivers.

100 % is the current at the machine's earliest firing: a margin beyond its greatest load angle. Other percentages are of
that current, at the middle of the range of the load angle. The delivered current is a share of the current at full
conduction, which a clamp meter reads on the machine without a timer. The share has a range, because the load angle has one.
"""

from __future__ import annotations

from dataclasses import dataclass

from gen.machine.derived import Tap
from gen.machine.welder import Welder
from gen.phase_control import delay_for_fraction_deg, rms_fraction
from gen.ranges import Figure

FULL_MARGIN_DEG = 3.0  # 100 % fires this far beyond the greatest load angle
NARROW = 0.95  # if 100 % may deliver less than this share, the range of the load angle should be narrowed

_STEPS = 12  # steps over the range of the load angle, in the search of the least share


@dataclass(frozen=True)
class PercentScale:
    """Percent current on a load with an angle from `low_deg` to `high_deg`."""

    low_deg: float
    high_deg: float

    @property
    def middle_deg(self) -> float:
        return (self.low_deg + self.high_deg) / 2

    @property
    def full_deg(self) -> float:
        """The firing delay of 100 %, beyond the greatest load angle."""
        return self.high_deg + FULL_MARGIN_DEG

    def delay_deg(self, percent: float) -> float:
        """The firing delay of a percentage above 0 and up to 100; every percentage has its own."""
        if percent == 100:
            return self.full_deg
        return delay_for_fraction_deg(percent / 100 * rms_fraction(self.full_deg, self.middle_deg), self.middle_deg)

    def percent(self, delay_deg: float) -> float:
        """The percentage of a firing delay: the inverse of `delay_deg`."""
        return 100 * rms_fraction(delay_deg, self.middle_deg) / rms_fraction(self.full_deg, self.middle_deg)

    def share(self, delay_deg: float) -> tuple[float, float]:
        """Least and greatest share of the current at full conduction, over the range of the load angle.

        The least is often inside the range: the share has a minimum between a pure resistance and a pure inductance.
        """
        angles = [self.low_deg + n / _STEPS * (self.high_deg - self.low_deg) for n in range(_STEPS + 1)]
        shares = [rms_fraction(delay_deg, angle) for angle in angles]
        return min(shares), max(shares)


def scale_of(welder: Welder) -> PercentScale:
    """The scale of this machine on the tap in use."""
    t = welder.transformer
    return PercentScale(t.load_angle_min_deg, t.load_angle_max_deg)


def full_current(tap: Tap, working: Figure) -> Figure:
    """The current that 100 % delivers on a tap. `working`: its primary or secondary current at full conduction."""
    scale = PercentScale(tap.load_angle.low, tap.load_angle.high)
    return delivered(working, scale.share(scale.full_deg))


def delivered(working: Figure, share: tuple[float, float]) -> Figure:
    """The part of a working current at full conduction that a firing delivers."""
    low, high = working.low * share[0], working.high * share[1]
    return Figure(low, high, working.unit, f"{working.source}, less the part that the firing delay withholds")
