"""How a weld ended, by its size and its heat."""

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

# Of sheets: diameter over the root of the thinner one in mm, least and wanted (ISO 14373, from memory).
LEAST_ROOT, WANTED_ROOT = 3.5, 5.0
# Of rods: setdowns. The cross-wire table's 15 % rows are about as strong as the wire.
LEAST_SETDOWN, STRONG_SETDOWN = 0.05, 0.12
# Beyond these the model has not been held against anything.
_THIN_ROD_M = 3.0e-3


@dataclass(frozen=True)
class JointOutcome:
    """`why`: in words. `doubts`: where the model is known to fail."""

    ending: Ending
    why: str
    doubts: tuple[str, ...]


def outcome(work: Work, course: WeldCourse) -> JointOutcome:
    """How the weld is expected to break."""
    flies = expelled(work, course)
    if np.any(flies):
        return JointOutcome("expelled", _why_expelled(work, course, int(np.argmax(flies))), doubts(work))
    if course.boiled:
        return JointOutcome("expelled", f"after {course.time_s[-1]:.2g} s the middle of the joint boils", doubts(work))
    return JointOutcome(*(_of_rods if work.rods_m else _of_sheets)(work, course), doubts=doubts(work))


def expelled(work: Work, course: WeldCourse) -> NDArray[np.bool_]:
    """Whether melt flies out, step by step: it presses the parts apart, has no ring left, or melts under the electrode.

    Pressed apart: by more than the electrodes' force (`sim.joint.contact.shut_in_N`). No ring: molten all over that touches.
    """
    nugget = course.of("nugget_m")
    no_ring = (nugget > 0) & (nugget >= course.of("contact_m"))
    melts = course.of("tip_C") >= METALS[work.metal].solidus_degC if work.sheets_m else False
    return np.asarray(no_ring | (course.of("lifts_N") > work.force_N) | melts)


def _why_expelled(work: Work, course: WeldCourse, step: int) -> str:
    measures, after = course.measures[step], f"after {course.time_s[step]:.2g} s"
    if measures.lifts_N > work.force_N:
        return (
            f"{after} the melt is shut in so that it takes {measures.lifts_N:.0f} N to hold the parts together, more than the "
            f"{work.force_N:.0f} N of the electrodes"
        )
    if measures.nugget_m >= measures.contact_m:
        return f"{after} all that touches is molten, {1e3 * measures.contact_m:.1f} mm wide, and no ring holds it"
    return f"{after} the sheet melts under the electrode ({measures.tip_C:.0f} degC)"


def tip_MPa(work: Work, course: WeldCourse) -> tuple[float, float]:
    """Mean pressure under an electrode, and what the softer of copper and work bears at the hottest that it gets there.

    Where the first is the greater the electrode sinks in, or the work into it.
    """
    hot_C = float(course.of("tip_C").max())
    bears = min(float(METALS[name].hardness_Pa(hot_C)) for name in (work.metal, work.electrode))
    return work.force_N / work.bearing_m2 / 1e6, bears / 1e6


@dataclass(frozen=True)
class JointEdges:
    """When one weld at one current first bonds, first tears the parent and is past good, s; infinite where it is not.

    It is past good once it expels, or, of rods, once they have sunk deeper than is wanted.
    """

    bonded_s: float
    tore_s: float
    past_s: float


def edges_of(work: Work, course: WeldCourse, deepest_m: float = math.inf) -> JointEdges:
    """By the same limits as `outcome`, whatever the time at which the weld is ended; `deepest_m`: of setdown, wanted."""
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
    """The measure that makes a good weld of this work, and how much of it: setdown of rods, nugget of sheets."""
    if work.rods_m:
        return "setdown_m", work.setdown_m(setdown_percent / 100)
    return "nugget_m", wanted_nugget_m(work)


def good_s(work: Work, course: WeldCourse, measure: str, target: float) -> float:
    """When the weld is good; infinite where it never is. A rod on a flat bar hardly sinks and must be hot enough as well."""
    hot_s = course.reached_s("joint_C", forge_C(work.metal)) if work.flat_m is not None else 0.0
    return max(course.reached_s(measure, target), hot_s)


def good_by(work: Work, measure: str, target: float) -> Callable[[SiteMeasures], bool]:
    """The same as a test of one instant, where a weld may end."""
    hot_C = forge_C(work.metal) if work.flat_m is not None else -math.inf
    return lambda measures: getattr(measures, measure) >= target and measures.joint_C >= hot_C


def wanted_nugget_m(work: Work) -> float:
    """Five times the root of the thinner sheet in mm (ISO 14373, from memory)."""
    return WANTED_ROOT * math.sqrt(1e3 * work.thin_m) / 1e3


def _of_sheets(work: Work, course: WeldCourse) -> tuple[Ending, str]:
    mm = 1e3 * work.thin_m
    nugget, root = 1e3 * course.nugget_m, math.sqrt(mm)
    size = f"nugget {nugget:.1f} mm; {WANTED_ROOT:g} times the root of {mm:g} mm is {WANTED_ROOT * root:.1f} mm"
    if nugget < LEAST_ROOT * root:
        return "no bond", size
    return ("tore the parent" if nugget >= WANTED_ROOT * root else "bonded"), size


def _of_rods(work: Work, course: WeldCourse) -> tuple[Ending, str]:
    share = float(work.setdown_share(np.array([course.setdown_m]))[0])
    heat = f"the contact reaches {course.joint_C:.0f} degC on average, setdown {100 * share:.0f} %"
    if work.flat_m is not None:
        heat = f"the contact reaches {course.joint_C:.0f} degC on average, as wide as of two rods at {100 * share:.0f} % setdown"
    if course.joint_C < forge_C(work.metal) or share < LEAST_SETDOWN:
        return "no bond", f"{heat}; it wants {forge_C(work.metal):.0f} degC and {100 * LEAST_SETDOWN:.0f} %"
    return ("tore the parent" if share >= STRONG_SETDOWN else "bonded"), heat


def forge_C(metal: MetalName) -> float:
    """Where the metal welds to itself under force."""
    return METALS[metal].forge_degC


def doubts(work: Work) -> tuple[str, ...]:
    """Where the model was held against a table and failed, or against nothing at all."""
    found = []
    if work.sheets_m and work.thin_m < THIN_SHEET_M:
        found.append("of sheets below 0.6 mm the model makes too small a nugget or none where the tables have one")
    if work.rods_m and work.thin_m < _THIN_ROD_M:
        found.append(
            "of rods below 3 mm the model was held against one diameter only, and made up to a fifth too much setdown"
        )
    if work.metal not in ("low_carbon_steel", "stainless_steel"):
        found.append(f"of {METALS[work.metal].name} no table was there to hold the model against")
    if work.flat_m is not None:
        found.append("of a rod on a flat bar no table was there to hold the model against")
    if work.metal == "stainless_steel" and work.rods_m:
        found.append("of stainless rods no table was there to hold the model against")
    return tuple(found)
