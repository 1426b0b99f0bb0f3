"""How a weld ended, by its size and its heat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sim.joint.metals import METALS, MetalName
from sim.joint.weld import WeldCourse
from sim.joint.work import THIN_SHEET_M, Work

Ending = Literal["no bond", "bonded", "tore the parent", "expelled"]

# Of sheets: diameter over the root of the thinner one in mm, least and wanted (ISO 14373, from memory).
LEAST_ROOT, WANTED_ROOT = 3.5, 5.0
# Of rods: hot enough to weld under force, in shares of the melting temperature in kelvins (forge welding, common practice, no
# source; 0.75 is about 1070 degC for steel), and setdowns. The cross-wire table's 15 % rows are about as strong as the wire.
FORGE_SHARE = 0.75
LEAST_SETDOWN, STRONG_SETDOWN = 0.05, 0.12
_SPATTERS_K = 350.0  # rods: so far above its melting what is between them flies out (assumed, no source)
_WIDER = 1.25  # sheets: a nugget so much wider than what touches has no ring that holds it (assumed, no source)
# Beyond these the model has not been held against anything.
_THIN_ROD_M = 3.0e-3
_KELVIN = 273.15


@dataclass(frozen=True)
class JointOutcome:
    """`why`: in words. `doubts`: where the model is known to fail."""

    ending: Ending
    why: str
    doubts: tuple[str, ...]


def outcome(work: Work, course: WeldCourse) -> JointOutcome:
    """How the weld is expected to break."""
    if course.boiled:
        return JointOutcome("expelled", f"after {course.time_s[-1]:.2g} s the middle of the joint boils", doubts(work))
    return JointOutcome(*(_of_rods if work.rods_m else _of_sheets)(work, course), doubts=doubts(work))


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
    metal, core, joint = METALS[work.metal], course.of("core_C"), np.maximum.accumulate(course.of("joint_C"))
    if work.rods_m:
        share, hot = course.of("setdown_m") / work.thin_m, joint >= forge_C(work.metal)
        bonded, tore = hot & (share >= LEAST_SETDOWN), hot & (share >= STRONG_SETDOWN)
        past = (core > metal.liquidus_degC + _SPATTERS_K) | (course.of("setdown_m") > deepest_m)
    else:
        root_m = math.sqrt(1e3 * work.thin_m) / 1e3
        nugget = course.of("nugget_m")
        bonded, tore = nugget >= LEAST_ROOT * root_m, nugget >= WANTED_ROOT * root_m
        past = (course.of("tip_C") >= metal.solidus_degC) | (nugget > _WIDER * course.of("contact_m"))
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
        return "setdown_m", setdown_percent / 100 * work.thin_m
    return "nugget_m", wanted_nugget_m(work)


def wanted_nugget_m(work: Work) -> float:
    """Five times the root of the thinner sheet in mm (ISO 14373, from memory)."""
    return WANTED_ROOT * math.sqrt(1e3 * work.thin_m) / 1e3


def _of_sheets(work: Work, course: WeldCourse) -> tuple[Ending, str]:
    metal, mm = METALS[work.metal], 1e3 * work.thin_m
    nugget, root = 1e3 * course.nugget_m, math.sqrt(mm)
    tip_C, touch = float(course.of("tip_C").max()), 1e3 * course.measures[-1].contact_m
    size = f"nugget {nugget:.1f} mm; {WANTED_ROOT:g} times the root of {mm:g} mm is {WANTED_ROOT * root:.1f} mm"
    if tip_C >= metal.solidus_degC:
        return "expelled", f"the sheet melts under the electrode ({tip_C:.0f} degC)"
    if nugget > _WIDER * touch:
        return "expelled", f"the nugget, {nugget:.1f} mm, is wider than what holds it, {touch:.1f} mm"
    if nugget < LEAST_ROOT * root:
        return "no bond", size
    return ("tore the parent" if nugget >= WANTED_ROOT * root else "bonded"), size


def _of_rods(work: Work, course: WeldCourse) -> tuple[Ending, str]:
    metal, hot_C = METALS[work.metal], float(course.of("core_C").max())
    share = course.setdown_m / work.thin_m
    heat = f"the crossing reaches {course.joint_C:.0f} degC, setdown {100 * share:.0f} %"
    if hot_C > metal.liquidus_degC + _SPATTERS_K:
        return "expelled", f"metal between the rods reaches {hot_C:.0f} degC and flies out"
    if course.joint_C < forge_C(work.metal) or share < LEAST_SETDOWN:
        return "no bond", f"{heat}; it wants {forge_C(work.metal):.0f} degC and {100 * LEAST_SETDOWN:.0f} %"
    return ("tore the parent" if share >= STRONG_SETDOWN else "bonded"), heat


def forge_C(metal: MetalName) -> float:
    """Where the metal welds to itself under force."""
    return FORGE_SHARE * (METALS[metal].solidus_degC + _KELVIN) - _KELVIN


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
    if work.metal == "stainless_steel" and work.rods_m:
        found.append("of stainless rods no table was there to hold the model against")
    return tuple(found)
