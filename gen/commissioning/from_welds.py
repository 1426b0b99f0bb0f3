"""Current at full conduction and load angle of the machine from measured welds, in place of assumed ranges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from gen.commissioning.shots import lowest_tap
from gen.errors import InputError
from gen.machine.derived import working_given
from gen.machine.welder import Welder
from gen.measured import APART_DEG, LEAST_DELAYS, METERS, Course, delays_apart, loop_of, shorted_gates, shorted_loop
from gen.phase_control import rms_fraction
from gen.ranges import Figure, shown
from gen.user_files import Written

LEAST_GATES = 6  # least number of gates of a usable weld
_SLACK_DEG = 1.0  # added to both sides for the scatter of the next weld; common practice, no source
_ANGLES = (0, 80)  # range of a load angle in the welder file
_WIDEST_DEG = 6.0  # greatest width of a usable range of the loop's angle


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


def values_of_welds(
    welder: Welder, working: Course | None, shorted: Course | None, by_angle: bool = True
) -> dict[str, float | int | str]:
    """The values of the welder file that a weld on work, and one with shorted electrodes, replace. Raises InputError.

    Both are for the tap in use, except that the shorted weld is on the lowest tap, as in commissioning. `by_angle`: with the
    load angle, which otherwise follows from the loop and the currents.
    """
    t = welder.transformer
    found: dict[str, float | int | str] = {}
    if working is not None:
        measured = _usable(working, "--working")
        found["transformer.working_current_A"] = round(measured.current_A, 1)
        if by_angle:
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


def values_of_loop(welder: Welder, courses: Sequence[Course], voltage_V: float) -> dict[str, float | int | str]:
    """The values of the welder file that welds with shorted electrodes replace, fired at several delays. Raises InputError.

    All are on the tap in use. `voltage_V`: the mains before these welds.
    """
    for course in courses:
        if len(shorted_gates(course)) < LEAST_GATES:
            raise _unusable([course], _BOTH_MEASURED)
    delays = delays_apart(gate.delay_deg for course in courses for gate in shorted_gates(course))
    learnt = loop_of(courses, voltage_V)
    if learnt is None:
        several = (
            f"{LEAST_DELAYS} firing delays or more that are {APART_DEG:g} degrees apart, in one weld or in several"
        )
        raise _unusable(courses, f"fired at {delays}; allowed: welds with shorted electrodes at {several}")
    ohm, angle, tap = learnt.impedance, learnt.angle, welder.machine.in_use
    most_ohm = welder.mains.voltage_V / tap.short_primary.low * (1 + METERS)
    if working_given(welder.transformer) and tap.name == welder.transformer.working_read_on:
        most_ohm = min(most_ohm, welder.mains.voltage_V / welder.transformer.working_current_A * (1 - METERS))
    if ohm.middle > most_ohm:
        why = f"{shown(ohm.middle)} ohm; allowed: at most {shown(most_ohm)}, the machine's with shorted electrodes"
        raise _unusable(courses, f"the electrodes were not shorted, or not on the tap in use: {why}")
    if angle.high - angle.low > _WIDEST_DEG:
        why = f"only to {shown(angle.high - angle.low)} degrees; allowed: to {_WIDEST_DEG:g}"
        raise _unusable(courses, f"they do not agree, and tell the loop's angle {why}")
    t = welder.transformer
    told = shorted_loop(learnt, welder.mains.frequency_Hz).model_copy(update={"tap": t.tap})
    found = {f"shorted_loop.{key}": value for key, value in told.model_dump(exclude_none=True).items()}
    if t.shorted_current_A is None:
        found["transformer.shorted_current_A"] = round(welder.mains.voltage_V / ohm.middle, 1)
        if t.taps and t.tap is not None:
            found["transformer.shorted_tap"] = t.tap
    return found


_BOTH_MEASURED = f"allowed: a weld of which the current and its end were measured in {LEAST_GATES} half-cycles or more"


def _usable(course: Course, option: str) -> FullConduction:
    measured = full_conduction(course)
    if measured is None:
        raise _unusable([course], _BOTH_MEASURED, option)
    return measured


def _unusable(courses: Sequence[Course], why: str, option: str = "--loop") -> InputError:
    which = ", ".join(f"{course.weld.boot}/{course.weld.count}" for course in courses)
    return InputError("command line", option, Written(which), why)


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
