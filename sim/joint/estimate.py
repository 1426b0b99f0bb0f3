"""The model's input from a joint file and a welder file, with the assumptions; and the weld time that the model computes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from gen.current import scale_of
from gen.errors import InputError
from gen.handbook import with_electrodes
from gen.handbook.suggestion import Suggestion
from gen.joint import Joint
from gen.machine import Change
from gen.machine.welder import WELDER_FILE, Welder
from gen.user_files import Wrong, figure, written
from sim.joint.contact import Contacts
from sim.joint.field import Diverged
from sim.joint.machine import NoCurrentKnown, machine_amperes
from sim.joint.metals import METALS
from sim.joint.outcome import doubts, good_s, good_test, target_m
from sim.joint.weld import Amperes, Span, WeldCourse
from sim.joint.work import COARSE, USED, ElectrodeName, Fineness, Work, drawn_factors, one_weld, ranges_of, with_factors
from sim.workers import WorkerLost

LONGEST_S = 6.0  # longest weld time that is tried; a small machine is not held on for longer
MOST_GRID_ERROR = 0.15  # greatest error by cells and steps; coarse and fine ones may differ by twice this
_PARTS_MM = 0.001  # tolerance of a groove's radius
# Half of the strip under an electrode, over the rod's diameter: under a flat face, and the addition by a groove of the rod's
# radius. Both are assumptions; a worn flat and a whole groove are the extremes.
_FLAT_STRIP, _GROOVE_STRIP = 0.15, 0.25
_FACE_MM = 6.0  # the face's diameter if no file names it
_ALONG = (0.5, 2.0)  # limits of an electrode's contact length on a rod, in rod diameters
_ALLOYS: dict[str, ElectrodeName] = {"Cu-ETP": "copper", "CuCr1": "CuCr1", "CuCr1Zr": "CuCr1Zr"}


DRAWS = 8  # draws of the uncertain values, for the range of a time
_SEED = 17
# The figures are from the rows that were not fitted: python -m tests.campaigns.joint_rows.
TRUST = (
    "the model's metal data are from memory, and three constants are fitted to some rows of the handbook tables",
    "nine in ten nuggets and setdowns of the other rows lay in the model's ranges, which are wide; four in five of its times for "
    "rods were within 30 % of the tables'",
    "the model leaves out rust, zinc, oil, worn faces and a force that yields: test the setting on scrap",
)
_SHEET_TIMES = (
    "for sheets read the model's time as a factor: one in five was within 30 % of the tables', two in three within a factor of "
    "two, nine in ten in its range; a nugget grows slowly at the end, and the tables differ from each other as much"
)


def trust(work: Work) -> tuple[str, ...]:
    """Sentences that say how far to trust the model for this work."""
    return (*TRUST[:-1], _SHEET_TIMES, TRUST[-1]) if work.sheets_m else TRUST


@dataclass(frozen=True)
class JointWork:
    """A joint as input of the model."""

    work: Work
    assumed: tuple[str, ...]
    """The assumptions, in sentences."""


def joint_work(joint: Joint, welder: Welder | None, table_force_N: float | None = None) -> JointWork:
    """The joint as input of the model. Raises Wrong, with a key of the joint file, if the model cannot compute it.

    `table_force_N`: the force of a handbook table, used if the joint names none.
    """
    if joint.surface == "zinc":
        raise Wrong(
            "surface",
            written("zinc"),
            "the model has no zinc, which melts and boils off before the steel melts; allowed: clean or scaled",
        )
    assumed = []
    force_N = joint.force_N
    if force_N is None:
        if table_force_N is None:
            raise Wrong("force_N", None, "missing; allowed: the electrode force, which the model needs")
        force_N = table_force_N
        assumed.append(f"the force is {force_N:.0f} N, the table's, since the joint file names none")
    if joint.surface == "scaled":
        assumed.append("scale is a thicker film than the model's: the first heat is greater, and welds scatter more")
    if joint.rods_mm and joint.finish == "hot_drawn" and joint.material == "low_carbon_steel":
        assumed.append("hot-drawn rods are computed as cold-drawn ones, for which the table has up to 9 % less current")
    pair = welder.electrodes.pair if welder and welder.electrodes else ()
    alloys = [_ALLOYS.get(electrode.alloy, "CuCr1Zr") for electrode in pair]
    alloy: ElectrodeName = min(alloys, key=lambda name: METALS[name].flow.cold_MPa, default="CuCr1Zr")
    if joint.rods_mm:
        work = _rods(joint, joint.rods_mm, force_N, welder, alloy, assumed)
    else:
        face_mm = joint.face_diameter_mm
        if face_mm is None:
            face_mm = _FACE_MM
            assumed.append(f"the electrode's face is {face_mm:g} mm, since neither file names one")
        sheets_m = tuple(mm / 1e3 for mm in joint.sheets_mm or ())
        dome_m = (joint.dome_radius_mm or math.inf) / 1e3
        work = Work(joint.material, force_N, sheets_m=sheets_m, electrode=alloy, face_m=face_mm / 1e3, dome_m=dome_m)
    return JointWork(work, (*assumed, *_over_hardness(work)))


def _rods(
    joint: Joint,
    rods_mm: tuple[float, float],
    force_N: float,
    welder: Welder | None,
    alloy: ElectrodeName,
    assumed: list[str],
) -> Work:
    bar_mm = joint.flat_width_mm
    if bar_mm and joint.grooves_mm[1] is not None:
        allowed = "the flat bar lies on the edges of a groove; allowed: a flat face on that side"
        raise Wrong("groove_radius_mm", figure(joint.grooves_mm[1]), allowed)
    thick_mm, strips = rods_mm[0] if bar_mm else max(rods_mm), []
    for mm, groove_mm in zip(rods_mm, joint.grooves_mm, strict=True):
        if groove_mm is not None and groove_mm < mm / 2 - _PARTS_MM:
            allowed = f"the {mm:g} mm rod rides on its edges; allowed: {mm / 2:g} or more"
            raise Wrong("groove_radius_mm", figure(groove_mm), allowed)
        strips.append(_FLAT_STRIP + (_GROOVE_STRIP * mm / 2 / groove_mm if groove_mm else 0.0))
    pair = welder.electrodes.pair if welder and welder.electrodes else ()
    wide_mm = joint.face_diameter_mm or min((electrode.diameter_mm for electrode in pair), default=0.0)
    if not wide_mm:
        wide_mm = thick_mm
        assumed.append(f"the electrodes touch {wide_mm:g} mm of each rod's length, since neither file names a face")
    along = min(max(wide_mm / thick_mm, _ALONG[0]), _ALONG[1])
    if None in (joint.grooves_mm[:1] if bar_mm else joint.grooves_mm):
        assumed.append("the electrodes have flat faces, which touch a round rod along a narrow strip")
    first, second = rods_mm
    if bar_mm:
        assumed.append(
            "a rod on a flat bar touches along a line: its setdown is given as that of two such rods with an equal patch"
        )
    return Work(
        joint.material,
        force_N,
        rods_m=(first / 1e3, second / 1e3),
        electrode=alloy,
        strip=(strips[0], strips[1]),
        along=along,
        face_m=min(wide_mm, bar_mm or wide_mm) / 1e3,
        flat_m=bar_mm / 1e3 if bar_mm else None,
    )


def _over_hardness(work: Work) -> tuple[str, ...]:
    """A sentence if the electrode sinks into the work, or the work into the electrode, before current flows; else nothing."""
    copper, pressure = METALS[work.electrode], work.force_N / work.bearing_m2
    hardness = min(float(copper.hardness_Pa(20.0)), float(METALS[work.metal].hardness_Pa(20.0)))
    if pressure > hardness:
        return (f"{pressure / 1e6:.0f} MPa under the electrode exceeds the hardness of electrode or work: it sinks in",)
    return ()


@dataclass(frozen=True)
class TimeEstimate:
    """The model's weld time until the weld is good."""

    time_s: float
    """The time with nominal values; infinite if the weld is not good within `LONGEST_S`."""
    measure: str
    """The measure of `SiteMeasures` that makes the weld good."""
    target_m: float
    """The value of that measure in a good weld."""
    course: WeldCourse
    grid_error: float
    """Change of the time with coarser cells and steps, as a share of it."""
    range_s: tuple[float, float] = (math.nan, math.nan)
    """Least and greatest time of the draws; nan without draws."""


