"""The tables of the welder file, each with the checks that need no other table."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, PlainValidator, ValidationError, model_validator

from gen.units import Duration, parse_duration
from gen.user_files import LETTER, FileModel, Time, Written, Wrong, figure, written

# The bounds of each key admit every machine that this program is for, and exclude figures whose results would overflow or
# vanish (common practice, no source).
FOSTER_TERMS = 20
FOSTER = ((0.0001, 100.0), (0.00001, 10_000.0))  # least and most of a term: K/W, s

Alloy = Literal["Cu-ETP", "CuCr1", "CuCr1Zr"]  # no beryllium copper in a home shop


def in_order(table: FileModel, low: str, high: str) -> None:
    """Raise Wrong where `low` is above `high`, for the key that the file gives."""
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
    """The outlet. Its impedance is what an installation tester shows as line impedance, cable and all.

    `voltage_to_earth_V`: from a supply conductor to earth. `earth_conductor_m` and `_mm2`: length and section of the machine's
    protective conductor, from its plug to its frame.
    """

    voltage_V: float = Field(ge=90, le=480)
    voltage_to_earth_V: float | None = Field(default=None, ge=40, le=480)
    frequency_Hz: Literal[50, 60]
    earth_conductor_m: float | None = Field(default=None, ge=0.1, le=100)
    earth_conductor_mm2: float | None = Field(default=None, ge=0.5, le=150)
    source_resistance_ohm: float | None = Field(default=None, ge=1e-6, le=10)
    source_inductance_mH: float | None = Field(default=None, ge=1e-6, le=30)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.voltage_to_earth_V is not None and self.voltage_to_earth_V > self.voltage_V:
            allowed = f"allowed: at most voltage_V ({self.voltage_V:g}); no conductor has more to earth"
            raise Wrong("voltage_to_earth_V", figure(self.voltage_to_earth_V), allowed)
        return self


class Breaker(FileModel):
    """The circuit breaker before the outlet, as printed on it (C20: characteristic C, 20 A).

    Instantaneous: the band of a North American breaker (UL 489) from its maker's trip curve, RMS: up to the lower end it
    does not open at once, from the upper on it does. Panel: the air around it, warmer than the room where breakers stand
    side by side. Other load: what else its circuit feeds while the welder works.
    """

    standard: Literal["IEC 60898-1", "UL 489", "other"] = "IEC 60898-1"
    characteristic: Literal["B", "C", "D"] | None = None
    rating_A: float = Field(ge=0.1, le=125)
    instantaneous_from_A: float | None = Field(default=None, ge=1, le=5000)
    instantaneous_to_A: float | None = Field(default=None, ge=1, le=5000)
    panel_temperature_C: float = Field(default=40, ge=-20, le=70)
    other_load_A: float = Field(default=0, ge=0, le=125)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.standard == "IEC 60898-1" and self.characteristic is None:
            raise Wrong("characteristic", None, 'missing; allowed: "B", "C" or "D", the letter before the rating')
        if self.standard == "UL 489" and self.characteristic is not None:
            raise Wrong("characteristic", written(self.characteristic), 'allowed: only with standard "IEC 60898-1"')
        self._band_consistent()
        return self

    def _band_consistent(self) -> None:
        band = {key: getattr(self, key) for key in ("instantaneous_from_A", "instantaneous_to_A")}
        given = {key: value for key, value in band.items() if value is not None}
        for key, value in given.items():
            if self.standard != "UL 489":
                raise Wrong(
                    key, figure(value), 'allowed: only with standard "UL 489"; the letter of another says its band'
                )
            if len(given) == 1:
                raise Wrong(key, figure(value), "allowed: both ends of the band, or neither")
        if len(given) == 2:
            in_order(self, "instantaneous_from_A", "instantaneous_to_A")
            if given["instantaneous_from_A"] <= self.rating_A:
                allowed = f"allowed: more than rating_A ({self.rating_A:g})"
                raise Wrong("instantaneous_from_A", figure(given["instantaneous_from_A"]), allowed)


# Of a transformer with taps: the key that names the tap of a reading, and the readings that it is of.
READ_ON = {
    "working_tap": ("working_current_A", "load_angle_min_deg", "load_angle_max_deg"),
    "shorted_tap": ("shorted_current_A",),
}


_TAP = "a tap's name in quotes, on one line, of 1 to 40 characters"
TapName = Annotated[str, Field(pattern=f"^{LETTER}{{1,40}}$", description=_TAP)]


class Transformer(FileModel):
    """Rating plate, primary side and what was measured. A rating counts only with the duty it is for.

    A reading belongs to the tap on which it was read: `working_tap` of the working current and the load angles,
    `shorted_tap` of the shorted current. What was not read is taken as typical of the rating, or follows from
    `shorted_current_A`.
    """

    rating_kVA: float = Field(ge=0.05, le=500)
    rating_duty_percent: float = Field(
        ge=10,
        le=100,
        description="10 to 100, the duty that the plate's permanent or 50 % power is for (a power for a few per cent "
        "of duty is a peak or short-circuit figure and no rating)",
    )
    rating_from: Literal["plate", "core_and_wire", "typical"] = "plate"
    working_current_A: float = Field(default=0, ge=0.1, le=2000)  # left out: the welder fills it in
    working_tap: TapName | None = Field(default=None, description=_TAP)
    load_angle_min_deg: float = Field(default=40, ge=0, le=80)
    load_angle_max_deg: float = Field(default=65, ge=0, le=80)
    open_current_A: float | None = Field(default=None, ge=0.001, le=2000)
    open_secondary_V: float | None = Field(default=None, ge=0.1, le=100)
    taps: dict[TapName, Annotated[float, Field(ge=0.1, le=100)]] | None = Field(
        default=None,
        min_length=1,
        max_length=50,
        description="a table of 1 to 50 tap names (each on one line, at most 40 characters), each with its open secondary "
        "voltage from 0.1 to 100",
    )
    tap: TapName | None = Field(default=None, description=_TAP)
    shorted_current_A: float | None = Field(default=None, ge=0.1, le=4000)
    shorted_tap: TapName | None = Field(default=None, description=_TAP)
    winding_time_constant_min: float = Field(default=20, ge=1, le=240)
    mass_kg: float | None = Field(default=None, ge=0.1, le=5000)
    insulation_class: Literal["A", "E", "B", "F", "H"] = "A"

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        given = self.model_fields_set
        in_order(self, "load_angle_min_deg", "load_angle_max_deg")
        if "working_current_A" in given and self.idle_current_A >= self.working_current_A:
            raise Wrong(
                "open_current_A",
                figure(self.idle_current_A),
                f"allowed: less than working_current_A ({self.working_current_A:g}); with the electrodes open "
                "a few per cent of it flow",
            )
        self._taps_consistent()
        if self.shorted_current_A is not None:
            self._shorted_consistent(self.shorted_current_A)
        return self

    def _taps_consistent(self) -> None:
        if self.taps is None:
            for key in ("tap", "working_tap", "shorted_tap"):
                if (name := getattr(self, key)) is not None:
                    why = "there are no taps; allowed: a tap that is named in transformer.taps"
                    raise Wrong(key, written(name), why)
            return
        names = ", ".join(str(written(name)) for name in self.taps)
        if self.tap is None:
            raise Wrong("tap", None, f"missing; allowed: the one in use of {names}")
        if self.tap not in self.taps:
            raise Wrong("tap", written(self.tap), f"allowed: {names}, the names in transformer.taps")
        if self.open_secondary_V is not None and self.open_secondary_V != self.taps[self.tap]:
            raise Wrong(
                "open_secondary_V",
                figure(self.open_secondary_V),
                f"allowed: {self.taps[self.tap]:g}, as tap {written(self.tap)} has in transformer.taps, or left out",
            )
        for key, readings in READ_ON.items():
            name = getattr(self, key)
            if name is not None and name not in self.taps:
                raise Wrong(key, written(name), f"allowed: {names}, the names in transformer.taps")
            if name is not None and not self.model_fields_set.intersection(readings):
                raise Wrong(key, written(name), f"it belongs to {readings[0]}; allowed: both or neither")
        for key, readings in READ_ON.items():
            read = [reading for reading in readings if reading in self.model_fields_set]
            if read and getattr(self, key) is None and len(self.taps) > 1:
                raise Wrong(key, None, f"missing; allowed: the tap on which {read[0]} was read, of {names}")

    def _shorted_consistent(self, shorted_A: float) -> None:
        same_tap = self.shorted_tap == self.working_tap
        if same_tap and "working_current_A" in self.model_fields_set and shorted_A <= self.working_current_A:
            raise Wrong(
                "shorted_current_A",
                figure(shorted_A),
                f"allowed: more than working_current_A ({self.working_current_A:g}), which the work limits",
            )
        if self.open_current_A is not None and self.open_current_A >= shorted_A:
            raise Wrong(
                "open_current_A", figure(self.open_current_A), f"allowed: less than shorted_current_A ({shorted_A:g})"
            )

    @property
    def idle_current_A(self) -> float:
        """Primary current with open electrodes; typically 4 % of the working current (common practice, no source)."""
        return self.open_current_A if self.open_current_A is not None else 0.04 * self.working_current_A

    @property
    def working_read_on(self) -> str:
        """The tap of the working current and the load angles; "" without taps.

        Where neither was read they are typical of the rating, so of the tap with the most volts.
        """
        volts = self.tap_volts
        return self.working_tap or (max(volts, key=lambda tap: volts[tap]) if volts else "")

    @property
    def shorted_read_on(self) -> str:
        """The tap of the shorted current; "" without taps."""
        return self.shorted_tap or self.tap or ""

    @property
    def tap_volts(self) -> dict[str, float]:
        """Open secondary volts of each tap, the one in use first; without taps the only name is empty."""
        if self.taps is not None and self.tap is not None:
            return {self.tap: self.taps[self.tap]} | self.taps
        return {} if self.open_secondary_V is None else {"": self.open_secondary_V}


class Arms(FileModel):
    """The secondary arms, copper: length from the transformer's terminals to the electrodes' axis, and the gap."""

    length_mm: float = Field(ge=1, le=3000)
    throat_mm: float = Field(ge=1, le=2000)
    diameter_mm: float = Field(ge=1, le=200)
    steel_in_throat: bool = False


class OneElectrode(FileModel):
    """One electrode, a round bar. Length: out of its holder. Offset: of its face from its axis."""

    diameter_mm: float = Field(ge=1, le=100)
    length_mm: float = Field(ge=1, le=1000)
    offset_mm: float = Field(default=0, ge=0, le=500)
    alloy: Alloy = "Cu-ETP"
    face_diameter_mm: float | None = Field(default=None, ge=0.1, le=100)
    groove_radius_mm: float | None = Field(default=None, ge=0.1, le=50)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.face_diameter_mm is not None and self.groove_radius_mm is not None:
            raise Wrong(
                "groove_radius_mm",
                figure(self.groove_radius_mm),
                "a face is flat or grooved; allowed: face_diameter_mm or groove_radius_mm, one of them",
            )
        for key, most in (("face_diameter_mm", self.diameter_mm), ("groove_radius_mm", self.diameter_mm / 2)):
            value = getattr(self, key)
            if value is not None and value > most:
                raise Wrong(
                    key,
                    figure(value),
                    f"wider than the electrode; allowed: at most {most:g} (diameter_mm {self.diameter_mm:g})",
                )
        return self

    @property
    def face_mm(self) -> float:
        """Width of the face on the work; half the bar's diameter where the file does not give it."""
        return self.face_diameter_mm or (2 * self.groove_radius_mm if self.groove_radius_mm else 0.5 * self.diameter_mm)


