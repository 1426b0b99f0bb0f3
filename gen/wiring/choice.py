"""The result of `weldbeat choose`: for every part what to fit, the calculation, and whether the owner's part is enough."""

from __future__ import annotations

from dataclasses import dataclass

from gen.ranges import Figure, shown

PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Load:
    """The primary current of one weld, from the simulation. Figures span the uncertainty of the owner's readings.

    `inrush_peak_A`: from the planned start on shorted electrodes to a start at the voltage zero from the worst remanence.
    `half_cycle_i2t_A2s`: the greatest of any half-cycle of that inrush. `weld_s`: current time of one weld.
    """

    working_rms_A: Figure
    inrush_peak_A: Figure
    half_cycle_i2t_A2s: float
    weld_s: float
    welds_per_minute: float


@dataclass(frozen=True)
class CalculationLine:
    """One line of a calculation: the quantity, its calculation, its result, and the formula's source."""

    what: str
    working: str
    result: str
    source: str


@dataclass(frozen=True)
class Yours:
    """One rating in the welder file, and the least value (with `at_most` the greatest) that is sufficient."""

    what: str
    given: float
    limit: float
    unit: str
    at_most: bool = False

    @property
    def enough(self) -> bool:
        return self.given <= self.limit if self.at_most else self.given >= self.limit

    @property
    def text(self) -> str:
        bound = "at most" if self.at_most else "at least"
        wanted = f"{bound} {shown(self.limit)} {self.unit}"
        return f"{self.what} {shown(self.given)} {self.unit}: {'enough' if self.enough else 'not enough'} ({wanted})"


@dataclass(frozen=True)
class Chosen:
    """One part. `fit`: what to buy, as a generic type. `yours`: the welder file's ratings of it, judged."""

    part: str
    fit: str
    steps: tuple[CalculationLine, ...]
    yours: tuple[Yours, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class SwitchRatings:
    """The least ratings of the thyristors."""

    rms_A: float
    off_state_V: float
    surge_A: float
    i2t_A2s: float


@dataclass(frozen=True)
class SnubberValues:
    """A series resistor and capacitor across the switch."""

    ohm: float
    farad: float
    rated_W: float


@dataclass(frozen=True)
class DetectorValues:
    """Two resistors in series with the coupler's light-emitting diode, and the edge offsets that follow."""

    each_ohm: float
    each_rated_W: float
    pull_ohm: float
    offset_rise_us: Figure
    offset_fall_us: Figure


@dataclass(frozen=True)
class SinkValues:
    """The heat sink. `K_per_W` is None where no heat sink is sufficient."""

    K_per_W: float | None
    J_per_K: float
    ambient_C: float


@dataclass(frozen=True)
class Choice:
    """Every part in printing order, and the values that the wiring sheet uses."""

    load: Load
    parts: tuple[Chosen, ...]
    switch: SwitchRatings
    snubber: SnubberValues
    detector: DetectorValues
    sink: SinkValues
    varistor_V: float
    fuse_A: float
    contactor_A: float
    one_shot_ms: Figure

    def part(self, name: str) -> Chosen:
        """The part of that name. Raises KeyError."""
        return {part.part: part for part in self.parts}[name]

    @property
    def not_enough(self) -> tuple[str, ...]:
        """The ratings in the welder file that are not sufficient."""
        return tuple(f"{p.part}: {y.text}" for p in self.parts for y in p.yours if not y.enough)
