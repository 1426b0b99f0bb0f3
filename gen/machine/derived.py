"""The machine derived from its owner's readings: every impedance and current as a range with its source.

A range spans every combination of the ends of the uncertain figures. It is exact where the result is monotonic in each of
them. Some results are not monotonic in the angle, which is therefore taken in eighths.
"""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from gen.machine.inductance import STEEL_FACTOR, Loop, air_core_reactance, loop_of
from gen.machine.tables import Mains, Transformer, WelderTables
from gen.ranges import Figure, shown, spanning
from gen.user_files import Wrong, figure

# Typical values: common practice, no source, unless one is named.
# IEC 60725 reference impedance, single phase at 50 Hz, from memory; few outlets have more.
REFERENCE_OHM = complex(0.4, 0.25)
REFERENCE_SPREAD = (0.25, 1.0)
REFERENCE_DROP = 0.1  # the most that an outlet drops: a larger machine is taken to have a stiffer supply
SHORT_ANGLE_DEG = (45.0, 75.0)
WORK_UOHM = (100.0, 300.0)  # steel between the electrodes, mean over the weld
WORK_SHARE = (0.2, 0.8)  # work resistance over short-circuit impedance or unexplained resistance, if no turns are known
JOINTS_FACTOR = (1.0, 2.0)  # resistance of warm arms with joints, over cold copper without

WORKING_OVER_RATED = (1.3, 3.0)  # working current over that of the power at 50 % duty, where it was not read

# Uncertainty of the readings.
CLAMP = 0.03
SECONDARY = 0.02
TAPPING = 0.01  # between taps
SOURCE = 0.15
GEOMETRY = 0.1

_ANGLES = {"load_angle_min_deg", "load_angle_max_deg"}
_EIGHTHS = tuple(n / 8 for n in range(9))


class MachineCase(NamedTuple):
    """One combination of the uncertain figures: factors on readings, and `angle` from 0 to 1 within its range."""

    source: float
    shorted: float
    working: float
    secondary: float
    tapping: float
    reactance: float
    joints: float
    work: float
    angle: float


class Circuit(NamedTuple):
    """The circuit of one case, in ohms referred to the primary of one tap."""

    source: complex
    leakage: complex
    loop: complex
    work_ohm: float
    turns: float
    """Turns ratio; 0 where not known."""

    @property
    def short(self) -> complex:
        return self.source + self.leakage + self.loop

    @property
    def total(self) -> complex:
        return self.short + self.work_ohm

    def on_tap(self, turns: float) -> Circuit:
        """The same machine with another turns ratio. All but the supply scales with its square."""
        if turns == self.turns:
            return self
        k = (turns / self.turns) ** 2 if turns else 1.0
        return Circuit(self.source, self.leakage * k, self.loop * k, self.work_ohm * k, turns)


class Impossible(Exception):
    """A case whose figures contradict each other."""


def circuits(welder: WelderTables, loop: Loop | None) -> list[tuple[MachineCase, Circuit]]:
    """The circuit of every case that is possible."""
    found = []
    for case in cases(welder, loop):
        try:
            found.append((case, circuit_of(welder, loop, case)))
        except Impossible:
            continue
    return found


def cases(welder: WelderTables, loop: Loop | None) -> Iterator[MachineCase]:
    """Every combination of the ends of the uncertain figures and the eighths of the angle."""
    return itertools.starmap(MachineCase, itertools.product(*ends(welder, loop), _EIGHTHS))


def ends(welder: WelderTables, loop: Loop | None) -> tuple[tuple[float, ...], ...]:
    """The ends of each factor but the angle, in the order of `MachineCase`; a single one for an exact figure."""
    t = welder.transformer
    steel = STEEL_FACTOR if welder.arms and welder.arms.steel_in_throat else (1.0, 1.0)
    one = (1.0,)
    by_turns = bool(t.tap_volts) and t.shorted_current_A is not None
    return (
        _about(SOURCE) if source_given(welder.mains) else REFERENCE_SPREAD,
        _about(CLAMP) if t.shorted_current_A else one,
        _about(CLAMP) if working_given(t) else one if t.shorted_current_A else WORKING_OVER_RATED,
        _about(SECONDARY) if t.tap_volts else one,
        _about(TAPPING) if len(t.tap_volts) > 1 else one,
        ((1 - GEOMETRY) * steel[0], (1 + GEOMETRY) * steel[1]) if loop else one,
        JOINTS_FACTOR if loop else one,
        one if t.shorted_current_A and working_given(t) else WORK_UOHM if by_turns else WORK_SHARE,
    )