class ElectrodeApart(FileModel):
    """The figures of one electrode that differ from the pair's. The offset is common, or the faces would not meet."""

    diameter_mm: float | None = Field(default=None, ge=1, le=100)
    length_mm: float | None = Field(default=None, ge=1, le=1000)
    alloy: Alloy | None = None
    face_diameter_mm: float | None = Field(default=None, ge=0.1, le=100)
    groove_radius_mm: float | None = Field(default=None, ge=0.1, le=50)


_FACES = {"face_diameter_mm", "groove_radius_mm"}  # of which an electrode has one


class Electrodes(OneElectrode):
    """Both electrodes: their common figures, and those that differ in the `upper` or the `lower` one."""

    upper: ElectrodeApart | None = None
    lower: ElectrodeApart | None = None

    @model_validator(mode="after")
    def _each_consistent(self) -> Self:
        for name in ("upper", "lower"):
            try:
                self._one(name)
            except ValidationError as error:
                wrong = error.errors()[0]["ctx"]["error"]
                raise Wrong(f"{name}.{wrong.key}", wrong.given, str(wrong)) from None
        return self

    def _one(self, name: str) -> OneElectrode:
        apart: ElectrodeApart | None = getattr(self, name)
        own = apart.model_dump(exclude_none=True) if apart else {}
        common = self.model_dump(include=set(OneElectrode.model_fields) - (_FACES if _FACES & own.keys() else set()))
        return OneElectrode.model_validate(common | own)

    @property
    def pair(self) -> tuple[OneElectrode, OneElectrode]:
        """The upper and the lower one, each whole."""
        return self._one("upper"), self._one("lower")


