"""A schedule file rewritten with another weld time and percent. Comments, order and line ends stay unchanged.

The weld time of a trial is the sum over all impulses of the weld: the weld phase and, in pulsation, the pulses of the same
strength and about the same length. A pulse that only beds the work in is not one of them, and is unchanged.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from gen.errors import InputError
from gen.schedule import Pulse, Schedule, Weld, schedule_from
from gen.trials.values import Setting
from gen.units import Duration, nearest_even
from gen.user_files import Written

LEAST_SHARE = 0.5  # length over the weld phase; a shorter pulse only beds the work in


def weld_phase(schedule: Schedule, source: Path) -> tuple[int, Weld]:
    """Index of the only weld phase, and the phase. Raises InputError where there is none or more than one."""
    found = [(n, phase) for n, phase in enumerate(schedule.phases) if isinstance(phase, Weld)]
    if len(found) != 1:
        allowed = "allowed for a trial: one, whose time and percent are varied; impulses before it are pulse phases"
        raise InputError(source, "weld phases", Written(len(found)), allowed)
    return found[0]


def impulses(schedule: Schedule, source: Path) -> int:
    """The number of impulses of the weld, 1 without pulsation. Raises InputError as `weld_phase` does."""
    return 1 + sum(pulse.repeat for _, pulse in _pulsation(schedule, source))


def setting_of(schedule: Schedule, source: Path) -> Setting:
    """The setting of a schedule. Raises InputError as `weld_phase` does."""
    f = schedule.frequency_Hz
    weld = weld_phase(schedule, source)[1]
    pulses = sum(_half_cycles(pulse.pulse, f) * pulse.repeat for _, pulse in _pulsation(schedule, source))
    return Setting((_half_cycles(weld.weld, f) + pulses) / (2 * f), weld.current_percent)


def rewritten(text: str, setting: Setting, source: Path) -> str:
    """The file `text` with its weld at `setting`, in whole cycles of its mains, divided among its impulses.

    The last impulse takes the remainder. Raises InputError, also for fewer cycles than impulses.
    """
    schedule = schedule_from(text, source)
    count = impulses(schedule, source)
    cycles = round(setting.time_s * schedule.frequency_Hz)
    each = cycles // count
    if each == 0:
        allowed = f"allowed: at least {count} cycles, one for each impulse"
        raise InputError(source, "weld time", Written(f"{cycles} cycles"), allowed)
    place, weld = weld_phase(schedule, source)
    times = {place: cycles - each * (count - 1)} | {at: each for at, _ in _pulsation(schedule, source)}
    kinds = tuple((at, "weld" if at == place else "pulse") for at in times)
    try:
        mark, marked = _marked(text, kinds, setting.percent != weld.current_percent)
    except TOMLKitError as error:
        raise InputError(source, "not readable as TOML 1.0", None, f"{error}; allowed: a plainer file") from None
    for at, length in times.items():
        marked = marked.replace(f"{mark}{at}.", f"{length} cycle{'' if length == 1 else 's'}")
    whole = setting.percent == int(setting.percent)
    return marked.replace(f'"{mark}"', str(int(setting.percent) if whole else setting.percent))


@lru_cache(maxsize=16)
def _marked(text: str, kinds: tuple[tuple[int, str], ...], percent: bool) -> tuple[str, str]:
    """A mark that is not in `text`, and the text with marks for the values of these keys: a search asks for hundreds.

    A length is the mark, the index of its phase and a point; a percent is the mark as a string.
    """
    mark = "\ue000"
    while mark in text:
        mark += "\ue000"
    document = tomlkit.parse(text)
    for at, kind in kinds:
        table = document["phase"][at]
        table[kind] = f"{mark}{at}."
        if percent:
            table["current_percent"] = mark
    return mark, tomlkit.dumps(document)


def _pulsation(schedule: Schedule, source: Path) -> list[tuple[int, Pulse]]:
    """The earlier impulses of the weld, with their indices."""
    _, weld = weld_phase(schedule, source)
    f = schedule.frequency_Hz
    return [
        (n, phase)
        for n, phase in enumerate(schedule.phases)
        if isinstance(phase, Pulse)
        and phase.current_percent == weld.current_percent
        and _half_cycles(phase.pulse, f) >= LEAST_SHARE * _half_cycles(weld.weld, f)
    ]


def _half_cycles(time: Duration, frequency_Hz: int) -> int:
    return nearest_even(time.half_cycles(frequency_Hz)).half_cycles
