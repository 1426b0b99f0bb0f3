"""Whether the circuit breaker holds. Its tripping bands are RMS and wide; within a band it may trip or not.

IEC 60898-1 (from memory). Magnetic release, in multiples of the rating: B 3 to 5, C 5 to 10, D 10 to 20; at the lower
one it opens no sooner than 0.1 s, at the upper one within 0.1 s. Thermal release, at 30 degC: never within the
conventional time at 1.13, always within it at 1.45 (1 h up to 63 A, 2 h above); at 2.55 after 1 s and within 60 s up to
32 A, 120 s above.

UL 489 (from memory), North America. At 40 degC it carries its rating without end; at 25 degC it opens within 1 h at 1.35
times (2 h above 50 A) and within 2 min at 2 times (30 A; 4 min to 50 A, 6 to 100, 8 above). The standard sets neither the
earliest opening nor the instantaneous band. At least 10 s at 2 times and 3 s at 3 times are common practice by makers'
published curves, no source. The instantaneous band is used only if the welder file gives it.

Between these fixed points the standards promise nothing. A breaker is said to hold if no bimetal that passes all of them
would trip, whatever its time constants. It is said to open if the slowest one would have opened.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from gen.machine.derived import Machine
from gen.machine.tables import Breaker
from gen.ranges import Figure, shown, spanning

MAGNETIC_BANDS = {"B": (3.0, 5.0), "C": (5.0, 10.0), "D": (10.0, 20.0)}
NON_TRIPPING = 1.13
_LATEST_MAGNETIC_S = 0.1
LESS_PER_K = 0.006  # loss of rating in warmer air (makers' tables, common practice, no source)
_TIME_CONSTANTS_S = np.geomspace(1e-2, 1e6, 241)  # time constants of a bimetal, from a half-cycle to days
_SIMPLEX_ROUNDS = 200
_SIMPLEX_ROUNDING = 1e-12  # a gain counts as 0 below this share of the greatest


class Trip(Enum):
    """The response of a breaker to a current."""

    HOLDS = auto()
    MAY_TRIP = auto()
    TRIPS = auto()
    UNKNOWN = auto()


@dataclass(frozen=True)
class Judgement:
    """A figure against a breaker's limits, all in `unit`."""

    trip: Trip
    figure: float
    holds_to: float
    """Up to here the breaker holds; nan where it is not known."""
    trips_from: float
    """The multiple from which it must trip; nan if not known."""
    unit: str
    source: str
    wanted: str = ""
    """The keys to give if the limits are not known."""


@dataclass(frozen=True)
class MakersCurve:
    """The limits of one breaker by standard and maker. Multiples are of its rating."""

    name: str
    source: str
    never: float
    """The multiple that it holds without tripping at `reference_C`."""
    holds: tuple[tuple[float, float], ...]
    """(Multiple, seconds) before which it does not open."""
    opens: tuple[tuple[float, float], ...]
    """(Multiple, seconds) within which it opens, lowest multiple first."""
    instant_A: tuple[float, float] | None
    """RMS amperes up to which it does not open at once, and from which it does. None where not known."""
    reference_C: float


def curve_of(breaker: Breaker | None) -> MakersCurve | None:
    """The promised curve of this breaker; None where the file names no breaker, or one of another standard."""
    if breaker is None or breaker.standard == "other":
        return None
    return _iec_60898(breaker) if breaker.standard == "IEC 60898-1" else _ul_489(breaker)


def _iec_60898(breaker: Breaker) -> MakersCurve:
    rating_A = breaker.rating_A
    low, high = MAGNETIC_BANDS[breaker.characteristic or "B"]
    return MakersCurve(
        f"{breaker.characteristic}{rating_A:g}",
        "IEC 60898-1, from memory",
        NON_TRIPPING,
        ((2.55, 1.0), (low, 0.1)),
        ((1.45, 3600.0 if rating_A <= 63 else 7200.0), (2.55, 60.0 if rating_A <= 32 else 120.0)),
        (low * rating_A, high * rating_A),
        30.0,
    )


def _ul_489(breaker: Breaker) -> MakersCurve:
    rating_A, low_A, high_A = breaker.rating_A, breaker.instantaneous_from_A, breaker.instantaneous_to_A
    at_twice_s = next((s for most_A, s in ((30, 120.0), (50, 240.0), (100, 360.0)) if rating_A <= most_A), 480.0)
    return MakersCurve(
        f"{rating_A:g} A breaker",
        "UL 489, from memory",
        1.0,
        ((2.0, 10.0), (3.0, 3.0)),
        ((1.35, 3600.0 if rating_A <= 50 else 7200.0), (2.0, at_twice_s)),
        None if low_A is None or high_A is None else (low_A, high_A),
        40.0,
    )


