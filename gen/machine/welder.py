"""The welder file: what its owner can know of the machine from the plate, a clamp meter and the parts list."""

from __future__ import annotations

import math
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any, Self

from pydantic import ModelWrapValidatorHandler, PrivateAttr, model_validator

from gen.errors import InputError
from gen.machine.derived import Machine, derive, load_angles, source_given, working_given
from gen.machine.tables import Electrodes, Transformer, WelderTables
from gen.units import Duration
from gen.user_files import FileModel, Wrong, figure, parsed_toml, read_text, validated, written
from gen.words import CONTACTOR_HELD_MS

WELDER_FILE = "welder.toml"
TYPICAL_MARK = "typical"  # begins the comment after a value until it is read on the machine

# EN 50160: 50 Hz, -6 % to +4 % always in an interconnected system. The board accepts that and a little above.
FREQUENCY_BAND = (0.94, 1.05)

LONGEST_LIMIT_S = 60
_STEEPEST_DEG = 80  # greatest load angle in the welder file


class Welder(WelderTables):
    """Everything in `welder.toml`. Keys left out take a typical value; `assumed` names them.

    In `transformer` the working current and the load angles are those of the tap in use, even if read on another tap or
    derived from other readings.
    """

    _machine: Machine = PrivateAttr()

    @property
    def machine(self) -> Machine:
        """The machine derived from the file, each figure with its range and source."""
        return self._machine

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for key in ("longest_weld", "least_cool"):
            given: Duration = getattr(self.limits, key)
            if given.half_cycles(self.mains.frequency_Hz) > 2 * self.mains.frequency_Hz * LONGEST_LIMIT_S:
                raise Wrong(f"limits.{key}", str(given), f"allowed: at most {LONGEST_LIMIT_S} s")
        mains_V, t = self.mains.voltage_V, self.transformer
        volts = {"open_secondary_V": t.open_secondary_V} | {f"taps.{tap}": volt for tap, volt in (t.taps or {}).items()}
        for key, volt in volts.items():
            if volt is not None and volt >= mains_V:
                allowed = f"allowed: less than mains.voltage_V ({mains_V:g}); a welding transformer steps down"
                raise Wrong(f"transformer.{key}", figure(volt), allowed)
        if self.electrodes is not None:
            self.check_fits(self.electrodes)
        sense = self.current_sense
        if sense is not None and sense.end_at_expulsion and not self.board.conduction_sense:
            raise Wrong("current_sense.end_at_expulsion", True, "allowed: only with board.conduction_sense = true")
        if self.shorted_loop is not None:
            self._tap_of_loop(self.shorted_loop.tap)
        if self.correct is not None:
            self._may_correct()
        if "contactor" in self.model_fields_set and not self.protection.contactor:
            raise Wrong("contactor", None, "there is none; allowed: this table with protection.contactor = true")
        return self

    def _tap_of_loop(self, tap: str | None) -> None:
        """Raise Wrong where the loop was measured on no tap of this transformer."""
        names = tuple(self.transformer.taps or ())
        if tap is None and len(names) < 2:
            return
        if tap not in names:
            shown = ", ".join(str(written(name)) for name in names)
            allowed = (
                f"allowed: {shown}, the names in transformer.taps"
                if names
                else "there are no taps; allowed: no such key"
            )
            given = ("missing; ", None) if tap is None else ("", written(tap))
            raise Wrong("shorted_loop.tap", given[1], f"{given[0]}{allowed}")

    def _may_correct(self) -> None:
        """Raise Wrong where the planned current is not known, cannot be measured, or cannot be set."""
        t = self.transformer
        wants = (
            (self.current_sense is not None, "with a current transformer ([current_sense])"),
            (self.switch.fires_at_any_phase, "with a switch that can set the current, not a zero-cross relay"),
            (
                working_given(t),
                "with transformer.working_current_A read on the machine; else the planned current is a guess",
            ),
            (t.tap == t.working_read_on or not t.taps, "on the tap of transformer.working_current_A (working_tap)"),
        )
        for given, allowed in wants:
            if not given:
                raise Wrong("correct", None, f"the planned current cannot be held; allowed: only {allowed}")

    @model_validator(mode="wrap")
    @classmethod
    def _derived(cls, content: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        tables = handler(content)
        machine = derive(tables)
        welder = tables.model_copy(update={"transformer": _completed(tables.transformer, machine)})
        welder._machine = machine
        return welder

    def at(self, machine: Machine, **tables: FileModel) -> Self:
        """This welder with `machine`, one of those that the file allows, and with other `tables`. Nothing is checked."""
        t = tables.get("transformer", self.transformer)
        angle = machine.in_use.load_angle
        settled = {
            "working_current_A": machine.in_use.working_primary.middle,
            "load_angle_min_deg": angle.low,
            "load_angle_max_deg": min(angle.high, _STEEPEST_DEG),
        }
        welder = self.model_copy(update=tables | {"transformer": t.model_copy(update=settled)})
        welder._machine = machine
        return welder

    def check_fits(self, electrodes: Electrodes, table: str = "electrodes.") -> None:
        """Raise Wrong if both electrodes are longer than the gap between the arms. `table` is put before the key."""
        upper, lower = (electrode.length_mm for electrode in electrodes.pair)
        if self.arms is None or upper + lower <= self.arms.throat_mm:
            return
        gap_mm = self.arms.throat_mm
        if upper == lower:
            gap = f"half of arms.throat_mm ({gap_mm:g}), since two of them meet in it"
            raise Wrong(f"{table}length_mm", figure(upper), f"allowed: at most {gap_mm / 2:g}, {gap}")
        name, longer = ("upper", upper) if upper > lower else ("lower", lower)
        key = f"{table}{name}.length_mm" if getattr(electrodes, name) is not None else f"{table}length_mm"
        left = f"allowed: at most {gap_mm - min(upper, lower):g}, what the other leaves of arms.throat_mm ({gap_mm:g})"
        raise Wrong(key, figure(longer), left)

    @property
    def half_period_us(self) -> int:
        """Nominal length of a half-cycle, whole microseconds."""
        return round(500_000 / self.mains.frequency_Hz)

    @property
    def contactor_closes_ms(self) -> float:
        """From the pedal to contacts that have closed and stopped bouncing; 0 without a contactor."""
        return self.contactor.closes_ms + self.contactor.bounce_ms if self.protection.contactor else 0.0

    @property
    def contactor_opens_ms(self) -> float:
        """From the last edge of the board's pulse train to open contacts; 0 without a contactor."""
        return CONTACTOR_HELD_MS + self.contactor.open_after_ms if self.protection.contactor else 0.0

    @property
    def least_squeeze_ms(self) -> float:
        """The least from the pedal to the first current: the force must be there, and the contactor closed."""
        return max(self.force.there_after_ms, self.contactor_closes_ms)

    @property
    def least_squeeze_half_cycles(self) -> int:
        """The least squeeze, rounded up to half-cycles. Compiler and board require it."""
        return math.ceil(self.least_squeeze_ms / Fraction(500, self.mains.frequency_Hz))

    @property
    def rated_current_A(self) -> float:
        """Primary current of the rating plate."""
        return self.transformer.rating_kVA * 1000 / self.mains.voltage_V

    @property
    def flux_decay_s(self) -> float:
        """Time constant of the flux's decay through the closed secondary: magnetising inductance over load resistance.

        From the open-electrode current and the middle of the load-angle range: a first-order estimate.
        """
        t, m = self.transformer, self.mains
        magnetising_H = m.voltage_V / t.idle_current_A / (2 * math.pi * m.frequency_Hz)
        angle = math.radians((t.load_angle_min_deg + t.load_angle_max_deg) / 2)
        return magnetising_H / (m.voltage_V / t.working_current_A * math.cos(angle))

    @property
    def allowed_duty(self) -> float:
        """Duty (0 to 1) at the working current that heats as much as the rating: I1^2 d1 = I2^2 d2 (RWMA, from memory)."""
        t = self.transformer
        return min(1.0, t.rating_duty_percent / 100 * (self.rated_current_A / t.working_current_A) ** 2)

    def wanted(self) -> list[str]:
        """The keys to give next, and the figures that would then be known or narrower."""
        t = self.transformer
        found = []
        if not t.tap_volts:
            found.append(
                "Secondary currents are not known: give transformer.open_secondary_V, or transformer.taps and tap."
            )
        if t.shorted_current_A is None and not working_given(t):
            found.append(
                "No current was read: one typical of the rating is taken, and judged at its upper end. Read the primary "
                "current with the electrodes on the work, and give it as transformer.working_current_A."
            )
        if t.shorted_current_A is None:
            found.append(
                "Narrower figures: read the primary current with the electrodes shorted, and give it as "
                "transformer.shorted_current_A."
            )
        return found

    def assumed(self) -> list[str]:
        """Keys that the file leaves out, each with the typical value taken instead. Keys without one are not listed."""
        t, machine = self.transformer, self.machine
        by_mass = t.mass_kg is not None and machine.loop_resistance is not None
        instead = {
            "open_current_A": f"{t.idle_current_A:.3g} (4 % of the working current)",
            "winding_time_constant_min": "from mass_kg"
            if by_mass
            else "10 to 30, each end judged where it is the worse",
        }
        if not source_given(self.mains):
            low_X, high_X = (
                1e3 * x / (2 * math.pi * self.mains.frequency_Hz)
                for x in (machine.source_reactance.low, machine.source_reactance.high)
            )
            low_R, high_R = machine.source_resistance.low, machine.source_resistance.high
            instead["source_resistance_ohm"] = f"{low_R:.2g} to {high_R:.2g}"
            instead["source_inductance_mH"] = f"{low_X:.2g} to {high_X:.2g}"
        instead["opens_ms"] = f"{self.contactor.open_after_ms:g} (of {self.contactor.suppression})"
        instead["builds_up_ms"] = f"{self.force.there_after_ms:g} (of {self.force.source})"
        follows = "from shorted_current_A"
        if t.shorted_current_A is None:
            follows = "the most that is typical of the rating"
        if not working_given(t):
            instead["working_current_A"] = f"{t.working_current_A:g} ({follows})"
        if t.shorted_current_A is not None:
            for key in ("load_angle_min_deg", "load_angle_max_deg"):
                instead[key] = f"{getattr(t, key):g} ({follows})"
        return [
            f"{table_name}.{key} = {instead.get(key) or _shown(getattr(table, key))}"
            for table_name, table in self
            if table is not None
            for key in type(table).model_fields
            if table_name != "contactor" or self.protection.contactor
            if key not in table.model_fields_set and (key in instead or getattr(table, key) is not None)
        ]


def _completed(t: Transformer, machine: Machine) -> Transformer:
    """The transformer on the tap in use, with derived figures where none was read. `model_fields_set` stays the file's.

    A working current that was not read is the upper end of its range, because it serves to judge heating.
    """
    values = dict(t)
    working, angle = machine.in_use.working_primary, machine.in_use.load_angle
    read_here = machine.in_use.name == t.working_read_on
    if not (working_given(t) and read_here):
        values["working_current_A"] = round(working.high, 1)
        if t.open_current_A is not None and t.open_current_A >= working.high:
            allowed = f"allowed: less than the working current that follows from the other readings ({working.text})"
            raise Wrong("transformer.open_current_A", figure(t.open_current_A), allowed)
    _, _, typical = load_angles(t)
    if not read_here or (typical and t.shorted_current_A is not None):
        values["load_angle_min_deg"] = round(angle.low, 1)
        values["load_angle_max_deg"] = round(min(angle.high, _STEEPEST_DEG), 1)
    return Transformer.model_construct(_fields_set=set(t.model_fields_set), **values)


def _shown(value: object) -> str:
    return str(written(str(value) if isinstance(value, Duration) else value))


def welder_from(text: str, path: Path) -> Welder:
    """The welder file of this text, which is to stand at `path`. Raises InputError."""
    return validated(Welder, parsed_toml(text, path), path)


def read_welder(path: Path) -> Welder:
    """The welder file at `path`. Raises InputError."""
    return _as_read(read_text(path), path)


@lru_cache(maxsize=8)  # each command reads it more than once, and what follows from it takes a while
def _as_read(text: str, path: Path) -> Welder:
    content = parsed_toml(text, path if path.name else str(path))
    if "phase" in content and "mains" not in content:
        raise InputError(
            path, "this is a schedule", None, "allowed here: a welder file, with [mains], [transformer] and so on"
        )
    return validated(Welder, content, path)