def _about(uncertainty: float) -> tuple[float, float]:
    return 1 - uncertainty, 1 + uncertainty


def working_given(transformer: Transformer) -> bool:
    """Whether the file gives the working current."""
    return "working_current_A" in transformer.model_fields_set


def typical_working_A(mains: Mains, t: Transformer) -> float:
    """The current of the rated power at 50 % duty, the base of a working current that was not read.

    Another duty is converted by equal heating: I1^2 d1 = I2^2 d2 (RWMA, from memory).
    """
    return t.rating_kVA * 1000 * math.sqrt(t.rating_duty_percent / 50) / mains.voltage_V


def source_given(mains: Mains) -> bool:
    """Whether the file gives resistance or inductance of the supply."""
    return mains.source_resistance_ohm is not None or mains.source_inductance_mH is not None


def source_ohm(mains: Mains, transformer: Transformer) -> complex:
    """The supply's impedance as given, or else the largest typical one."""
    most_A = transformer.shorted_current_A or WORKING_OVER_RATED[1] * typical_working_A(mains, transformer)
    if working_given(transformer):
        most_A = transformer.working_current_A
    scale = min(1.0, REFERENCE_DROP * mains.voltage_V / most_A / abs(REFERENCE_OHM))
    r, x = scale * REFERENCE_OHM.real, scale * REFERENCE_OHM.imag * mains.frequency_Hz / 50
    if mains.source_resistance_ohm is not None:
        r = mains.source_resistance_ohm
    if mains.source_inductance_mH is not None:
        x = 2 * math.pi * mains.frequency_Hz * mains.source_inductance_mH * 1e-3
    return complex(r, x)


def turns_on(welder: WelderTables, tap: str | None, case: MachineCase | None = None) -> float:
    """Turns ratio of a tap (None: the one in use), as read or in one case; 0 where no open secondary voltage is known.

    The uncertainty between taps counts from the tap of the current reading, so that no figure depends on the tap in use.
    """
    (turns,) = turns_in(welder, tap, [case])
    return turns


def turns_in(welder: WelderTables, tap: str | None, every: Iterable[MachineCase | None]) -> list[float]:
    """The turns ratio of a tap in each case, as by `turns_on`."""
    t = welder.transformer
    volts = t.tap_volts
    if not volts:
        return [0.0 for _ in every]
    tap = tap if tap in volts else next(iter(volts))
    turns = welder.mains.voltage_V / volts[tap]
    is_reference = tap == (t.shorted_read_on if t.shorted_current_A else t.working_read_on)
    return [turns if c is None else turns / c.secondary * (1.0 if is_reference else c.tapping) for c in every]


def referred(loop: Loop | None, case: MachineCase, turns: float) -> complex:
    """The loop's impedance referred to the primary; 0 where it is not known."""
    if loop is None or not turns:
        return 0j
    return complex(loop.resistance_ohm * case.joints, loop.reactance_ohm * case.reactance) * turns**2


def circuit_of(welder: WelderTables, loop: Loop | None, case: MachineCase) -> Circuit:
    """The circuit of one case on the tap in use. Its factors may lie anywhere between their ends. Raises Impossible.

    The circuit reproduces each reading on the tap on which it was read.
    """
    t = welder.transformer
    as_read = _by_working(welder, loop, case) if t.shorted_current_A is None else _by_shorted(welder, loop, case)
    return as_read.on_tap(turns_on(welder, None, case))


