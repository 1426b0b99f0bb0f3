"""The circuit breaker against IEC 60898-1 (from memory), and the voltage dip against the standard approximation.

Every fixed point of the standard is tried on both sides. Between them the lines are our interpolation, so only
their order is tested there.
"""

from __future__ import annotations

import math
from typing import Literal

import pytest

from gen.machine.breaker import Trip, dip, latest_trip_s, magnetic, pace_rms_A, soonest_trip_s, thermal
from gen.machine.derived import derive
from gen.machine.tables import Breaker, WelderTables
from gen.ranges import Figure

Letter = Literal["B", "C", "D"]
BANDS: tuple[tuple[Letter, float, float], ...] = (("B", 3, 5), ("C", 5, 10), ("D", 10, 20))


def breaker(letter: Letter = "C", rating_A: float = 20) -> Breaker:
    return Breaker(standard="IEC 60898-1", characteristic=letter, rating_A=rating_A)


@pytest.mark.parametrize(("letter", "low", "high"), BANDS)
def test_magnetic_bands_are_rms(letter: Letter, low: float, high: float) -> None:
    """Instantaneous trip of B 3 to 5, C 5 to 10, D 10 to 20 times the rating, RMS: a peak counts by the square root of 2."""
    for multiple, trip in (
        (0.999 * low, Trip.HOLDS),
        (1.001 * low, Trip.MAY_TRIP),
        (0.999 * high, Trip.MAY_TRIP),
        (high, Trip.TRIPS),
    ):
        found = magnetic(breaker(letter, 16), 16 * multiple * math.sqrt(2) * (1 + 1e-12))
        assert found.trip is trip, multiple
        assert (found.holds_to, found.trips_from) == (16 * low, 16 * high)


@pytest.mark.parametrize("letter", ["B", "C", "D"])
@pytest.mark.parametrize(
    ("rating_A", "conventional_s", "at_255_s"), [(16, 3600, 60), (32, 3600, 60), (40, 3600, 120), (80, 7200, 120)]
)
def test_fixed_points(letter: Letter, rating_A: float, conventional_s: float, at_255_s: float) -> None:
    """1.13: not within the conventional time; 1.45: within it; 2.55: after 1 s and within 60 s (120 s above 32 A)."""
    b = breaker(letter, rating_A)
    assert soonest_trip_s(b, 1.129 * rating_A) == math.inf
    assert soonest_trip_s(b, 1.13 * rating_A) == pytest.approx(conventional_s)
    assert latest_trip_s(b, 1.449 * rating_A) == math.inf
    assert latest_trip_s(b, 1.45 * rating_A) == pytest.approx(conventional_s)
    assert soonest_trip_s(b, 2.55 * rating_A) == pytest.approx(1)
    assert latest_trip_s(b, 2.55 * rating_A) == pytest.approx(at_255_s)


@pytest.mark.parametrize(("letter", "low", "high"), BANDS)
def test_soonest_is_sooner_than_latest(letter: Letter, low: float, high: float) -> None:
    """Both bounds fall with the current and keep their order; at the lower magnetic limit 0.1 s (from memory)."""
    b = breaker(letter)
    assert soonest_trip_s(b, 20 * low) == pytest.approx(0.1)
    multiples = [1.1 + 0.05 * n for n in range(400)]
    for bound in (soonest_trip_s, latest_trip_s):
        times = [bound(b, 20 * m) for m in multiples]
        assert times == sorted(times, reverse=True)
    assert all(soonest_trip_s(b, 20 * m) <= latest_trip_s(b, 20 * m) for m in multiples)
    assert latest_trip_s(b, 20 * high) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("multiple", "seconds", "trip"),
    [
        (1.0, 3000, Trip.HOLDS),
        (2.55, 0.9, Trip.HOLDS),
        (2.55, 1.1, Trip.MAY_TRIP),
        (2.55, 59, Trip.MAY_TRIP),
        (2.55, 61, Trip.TRIPS),
        (4.9, 0.09, Trip.HOLDS),
        (6, 0.05, Trip.MAY_TRIP),
        (10, 0.2, Trip.TRIPS),
    ],
)
def test_one_pulse(multiple: float, seconds: float, trip: Trip) -> None:
    """A single pulse, its rest so long that only its own time counts: C20."""
    assert thermal(breaker(), [(20 * multiple, seconds)], 1e6).trip is trip


@pytest.mark.parametrize(
    ("rms", "trip"), [(1.12, Trip.HOLDS), (1.14, Trip.MAY_TRIP), (1.44, Trip.MAY_TRIP), (1.46, Trip.TRIPS)]
)
def test_pace(rms: float, trip: Trip) -> None:
    """Short pulses, fast enough that their RMS is what the bimetal sees: 1.13 holds for ever, 1.45 trips."""
    every_s = 1e-3 * (2 / rms) ** 2
    assert pace_rms_A([(40, 1e-3)], every_s) == pytest.approx(20 * rms)
    assert thermal(breaker(), [(40, 1e-3)], every_s).trip is trip


def test_heat_of_pace_and_pulse_add() -> None:
    """A pulse that holds on its own may trip a breaker that the pace keeps warm."""
    pulse = (51.0, 0.6)
    assert thermal(breaker(), [pulse], 600).trip is Trip.HOLDS
    assert thermal(breaker(), [pulse], 4.5).trip is Trip.MAY_TRIP
    assert thermal(breaker(), [(51.0, 61.0)], 1e6).figure > thermal(breaker(), [pulse], 600).trips_from
    two = thermal(breaker(), [pulse, pulse], 600)
    assert two.trip is Trip.MAY_TRIP
    assert two.figure == pytest.approx(2 * thermal(breaker(), [pulse], 600).figure)


def test_not_known() -> None:
    """Another standard's breaker, or none named: nothing is claimed."""
    for b in (None, Breaker(standard="other", rating_A=20)):
        assert magnetic(b, 1000).trip is Trip.UNKNOWN
        assert thermal(b, [(1000, 10)], 60).trip is Trip.UNKNOWN
        assert math.isnan(magnetic(b, 1000).holds_to)


def test_dip_at_the_reference_impedance() -> None:
    """16 A at power factor 1 and nil, 0.4 + j0.25 ohm: R I and X I nearly (IEC 61000-3-3's relation, from memory)."""
    tables = {
        "mains": {"voltage_V": 230, "frequency_Hz": 50, "source_resistance_ohm": 0.4, "source_inductance_mH": 0.7958},
        "transformer": {"rating_kVA": 3, "rating_duty_percent": 50, "working_current_A": 20},
        "force": {"source": "hand"},
        "board": {"name": "pico"},
    }
    machine = derive(WelderTables.model_validate(tables))
    for angle, volts in ((0, 0.4 * 16), (90, 0.25 * 16)):
        found = dip(machine, Figure(16, 16, "A", ""), Figure(angle, angle, "degrees", ""))
        assert (found.low, found.high) == pytest.approx((0.85 * volts, 1.15 * volts), rel=0.03)
