"""A first schedule for a joint on one machine: suggested for its current and electrodes, and compiled for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from gen.boards import boards
from gen.current import full_current
from gen.errors import InputError
from gen.handbook.advice import suggest
from gen.handbook.practice import HIGHER_TAP, LOWER_TAP
from gen.handbook.suggestion import Suggestion
from gen.joint import Joint
from gen.machine import Welder
from gen.quantities import METRIC, Measures
from gen.schedule import schedule_from
from gen.timing import compile_schedule
from gen.user_files import written


def suggest_on(joint: Joint, welder: Welder, measures: Measures = METRIC) -> Suggestion | None:
    """A first schedule for `joint` on this machine; None where the machine's secondary current is not known.

    `measures` change the texts, also the notes in the schedule file.
    """
    tap = welder.machine.in_use
    if tap.working_secondary is None:
        return None
    current = full_current(tap, tap.working_secondary)
    found = suggest(with_electrodes(joint, welder), current, welder.mains.frequency_Hz, measures)
    volts = welder.transformer.tap_volts
    ends = {HIGHER_TAP: max(volts.values()), LOWER_TAP: min(volts.values())}  # where there is no such tap
    return replace(found, helps=tuple(way for way in found.helps if volts[tap.name] != ends.get(way)))


def table_force_N(joint: Joint, welder: Welder) -> float | None:
    """The middle of the force in the first table that has one for this joint; None where none has."""
    found = suggest_on(joint, welder)
    forces = [figure.middle for name, figure in found.figures if name == "force"] if found else []
    return forces[0] if forces else None


def naming_taps(found: Suggestion, welder: Welder) -> Suggestion:
    """The same suggestion. If nothing is known, taps on which the tables have figures come first in `helps`."""
    taps = [] if found.known else _taps_that_help(found.joint, welder)
    if not taps:
        return found
    return replace(found, helps=(f"tap {' or '.join(taps)}, for which the tables have figures", *found.helps))


def with_electrodes(joint: Joint, welder: Welder) -> Joint:
    """The joint with the welder file's face or groove, if it names neither itself."""
    e = welder.electrodes
    if e is None or joint.face_diameter_mm is not None or joint.groove_radius_mm is not None:
        return joint
    faces = [electrode.face_diameter_mm for electrode in e.pair if electrode.face_diameter_mm is not None]
    found: dict[str, Any] = {"face_diameter_mm": min(faces, default=None)}
    grooves = [electrode.groove_radius_mm for electrode in e.pair]
    if joint.rods_mm and joint.flat_width_mm is not None and any(grooves):
        rod, bar = sorted(grooves, key=lambda radius_mm: radius_mm is None)
        found = {"groove_radius_mm": (rod, bar)}  # the flat face on the flat bar
    elif joint.rods_mm and any(grooves):
        found = {"groove_radius_mm": _along_rods(joint.rods_mm, grooves[0], grooves[1])}
    return joint.model_copy(update=found)


def _along_rods(
    rods_mm: tuple[float, float], upper_mm: float | None, lower_mm: float | None
) -> float | tuple[float | None, float | None] | None:
    """The grooves in the joint's order: the narrower along the thinner rod. A single groove stays on its electrode."""
    if upper_mm == lower_mm:
        return upper_mm
    swapped = upper_mm is not None and lower_mm is not None and (upper_mm < lower_mm) != (rods_mm[0] < rods_mm[1])
    return (lower_mm, upper_mm) if swapped else (upper_mm, lower_mm)


def _taps_that_help(joint: Joint, welder: Welder) -> list[str]:
    """The other taps of this machine on which the tables reach the joint."""
    return [
        str(written(tap.name))
        for tap in welder.machine.taps
        if tap.working_secondary
        and suggest(joint, full_current(tap, tap.working_secondary), welder.mains.frequency_Hz).known
    ]


def refusal(found: Suggestion, welder: Welder, name: str = "suggestion.toml") -> str:
    """Why the schedule does not compile for this machine as a file of this name; "" if it does.

    Raises InputError for a name that a schedule cannot have.
    """
    path = Path(name)
    schedule = schedule_from(found.schedule_text(), path)
    try:
        compile_schedule(schedule, welder, boards()[welder.board.name], path)
    except InputError as error:
        return str(error)
    return ""
