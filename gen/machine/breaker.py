"""Whether the circuit breaker stays on: its bands are RMS and wide, and between them nobody can say.

IEC 60898-1 (from memory). Magnetic release, in multiples of the rating: B 3 to 5, C 5 to 10, D 10 to 20; at the lower
one it opens no sooner than 0.1 s. Thermal release: never within the conventional time at 1.13, always within it at 1.45
(1 h up to 63 A, 2 h above); at 2.55 after 1 s and within 60 s up to 32 A, 120 s above. Between these fixed points the
bounds are straight lines in logarithms: our interpolation, not the standard's.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from itertools import pairwise

from gen.machine.derived import Machine
from gen.machine.tables import Breaker
from gen.ranges import Figure, shown, spanning

SOURCE = "IEC 60898-1, from memory"
MAGNETIC_BANDS = {"B": (3.0, 5.0), "C": (5.0, 10.0), "D": (10.0, 20.0)}
NON_TRIPPING = 1.13
TRIPPING = 1.45
_AT_255 = 2.55
_SOONEST_MAGNETIC_S = 0.1
_AT_ONCE_S = 0.01  # inside the magnetic band it may open within a half-cycle


class Trip(Enum):
    """What a breaker does under a current."""

    HOLDS = auto()
    MAY_TRIP = auto()
    TRIPS = auto()
    UNKNOWN = auto()


@dataclass(frozen=True)
class Judgement:
    """`figure` in `unit`: up to `holds_to` it holds, and below `trips_from` it need not trip.

    Both limits are nan where nothing is known.
    """

    trip: Trip
    figure: float
    holds_to: float
    trips_from: float
    unit: str
    source: str


def _known(breaker: Breaker | None) -> bool:
    return breaker is not None and breaker.standard == "IEC 60898-1"


def _unknown(figure: float, unit: str, breaker: Breaker | None) -> Judgement:
    why = (
        "the welder file names no breaker"
        if breaker is None
        else "another standard's breaker: its data sheet is not read here"
    )
    return Judgement(Trip.UNKNOWN, figure, math.nan, math.nan, unit, why)


def magnetic_rms_A(breaker: Breaker) -> tuple[float, float]:
    """RMS current that it still lets through for 0.1 s, and that at which it opens at once."""
    low, high = MAGNETIC_BANDS[breaker.characteristic or "B"]
    return low * breaker.rating_A, high * breaker.rating_A


def described(breaker: Breaker | None) -> tuple[str, str]:
    """A breaker in words: its name or rating, and what of its limits is known here."""
    if breaker is None:
        return "not known", "give [breaker]"
    if not _known(breaker):
        return f"{breaker.rating_A:g} A", "of another standard: its limits are not known here"
    low, high = magnetic_rms_A(breaker)
    passes = f"passes {low:g} A RMS for 0.1 s and opens at once from {high:g} A; holds a mean over the pace of"
    return (
        f"{breaker.characteristic}{breaker.rating_A:g}",
        f"{passes} {shown(NON_TRIPPING * breaker.rating_A)} A ({SOURCE})",
    )


def magnetic(breaker: Breaker | None, peak_A: float) -> Judgement:
    """Judge the greatest peak of any half-cycle. The bands are RMS, so the peak is divided by the square root of 2."""
    rms_A = peak_A / math.sqrt(2)
    if breaker is None or not _known(breaker):
        return _unknown(rms_A, "A", breaker)
    low, high = magnetic_rms_A(breaker)
    trip = Trip.HOLDS if rms_A < low else Trip.MAY_TRIP if rms_A < high else Trip.TRIPS
    return Judgement(
        trip, rms_A, low, high, "A", f"{SOURCE}: {breaker.characteristic}{breaker.rating_A:g}, peak / sqrt 2"
    )


def _conventional_s(breaker: Breaker) -> float:
    return 3600.0 if breaker.rating_A <= 63 else 7200.0


def _on_lines(points: Sequence[tuple[float, float]], multiple: float) -> float:
    """Time at a multiple of the rating, on straight lines in logarithms; beyond the last point its time stands."""
    for (m1, t1), (m2, t2) in pairwise(points):
        if multiple <= m2:
            return t1 * math.exp(math.log(t2 / t1) * math.log(multiple / m1) / math.log(m2 / m1))
    return points[-1][1]


def soonest_trip_s(breaker: Breaker, rms_A: float) -> float:
    """No breaker of this kind opens sooner, from cold, at a steady current below the upper magnetic limit."""
    multiple = rms_A / breaker.rating_A
    if multiple < NON_TRIPPING:
        return math.inf
    low = MAGNETIC_BANDS[breaker.characteristic or "B"][0]
    if multiple > low:
        return _AT_ONCE_S
    return _on_lines([(NON_TRIPPING, _conventional_s(breaker)), (_AT_255, 1.0), (low, _SOONEST_MAGNETIC_S)], multiple)


def latest_trip_s(breaker: Breaker, rms_A: float) -> float:
    """Every breaker of this kind has opened by then."""
    multiple = rms_A / breaker.rating_A
    if multiple < TRIPPING:
        return math.inf
    if multiple >= MAGNETIC_BANDS[breaker.characteristic or "B"][1]:
        return _SOONEST_MAGNETIC_S
    at_255_s = 60.0 if breaker.rating_A <= 32 else 120.0
    return _on_lines([(TRIPPING, _conventional_s(breaker)), (_AT_255, at_255_s)], multiple)


def thermal(breaker: Breaker | None, pulses: Sequence[tuple[float, float]], every_s: float) -> Judgement:
    """Judge welds of `pulses`, (RMS amperes, seconds) each, repeated every `every_s` seconds for as long as you like.

    The figure is the share of the bimetal's travel used up: the square of the RMS current over the pace against 1.13
    times the rating, and each pulse's time against the soonest trip at its current, added (our interpolation). Up to 1
    it holds. It trips when the RMS over the pace is 1.45 times the rating or more, or when one pulse outlasts the
    latest trip.
    """
    if breaker is None or not _known(breaker):
        return _unknown(math.nan, "of the way to tripping", breaker)
    rms_A = pace_rms_A(pulses, every_s)
    steady = (rms_A / (NON_TRIPPING * breaker.rating_A)) ** 2
    travel = steady + sum(s / soonest_trip_s(breaker, amperes) for amperes, s in pulses)
    outlasts = any(s >= latest_trip_s(breaker, amperes) for amperes, s in pulses)
    must = outlasts or rms_A >= TRIPPING * breaker.rating_A
    trip = Trip.TRIPS if must else Trip.HOLDS if travel <= 1 else Trip.MAY_TRIP
    name = f"{breaker.characteristic}{breaker.rating_A:g}"
    source = f"{SOURCE}: {name}, 1.13 and 1.45 times the rating; between them our interpolation"
    trips_from = (TRIPPING / NON_TRIPPING) ** 2
    return Judgement(trip, travel, 1.0, trips_from, "of the way to tripping", source)


def pace_rms_A(pulses: Sequence[tuple[float, float]], every_s: float) -> float:
    """RMS current over a pace: what a slow bimetal sees."""
    if every_s <= 0:
        raise ValueError(f"pace of {every_s} s must be above 0")
    return math.sqrt(sum(amperes**2 * s for amperes, s in pulses) / every_s)


def dip(machine: Machine, current_A: Figure, load_angle: Figure) -> Figure:
    """Fall of the outlet's voltage while `current_A` flows, lagging by `load_angle` of the whole circuit, supply and all."""
    voltage_V = machine.voltage_V
    r, x = machine.source_resistance, machine.source_reactance
    volts = [
        voltage_V - abs(voltage_V - cmath.rect(amperes, -math.radians(angle)) * source)
        for amperes in (current_A.low, current_A.high)
        for angle in (load_angle.low, load_angle.middle, load_angle.high)
        for source in (complex(r.low, x.low), complex(r.high, x.high))
    ]
    return spanning(volts, "V", "current times the supply's impedance")
