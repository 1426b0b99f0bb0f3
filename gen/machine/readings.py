"""What the owner's few readings allow: the circuit of every combination of what is not known exactly.

One linear circuit, seen from the primary: the supply's impedance, the transformer's leakage and windings, the secondary
loop, and the work's resistance. With the electrodes shorted V / I is the size of the first three together; its angle is
not known, but a stated range, narrowed by what the supply and the arms are known to have.
"""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

from gen.machine.loop import STEEL_FACTOR, Loop
from gen.machine.tables import Mains, Transformer, WelderTables

# Typical values: common practice, no source, unless it says otherwise.
REFERENCE_OHM = complex(
    0.4, 0.25
)  # IEC 60725 reference impedance, single phase at 50 Hz, from memory; few outlets have more
REFERENCE_SPREAD = (0.25, 1.0)
REFERENCE_DROP = 0.1  # no outlet for such a machine drops more: a larger machine is taken to have a stiffer supply
SHORT_ANGLE_DEG = (45.0, 75.0)
WORK_UOHM = (100.0, 300.0)  # steel between the electrodes, mean over the weld
WORK_SHARE = (
    0.2,
    0.8,
)  # of the short-circuit impedance, or of the resistance not accounted for, where no turns are known
JOINTS_FACTOR = (1.0, 2.0)  # resistance of arms with their joints, warm, against cold copper without

# Uncertainty of what was read.
CLAMP = 0.03
SECONDARY = 0.02
TAPPING = 0.01  # one tap against another
SOURCE = 0.15
GEOMETRY = 0.1

_EIGHTHS = tuple(n / 8 for n in range(9))


@dataclass(frozen=True)
class MachineCase:
    """One combination of what is not known exactly: factors on readings, and `angle` from 0 to 1 within its range."""

    source: float
    shorted: float
    working: float
    secondary: float
    tapping: float
    reactance: float
    joints: float
    work: float
    angle: float


@dataclass(frozen=True)
class Circuit:
    """The circuit of one case, ohms on the primary of the tap in use; `work_ohm` is what the work adds."""

    source: complex
    leakage: complex
    loop: complex
    work_ohm: float
    turns: float  # 0 where not known

    @property
    def short(self) -> complex:
        return self.source + self.leakage + self.loop

    @property
    def total(self) -> complex:
        return self.short + self.work_ohm

    def on_tap(self, turns: float) -> Circuit:
        """The same machine with another turns ratio: all but the supply goes with its square."""
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
    """Every combination of the ends of what is uncertain, and of the eighths of the angle."""
    return itertools.starmap(MachineCase, itertools.product(*ends(welder, loop), _EIGHTHS))


def ends(welder: WelderTables, loop: Loop | None) -> tuple[tuple[float, ...], ...]:
    """The ends of each of a case's factors but the angle, in the order of `MachineCase`; one where it is known exactly."""
    t = welder.transformer
    steel = STEEL_FACTOR if welder.arms and welder.arms.steel_in_throat else (1.0, 1.0)
    one = (1.0,)
    by_turns = bool(t.tap_volts) and t.shorted_current_A is not None
    return (
        _about(SOURCE) if source_given(welder.mains) else REFERENCE_SPREAD,
        _about(CLAMP) if t.shorted_current_A else one,
        _about(CLAMP) if working_given(t) else one,
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


def source_given(mains: Mains) -> bool:
    """Whether the file gives anything of the supply's impedance."""
    return mains.source_resistance_ohm is not None or mains.source_inductance_mH is not None


def source_ohm(mains: Mains, transformer: Transformer) -> complex:
    """The supply's impedance as given, or the most that is typical."""
    most_A = transformer.working_current_A if working_given(transformer) else transformer.shorted_current_A or 1.0
    scale = min(1.0, REFERENCE_DROP * mains.voltage_V / most_A / abs(REFERENCE_OHM))
    r, x = scale * REFERENCE_OHM.real, scale * REFERENCE_OHM.imag * mains.frequency_Hz / 50
    if mains.source_resistance_ohm is not None:
        r = mains.source_resistance_ohm
    if mains.source_inductance_mH is not None:
        x = 2 * math.pi * mains.frequency_Hz * mains.source_inductance_mH * 1e-3
    return complex(r, x)


def turns_on(welder: WelderTables, tap: str | None, case: MachineCase | None = None) -> float:
    """Turns ratio of a tap (None: the one in use), as read or in one case; 0 where no open secondary voltage is known."""
    volts = welder.transformer.tap_volts
    if not volts:
        return 0.0
    in_use = next(iter(volts))
    tap = tap if tap in volts else in_use
    turns = welder.mains.voltage_V / volts[tap]
    if case is None:
        return turns
    return turns / case.secondary * (case.tapping if tap != (welder.transformer.shorted_tap or in_use) else 1.0)


def referred(loop: Loop | None, case: MachineCase, turns: float) -> complex:
    """The loop's impedance as the primary sees it; 0 where it is not known."""
    if loop is None or not turns:
        return 0j
    return complex(loop.resistance_ohm * case.joints, loop.reactance_ohm * case.reactance) * turns**2


def circuit_of(welder: WelderTables, loop: Loop | None, case: MachineCase) -> Circuit:
    """The circuit of one case, which may lie anywhere between the ends. Raises Impossible."""
    t, voltage_V = welder.transformer, welder.mains.voltage_V
    source = source_ohm(welder.mains, t) * case.source
    turns = turns_on(welder, None, case)
    if t.shorted_current_A is None:
        known = source + referred(loop, case, turns)
        z = voltage_V / (t.working_current_A * case.working)
        total = cmath.rect(z, _angle(known, z, *load_angles(t), case.angle))
        work = case.work * (total.real - known.real)
        return Circuit(source, total - work - known, known - source, work, turns)
    at_short = turns_on(welder, t.shorted_tap, case)
    known = source + referred(loop, case, at_short)
    z = voltage_V / (t.shorted_current_A * case.shorted)
    short = cmath.rect(z, _angle(known, z, *SHORT_ANGLE_DEG, True, case.angle))
    shorted = Circuit(source, short - known, known - source, 0.0, at_short).on_tap(turns)
    if working_given(t):
        z = voltage_V / (t.working_current_A * case.working)
        if z <= abs(shorted.short) or z <= shorted.short.imag:
            raise Impossible
        work = math.sqrt(z**2 - shorted.short.imag**2) - shorted.short.real
    else:
        work = case.work * 1e-6 * turns**2 if turns else case.work * abs(shorted.short)
    return Circuit(source, shorted.leakage, shorted.loop, work, turns)


def load_angles(t: Transformer) -> tuple[float, float, bool]:
    """Range of the load angle from the welder file, and whether it is only typical."""
    typical = not {"load_angle_min_deg", "load_angle_max_deg"} & t.model_fields_set
    return t.load_angle_min_deg, t.load_angle_max_deg, typical


def _angle(known: complex, z: float, low_deg: float, high_deg: float, typical: bool, share: float) -> float:
    """Angle of an impedance of size `z` that contains `known`, `share` of the way through its range; radians.

    A range that is only typical gives way to what is known. Raises Impossible.
    """
    if abs(known) > z:
        raise Impossible
    least, most = math.asin(known.imag / z), math.acos(known.real / z)
    low, high = math.radians(low_deg), math.radians(high_deg)
    if not typical and (low > most or high < least):
        raise Impossible
    low, high = min(max(low, least), most), max(min(high, most), least)
    return low + share * (high - low)
