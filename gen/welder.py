"""The machine: what its owner can know of it, from the plate, a clamp meter and the parts list."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from gen.user_files import FileModel, Time, read_toml, validated
from gen.units import Duration, parse_duration

WELDER_FILE = "welder.toml"

# EN 50160: 50 Hz, -6 % to +4 % always in an interconnected system. The band the board accepts is that and a little above.
FREQUENCY_BAND = (0.94, 1.05)


def _typical(text: str) -> Duration:
    return parse_duration(text)


class Mains(FileModel):
    voltage_V: float = Field(ge=90, le=480)
    frequency_Hz: Literal[50, 60]


class Transformer(FileModel):
    """Rating plate and primary side. A rating counts only with the duty it is for."""

    rating_kVA: float = Field(gt=0, le=500)
    rating_duty_percent: float = Field(gt=0, le=100)
    working_current_A: float = Field(gt=0, le=2000)
    load_angle_min_deg: float = Field(default=40, ge=0, le=80)
    load_angle_max_deg: float = Field(default=65, ge=0, le=80)
    open_current_A: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.rating_duty_percent < 10:
            raise ValueError(
                f"rating_duty_percent {self.rating_duty_percent:g}: a power for a few per cent of duty is a peak or "
                "short-circuit figure and no rating; allowed: the permanent or 50 % power from the plate, with its duty (10 to 100)"
            )
        if self.load_angle_max_deg < self.load_angle_min_deg:
            raise ValueError(
                f"load_angle_max_deg {self.load_angle_max_deg:g} is below load_angle_min_deg {self.load_angle_min_deg:g}; "
                "allowed: a range from least to greatest"
            )
        if self.open_current_A is not None and self.open_current_A >= self.working_current_A:
            raise ValueError(
                f"open_current_A {self.open_current_A:g} is not below working_current_A {self.working_current_A:g}; "
                "allowed: the primary current with the electrodes open, a few per cent of the working current"
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
        if self.holding_current_A > self.latching_current_A:
            raise ValueError(
                f"holding_current_A {self.holding_current_A:g} is above latching_current_A {self.latching_current_A:g}; "
                "allowed: a holding current no greater than the latching current"
            )
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
            raise ValueError(
                f"offset_rise_us {self.offset_rise_us} and offset_fall_us {self.offset_fall_us} differ, but a pulse "
                "detector does not tell the crossings apart; allowed: the same value for both"
            )
        return self


class Force(FileModel):
    """Who presses the electrodes together: with `hand` and `foot_lever` letting go is letting go of the weld."""

    source: Literal["hand", "foot_lever", "air"]
    force_switch: bool = False


class Limits(FileModel):
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
        missing = []
        for table_name, table in self:
            for key in type(table).model_fields:
                if key not in table.model_fields_set:
                    missing.append(f"{table_name}.{key} = {getattr(table, key)}")
        return missing


def read_welder(path: Path) -> Welder:
    """The welder file at `path`. Raises InputError."""
    return validated(Welder, read_toml(path), path)