def estimated_range(work: Work, amperes: Amperes, setdown_percent: float) -> TimeEstimate:
    """`estimated_time`, with its range over `DRAWS` draws of the uncertain values. Raises Diverged."""
    found, times = estimated_time(work, amperes, setdown_percent), []
    for factors in drawn_factors(DRAWS, _SEED, ranges_of(work)):
        other, contacts = with_factors(work, Contacts(), factors)
        spans = (Span(LONGEST_S, _scaled(amperes, factors.amperes)),)
        with suppress(Diverged):
            course = one_weld(other, spans, contacts, COARSE, until=good_test(work, found.measure, found.target_m))
            times.append(good_s(work, course, found.measure, found.target_m))
    if len(times) < DRAWS / 2:
        raise Diverged(f"{DRAWS - len(times)} of {DRAWS} simulated welds have no stable solution")
    return replace(found, range_s=(min(found.time_s, *times), max(found.time_s, *times)))


def estimated_time(work: Work, amperes: Amperes, setdown_percent: float, fineness: Fineness = USED) -> TimeEstimate:
    """The weld time at a current. Raises Diverged if the solution does not settle."""
    measure, target = target_m(work, setdown_percent)
    spans = (Span(LONGEST_S, amperes),)
    found = [
        one_weld(work, spans, Contacts(), each, until=good_test(work, measure, target)) for each in (COARSE, fineness)
    ]
    times = [good_s(work, course, measure, target) for course in found]
    return TimeEstimate(times[1], measure, target, found[1], grid_error(times[0], times[1]))


