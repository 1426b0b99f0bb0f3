"""Compares another pair of electrodes with the present one: current, and heat in the shanks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gen.errors import InputError
from gen.machine.derived import JOINTS_FACTOR, Circuit, MachineCase, circuits
from gen.machine.inductance import Loop, loop_of
from gen.machine.tables import Electrodes, WelderTables
from gen.machine.welder import Welder
from gen.ranges import Figure, spanning
from gen.user_files import Wrong, validated

SIDES = ("upper", "lower")
_FACES = ("face_diameter_mm", "groove_radius_mm")
WARM_FACTOR = (1.0, 1.3)  # resistance of the shanks over that at 20 degC: up to about 100 degC, 0.00393 /K


@dataclass(frozen=True)
class With:
    """The machine on its tap in use with one pair of electrodes."""

    electrodes: Electrodes
    short_secondary: Figure
    working_primary: Figure
    working_secondary: Figure
    shank_resistance: Figure
    """Resistance of both shanks."""
    shank_heat: Figure
    """Heat in both shanks at full current."""


@dataclass(frozen=True)
class Change:
    """Two pairs compared. Each change is taken case by case, so that uncertainties common to both cancel."""

    present: With
    other: With
    primary: Figure
    secondary: Figure
    secondary_percent: Figure
    heat_percent: Figure


@dataclass(frozen=True)
class _Outcome:
    """One case with one pair."""

    short_A: float
    primary_A: float
    secondary_A: float
    shank_ohm: float

    @property
    def heat_W(self) -> float:
        return self.secondary_A**2 * self.shank_ohm


def compare(welder: WelderTables, other: Electrodes) -> Change:
    """The electrodes of the welder file against `other`.

    ValueError if the welder file lacks arms, electrodes or an open secondary voltage.
    """
    if welder.arms is None or welder.electrodes is None or not welder.transformer.tap_volts:
        raise ValueError("to compare electrodes, arms, electrodes and an open secondary voltage must be given")
    frequency_Hz = welder.mains.frequency_Hz
    now, then = (loop_of(welder.arms, e, frequency_Hz) for e in (welder.electrodes, other))
    pairs = [
        (_outcome(welder, case, circuit, now, now), _outcome(welder, case, circuit, now, then))
        for case, circuit in circuits(welder, now)
    ]
    return Change(
        _with(welder.electrodes, [before for before, _ in pairs]),
        _with(other, [after for _, after in pairs]),
        spanning((after.primary_A - before.primary_A for before, after in pairs), "A", "case by case"),
        spanning((after.secondary_A - before.secondary_A for before, after in pairs), "A", "case by case"),
        spanning((100 * (after.secondary_A / before.secondary_A - 1) for before, after in pairs), "%", "case by case"),
        spanning((100 * (after.heat_W / before.heat_W - 1) for before, after in pairs), "%", "case by case"),
    )


def _outcome(welder: WelderTables, case: MachineCase, circuit: Circuit, now: Loop, then: Loop) -> _Outcome:
    warmth = _warmth(case)
    more = complex(
        (then.resistance_ohm - now.resistance_ohm) * warmth,
        (then.reactance_ohm - now.reactance_ohm) * case.reactance,
    )
    more *= circuit.turns**2
    voltage_V = welder.mains.voltage_V
    short_A, primary_A = (voltage_V / abs(z + more) for z in (circuit.short, circuit.total))
    return _Outcome(short_A * circuit.turns, primary_A, primary_A * circuit.turns, then.shank_resistance_ohm * warmth)


def _warmth(case: MachineCase) -> float:
    """Cold where the joints are taken as good, warm where they are taken as poor."""
    share = (case.joints - JOINTS_FACTOR[0]) / (JOINTS_FACTOR[1] - JOINTS_FACTOR[0])
    return WARM_FACTOR[0] + share * (WARM_FACTOR[1] - WARM_FACTOR[0])


def _with(electrodes: Electrodes, outcomes: list[_Outcome]) -> With:
    volts = "V over the impedance"
    return With(
        electrodes,
        spanning((o.short_A for o in outcomes), "A", volts),
        spanning((o.primary_A for o in outcomes), "A", f"{volts} with the work"),
        spanning((o.secondary_A for o in outcomes), "A", "primary current times the turns ratio"),
        spanning((1e6 * o.shank_ohm for o in outcomes), "micro-ohm", "both shanks, cold to about 100 degC"),
        spanning((o.heat_W for o in outcomes), "W", "secondary current squared times the shanks' resistance"),
    )


def compared(welder: Welder, sizes: Mapping[str, Any], path: Path) -> Change:
    """The electrodes of the welder file at `path` against a pair with other `sizes`, by key of [electrodes].

    A key may begin with `upper.` or `lower.`, for that electrode alone.

    Raises InputError where the file lacks a table or key that this needs, or the other pair would not fit.
    """
    for key, there in (("arms", welder.arms), ("electrodes", welder.electrodes)):
        if there is None:
            raise InputError(path, key, None, f"missing; allowed: a table [{key}], which --electrode needs")
    if not welder.transformer.tap_volts:
        allowed = "missing; allowed: this or transformer.taps, which --electrode needs"
        raise InputError(path, "transformer.open_secondary_V", None, allowed)
    return compare(welder, changed_pair(welder, sizes, path))


def changed_pair(welder: Welder, sizes: Mapping[str, Any], path: Path) -> Electrodes:
    """The electrodes of the welder file at `path` with other `sizes`, which `compared` describes.

    Raises InputError where the file has none, or the other pair would not fit.
    """
    if welder.electrodes is None:
        raise InputError(path, "electrodes", None, "missing; allowed: a table [electrodes], which this needs")
    if not sizes:
        return welder.electrodes
    other = _changed(welder.electrodes, sizes)
    try:
        welder.check_fits(other, "")
    except Wrong as error:
        raise InputError("command line", f"--electrode: {error.key}", error.given, str(error)) from None
    return other


def _changed(present: Electrodes, sizes: Mapping[str, Any]) -> Electrodes:
    """The pair with `sizes` in place of its own. Raises InputError.

    A face or groove that is too wide for a thinner bar is left out, unless `sizes` has it.
    """
    pair = [electrode.model_dump(exclude_none=True) for electrode in present.pair]
    asked = {key.rpartition(".")[2] for key in sizes}
    for key, value in sizes.items():
        side, _, own = key.rpartition(".")
        for electrode in pair if not side else [pair[SIDES.index(side)]]:
            for other in _FACES if own in _FACES else ():
                if other not in asked:
                    electrode.pop(other, None)
            electrode[own] = value
    for electrode in pair:
        for own, widths in (("face_diameter_mm", 1), ("groove_radius_mm", 2)):
            if own not in asked and widths * electrode.get(own, 0) > electrode["diameter_mm"]:
                del electrode[own]
    content = pair[0]
    if pair[0] != pair[1]:
        faces = [{own: electrode.pop(own) for own in _FACES if own in electrode} for electrode in pair]
        del pair[1]["offset_mm"]
        content = pair[0] | {"upper": faces[0], "lower": pair[1] | faces[1]}
    return validated(Electrodes, content, Path("command line"), "--electrode: ")
