"""The user's schedule: squeeze, pulse, weld, cool, hold and off, in the order of running."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from gen.errors import InputError
from gen.user_files import LETTER, FileModel, Time, Written, Wrong, figure, parsed_toml, read_toml, validated, written
from gen.words import SHOT_NAME

SLOPE_END_PERCENT = 40.0  # below this, change the tap instead (common practice, no source)
LEAST_PERCENT = 1.0  # the least that can be timed


class Squeeze(FileModel):
    """Force without current, to hold the work before it is heated."""

    squeeze: Time


class Pulse(FileModel):
    """A short impulse, `repeat` times, each followed by `cool`."""

    pulse: Time
    current_percent: float = Field(default=100, ge=LEAST_PERCENT, le=100)
    repeat: int = Field(default=1, ge=1, le=20)
    cool: Time | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.repeat > 1 and self.cool is None:
            raise Wrong(
                "repeat",
                self.repeat,
                "without cool this would be one long pulse; allowed: 1, or a cool time after each pulse",
            )
        return self


class Weld(FileModel):
    """The weld. Slopes are inside the weld time: the current rises from, and falls to, the given percentages."""

    weld: Time
    current_percent: float = Field(default=100, ge=LEAST_PERCENT, le=100)
    upslope: Time | None = None
    upslope_from_percent: float = Field(default=SLOPE_END_PERCENT, ge=LEAST_PERCENT, le=100)
    downslope: Time | None = None
    downslope_to_percent: float = Field(default=SLOPE_END_PERCENT, ge=LEAST_PERCENT, le=100)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for slope_key, end_key in (("upslope", "upslope_from_percent"), ("downslope", "downslope_to_percent")):
            end = getattr(self, end_key)
            if getattr(self, slope_key) is None:
                if end_key in self.model_fields_set:
                    raise Wrong(end_key, figure(end), f"allowed: only with {slope_key}")
            elif end >= self.current_percent:
                if end_key in self.model_fields_set:
                    raise Wrong(end_key, figure(end), f"allowed: less than current_percent ({self.current_percent:g})")
                raise Wrong(
                    "current_percent",
                    figure(self.current_percent),
                    f"allowed with {slope_key}: more than {end_key}, which is {end:g} where it is left out",
                )
        return self


class Cool(FileModel):
    """A pause between impulses."""

    cool: Time


class Hold(FileModel):
    """Force after the current, while the weld sets."""

    hold: Time


class Off(FileModel):
    """Rest before the next weld may begin."""

    off: Time


Phase = Squeeze | Pulse | Weld | Cool | Hold | Off

# `cool` inside a pulse belongs to the pulse, so it comes after it.
_KINDS: dict[str, type[Squeeze | Pulse | Weld | Cool | Hold | Off]] = {
    "squeeze": Squeeze,
    "pulse": Pulse,
    "weld": Weld,
    "cool": Cool,
    "hold": Hold,
    "off": Off,
}


class _Header(FileModel):
    frequency_Hz: Literal[50, 60]
    title: str = Field(
        default="",
        max_length=100,
        pattern=f"^{LETTER}*$",
        description="a text in quotes, on one line, of at most 100 characters",
    )
    phase: list[Any] = Field(min_length=1, max_length=100, description="1 to 100 [[phase]] tables, in double brackets")


class Schedule(FileModel):
    """A schedule with its name, which is the file's name without `.toml`."""

    name: str = Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,31}$")
    frequency_Hz: Literal[50, 60]
    title: str = ""
    phases: tuple[Phase, ...]


_JOINT = ("rods_mm", "sheets_mm", "rods_in", "sheets_in")  # keys of a joint file


def read_schedule(path: Path) -> Schedule:
    """The schedule file at `path`. Raises InputError."""
    return _schedule(read_toml(path), path)


def schedule_from(text: str, path: Path) -> Schedule:
    """The schedule that a file at `path` with this text would be; nothing is read. Raises InputError."""
    return _schedule(parsed_toml(text, path), path)


def _schedule(content: dict[str, Any], path: Path) -> Schedule:
    for names, what in (("mains", "transformer"), "a welder file, which goes with --welder"), (_JOINT, "a joint file"):
        if "phase" not in content and any(name in content for name in names):
            raise InputError(
                path, f"this is {what}", None, "allowed here: a schedule, with a [[phase]] table for each phase"
            )
    header = validated(_Header, content, path)
    phases = tuple(_phase(number, content, path) for number, content in enumerate(header.phase, 1))
    _check_order(phases, path)
    if path.stem.startswith(SHOT_NAME):  # on the board such a weld is not watched for too little current
        allowed = f"allowed: a name that does not begin with {SHOT_NAME}, as those of the welds of a commissioning do"
        raise InputError(path, "file name", written(path.stem), allowed)
    try:
        return Schedule(name=path.stem, frequency_Hz=header.frequency_Hz, title=header.title, phases=phases)
    except ValueError:
        raise InputError(
            path,
            "file name",
            written(path.stem),
            "allowed: at most 32 of a to z, 0 to 9, - and _ before .toml, the first a letter or digit",
        ) from None


def _phase(number: int, content: Any, path: Path) -> Phase:
    where = f"phase {number}"
    one_of = f"one of {', '.join(_KINDS)}, with its time"
    if not isinstance(content, dict):
        raise InputError(path, where, written(content), "allowed: a [[phase]] table")
    kinds = [key for key in _KINDS if key in content]
    if not kinds:
        raise InputError(path, where, Written(", ".join(list(content)[:5]) or "nothing"), f"allowed: {one_of}")
    if kinds[1:] not in ([], ["cool"] if kinds[0] == "pulse" else []):
        given = Written(" and ".join(kinds))
        raise InputError(
            path, where, given, f"allowed: {one_of}, in a [[phase]] of its own (cool may stand with pulse)"
        )
    return validated(_KINDS[kinds[0]], content, path, prefix=f"{where}: ")


def _check_order(phases: tuple[Phase, ...], path: Path) -> None:
    """Squeeze; then pulses, welds and the cool times between them; then hold; then off."""

    def wrong(number: int, why: str) -> InputError:
        return InputError(path, f"phase {number}", Written(type(phases[number - 1]).__name__.lower()), why)

    if not isinstance(phases[0], Squeeze):
        raise wrong(1, "stands first; allowed: squeeze there, so that the force is there before the current")
    if not isinstance(phases[-1], Off):
        raise wrong(len(phases), "stands last; allowed: off there, after hold")
    if len(phases) < 2 or not isinstance(phases[-2], Hold):
        raise wrong(
            max(1, len(phases) - 1), "stands before off; allowed: hold there, so that the weld sets under force"
        )
    middle = phases[1:-2]
    for number, phase in enumerate(middle, 2):
        if not isinstance(phase, (Pulse, Weld, Cool)):
            raise wrong(number, "stands between squeeze and hold; allowed: pulse, weld and cool there")
        if isinstance(phase, Cool):
            fired_before = number > 2 and isinstance(phases[number - 2], (Pulse, Weld))
            fired_after = isinstance(phases[number], (Pulse, Weld))
            if not (fired_before and fired_after):
                raise wrong(number, "allowed: cool between two phases that pass current")
    if not any(isinstance(phase, (Pulse, Weld)) for phase in middle):
        raise InputError(path, "phase", None, "none of them passes current; allowed: at least one pulse or weld")
