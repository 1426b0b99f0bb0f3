"""A schedule file with another weld time and percent, everything else of it as it was: comments, order, line ends."""

from __future__ import annotations

from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from gen.errors import InputError
from gen.schedule import Schedule, Weld, schedule_from
from gen.trials.values import Setting
from gen.user_files import Written


def weld_phase(schedule: Schedule, source: Path) -> tuple[int, Weld]:
    """The place of the only weld phase, and the phase. Raises InputError where there is none or more than one."""
    found = [(n, phase) for n, phase in enumerate(schedule.phases) if isinstance(phase, Weld)]
    if len(found) != 1:
        allowed = "allowed for a trial: one, whose time and percent are varied; impulses before it are pulse phases"
        raise InputError(source, "weld phases", Written(len(found)), allowed)
    return found[0]


def setting_of(schedule: Schedule, half_cycles: int, source: Path) -> Setting:
    """The setting that a schedule is, with so many half-cycles in its weld phase. Raises InputError."""
    return Setting(half_cycles / (2 * schedule.frequency_Hz), weld_phase(schedule, source)[1].current_percent)


def rewritten(text: str, setting: Setting, source: Path) -> str:
    """The file `text` with its weld phase at `setting`, in whole cycles of its mains. Raises InputError."""
    schedule = schedule_from(text, source)
    place, phase = weld_phase(schedule, source)
    try:
        document = tomlkit.parse(text)
        table = document["phase"][place]
        cycles = round(setting.time_s * schedule.frequency_Hz)
        table["weld"] = f"{cycles} cycle{'' if cycles == 1 else 's'}"
        if setting.percent != phase.current_percent:
            whole = setting.percent == int(setting.percent)
            table["current_percent"] = int(setting.percent) if whole else setting.percent
        return tomlkit.dumps(document)
    except TOMLKitError as error:
        raise InputError(source, "not readable as TOML 1.0", None, f"{error}; allowed: a plainer file") from None
