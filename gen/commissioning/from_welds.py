"""Current at full conduction and load angle of the machine from measured welds, in place of assumed ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median

from gen.commissioning.shots import lowest_tap
from gen.errors import InputError
from gen.machine.welder import Welder
from gen.measured import Course
from gen.phase_control import rms_fraction
from gen.ranges import Figure
from gen.user_files import Written

LEAST_GATES = 6  # least number of gates of a usable weld
_SLACK_DEG = 1.0  # added to both sides for the scatter of the next weld; common practice, no source
_ANGLES = (0, 80)  # range of a load angle in the welder file


@dataclass(frozen=True)
class FullConduction:
    """The current of a weld at full conduction, and the range of its load angle."""

    current_A: float
    angle_deg: Figure


def full_conduction(course: Course) -> FullConduction | None:
    """The current and angle from half-cycles whose current and end were both measured. None where these are too few."""
    seen = [half for half in course.seen if half.current_A and half.angle_deg is not None and half.ratio is not None]
    if len(seen) < LEAST_GATES:
        return None
    currents = [
        half.current_A / rms_fraction(half.delay_deg, math.degrees(math.atan2(1, half.ratio)))
        for half in seen
        if half.current_A is not None and half.ratio is not None
    ]
    angles = [half.angle_deg for half in seen if half.angle_deg is not None]
    low, high = min(angle.low for angle in angles), max(angle.high for angle in angles)
    return FullConduction(median(currents), Figure(low, high, "degrees", "measured in a weld"))


def values_of_welds(welder: Welder, working: Course | None, shorted: Course | None) -> dict[str, float | int | str]:
    """The values of the welder file that a weld on work, and one with shorted electrodes, replace. Raises InputError.

    Both are for the tap in use, except that the shorted weld is on the lowest tap, as in commissioning.
    """
    t = welder.transformer
    found: dict[str, float | int | str] = {}
    if working is not None:
        measured = _usable(working, "--working")
        found["transformer.working_current_A"] = round(measured.current_A, 1)
        low, high = measured.angle_deg.low - _SLACK_DEG, measured.angle_deg.high + _SLACK_DEG
        found["transformer.load_angle_min_deg"] = max(math.floor(low), _ANGLES[0])
        found["transformer.load_angle_max_deg"] = min(math.ceil(high), _ANGLES[1])
        if t.taps and t.tap is not None:
            found["transformer.working_tap"] = t.tap
    if shorted is not None:
        found["transformer.shorted_current_A"] = round(_usable(shorted, "--shorted").current_A, 1)
        if t.taps:
            found["transformer.shorted_tap"] = lowest_tap(t)
    return found


def _usable(course: Course, option: str) -> FullConduction:
    measured = full_conduction(course)
    if measured is None:
        which = f"{course.weld.boot}/{course.weld.count}"
        need = f"allowed: a weld of which the current and its end were measured in {LEAST_GATES} half-cycles or more"
        raise InputError("command line", option, Written(which), need)
    return measured


@dataclass(frozen=True)
class Narrowed:
    """One figure of the machine, with its range before and after."""

    name: str
    before: Figure
    after: Figure

    @property
    def text(self) -> str:
        return f"{self.name}: {self.before.text} before, {self.after.text} now"


def narrowed(before: Welder, after: Welder) -> list[Narrowed]:
    """Each figure of the tap in use that has changed."""
    pairs = zip(before.machine.in_use.figures(), after.machine.in_use.figures(), strict=True)
    return [Narrowed(name, old, new) for (name, old), (_, new) in pairs if old and new and old.span != new.span]