_NAME_IT = "Name the breaker in the welder file: [breaker] characteristic and rating_A, as printed on it."
_READ_ITS_BAND = (
    "Read the instantaneous band off the maker's trip curve for this breaker, and give breaker.instantaneous_from_A and "
    "instantaneous_to_A."
)


def _unknown(figure: float, unit: str, breaker: Breaker | None) -> Judgement:
    if breaker is None:
        why, wanted = "the welder file names no breaker", _NAME_IT
    elif breaker.standard == "UL 489":
        why, wanted = "UL 489 sets no instantaneous band, and the welder file gives none", _READ_ITS_BAND
    else:
        why, wanted = "another standard's breaker: its data sheet is not read here", _NAME_IT
    return Judgement(Trip.UNKNOWN, figure, math.nan, math.nan, unit, why, wanted)


def described(breaker: Breaker | None) -> tuple[str, str]:
    """A breaker in words: its name or rating, and its known limits."""
    curve = curve_of(breaker)
    if breaker is None:
        return "not known", "give [breaker]"
    if curve is None:
        return f"{breaker.rating_A:g} A", "of another standard: its limits are not known here"
    passes = "its instantaneous band is not known"
    if curve.instant_A is not None:
        passes = f"passes {curve.instant_A[0]:g} A RMS for 0.1 s and opens at once from {curve.instant_A[1]:g} A"
    mean_A = shown(curve.never * holding_rating_A(breaker))
    return curve.name, f"{passes}; holds a mean over the pace of {mean_A} A ({curve.source})"


def magnetic(breaker: Breaker | None, peak_A: float) -> Judgement:
    """Judge the greatest peak of any half-cycle. The bands are RMS, so the peak is divided by the square root of 2."""
    rms_A, curve = peak_A / math.sqrt(2), curve_of(breaker)
    if curve is None or curve.instant_A is None:
        return _unknown(rms_A, "A", breaker)
    low, high = curve.instant_A
    trip = Trip.HOLDS if rms_A < low else Trip.MAY_TRIP if rms_A < high else Trip.TRIPS
    return Judgement(trip, rms_A, low, high, "A", f"{curve.source}: {curve.name}, peak / sqrt 2")


def holding_rating_A(breaker: Breaker) -> float:
    """The rating for currents that it must hold: lower in a panel warmer than its standard's reference air."""
    curve = curve_of(breaker)
    warmer_K = max(0.0, breaker.panel_temperature_C - curve.reference_C) if curve else 0.0
    return breaker.rating_A * (1 - LESS_PER_K * warmer_K)


def quickest_travel(breaker: Breaker, pulses: Sequence[tuple[float, float]], every_s: float) -> float:
    """The greatest deflection of any bimetal of this kind, over the one that trips; up to 1 none trips.

    `pulses` are (RMS amperes, seconds), repeated every `every_s` seconds without end. They are taken to follow one another
    without a gap, the worst case. Other loads of the circuit flow all the time, in phase.

    A bimetal is modelled as a sum of first-order lags that heat with the square of the current. A linear programme in the
    weights of the lags finds the sum that deflects most, among those that pass the standard's fixed points.
    ValueError where the curve is not known.
    """
    curve = curve_of(breaker)
    if curve is None:
        raise ValueError("nothing is known of a breaker of this standard")
    tau, rating_A, other_A = _TIME_CONSTANTS_S, holding_rating_A(breaker), breaker.other_load_A
    fixed_points = np.array(
        [
            np.full_like(tau, curve.never**2),
            *(multiple**2 * -np.expm1(-seconds / tau) for multiple, seconds in curve.holds),
        ]
    )
    standing = (other_A / rating_A) ** 2
    above = [(((amperes + other_A) / rating_A) ** 2 - standing, s) for amperes, s in pulses]
    heat, bends = np.zeros_like(tau), []
    for squares, seconds in above:
        kept = np.exp(-seconds / tau)
        heat = heat * kept + squares * (1 - kept)
        bends.append(heat)
    rest_s = max(0.0, every_s - sum(s for _, s in above))
    period_s = rest_s + sum(s for _, s in above)
    residual = heat * np.exp(-rest_s / tau) / -np.expm1(-period_s / tau)  # from all earlier welds, as a weld begins
    most, passed = 0.0, 0.0
    for bend, (_, seconds) in zip(bends, above, strict=True):
        passed += seconds
        response = standing + bend + residual * np.exp(-passed / tau)
        most = max(most, most_gain(response, fixed_points))
    return max(most, standing / curve.never**2)