def _working_ohm(welder: WelderTables, case: MachineCase) -> float:
    """Magnitude of the impedance with the work, on the tap of the working current."""
    t = welder.transformer
    base_A = t.working_current_A if working_given(t) else typical_working_A(welder.mains, t)
    return welder.mains.voltage_V / (base_A * case.working)


def _by_working(welder: WelderTables, loop: Loop | None, case: MachineCase) -> Circuit:
    """The circuit from the working current and the load angle, on their tap."""
    t = welder.transformer
    source, turns = source_ohm(welder.mains, t) * case.source, turns_on(welder, t.working_read_on, case)
    known = source + referred(loop, case, turns)
    z = _working_ohm(welder, case)
    total = cmath.rect(z, _angle(known, z, *load_angles(t), case.angle))
    work = case.work * (total.real - known.real)
    return Circuit(source, total - work - known, known - source, work, turns)


def _by_shorted(welder: WelderTables, loop: Loop | None, case: MachineCase) -> Circuit:
    """The circuit from the shorted current, working current and load angle if read, on the tap of the working current."""
    t = welder.transformer
    source, at_short = source_ohm(welder.mains, t) * case.source, turns_on(welder, t.shorted_read_on, case)
    known = source + referred(loop, case, at_short)
    turns = turns_on(welder, t.working_read_on, case)
    z = welder.mains.voltage_V / ((t.shorted_current_A or 0.0) * case.shorted)
    work = case.work * 1e-6 * turns**2 if turns else case.work * z
    low_deg, high_deg, typical = load_angles(t)
    if typical:
        angle = _angle(known, z, *short_angles(welder), case.angle)
    else:
        target = math.radians(low_deg + case.angle * (high_deg - low_deg))
        k = (turns / at_short) ** 2 if turns else 1.0
        if working_given(t):
            reactance = (_working_ohm(welder, case) * math.sin(target) - source.imag) / k + source.imag
            angle = _arcsin(reactance / z)
        else:  # source + k (z e^j angle - source) + work has the target angle
            others = source * (1 - k) + work
            angle = target - _arcsin((others * cmath.rect(1, -target)).imag / (k * z))
        angle = _angle(known, z, math.degrees(angle), math.degrees(angle), False, 0.0)
    shorted = Circuit(source, cmath.rect(z, angle) - known, known - source, 0.0, at_short).on_tap(turns)
    if working_given(t):
        total_ohm = _working_ohm(welder, case)
        if total_ohm <= abs(shorted.short) or total_ohm <= shorted.short.imag:
            raise Impossible
        work = math.sqrt(total_ohm**2 - shorted.short.imag**2) - shorted.short.real
    return shorted._replace(work_ohm=work)


def _arcsin(value: float) -> float:
    if not -1 <= value <= 1:
        raise Impossible
    return math.asin(value)


def load_angles(t: Transformer) -> tuple[float, float, bool]:
    """Range of the load angle from the welder file, and whether it is only typical."""
    typical = not _ANGLES & t.model_fields_set
    return t.load_angle_min_deg, t.load_angle_max_deg, typical


def short_angles(welder: WelderTables) -> tuple[float, float, bool]:
    """Range of the angle with shorted electrodes where no load angle is given, and whether it is only typical."""
    loop, t = welder.shorted_loop, welder.transformer
    if loop is None or (t.taps and (loop.tap or t.tap) != t.shorted_read_on):
        return (*SHORT_ANGLE_DEG, True)
    return loop.angle_min_deg, loop.angle_max_deg, False


def _angle(known: complex, z: float, low_deg: float, high_deg: float, typical: bool, share: float) -> float:
    """Angle in radians of an impedance of magnitude `z` that contains `known`, at `share` (0 to 1) of its range.

    A range that is only typical is narrowed or moved to fit `known`. Raises Impossible.
    """
    if abs(known) > z:
        raise Impossible
    least, most = math.asin(known.imag / z), math.acos(known.real / z)
    low, high = math.radians(low_deg), math.radians(high_deg)
    if not typical and (low > most or high < least):
        raise Impossible
    low, high = min(max(low, least), most), max(min(high, most), least)
    return low + share * (high - low)


