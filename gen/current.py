"""What percent current means on a machine, and the current that a firing delivers there.

100 % is the current at the earliest firing that this machine may have: a margin beyond the greatest load angle that it may
show. Every other percentage is of that, at the middle of the range of its load angle. What is delivered is a share of the
current at full conduction, which is what a clamp meter reads on the machine without a timer; it has a range, because the
load angle has one.
"""

from __future__ import annotations

from dataclasses import dataclass

from gen.machine.derived import Tap
from gen.machine.welder import Welder
from gen.phase_control import delay_for_fraction_deg, rms_fraction
from gen.ranges import Figure

FULL_MARGIN_DEG = 3.0  # 100 % fires this far beyond the greatest load angle
NARROW = (
    0.95  # at 100 % less than this share of the full current may flow: the range of the load angle is worth narrowing
)

_STEPS = 12  # of the range of the load angle, in which the least share is looked for


@dataclass(frozen=True)
class PercentScale:
    """Percent current on a load whose angle lies from `low_deg` to `high_deg`."""

    low_deg: float
    high_deg: float

    @property
    def middle_deg(self) -> float:
        return (self.low_deg + self.high_deg) / 2

    @property
    def full_deg(self) -> float:
        """Where 100 % fires: beyond the greatest load angle, never before it."""
        return self.high_deg + FULL_MARGIN_DEG

    def delay_deg(self, percent: float) -> float:
        """The firing delay of a percentage above 0 and up to 100. Two percentages never share one."""
        if percent == 100:
            return self.full_deg
        return delay_for_fraction_deg(percent / 100 * rms_fraction(self.full_deg, self.middle_deg), self.middle_deg)

    def percent(self, delay_deg: float) -> float:
        """The percentage that fires at a delay: the inverse of `delay_deg`."""
        return 100 * rms_fraction(delay_deg, self.middle_deg) / rms_fraction(self.full_deg, self.middle_deg)

    def share(self, delay_deg: float) -> tuple[float, float]:
        """Least and most of the current at full conduction that a firing delay delivers over the range of the angle.

        The least is often within the range, where the share dips between that of a resistance and that of an inductance.
        """
        angles = [self.low_deg + n / _STEPS * (self.high_deg - self.low_deg) for n in range(_STEPS + 1)]
        shares = [rms_fraction(delay_deg, angle) for angle in angles]
        return min(shares), max(shares)


def scale_of(welder: Welder) -> PercentScale:
    """The scale of this machine on the tap in use."""
    t = welder.transformer
    return PercentScale(t.load_angle_min_deg, t.load_angle_max_deg)


def full_current(tap: Tap, working: Figure) -> Figure:
    """What 100 % delivers on a tap, of its working current at full conduction on either side."""
    scale = PercentScale(tap.load_angle.low, tap.load_angle.high)
    return delivered(working, scale.share(scale.full_deg))


def delivered(working: Figure, share: tuple[float, float]) -> Figure:
    """A working current at full conduction less what a firing withholds of it."""
    low, high = working.low * share[0], working.high * share[1]
    return Figure(low, high, working.unit, f"{working.source}, less what the firing delay withholds")