def _as_tuples(given: Any) -> Any:
    """TOML's lists as tuples, for a frozen value."""
    return tuple(_as_tuples(item) for item in given) if isinstance(given, list) else given


class Switch(FileModel):
    """The thyristors. `foster`: [K/W, s] for each term of the data sheet's thermal impedance, junction to case."""

    kind: Literal["scr_pair", "triac", "random_phase_relay", "zero_cross_relay"] = "scr_pair"
    latching_current_A: float = Field(default=0.2, ge=0.001, le=5)
    holding_current_A: float = Field(default=0.1, ge=0.001, le=5)
    turn_on_delay_us: float = Field(default=10, ge=0, le=1000)
    rated_current_A: float | None = Field(default=None, ge=0.1, le=5000)
    surge_current_A: float | None = Field(default=None, ge=1, le=100_000)
    i2t_A2s: float | None = Field(default=None, ge=0.1, le=1e9)
    on_state_V: float = Field(default=1.0, ge=0.1, le=3)
    on_state_slope_mohm: float = Field(default=5, ge=0.001, le=100)
    commutating_dv_dt_V_per_us: float | None = Field(default=None, ge=0.1, le=10_000)
    foster: Annotated[tuple[tuple[float, ...], ...] | None, BeforeValidator(_as_tuples)] = Field(
        default=None, description="a list of [K/W, s] pairs, such as [[0.12, 0.02], [0.2, 0.3]]"
    )
    case_to_sink_K_per_W: float = Field(default=0.2, ge=0.001, le=10)
    junction_limit_C: float = Field(default=125, ge=80, le=200)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        in_order(self, "holding_current_A", "latching_current_A")
        if self.foster is not None:
            self._foster_consistent(self.foster)
        if None not in (self.rated_current_A, self.surge_current_A):
            in_order(self, "rated_current_A", "surge_current_A")
        return self

    def _foster_consistent(self, foster: tuple[tuple[float, ...], ...]) -> None:
        if not 1 <= len(foster) <= FOSTER_TERMS:
            shown = Written(f"a list of {len(foster)}" if foster else "[]")
            raise Wrong("foster", shown, f"allowed: 1 to {FOSTER_TERMS} [K/W, s] pairs, or the key left out")
        for number, term in enumerate(foster, 1):
            if len(term) != 2 or not all(low <= part <= high for part, (low, high) in zip(term, FOSTER)):
                shown = Written("[" + ", ".join(f"{part:g}" for part in term[:4]) + "]")
                (least_K, most_K), (least_s, most_s) = FOSTER
                allowed = f"allowed: K/W from {least_K:g} to {most_K:g} and seconds from {least_s:g} to {most_s:g}"
                raise Wrong("foster", shown, f"as term {number}; {allowed}")

    @property
    def fires_at_any_phase(self) -> bool:
        return self.kind != "zero_cross_relay"


