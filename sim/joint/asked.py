"""From the user's joint and machine to the model's work: what is taken where a file does not say, and what the model refuses."""

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
from sim.joint.outcome import doubts, good_by, good_s, target_m
from sim.joint.weld import Amperes, Span, WeldCourse
from sim.joint.work import COARSE, USED, ElectrodeName, Fineness, Work, drawn, one_weld, ranges_of, under
from sim.workers import WorkerLost

LONGEST_S = 6.0  # nobody holds a small machine on longer
MOVES = 0.15  # a figure that finer cells and steps move by more is not given
_PARTS_MM = 0.001
# Half of the strip under an electrode, over the rod's diameter: under a flat face, and what a groove of the rod's radius adds
# (how an electrode touches a round rod is known to nobody; from a worn flat to a whole groove).
_FLAT_STRIP, _GROOVE_STRIP = 0.15, 0.25
_FACE_MM, _ALONG = 6.0, (0.5, 2.0)
_ALLOYS: dict[str, ElectrodeName] = {"Cu-ETP": "copper", "CuCr1": "CuCr1", "CuCr1Zr": "CuCr1Zr"}


DRAWS = 8  # of what nobody knows, for the range of a time
_SEED = 17
# What the rows of the tables say that nothing was fitted to: python -m tests.campaigns.joint_rows.
TRUST = (
    "Computed from tables of the metals that are from memory, with three constants fitted to some rows of the handbook tables",
    "of the other rows' nuggets and setdowns nine in ten lay in its ranges, which are wide; of its times for rods four in five "
    "were within 30 %",
    "rust, zinc, oil, a worn face and a force that gives way are not in it: try it on scrap",
)

_OF_SHEETS = (
    "of sheets its time is a factor and no figure: one in five was within 30 % of the tables', two in three within a factor of "
    "two, nine in ten in its range, for a nugget grows slowly at last and the tables differ by as much among themselves"
)


def trust(work: Work) -> tuple[str, ...]:
    """How far the model is to be trusted on such work, in sentences."""
    return (*TRUST[:-1], _OF_SHEETS, TRUST[-1]) if work.sheets_m else TRUST


@dataclass(frozen=True)
class JointAsked:
    """The work, and in words what was assumed for it."""

    work: Work
    assumed: tuple[str, ...]