def amperes_at_full(welder: Welder) -> Amperes:
    """The current at 100 %, the earliest firing that the machine may have. Raises NoCurrentKnown."""
    return amperes_at(welder, 100)


def amperes_at(welder: Welder, percent: float) -> Amperes:
    """The current at a percentage, with the compiler's firing delay. Raises NoCurrentKnown."""
    return machine_amperes(welder, scale_of(welder).delay_deg(percent))


def grid_error(coarse: float, fine: float) -> float:
    """The difference of a figure over its lesser value. Raises Diverged if it is too great for the figure to be given."""
    if coarse == fine:
        return 0.0
    moved = abs(coarse - fine) / max(min(coarse, fine), 1e-9)
    if not moved <= 2 * MOST_GRID_ERROR:
        raise Diverged("coarser cells and steps give another result")
    return moved


def pictured_weld(work: Work, spans: tuple[Span, ...], measure: str, pictures: int = 6) -> tuple[WeldCourse, float]:
    """A weld with pictures at even times, and the error of its measure by cells and steps. Raises Diverged."""
    whole_s = sum(span.length_s for span in spans)
    times = [whole_s * (n + 1) / pictures for n in range(pictures)]
    coarse = one_weld(work, spans, Contacts(), COARSE)
    fine = one_weld(work, spans, Contacts(), USED, pictures_s=times)
    ends = [float(course.of(measure).max()) for course in (coarse, fine)]
    floor = 0.02 * work.thin_m  # smaller measures count as equal: the weld has hardly begun
    return fine, grid_error(max(ends[0], floor), max(ends[1], floor))


def model_sentences(joint: Joint, welder: Welder, found: Suggestion, table_force_N: float | None) -> tuple[str, ...]:
    """The model's result for a suggested joint, in sentences: its weld time, and the agreement with the tables.

    Raises Wrong, NoCurrentKnown and Diverged, as `joint_work` and `estimated_time` do.
    """
    given = joint_work(joint, welder, table_force_N)
    percent = found.percent if found.known else 100
    model = estimated_range(given.work, amperes_at(welder, percent), joint.setdown_percent)
    what = _target_text(joint, model)
    fired = model.course.current_A
    middle_A = float(np.median(fired[fired > 0]))
    low, high = model.range_s
    ends = f"{seconds(low)} to {seconds(high)} in {DRAWS} draws of the uncertain values and the model's error"
    if math.isinf(model.time_s):
        best = 1e3 * float(model.course.of(model.measure).max())
        says = (
            f"{what} is not reached within {LONGEST_S:g} s at {percent} %, {middle_A:.0f} A with the joint's resistance: the "
            f"joint reaches {model.course.joint_C:.0f} degC and {best:.2g} mm"
        )
        says += f"; {ends}" if math.isfinite(low) else f"; nor is it in any of {DRAWS} draws of the uncertain values"
    else:
        fired_at = f"at {percent} %, {middle_A:.0f} A with the joint's resistance"
        says = f"{what} is reached after {seconds(model.time_s)} {fired_at}; {ends}"
    return (says, _against_tables(model, found), *given.assumed, *doubts(given.work), *trust(given.work)[2:])