class HeatSink(FileModel):
    """The switch's heat sink: thermal resistance to the air, and heat capacity (aluminium: 900 J/K a kilogram)."""

    K_per_W: float = Field(default=1.0, ge=0.001, le=100)
    J_per_K: float = Field(default=300, ge=0.1, le=1e6)


class Ambient(FileModel):
    temperature_C: float = Field(default=25, ge=-20, le=60)


class Detector(FileModel):
    """Zero-crossing detector. Offsets: its edge minus the true crossing, positive when the edge comes late.

    `offsets_from`: whether they were measured on this detector, or are of its parts.
    """

    kind: Literal["square", "pulse"] = "square"
    offset_rise_us: int = Field(default=300, ge=-1500, le=1500)
    offset_fall_us: int = Field(default=300, ge=-1500, le=1500)
    offsets_from: Literal["measured", "parts"] = "measured"

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
    """The source of the electrode force. With `hand` and `foot_lever` releasing the lever ends the weld.

    `builds_up_ms`: from the pedal to the whole force, at most. By hand and foot it is there as the pedal closes.
    """

    source: Literal["hand", "foot_lever", "air"]
    force_switch: bool = False
    builds_up_ms: float | None = Field(default=None, ge=0, le=2000)

    @property
    def there_after_ms(self) -> float:
        """The file's figure, or a typical one (common practice, no source)."""
        return (200.0 if self.source == "air" else 0.0) if self.builds_up_ms is None else self.builds_up_ms