@dataclass(frozen=True)
class Tap:
    """The figures of one tap. Secondary figures are None where no open secondary voltage is known."""

    name: str
    turns_ratio: Figure | None
    short_primary: Figure
    short_secondary: Figure | None
    working_primary: Figure
    working_secondary: Figure | None
    load_angle: Figure

    @property
    def working(self) -> Figure:
        """The secondary working current; the primary's where that is not known."""
        return self.working_secondary or self.working_primary

    def figures(self) -> tuple[tuple[str, Figure | None], ...]:
        """Name and figure, in reading order."""
        return (
            ("turns ratio", self.turns_ratio),
            ("shorted, primary", self.short_primary),
            ("shorted, secondary", self.short_secondary),
            ("working, primary", self.working_primary),
            ("working, secondary", self.working_secondary),
            ("load angle", self.load_angle),
        )


@dataclass(frozen=True)
class Machine:
    """The machine in ohms referred to the primary on the tap in use, unless a name says otherwise.

    Where the loop cannot be separated (no arms, or no turns ratio) `loop_*` are None and the leakage includes it.
    """

    voltage_V: float
    frequency_Hz: int
    source_resistance: Figure
    source_reactance: Figure
    leakage_resistance: Figure
    leakage_reactance: Figure
    loop_resistance: Figure | None
    loop_reactance: Figure | None
    work_resistance: Figure
    work_secondary_uohm: Figure | None
    short_impedance: Figure
    short_angle: Figure
    air_core_reactance: Figure
    taps: tuple[Tap, ...]

    @property
    def in_use(self) -> Tap:
        """The tap in use."""
        return self.taps[0]

    @property
    def source_ohm(self) -> complex:
        """Middle of the supply's impedance."""
        return complex(self.source_resistance.middle, self.source_reactance.middle)

    @property
    def leakage_ohm(self) -> complex:
        """Middle of the leakage impedance, with the loop where it is not separated."""
        return complex(self.leakage_resistance.middle, self.leakage_reactance.middle)

    @property
    def loop_ohm(self) -> complex:
        """Middle of the secondary loop; 0 where it is in the leakage."""
        if self.loop_resistance is None or self.loop_reactance is None:
            return 0j
        return complex(self.loop_resistance.middle, self.loop_reactance.middle)

    def impedances(self) -> list[tuple[str, Figure]]:
        """The figures in ohms referred to the primary."""
        others = (self.work_secondary_uohm, self.short_angle)
        return [(name, figure) for name, figure in self.figures() if not any(figure is other for other in others)]

    def figures(self) -> Iterator[tuple[str, Figure]]:
        """Name and figure, in reading order."""
        yield "supply resistance", self.source_resistance
        yield "supply reactance", self.source_reactance
        rest = "transformer" if self.loop_resistance else "transformer and loop"
        yield f"{rest} resistance", self.leakage_resistance
        yield f"{rest} reactance", self.leakage_reactance
        if self.loop_resistance and self.loop_reactance:
            yield "loop resistance", self.loop_resistance
            yield "loop reactance", self.loop_reactance
        yield "work resistance", self.work_resistance
        if self.work_secondary_uohm:
            yield "work resistance, unreferred", self.work_secondary_uohm
        yield "short-circuit impedance", self.short_impedance
        yield "short-circuit angle", self.short_angle
        yield "reactance, core saturated", self.air_core_reactance


def derive(welder: WelderTables) -> Machine:
    """The machine that follows from the welder file. Raises Wrong where its figures contradict each other."""
    loop = loop_of(welder.arms, welder.electrodes, welder.mains.frequency_Hz) if welder.arms else None
    found = circuits(welder, loop)
    if not found:
        raise _contradiction(welder, loop)
    return _Summary(welder, loop, found).machine()