def _target_text(joint: Joint, model: TimeEstimate) -> str:
    """The property that makes the weld good, in words."""
    if joint.flat_width_mm is not None:
        return f"a patch as large as at {joint.setdown_percent:g} % setdown of two rods"
    return f"{joint.setdown_percent:g} % setdown" if joint.rods_mm else f"a nugget of {1e3 * model.target_m:.1f} mm"


@dataclass(frozen=True)
class ElectrodeResult:
    """A weld at 100 % until it is good, under one pair of electrodes."""

    time_s: float
    """The weld time; infinite if the weld is not good within `LONGEST_S`."""
    what: str
    """The property that makes the weld good, in words."""
    amperes: float
    """Median of the current."""
    tip_C: float
    """Greatest temperature under an electrode."""
    assumed: tuple[str, ...]
    """The assumptions, in sentences."""


def by_both_electrodes(
    joint: Joint, welder: Welder, change: Change, table_force_N: float | None
) -> tuple[ElectrodeResult, ElectrodeResult]:
    """The joint under the electrodes of the welder file, and under the changed ones with their own faces or grooves.

    Raises as `model_sentences` does.
    """
    bare = joint.model_copy(update={"face_diameter_mm": None, "groove_radius_mm": None, "dome_radius_mm": None})
    full, found = amperes_at_full(welder), []
    for side, wanted in ((change.present, joint), (change.other, bare)):
        machine = welder.model_copy(update={"electrodes": side.electrodes})
        given = joint_work(with_electrodes(wanted, machine), machine, table_force_N)
        share = side.working_secondary.middle / change.present.working_secondary.middle
        model = estimated_time(given.work, _scaled(full, share), joint.setdown_percent, COARSE)
        fired, tip_C = model.course.current_A, float(model.course.of("tip_C").max())
        what = _target_text(joint, model)
        found.append(ElectrodeResult(model.time_s, what, float(np.median(fired[fired > 0])), tip_C, given.assumed))
    return found[0], found[1]


def _scaled(amperes: Amperes, share: float) -> Amperes:
    """The current, multiplied by a factor."""
    return lambda ohm: share * amperes(ohm)


def _against_tables(model: TimeEstimate, found: Suggestion) -> str:
    """The agreement of model and tables, as a sentence."""
    if not found.known or found.weld is None:
        return "no table covers this joint on this machine, so the model's time is unconfirmed"
    table = found.weld
    span = f"{seconds(table.low)} to {seconds(table.high)}"
    low, high = model.range_s
    if low <= table.high and table.low <= high:
        inside = "is within" if table.low <= model.time_s <= table.high else "agrees within its error with"
        return f"the model's time {inside} the tables' range, {span}"
    longer = "longer" if low > table.high else "shorter"
    return f"the model's time is {longer} than the tables' range, {span}, by more than its error: rely on test welds"


def seconds(value: float) -> str:
    """A time in two digits, or "never"."""
    if math.isinf(value):
        return "never"
    return f"{value:.2g} s" if value < 10 else f"{value:.0f} s"


@contextmanager
def as_input_error(where: Path | str, welder_path: Path | None) -> Iterator[None]:
    """Raise the model's errors as an InputError, a message about a file."""
    try:
        yield
    except Wrong as wrong:
        raise InputError(where, wrong.key, wrong.given, str(wrong)) from None
    except NoCurrentKnown as error:
        allowed = "missing; allowed: this or transformer.taps, from which the secondary current follows"
        raise InputError(welder_path or Path(WELDER_FILE), str(error), None, allowed) from None
    except WorkerLost:
        allowed = "allowed: run it again, with fewer other programs if memory is short"
        raise InputError(where, "a process that computed welds was ended from outside", None, allowed) from None
    except Diverged as error:
        raise InputError(where, "the joint's model", None, f"{error}; no figure is given") from None