def most_gain(gain: NDArray[np.float64], uses: NDArray[np.float64]) -> float:
    """The greatest gain @ weights with weights of at least 0 and uses @ weights of at most 1, by the simplex method.

    It is enough for a few rows; scipy.optimize.linprog takes longer to import than a whole command to run.
    """
    rows = len(uses)
    columns, price = np.hstack((uses, np.eye(rows))), np.append(gain, np.zeros(rows))
    basis = list(range(len(gain), len(price)))  # of slack alone, which is feasible
    for _ in range(_SIMPLEX_ROUNDS):
        inside = columns[:, basis]
        saved = price - np.linalg.solve(inside.T, price[basis]) @ columns
        entering = int(np.argmax(saved))
        amounts = np.linalg.solve(inside, np.ones(rows))
        if saved[entering] <= _SIMPLEX_ROUNDING * max(1.0, float(np.max(price))):
            return float(price[basis] @ amounts)
        change = np.linalg.solve(inside, columns[:, entering])
        steps = np.where(change > 0, amounts / np.where(change > 0, change, 1.0), np.inf)
        basis[int(np.argmin(steps))] = entering
    raise ArithmeticError("the quickest bimetal was not found")


def latest_trip_s(breaker: Breaker, rms_A: float) -> float:
    """The time by which every breaker of this kind has opened: that of the highest fixed point at or below this current."""
    curve = curve_of(breaker)
    if curve is None:
        return math.inf
    if curve.instant_A is not None and rms_A >= curve.instant_A[1]:
        return _LATEST_MAGNETIC_S
    passed = [seconds for multiple, seconds in curve.opens if rms_A / breaker.rating_A >= multiple]
    return min(passed, default=math.inf)


def most_let_through(breaker: Breaker, least_A: float, most_A: float) -> tuple[float, float, float]:
    """The greatest I2t of a fault between these RMS currents, with the slowest breaker of this kind: (A2s, A, s)."""
    curve = curve_of(breaker)
    steps = [least_A, most_A, *(multiple * breaker.rating_A for multiple, _ in (curve.opens[1:] if curve else ()))]
    if curve is not None and curve.instant_A is not None:
        steps += [math.nextafter(curve.instant_A[1], 0.0), curve.instant_A[1]]
    inside = [amperes for amperes in steps if least_A <= amperes <= most_A]
    return max(
        (amperes**2 * latest_trip_s(breaker, amperes), amperes, latest_trip_s(breaker, amperes)) for amperes in inside
    )


def thermal(breaker: Breaker | None, pulses: Sequence[tuple[float, float]], every_s: float) -> Judgement:
    """Judge welds of `pulses`, (RMS amperes, seconds) each, repeated every `every_s` seconds without end.

    The figure is `quickest_travel`: up to 1 the breaker holds. It must trip if the RMS over the pace reaches the current
    at which its standard demands opening, or if one pulse outlasts the latest trip.
    """
    curve = curve_of(breaker)
    if breaker is None or curve is None:
        return _unknown(math.nan, "of the way to tripping", breaker)
    rms_A = pace_rms_A(pulses, every_s)
    travel = quickest_travel(breaker, pulses, every_s)
    most_A = max((amperes for amperes, _ in pulses), default=0.0) + breaker.other_load_A
    within = curve.instant_A is None or most_A <= curve.instant_A[0]  # `magnetic` reports an unknown band
    outlasts = any(s >= latest_trip_s(breaker, amperes) for amperes, s in pulses)
    tripping = curve.opens[0][0]
    must = outlasts or rms_A >= tripping * breaker.rating_A
    trip = Trip.TRIPS if must else Trip.HOLDS if travel <= 1 and within else Trip.MAY_TRIP
    others = f" with {shown(breaker.other_load_A)} A of other loads" if breaker.other_load_A else ", no other load"
    source = f"{curve.source}: {curve.name} at {breaker.panel_temperature_C:g} C{others}, the quickest of its kind"
    return Judgement(trip, travel, 1.0, (tripping / curve.never) ** 2, "of the way to tripping", source)


def pace_rms_A(pulses: Sequence[tuple[float, float]], every_s: float) -> float:
    """RMS current over a pace, by which a slow bimetal trips."""
    if every_s <= 0:
        raise ValueError(f"pace of {every_s} s must be above 0")
    return math.sqrt(sum(amperes**2 * s for amperes, s in pulses) / every_s)


def dip(machine: Machine, current_A: Figure, load_angle: Figure) -> Figure:
    """Fall of the outlet's voltage under `current_A`. `load_angle` is of the whole circuit, the supply included."""
    voltage_V = machine.voltage_V
    r, x = machine.source_resistance, machine.source_reactance
    volts = [
        voltage_V - abs(voltage_V - cmath.rect(amperes, -math.radians(angle)) * source)
        for amperes in (current_A.low, current_A.high)
        for angle in (load_angle.low, load_angle.middle, load_angle.high)
        for source in (complex(r.low, x.low), complex(r.high, x.high))
    ]
    return spanning(volts, "V", "current times the supply's impedance")