def derive_at(welder: WelderTables, case: MachineCase) -> Machine:
    """The machine of one case. Every figure is a single value, even of a range in the file. Raises Impossible."""
    loop = loop_of(welder.arms, welder.electrodes, welder.mains.frequency_Hz) if welder.arms else None
    circuit = circuit_of(welder, loop, case)
    machine = _Summary(welder, loop, [(case, circuit)]).machine()
    angle = math.degrees(cmath.phase(circuit.total))
    in_use = replace(machine.in_use, load_angle=Figure(angle, angle, "degrees", "one case"))
    return replace(machine, taps=(in_use, *machine.taps[1:]))


def _contradiction(welder: WelderTables, loop: Loop | None) -> Wrong:
    """The figure that contradicts the others, and what it may be."""
    t, voltage_V = welder.transformer, welder.mains.voltage_V
    both = loop is not None and bool(t.tap_volts)
    bounds, let = ("the supply and the arms", "let") if both else ("the supply", "lets")
    tap = t.shorted_read_on if t.shorted_current_A else t.working_read_on

    def known(case: MachineCase) -> complex:
        turns = turns_on(welder, tap, case)
        return source_ohm(welder.mains, t) * case.source + referred(loop, case, turns)

    least = min((known(case) for case in cases(welder, loop)), key=abs)
    most_A = voltage_V / abs(least)
    if t.shorted_current_A is None and not working_given(t):
        needed_A = WORKING_OVER_RATED[0] * typical_working_A(welder.mains, t)
        allowed = (
            f"a machine of this power draws {shown(needed_A)} A or more as it welds, and {bounds} {let} through at most"
        )
        return Wrong("transformer.rating_kVA", figure(t.rating_kVA), f"{allowed} {_floored(most_A)}; allowed: less")
    key, given_A = (
        ("shorted_current_A", t.shorted_current_A)
        if t.shorted_current_A
        else ("working_current_A", t.working_current_A)
    )
    if given_A * (1 - CLAMP) > most_A:
        allowed = f"allowed: at most {_floored(most_A / (1 - CLAMP))}, which is all that {bounds} alone {let} through"
        return Wrong(f"transformer.{key}", figure(given_A), allowed)
    if t.shorted_current_A is None:
        z = voltage_V / t.working_current_A
        least_deg, most_deg = (math.degrees(a) for a in (math.asin(least.imag / z), math.acos(least.real / z)))
        if t.load_angle_max_deg < least_deg:
            allowed = f"allowed: {math.ceil(least_deg)} or more, the angle of {bounds} alone"
            return Wrong("transformer.load_angle_max_deg", figure(t.load_angle_max_deg), allowed)
        allowed = f"allowed: {math.floor(most_deg)} or less, for the resistance of {bounds}"
        return Wrong("transformer.load_angle_min_deg", figure(t.load_angle_min_deg), allowed)
    if not load_angles(t)[2] and (without := circuits(_without(welder, _ANGLES), loop)):
        return _wrong_angle(welder, [circuit for _, circuit in without])
    if not short_angles(welder)[2] and (without := circuits(_without_loop(welder), loop)):
        return _wrong_loop(welder, [circuit.on_tap(turns_on(welder, tap)) for _, circuit in without])
    on_working = [
        circuit.on_tap(turns_on(welder, t.working_read_on, case))
        for case, circuit in circuits(_without(welder, {"working_current_A"} | _ANGLES), loop)
    ]
    short_A = max(voltage_V / abs(circuit.short) for circuit in on_working)
    allowed = f"allowed: less than {_floored(short_A)}, the most that flows on this tap with the electrodes shorted"
    return Wrong("transformer.working_current_A", figure(t.working_current_A), allowed)


def _wrong_angle(welder: WelderTables, without: list[Circuit]) -> Wrong:
    """The load angle that contradicts the currents, and the angles that would not."""
    t = welder.transformer
    angles = [
        math.degrees(cmath.phase(circuit.on_tap(turns_on(welder, t.working_read_on)).total)) for circuit in without
    ]
    low, high = math.ceil(min(angles)), math.floor(max(angles))
    key = "load_angle_max_deg" if t.load_angle_max_deg < low else "load_angle_min_deg"
    allowed = f"allowed: about {low} to {high}, which agrees with the currents that were read, or the key left out"
    return Wrong(f"transformer.{key}", figure(getattr(t, key)), allowed)


