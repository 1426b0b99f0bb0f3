"""A first schedule for a joint on one machine: its current and electrodes go to the tables, and what comes back is compiled."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from gen.boards import boards
from gen.current import full_current
from gen.errors import InputError
from gen.handbook.advice import suggest
from gen.handbook.suggestion import Suggestion
from gen.joint import Joint
from gen.machine import Welder
from gen.schedule import schedule_from
from gen.timing import compile_schedule
from gen.user_files import written


def suggest_on(joint: Joint, welder: Welder) -> Suggestion | None:
    """A first schedule for `joint` on this machine; None where the machine's secondary current is not known."""
    tap = welder.machine.in_use
    if tap.working_secondary is None:
        return None
    current = full_current(tap, tap.working_secondary)
    return suggest(with_electrodes(joint, welder), current, welder.mains.frequency_Hz)


def naming_taps(found: Suggestion, welder: Welder) -> Suggestion:
    """The same; where nothing is known, the machine's taps on which something is come first in what would help."""
    taps = [] if found.known else _taps_that_help(found.joint, welder)
    if not taps:
        return found
    return replace(found, helps=(f"tap {' or '.join(taps)}, of which something is known", *found.helps))


def with_electrodes(joint: Joint, welder: Welder) -> Joint:
    """The joint with the welder file's face or groove, where the joint names neither."""
    e = welder.electrodes
    if e is None or joint.face_diameter_mm is not None or joint.groove_radius_mm is not None:
        return joint
    groove = e.groove_radius_mm if joint.rods_mm else None
    return joint.model_copy(update={"face_diameter_mm": e.face_diameter_mm, "groove_radius_mm": groove})


def _taps_that_help(joint: Joint, welder: Welder) -> list[str]:
    """The other taps of this machine on which the tables reach the joint."""
    return [
        str(written(tap.name))
        for tap in welder.machine.taps
        if tap.working_secondary
        and suggest(joint, full_current(tap, tap.working_secondary), welder.mains.frequency_Hz).known
    ]


def refusal(found: Suggestion, welder: Welder, name: str = "suggestion.toml") -> str:
    """Why this machine would not take the schedule as a file of this name; empty where it does.

    Raises InputError for a name that cannot be a schedule's.
    """
    path = Path(name)
    schedule = schedule_from(found.schedule_text(), path)
    try:
        compile_schedule(schedule, welder, boards()[welder.board.name], path)
    except InputError as error:
        return str(error)
    return ""