class Protection(FileModel):
    """Hardware that works without the board. What the file does not say is not there.

    `gate_drive`: what ends the gate current within 12 ms of the pin rising, whatever the pin then does; `direct` is nothing.
    `contactor` drops when the board's pulse train ends; `contactor_coil` is what its coil is for, d.c. if left out.
    The `stop_...` and over-temperature contacts break by themselves.
    `mirror_contact` is closed only while every main contact of the contactor is open (IEC 60947-4-1, Annex F), and tells the
    board.
    """

    gate_drive: Literal["one_shot", "pulse_transformer", "capacitor", "direct"] | None = None
    isolator: bool = False
    contactor: bool = False
    contactor_coil: Literal["dc", "ac"] | None = None
    stop_cuts_gate_supply: bool = False
    stop_cuts_contactor: bool = False
    over_temperature_contact: bool = False
    mirror_contact: bool = False
    secondary_earthed: bool = False
    residual_current_device: bool = False
    residual_current_mA: float | None = Field(default=None, ge=4, le=500)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.mirror_contact and not self.contactor:
            raise Wrong("mirror_contact", written(True), "it is one of the contactor's; allowed: with contactor = true")
        return self

    @property
    def fitted(self) -> tuple[str, ...]:
        """The keys of what is there."""
        return tuple(key for key in type(self).model_fields if getattr(self, key) is True)


# From the coil's last current to open contacts (makers' notes, from memory): a plain diode keeps the current of a d.c. coil
# going for 200 ms and more, a Zener diode or TVS in series with it ends that at once.
OPENS_MS = {"diode": 300.0, "diode_and_zener": 50.0}


class ContactorTimes(FileModel):
    """The contactor's times at their worst: from the first current in its coil to closed contacts, how long these bounce, and
    from the last current to open contacts. `suppression`: what lies across its d.c. coil.
    """

    suppression: Literal["diode", "diode_and_zener"] = "diode_and_zener"
    closes_ms: float = Field(default=50, ge=2, le=500)
    bounce_ms: float = Field(default=5, ge=0, le=100)
    opens_ms: float | None = Field(default=None, ge=2, le=1000)

    @property
    def open_after_ms(self) -> float:
        """The file's figure, or one typical of that suppression."""
        return OPENS_MS[self.suppression] if self.opens_ms is None else self.opens_ms