def _wrong_loop(welder: WelderTables, without: list[Circuit]) -> Wrong:
    """The angle with shorted electrodes that contradicts supply, arms or currents, and the angles that would not."""
    low_deg, high_deg, _ = short_angles(welder)
    angles = [math.degrees(cmath.phase(circuit.short)) for circuit in without]
    low, high = math.floor(min(angles)), math.ceil(max(angles))
    key, given = ("angle_max_deg", high_deg) if high_deg < min(angles) else ("angle_min_deg", low_deg)
    allowed = f"allowed: about {low} to {high}, which agrees with the supply, the arms and the currents that were read"
    return Wrong(f"shorted_loop.{key}", figure(given), allowed)


def _floored(value: float) -> str:
    """Three digits, rounded down, so that the figure in a message is itself allowed."""
    step: float = 10.0 ** (math.floor(math.log10(value)) - 2)
    return shown(math.floor(value / step) * step)


def _without(welder: WelderTables, keys: set[str]) -> WelderTables:
    """The same file without these keys of its transformer."""
    t = welder.transformer
    bare = Transformer.model_construct(_fields_set=t.model_fields_set - keys, **dict(t))
    return WelderTables.model_construct(**(dict(welder) | {"transformer": bare}))


def _without_loop(welder: WelderTables) -> WelderTables:
    """The same file without what was measured with shorted electrodes."""
    return WelderTables.model_construct(**(dict(welder) | {"shorted_loop": None}))