def asked(joint: Joint, welder: Welder | None, table_force_N: float | None = None) -> JointAsked:
    """The joint as the model takes it. Raises Wrong, with a key of the joint file, where it cannot.

    `table_force_N`: what a handbook table has, taken where the joint names no force.
    """
    if joint.surface == "zinc":
        raise Wrong(
            "surface",
            written("zinc"),
            "the model knows no zinc, which melts and boils away first; allowed: clean or scaled",
        )
    assumed = []
    force_N = joint.force_N
    if force_N is None:
        if table_force_N is None:
            raise Wrong(
                "force_N", None, "missing; allowed: the force of one electrode on the other, which the model needs"
            )
        force_N = table_force_N
        assumed.append(f"force {force_N:.0f} N, the table's, since the joint names none")
    if joint.surface == "scaled":
        assumed.append("scale is a thicker film than the model's: more heat at first, and less alike from weld to weld")
    if joint.rods_mm and joint.finish == "hot_drawn" and joint.material == "low_carbon_steel":
        assumed.append(
            "hot-drawn rods are computed as cold-drawn ones, to which the table gives up to 9 % less current"
        )
    pair = welder.electrodes.pair if welder and welder.electrodes else ()
    alloys = [_ALLOYS.get(electrode.alloy, "CuCr1Zr") for electrode in pair]
    alloy: ElectrodeName = min(alloys, key=lambda name: METALS[name].flow.cold_MPa, default="CuCr1Zr")
    if joint.rods_mm:
        work = _rods(joint, joint.rods_mm, force_N, welder, alloy, assumed)
    else:
        face_mm = joint.face_diameter_mm
        if face_mm is None:
            face_mm = _FACE_MM
            assumed.append(f"a face of {face_mm:g} mm, since neither file names one")
        sheets_m = tuple(mm / 1e3 for mm in joint.sheets_mm or ())
        dome_m = (joint.dome_radius_mm or math.inf) / 1e3
        work = Work(joint.material, force_N, sheets_m=sheets_m, electrode=alloy, face_m=face_mm / 1e3, dome_m=dome_m)
    return JointAsked(work, (*assumed, *_under_force(work)))


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
        assumed.append(f"electrodes that touch {wide_mm:g} mm of each rod, since neither file names a face")
    along = min(max(wide_mm / thick_mm, _ALONG[0]), _ALONG[1])
    if None in (joint.grooves_mm[:1] if bar_mm else joint.grooves_mm):
        assumed.append("flat faces, which touch a round rod along a narrow strip")
    first, second = rods_mm
    if bar_mm:
        assumed.append(
            "a rod on a flat bar touches along a line: a setdown is told as that of two such rods with as wide a patch"
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


def _under_force(work: Work) -> tuple[str, ...]:
    """Where the electrode sinks into the work, or the work into it, before any current flows."""
    copper, pressure = METALS[work.electrode], work.force_N / work.bearing_m2
    bears = min(float(copper.hardness_Pa(20.0)), float(METALS[work.metal].hardness_Pa(20.0)))
    if pressure > bears:
        return (f"{pressure / 1e6:.0f} MPa under the electrode is over the hardness of copper or work: it sinks in",)
    return ()


@dataclass(frozen=True)
class Reckoned:
    """The model's time until a good weld, infinite where it is not within `LONGEST_S`, and how far a coarser grid has it off.

    `between_s`: of the draws; nan where none were made.
    """

    time_s: float
    measure: str
    target_m: float
    course: WeldCourse
    moved: float
    between_s: tuple[float, float] = (math.nan, math.nan)


def ranged(work: Work, amperes: Amperes, setdown_percent: float) -> Reckoned:
    """The same as `reckoned` finds, and the least and most time of `DRAWS` draws of what nobody knows. Raises Diverged."""
    found, times = reckoned(work, amperes, setdown_percent), []
    for factors in drawn(DRAWS, _SEED, ranges_of(work)):
        other, contacts = under(work, Contacts(), factors)
        spans = (Span(LONGEST_S, _times(amperes, factors.amperes)),)
        with suppress(Diverged):
            course = one_weld(other, spans, contacts, COARSE, until=good_by(work, found.measure, found.target_m))
            times.append(good_s(work, course, found.measure, found.target_m))
    if len(times) < DRAWS / 2:
        raise Diverged(f"{DRAWS - len(times)} of {DRAWS} welds settle on nothing")
    return replace(found, between_s=(min(found.time_s, *times), max(found.time_s, *times)))


def reckoned(work: Work, amperes: Amperes, setdown_percent: float, fineness: Fineness = USED) -> Reckoned:
    """The weld time at a current. Raises Diverged where the model settles on nothing."""
    measure, target = target_m(work, setdown_percent)
    spans = (Span(LONGEST_S, amperes),)
    found = [
        one_weld(work, spans, Contacts(), each, until=good_by(work, measure, target)) for each in (COARSE, fineness)
    ]
    times = [good_s(work, course, measure, target) for course in found]
    return Reckoned(times[1], measure, target, found[1], moved_between(times[0], times[1]))


def full_amperes(welder: Welder) -> Amperes:
    """At 100 %: the earliest firing that the machine may have. Raises NoCurrentKnown."""
    return amperes_at(welder, 100)


def amperes_at(welder: Welder, percent: float) -> Amperes:
    """At a percentage, as the compiler fires it. Raises NoCurrentKnown."""
    return machine_amperes(welder, scale_of(welder).delay_deg(percent))


def moved_between(coarse: float, fine: float) -> float:
    """By how much of itself a figure moved. Raises Diverged where that is too much to give it."""
    if coarse == fine:
        return 0.0
    moved = abs(coarse - fine) / max(min(coarse, fine), 1e-9)
    if not moved <= 2 * MOVES:
        raise Diverged("cells and steps half as fine give another figure: nothing can be said of this weld")
    return moved


def shown(work: Work, spans: tuple[Span, ...], measure: str, pictures: int = 6) -> tuple[WeldCourse, float]:
    """A weld with pictures evenly through it, and by how much its measure moves with cells and steps. Raises Diverged."""
    whole_s = sum(span.length_s for span in spans)
    times = [whole_s * (n + 1) / pictures for n in range(pictures)]
    coarse = one_weld(work, spans, Contacts(), COARSE)
    fine = one_weld(work, spans, Contacts(), USED, pictures_s=times)
    ends = [float(course.of(measure).max()) for course in (coarse, fine)]
    floor = 0.02 * work.thin_m  # of a weld that hardly began, nothing is judged
    return fine, moved_between(max(ends[0], floor), max(ends[1], floor))


def told(joint: Joint, welder: Welder, found: Suggestion, table_force_N: float | None) -> tuple[str, ...]:
    """What the model says of a joint beside a suggestion, in sentences: its time, and whether the tables' agrees.

    Raises Wrong, NoCurrentKnown and Diverged, as `asked` and `reckoned` do.
    """
    given = asked(joint, welder, table_force_N)
    percent = found.percent if found.known else 100
    model = ranged(given.work, amperes_at(welder, percent), joint.setdown_percent)
    what = _wanted(joint, model)
    fired = model.course.current_A
    middle_A = float(np.median(fired[fired > 0]))
    low, high = model.between_s
    ends = f"in {DRAWS} draws of what nobody knows, its own error with it, {seconds(low)} to {seconds(high)}"
    if math.isinf(model.time_s):
        best = 1e3 * float(model.course.of(model.measure).max())
        says = (
            f"at {percent} %, {middle_A:.0f} A through the joint's own resistance, {what} is not reached within {LONGEST_S:g} s: "
            f"the joint gets to {model.course.joint_C:.0f} degC and {best:.2g} mm"
        )
        says += f"; {ends}" if math.isfinite(low) else f"; nor is it in any of {DRAWS} draws of what nobody knows"
    else:
        says = f"{what} after {seconds(model.time_s)} at {percent} %, {middle_A:.0f} A through the joint's own resistance; {ends}"
    return (says, _beside(model, found), *given.assumed, *doubts(given.work), *trust(given.work)[2:])


def _wanted(joint: Joint, model: Reckoned) -> str:
    """What makes the weld good, in words."""
    if joint.flat_width_mm is not None:
        return f"a patch as wide as at {joint.setdown_percent:g} % setdown of two rods"
    return f"{joint.setdown_percent:g} % setdown" if joint.rods_mm else f"a nugget of {1e3 * model.target_m:.1f} mm"


@dataclass(frozen=True)
class UnderElectrodes:
    """A weld at 100 % until it is good, under one pair of electrodes: its time (infinite: not reached), how hot it gets there."""

    time_s: float
    what: str
    amperes: float
    tip_C: float
    assumed: tuple[str, ...]


def under_electrodes(
    joint: Joint, welder: Welder, change: Change, table_force_N: float | None
) -> tuple[UnderElectrodes, UnderElectrodes]:
    """The joint under the electrodes of the welder file and under the others, which have their own faces or grooves.

    Raises as `told` does.
    """
    bare = joint.model_copy(update={"face_diameter_mm": None, "groove_radius_mm": None, "dome_radius_mm": None})
    full, found = full_amperes(welder), []
    for side, wanted in ((change.present, joint), (change.other, bare)):
        machine = welder.model_copy(update={"electrodes": side.electrodes})
        given = asked(with_electrodes(wanted, machine), machine, table_force_N)
        share = side.working_secondary.middle / change.present.working_secondary.middle
        model = reckoned(given.work, _times(full, share), joint.setdown_percent, COARSE)
        fired, tip_C = model.course.current_A, float(model.course.of("tip_C").max())
        what = _wanted(joint, model)
        found.append(UnderElectrodes(model.time_s, what, float(np.median(fired[fired > 0])), tip_C, given.assumed))
    return found[0], found[1]


def _times(amperes: Amperes, share: float) -> Amperes:
    return lambda ohm: share * amperes(ohm)


def _beside(model: Reckoned, found: Suggestion) -> str:
    if not found.known or found.weld is None:
        return "no table speaks of this joint on this machine: nothing stands beside the model's figure"
    table = found.weld
    span = f"{seconds(table.low)} to {seconds(table.high)}"
    low, high = model.between_s
    if low <= table.high and table.low <= high:
        inside = "lies in" if table.low <= model.time_s <= table.high else "agrees, within its error, with"
        return f"the model's time {inside} the tables' range, {span}"
    longer = "longer" if low > table.high else "shorter"
    return f"the model's time is {longer} than the tables' range, {span}, by more than its error: go by what breaks"


def seconds(value: float) -> str:
    """A time with two figures, or that it never comes."""
    if math.isinf(value):
        return "never"
    return f"{value:.2g} s" if value < 10 else f"{value:.0f} s"


@contextmanager
def in_one_message(where: Path | str, welder_path: Path | None) -> Iterator[None]:
    """What the model refuses, as a message about a file: an InputError in the place of its own errors."""
    try:
        yield
    except Wrong as wrong:
        raise InputError(where, wrong.key, wrong.given, str(wrong)) from None
    except NoCurrentKnown as error:
        allowed = "missing; allowed: this or transformer.taps, from which the secondary current follows"
        raise InputError(welder_path or Path(WELDER_FILE), str(error), None, allowed) from None
    except WorkerLost:
        allowed = "allowed: once more, with less else running where the memory is short"
        raise InputError(where, "a process that computed welds was ended from outside", None, allowed) from None
    except Diverged as error:
        raise InputError(where, "the joint's model", None, f"{error}; no figure is given") from None