class Limits(FileModel):
    """Limits of every schedule. `longest_weld` counts all current of one weld."""

    longest_weld: Time = Field(default_factory=lambda: _typical("3 s"))
    least_cool: Time = Field(default_factory=lambda: _typical("2 cycles"))
    first_delay_deg: float = Field(default=87, ge=60, le=120)


# The mains of EN 50160 (+10, -15 %) with a loop that warms; more is another machine. Common practice, no source.
MOST_CORRECTED_PERCENT = 15


class CurrentSense(FileModel):
    """A current transformer on the primary before the converter of the board; without this table there is none.

    `turns`: of its secondary for one turn of the primary, or its ratio. `reading_factor`: true current over what is shown,
    from a clamp meter. `end_at_expulsion`: the weld ends where metal is thrown out; it wants the sense across the switch too.
    """

    turns: float = Field(ge=10, le=10_000)
    burden_ohm: float = Field(ge=0.1, le=1000)
    reading_factor: float = Field(default=1.0, ge=0.8, le=1.25)
    end_at_expulsion: bool = False


class ShortedLoop(FileModel):
    """The machine with shorted electrodes, seen from the primary, as `weldbeat calibrate --loop` measured it by the board.

    Impedance and angle with their ranges; `gates_late_us`: by how much each gate comes later than aimed, through the detector and
    the mains' harmonics; `tap`: the tap in use then.
    """

    impedance_min_ohm: float = Field(ge=0.01, le=5000)
    impedance_max_ohm: float = Field(ge=0.01, le=5000)
    angle_min_deg: float = Field(ge=1, le=89)
    angle_max_deg: float = Field(ge=1, le=89)
    gates_late_us: float = Field(default=0, ge=-1000, le=1000)
    tap: TapName | None = Field(default=None, description=_TAP)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        in_order(self, "impedance_min_ohm", "impedance_max_ohm")
        in_order(self, "angle_min_deg", "angle_max_deg")
        return self


class Correct(FileModel):
    """The board holds the planned current from weld to weld; without this table every weld is fired by the table alone.

    `within_percent`: the most that a weld is fired for more or less than its schedule's current.
    """

    within_percent: float = Field(ge=1, le=MOST_CORRECTED_PERCENT)

    @property
    def permille(self) -> int:
        """The greatest correction in thousandths, as on the board."""
        return round(10 * self.within_percent)

    @property
    def share(self) -> float:
        """The greatest correction as a share of the planned current."""
        return self.permille / 1000


def _pin(given: Any) -> int | str:
    """A pin as MicroPython takes it: a number, or a name."""
    if isinstance(given, bool) or not isinstance(given, int | str):
        raise ValueError
    return given


class BoardChoice(FileModel):
    """The timer board, and pins other than its first choice, by role; the board's own file says which can be."""

    name: str
    conduction_sense: bool = False
    pins: dict[str, Annotated[int | str, PlainValidator(_pin)]] = Field(
        default_factory=dict,
        description="a table of roles, each with a pin, such as {gate = 10}; see `weldbeat boards NAME`",
    )


class WelderTables(FileModel):
    """Every table of `welder.toml` as the file gives it, before anything is derived."""

    mains: Mains
    breaker: Breaker | None = None
    transformer: Transformer
    arms: Arms | None = None
    electrodes: Electrodes | None = None
    switch: Switch = Switch()
    heat_sink: HeatSink = HeatSink()
    ambient: Ambient = Ambient()
    detector: Detector = Detector()
    force: Force
    protection: Protection = Protection()
    contactor: ContactorTimes = ContactorTimes()
    limits: Limits = Field(default_factory=Limits)
    current_sense: CurrentSense | None = None
    shorted_loop: ShortedLoop | None = None
    correct: Correct | None = None
    board: BoardChoice