@dataclass(frozen=True)
class _Summary:
    """Turns the circuits of all cases into figures that span them."""

    welder: WelderTables
    loop: Loop | None
    found: list[tuple[MachineCase, Circuit]]

    def over(self, value: Callable[[Circuit], float], unit: str, source: str) -> Figure:
        return spanning((value(circuit) for _, circuit in self.found), unit, source)

    def machine(self) -> Machine:
        w, t = self.welder, self.welder.transformer
        supply = self.supply()
        if t.shorted_current_A:
            on = f" on tap {t.shorted_tap}" if t.shorted_tap else ""
            reading = f"from shorted_current_A = {t.shorted_current_A:g}{on}, read within {CLAMP * 100:g} %"
            low_deg, high_deg, typical = short_angles(w)
            known = ", where supply and arms allow"
            known = f"degrees (common practice, no source){known}" if typical else f"degrees{known}"
            angle = f"{'typical' if typical else 'measured'}, {low_deg:g} to {high_deg:g} {known}"
        else:
            current = "" if working_given(t) else ", both typical of the rating"
            taking = "the work taking 20 to 80 % of the other resistance (typical)"
            reading = f"from the working current and load angle{current}, {taking}"
            angle = reading
        rest = f"{reading}, less the supply{' and the loop' if self.separates_loop else ''}"
        turns = self.found[0][1].turns
        return Machine(
            w.mains.voltage_V,
            w.mains.frequency_Hz,
            self.over(lambda c: c.source.real, "ohm", supply),
            self.over(lambda c: c.source.imag, "ohm", supply),
            self.over(lambda c: c.leakage.real, "ohm", rest),
            self.over(lambda c: c.leakage.imag, "ohm", rest),
            self.over(lambda c: c.loop.real, "ohm", self.geometry("R")) if self.separates_loop else None,
            self.over(lambda c: c.loop.imag, "ohm", self.geometry("X")) if self.separates_loop else None,
            self.over(lambda c: c.work_ohm, "ohm", self.work()),
            self.over(lambda c: 1e6 * c.work_ohm / c.turns**2, "micro-ohm", self.work()) if turns else None,
            self.over(lambda c: abs(c.short), "ohm", reading),
            self.over(lambda c: math.degrees(cmath.phase(c.short)), "degrees", angle),
            air_core_reactance(w),
            tuple(self.tap(name) for name in t.tap_volts or {"": 0.0}),
        )

    @property
    def separates_loop(self) -> bool:
        return self.loop is not None and bool(self.welder.transformer.tap_volts)

    def supply(self) -> str:
        if source_given(self.welder.mains):
            return f"given, within {SOURCE * 100:g} %"
        least = ", or of the impedance that drops 10 % if that is less" if self.stiffer_than_reference else ""
        return f"typical: a quarter to all of IEC 60725's reference impedance (0.4 + j0.25 ohm, from memory){least}"

    @property
    def stiffer_than_reference(self) -> bool:
        return source_ohm(self.welder.mains, self.welder.transformer).real < REFERENCE_OHM.real

    def geometry(self, part: str) -> str:
        if part == "R":
            return (
                "from the arms' and electrodes' size, once to twice for joints and warmth (common practice, no source)"
            )
        steel = ", 1.1 to 1.5 times for steel in the throat (common practice, no source)"
        has_steel = self.welder.arms is not None and self.welder.arms.steel_in_throat
        within = f"(Grover's rectangle of round wire), within {GEOMETRY * 100:g} %{steel if has_steel else ''}"
        return f"from the arms' and electrodes' size {within}"

    def work(self) -> str:
        t = self.welder.transformer
        if t.shorted_current_A and working_given(t):
            return "from working_current_A and shorted_current_A"
        if t.shorted_current_A and t.tap_volts:
            return "typical: {:g} to {:g} micro-ohm (common practice, no source)".format(*WORK_UOHM)
        what = "short-circuit impedance" if t.shorted_current_A else "resistance not in supply and arms"
        return f"typical: 20 to 80 % of the {what} (common practice, no source)"

    def tap(self, name: str) -> Tap:
        t, voltage_V = self.welder.transformer, self.welder.mains.voltage_V
        base = turns_on(self.welder, name)
        ratios = turns_in(self.welder, name, [case for case, _ in self.found])
        on_tap = [circuit.on_tap(turns) for (_, circuit), turns in zip(self.found, ratios, strict=True)]

        def through(of: Callable[[Circuit], complex], source: str) -> tuple[Figure, Figure | None]:
            amperes = [voltage_V / abs(of(c)) for c in on_tap]
            primary = spanning(amperes, "A", source)
            if not base:
                return primary, None
            secondary = [each * c.turns for each, c in zip(amperes, on_tap, strict=True)]
            return primary, spanning(secondary, "A", "primary current times the turns ratio")

        read = f"given, read within {CLAMP * 100:g} %"
        own = t.shorted_read_on if t.shorted_current_A else t.working_read_on
        computed = "V over the impedance" + ("" if name == own else ", scaled with the square of the turns")
        is_shorted = t.shorted_current_A is not None and name == t.shorted_read_on
        short_primary, short_secondary = through(lambda c: c.short, read if is_shorted else computed)
        working = f"{computed}, with the work"
        if name == t.working_read_on and working_given(t):
            working = read
        elif name == t.working_read_on and not t.shorted_current_A:
            working = "typical: {:g} to {:g} times the current of the rating at 50 % duty ".format(*WORKING_OVER_RATED)
            working += "(common practice, no source)"
        working_primary, working_secondary = through(lambda c: c.total, working)
        low, high, typical = load_angles(t)
        if name == t.working_read_on and (not typical or t.shorted_current_A is None):
            load_angle = Figure(low, high, "degrees", "typical (common practice, no source)" if typical else "given")
        else:
            phases = (math.degrees(cmath.phase(c.total)) for c in on_tap)
            load_angle = spanning(phases, "degrees", "angle of the impedance with the work")
        ratio = f"mains over open secondary, within {SECONDARY * 100:g} %"
        if len(t.tap_volts) > 1:
            ratio += f", tap against tap {TAPPING * 100:g} %"
        turns = spanning((c.turns for c in on_tap), "", ratio) if base else None
        return Tap(name, turns, short_primary, short_secondary, working_primary, working_secondary, load_angle)
