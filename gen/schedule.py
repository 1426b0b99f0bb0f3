"""The schedule as the user writes it: squeeze, pulse, weld, cool, hold and off, in the order they run."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from gen.errors import InputError
from gen.user_files import FileModel, Time, read_toml, validated

SLOPE_END_PERCENT = 40.0  # below this, change the tap instead (common practice, no source)


class Squeeze(FileModel):
    """Force without current, so that the work is held before it is heated."""

    squeeze: Time


class Pulse(FileModel):
    """A short impulse, `repeat` times, each followed by `cool`."""

    pulse: Time
    current_percent: float = Field(default=100, gt=0, le=100)
    repeat: int = Field(default=1, ge=1, le=20)
    cool: Time | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.repeat > 1 and self.cool is None:
            raise ValueError(
                f"repeat {self.repeat} without cool would be one long pulse; allowed: a cool time after each pulse"
            )
        return self


class Weld(FileModel):
    """The weld. Slopes are counted inside the weld time: current climbs from, and falls to, the given percentages."""

    weld: Time
    current_percent: float = Field(default=100, gt=0, le=100)
    upslope: Time | None = None
    upslope_from_percent: float = Field(default=SLOPE_END_PERCENT, gt=0, le=100)
    downslope: Time | None = None
    downslope_to_percent: float = Field(default=SLOPE_END_PERCENT, gt=0, le=100)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for slope, end_key, end in (
            (self.upslope, "upslope_from_percent", self.upslope_from_percent),
            (self.downslope, "downslope_to_percent", self.downslope_to_percent),
        ):
            if slope is not None and end >= self.current_percent:
                raise ValueError(
                    f"{end_key} {end:g} is not below current_percent {self.current_percent:g}; "
                    "allowed: a slope that starts or ends below the weld's own current"
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

# `cool` inside a pulse belongs to the pulse, so it is looked for last.
_KINDS: dict[str, type[Squeeze | Pulse | Weld | Cool | Hold | Off]] = {
    "squeeze": Squeeze,
    "pulse": Pulse,
    "weld": Weld,
    "hold": Hold,
    "off": Off,
    "cool": Cool,
}


class _Header(FileModel):
    frequency_Hz: Literal[50, 60]
    title: str = ""
    phase: list[Any] = Field(min_length=1, max_length=100)


class Schedule(FileModel):
    """A schedule with its name, which is the file's name without `.toml`."""

    name: str = Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,31}$")
    frequency_Hz: Literal[50, 60]
    title: str = ""
    phases: tuple[Phase, ...]


def read_schedule(path: Path) -> Schedule:
    """The schedule file at `path`. Raises InputError."""
    header = validated(_Header, read_toml(path), path)
    phases = tuple(_phase(number, content, path) for number, content in enumerate(header.phase, 1))
    _check_order(phases, path)
    try:
        return Schedule(name=path.stem, frequency_Hz=header.frequency_Hz, title=header.title, phases=phases)
    except ValueError:
        raise InputError(
            path, "file name", path.stem, "allowed: lower-case letters, digits, - and _, at most 32, before .toml"
        ) from None


def _phase(number: int, content: Any, path: Path) -> Phase:
    where = f"phase {number}"
    if not isinstance(content, dict):
        raise InputError(path, where, content, "allowed: a [[phase]] table")
    for key, kind in _KINDS.items():
        if key in content:
            return validated(kind, content, path, prefix=f"{where}: ")
    raise InputError(path, where, ", ".join(content) or "nothing", f"allowed: one of {', '.join(_KINDS)}, with its time")


def _check_order(phases: tuple[Phase, ...], path: Path) -> None:
    """Squeeze; then pulses, welds and the cool times between them; then hold; then off."""

    def wrong(number: int, why: str) -> InputError:
        return InputError(path, f"phase {number}", type(phases[number - 1]).__name__.lower(), why)

    if not isinstance(phases[0], Squeeze):
        raise wrong(1, "allowed first: squeeze, so that the force is there before the current")
    if not isinstance(phases[-1], Off):
        raise wrong(len(phases), "allowed last: off, after hold")
    if len(phases) < 2 or not isinstance(phases[-2], Hold):
        raise wrong(max(1, len(phases) - 1), "allowed before off: hold, so that the weld sets under force")
    middle = phases[1:-2]
    for number, phase in enumerate(middle, 2):
        if not isinstance(phase, (Pulse, Weld, Cool)):
            raise wrong(number, "allowed between squeeze and hold: pulse, weld and cool")
        if isinstance(phase, Cool):
            fired_before = number > 2 and isinstance(phases[number - 2], (Pulse, Weld))
            fired_after = isinstance(phases[number], (Pulse, Weld))
            if not (fired_before and fired_after):
                raise wrong(number, "allowed: cool between two phases that pass current")
    if not any(isinstance(phase, (Pulse, Weld)) for phase in middle):
        raise InputError(path, "phase", None, "no current anywhere; allowed: at least one pulse or weld")
