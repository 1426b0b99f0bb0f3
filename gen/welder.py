"""The machine: what its owner can know of it, from the plate, a clamp meter and the parts list."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from gen.units import Duration, parse_duration
from gen.user_files import FileModel, Time, Wrong, figure, read_toml, validated, written

WELDER_FILE = "welder.toml"

# EN 50160: 50 Hz, -6 % to +4 % always in an interconnected system. The band the board accepts is that and a little above.
FREQUENCY_BAND = (0.94, 1.05)

LONGEST_LIMIT_S = 60


def _in_order(table: FileModel, low: str, high: str) -> None:
    """Raise where `low` is above `high`, blaming the one that the file gives."""
    if getattr(table, low) > getattr(table, high):
        if high in table.model_fields_set:
            raise Wrong(high, figure(getattr(table, high)), f"allowed: {_named(table, low)} or more")
        raise Wrong(low, figure(getattr(table, low)), f"allowed: {_named(table, high)} or less")


def _named(table: FileModel, key: str) -> str:
    """A key with its value, and whether the file gives it."""
    left_out = "" if key in table.model_fields_set else ", where it is left out"
    return f"{key} ({getattr(table, key):g}{left_out})"


def _typical(text: str) -> Duration:
    return parse_duration(text)


class Mains(FileModel):
    voltage_V: float = Field(ge=90, le=480)
    frequency_Hz: Literal[50, 60]


class Transformer(FileModel):
    """Rating plate and primary side. A rating counts only with the duty it is for."""

    rating_kVA: float = Field(gt=0, le=500)
    rating_duty_percent: float = Field(
        ge=10,
        le=100,
        description="10 to 100, the duty that the plate's permanent or 50 % power is for (a power for a few per cent "
        "of duty is a peak or short-circuit figure and no rating)",
    )
    working_current_A: float = Field(gt=0, le=2000)
    load_angle_min_deg: float = Field(default=40, ge=0, le=80)
    load_angle_max_deg: float = Field(default=65, ge=0, le=80)
    open_current_A: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        _in_order(self, "load_angle_min_deg", "load_angle_max_deg")
        if self.open_current_A is not None and self.open_current_A >= self.working_current_A:
            raise Wrong(
                "open_current_A",
                figure(self.open_current_A),
                f"allowed: less than working_current_A ({self.working_current_A:g}); with the electrodes open "
                "a few per cent of it flow",
            )
        return self

    @property
    def idle_current_A(self) -> float:
        """Primary current with open electrodes; typically 4 % of the working current (common practice, no source)."""
        return self.open_current_A if self.open_current_A is not None else 0.04 * self.working_current_A


class Switch(FileModel):
    kind: Literal["scr_pair", "triac", "random_phase_relay", "zero_cross_relay"] = "scr_pair"
    latching_current_A: float = Field(default=0.2, gt=0, le=5)
    holding_current_A: float = Field(default=0.1, gt=0, le=5)
    turn_on_delay_us: float = Field(default=10, ge=0, le=1000)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        _in_order(self, "holding_current_A", "latching_current_A")
        return self

    @property
    def fires_at_any_phase(self) -> bool:
        return self.kind != "zero_cross_relay"


class Detector(FileModel):
    """Zero-crossing detector. Offsets: its edge minus the true crossing, positive when the edge comes late."""

    kind: Literal["square", "pulse"] = "square"
    offset_rise_us: int = Field(default=300, ge=-1500, le=1500)
    offset_fall_us: int = Field(default=300, ge=-1500, le=1500)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.kind == "pulse" and self.offset_rise_us != self.offset_fall_us:
            key, other = "offset_fall_us", "offset_rise_us"
            if key not in self.model_fields_set:
                key, other = other, key
            raise Wrong(
                key,
                getattr(self, key),
                f"allowed: the same as {_named(self, other)}, since a pulse detector does not tell the crossings apart",
            )
        return self


class Force(FileModel):
    """Who presses the electrodes together: with `hand` and `foot_lever` letting go is letting go of the weld."""

    source: Literal["hand", "foot_lever", "air"]
    force_switch: bool = False


class Limits(FileModel):
    """What no schedule may pass. Longest weld: all current of one weld together."""

    longest_weld: Time = Field(default_factory=lambda: _typical("3 s"))
    least_cool: Time = Field(default_factory=lambda: _typical("2 cycles"))
    first_delay_deg: float = Field(default=87, ge=60, le=120)


class BoardChoice(FileModel):
    name: str
    conduction_sense: bool = False


class Welder(FileModel):
    """Everything in `welder.toml`. Keys left out take a typical value; `assumed` names them."""

    mains: Mains
    transformer: Transformer
    switch: Switch = Switch()
    detector: Detector = Detector()
    force: Force
    limits: Limits = Field(default_factory=Limits)
    board: BoardChoice

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for key in ("longest_weld", "least_cool"):
            given: Duration = getattr(self.limits, key)
            if given.half_cycles(self.mains.frequency_Hz) > 2 * self.mains.frequency_Hz * LONGEST_LIMIT_S:
                raise Wrong(f"limits.{key}", str(given), f"allowed: at most {LONGEST_LIMIT_S} s")
        return self

    @property
    def half_period_us(self) -> int:
        """Nominal length of a half-cycle, whole microseconds."""
        return round(500_000 / self.mains.frequency_Hz)

    @property
    def rated_current_A(self) -> float:
        """Primary current of the rating plate."""
        return self.transformer.rating_kVA * 1000 / self.mains.voltage_V

    @property
    def allowed_duty(self) -> float:
        """Duty (0 to 1) at the working current that heats like the rating: I1^2 d1 = I2^2 d2 (RWMA practice, from memory)."""
        t = self.transformer
        return min(1.0, t.rating_duty_percent / 100 * (self.rated_current_A / t.working_current_A) ** 2)

    def assumed(self) -> list[str]:
        """Keys that the file leaves out, each with the typical value taken instead."""
        t = self.transformer
        instead = {"open_current_A": f"{t.idle_current_A:.3g} (4 % of the working current)"}
        return [
            f"{table_name}.{key} = {instead.get(key) or _shown(getattr(table, key))}"
            for table_name, table in self
            for key in type(table).model_fields
            if key not in table.model_fields_set
        ]


def _shown(value: object) -> str:
    return str(written(str(value) if isinstance(value, Duration) else value))


def read_welder(path: Path) -> Welder:
    """The welder file at `path`. Raises InputError."""
    return validated(Welder, read_toml(path), path)
