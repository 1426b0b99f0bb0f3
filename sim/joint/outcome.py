"""The expected ending of a weld: no bond, a bond, a torn parent metal or expulsion."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sim.joint.metals import METALS, MetalName
from sim.joint.sites import SiteMeasures
from sim.joint.weld import WeldCourse
from sim.joint.work import THIN_SHEET_M, Work

Ending = Literal["no bond", "bonded", "tore the parent", "expelled"]

# Least and wanted nugget diameter of sheets, over the root of the thinner sheet in mm (ISO 14373, from memory).
LEAST_ROOT, WANTED_ROOT = 3.5, 5.0
# Least setdown of rods, and the setdown of a weld as strong as the rod (the cross-wire table's 15 % rows are about that).
LEAST_SETDOWN, STRONG_SETDOWN = 0.05, 0.12
_THIN_ROD_M = 3.0e-3  # for thinner rods the model was checked against one diameter only


@dataclass(frozen=True)
class JointOutcome:
    """The expected ending of one weld."""

    ending: Ending
    why: str
    """The reason, in words."""
    doubts: tuple[str, ...]
    """Sentences from `doubts`."""


def outcome(work: Work, course: WeldCourse) -> JointOutcome:
    """The expected ending of the weld, and the reason."""
    flies = expelled(work, course)
    if np.any(flies):
        return JointOutcome("expelled", _why_expelled(work, course, int(np.argmax(flies))), doubts(work))
    if course.boiled:
        return JointOutcome("expelled", f"after {course.time_s[-1]:.2g} s the middle of the joint boils", doubts(work))
    return JointOutcome(*(_of_rods if work.rods_m else _of_sheets)(work, course), doubts=doubts(work))


def expelled(work: Work, course: WeldCourse) -> NDArray[np.bool_]:
    """Whether melt is expelled, one value a step.

    Melt is expelled if its force exceeds the electrodes' (`sim.joint.contact.melt_force_N`), if the whole faying surface is
    molten, so that no solid ring encloses it, or if a sheet melts under the electrode.
    """
    nugget = course.of("nugget_m")
    no_ring = (nugget > 0) & (nugget >= course.of("contact_m"))
    melts = course.of("tip_C") >= METALS[work.metal].solidus_degC if work.sheets_m else False
    return np.asarray(no_ring | (course.of("melt_force_N") > work.force_N) | melts)


def _why_expelled(work: Work, course: WeldCourse, step: int) -> str:
    measures, after = course.measures[step], f"after {course.time_s[step]:.2g} s"
    if measures.melt_force_N > work.force_N:
        return (
            f"{after} the melt separates the parts with {measures.melt_force_N:.0f} N, more than the {work.force_N:.0f} N of the "
            "electrodes"
        )
    if measures.nugget_m >= measures.contact_m:
        return f"{after} the whole faying surface, {1e3 * measures.contact_m:.1f} mm wide, is molten: no solid ring encloses it"
    return f"{after} the sheet melts under the electrode ({measures.tip_C:.0f} degC)"


def electrode_pressure_MPa(work: Work, course: WeldCourse) -> tuple[float, float]:
    """Mean pressure under an electrode, and the hardness of the softer of electrode and work at its greatest temperature, MPa.

    If the pressure is greater, the electrode sinks into the work, or the work into the electrode.
    """
    hot_C = float(course.of("tip_C").max())
    hardness = min(float(METALS[name].hardness_Pa(hot_C)) for name in (work.metal, work.electrode))
    return work.force_N / work.bearing_m2 / 1e6, hardness / 1e6


@dataclass(frozen=True)
class JointEdges:
    """The weld times at which the ending of a weld changes, at one current, s. Each is infinite if it is not reached."""

    bonded_s: float
    """From this time on the weld bonds."""
    tore_s: float
    """From this time on the weld tears the parent metal."""
    past_s: float
    """From this time on the weld is past good: expulsion, or a setdown of rods that exceeds the wanted one."""


def edges_of(work: Work, course: WeldCourse, deepest_m: float = math.inf) -> JointEdges:
    """The edges of a weld, by the limits of `outcome`. `deepest_m`: the greatest setdown wanted."""
    past, joint = expelled(work, course), np.maximum.accumulate(course.of("joint_C"))
    if work.rods_m:
        share, hot = work.setdown_share(course.of("setdown_m")), joint >= forge_C(work.metal)
        bonded, tore = hot & (share >= LEAST_SETDOWN), hot & (share >= STRONG_SETDOWN)
        past = past | (course.of("setdown_m") > deepest_m)
    else:
        root_m = math.sqrt(1e3 * work.thin_m) / 1e3
        nugget = course.of("nugget_m")
        bonded, tore = nugget >= LEAST_ROOT * root_m, nugget >= WANTED_ROOT * root_m
    past_s = _first_s(course, past)
    if course.boiled:
        past_s = min(past_s, float(course.time_s[-1]))
    return JointEdges(_first_s(course, bonded), _first_s(course, tore), past_s)


def _first_s(course: WeldCourse, mask: NDArray[np.bool_]) -> float:
    over = np.flatnonzero(mask)
    return float(course.time_s[over[0]]) if len(over) else math.inf


def target_m(work: Work, setdown_percent: float) -> tuple[str, float]:
    """The name and the value of the measure that makes a weld good: setdown for rods, nugget diameter for sheets."""
    if work.rods_m:
        return "setdown_m", work.setdown_m(setdown_percent / 100)
    return "nugget_m", wanted_nugget_m(work)


def good_s(work: Work, course: WeldCourse, measure: str, target: float) -> float:
    """The time at which the weld becomes good; infinite if it does not.

    A rod on a flat bar sinks little. It must reach the forge welding temperature as well.
    """
    hot_s = course.reached_s("joint_C", forge_C(work.metal)) if work.flat_m is not None else 0.0
    return max(course.reached_s(measure, target), hot_s)


def good_test(work: Work, measure: str, target: float) -> Callable[[SiteMeasures], bool]:
    """The test of `good_s` at one instant, by which a simulation may end."""
    hot_C = forge_C(work.metal) if work.flat_m is not None else -math.inf
    return lambda measures: getattr(measures, measure) >= target and measures.joint_C >= hot_C


def wanted_nugget_m(work: Work) -> float:
    """Nugget diameter of five times the root of the thinner sheet in mm, in m (ISO 14373, from memory)."""
    return WANTED_ROOT * math.sqrt(1e3 * work.thin_m) / 1e3


def _of_sheets(work: Work, course: WeldCourse) -> tuple[Ending, str]:
    mm = 1e3 * work.thin_m
    nugget, root = 1e3 * course.nugget_m, math.sqrt(mm)
    size = f"nugget {nugget:.1f} mm; wanted {WANTED_ROOT * root:.1f} mm, {WANTED_ROOT:g} times the root of {mm:g} mm"
    if nugget < LEAST_ROOT * root:
        return "no bond", size
    return ("tore the parent" if nugget >= WANTED_ROOT * root else "bonded"), size


def _of_rods(work: Work, course: WeldCourse) -> tuple[Ending, str]:
    share = float(work.setdown_share(np.array([course.setdown_m]))[0])
    heat = f"the contact reaches {course.joint_C:.0f} degC on average, setdown {100 * share:.0f} %"
    if work.flat_m is not None:
        equal = f"as large as that of two rods at {100 * share:.0f} % setdown"
        heat = f"the contact reaches {course.joint_C:.0f} degC on average, and is {equal}"
    if course.joint_C < forge_C(work.metal) or share < LEAST_SETDOWN:
        return "no bond", f"{heat}; a bond needs {forge_C(work.metal):.0f} degC and {100 * LEAST_SETDOWN:.0f} %"
    return ("tore the parent" if share >= STRONG_SETDOWN else "bonded"), heat


def forge_C(metal: MetalName) -> float:
    """Forge welding temperature, degC."""
    return METALS[metal].forge_degC


def doubts(work: Work) -> tuple[str, ...]:
    """Sentences about this work: where the model disagrees with a table, or was not checked."""
    found = []
    if work.sheets_m and work.thin_m < THIN_SHEET_M:
        found.append("for sheets below 0.6 mm the model computes too small a nugget, or none where the tables have one")
    if work.rods_m and work.thin_m < _THIN_ROD_M:
        found.append(
            "for rods below 3 mm the model was checked against one diameter only: it computed up to a fifth too much setdown"
        )
    if work.metal not in ("low_carbon_steel", "stainless_steel"):
        found.append(f"for {METALS[work.metal].name} the model was not checked: no table was available")
    if work.flat_m is not None:
        found.append("for a rod on a flat bar the model was not checked: no table was available")
    if work.metal == "stainless_steel" and work.rods_m:
        found.append("for stainless rods the model was not checked: no table was available")
    return tuple(found)
