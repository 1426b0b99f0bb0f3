"""Load angle, resistance and current from what is measured, held against SciPy and published relations."""

from __future__ import annotations

import cmath
import math
from itertools import product

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from gen.measured import (
    ShortedGate,
    Timing,
    load_angle_deg,
    loop_from_delays,
)
from gen.measured.load_angle import LEAST_DEG
from tests.support.one_delay import loop_from_short, work_resistance

VOLTAGE_V = 230.0
FREQUENCY_HZ = 50.0
OMEGA = 2 * math.pi * FREQUENCY_HZ
GRID = [(delay, angle) for delay, angle in product(range(50, 151, 10), range(20, 81, 10)) if delay > angle + 1]


def integrated(delay_deg: float, resistance_ohm: float, reactance_ohm: float) -> tuple[float, float]:
    """(End of conduction in degrees, RMS over a half-cycle) of one half-cycle, by SciPy's solve_ivp from the circuit alone."""
    inductance_H = reactance_ohm / OMEGA
    peak_V = VOLTAGE_V * math.sqrt(2)

    def slope(t: float, y: np.ndarray) -> list[float]:
        current = (peak_V * math.sin(OMEGA * t) - resistance_ohm * y[0]) / inductance_H
        return [current, y[0] ** 2]

    def ended(t: float, y: np.ndarray) -> float:
        return float(y[0]) if t > start + 1e-5 else 1.0

    ended.terminal, ended.direction = True, -1  # type: ignore[attr-defined]
    start = math.radians(delay_deg) / OMEGA
    span = (start, 2 * math.pi / OMEGA)
    solved = solve_ivp(slope, span, [0.0, 0.0], method="DOP853", events=ended, rtol=1e-10, atol=1e-10, max_step=2e-4)
    end_s = float(solved.t_events[0][0])
    return math.degrees(end_s * OMEGA), math.sqrt(float(solved.y_events[0][0][1]) * OMEGA / math.pi)


@pytest.mark.parametrize(("delay", "angle"), GRID)
def test_the_load_angle_of_an_integrated_current(delay: float, angle: float) -> None:
    """Conduction from solve_ivp, which knows neither the closed form nor our roots: the angle is the circuit's own."""
    z = 10.0
    end, _ = integrated(delay, z * math.cos(math.radians(angle)), z * math.sin(math.radians(angle)))
    assert load_angle_deg(delay, end) == pytest.approx(angle, abs=2e-3)


@pytest.mark.parametrize(("delay", "angle"), GRID)
def test_the_load_angle_against_scipys_root(delay: float, angle: float) -> None:
    """The same equation solved for the end, and again for the angle, by brentq."""
    a = math.radians(delay)

    def flowing(b: float, p: float) -> float:
        return math.sin(b - p) - math.sin(a - p) * math.exp(-(b - a) / math.tan(p))

    p = math.radians(angle)
    b = brentq(flowing, math.pi, math.pi + p, args=(p,))
    again = brentq(lambda x: flowing(b, x), math.radians(LEAST_DEG), a - 1e-6)
    assert load_angle_deg(delay, math.degrees(b)) == pytest.approx(math.degrees(again), abs=1e-6)


def test_what_has_no_load_angle() -> None:
    """A current that ends before the voltage does, never ends, or begins after its end gives no inductance."""
    assert load_angle_deg(90, 179) is None
    assert load_angle_deg(90, 270.5) is None
    assert load_angle_deg(90, 80) is None
    assert load_angle_deg(0, 200) is None
    assert load_angle_deg(0.2, 180.1) is None


@pytest.mark.parametrize(("delay", "work_ohm"), list(product((70, 90, 120), (0.6, 2.0, 5.0))))
def test_the_resistance_of_the_work(delay: float, work_ohm: float) -> None:
    """A short and a weld, both integrated by solve_ivp: the difference is the work, the loop what it was made of."""
    loop_ohm, reactance = 2.2, 5.0
    short_end, short_A = integrated(delay, loop_ohm, reactance)
    loop = loop_from_short(Timing(delay, short_end), short_A, VOLTAGE_V)
    assert loop is not None
    assert loop.reactance.value == pytest.approx(reactance, rel=1e-4)
    assert loop.resistance.value == pytest.approx(loop_ohm, rel=1e-4)
    end, _ = integrated(delay, loop_ohm + work_ohm, reactance)
    found = work_resistance(Timing(delay, end), loop)
    assert found is not None
    assert found.value == pytest.approx(work_ohm, rel=5e-4)
    assert found.low == pytest.approx(found.high)


@pytest.mark.parametrize("late_deg", [-1.5, 0.0, 2.0])
def test_several_delays_tell_how_late_the_gates_come(late_deg: float) -> None:
    """Shorts integrated by solve_ivp, each fired so much later than aimed: loop and lateness come out, in their ranges."""
    resistance, reactance = 3.1, 5.0
    gates = []
    for aimed in (90.0, 101.0, 112.0, 122.0, 133.0):
        end, amperes = integrated(aimed + late_deg, resistance, reactance)
        gates.append(ShortedGate(aimed, end - late_deg, amperes))
    found = loop_from_delays(gates, VOLTAGE_V)
    assert found is not None
    assert found.late_deg == pytest.approx(late_deg, abs=0.12)
    ohm, angle = cmath.polar(complex(resistance, reactance))
    for figure, truth in ((found.impedance, ohm), (found.angle, math.degrees(angle))):
        assert figure.middle == pytest.approx(truth, rel=0.01)
        assert figure.low < truth < figure.high
    one = loop_from_short(Timing(gates[0].delay_deg, gates[0].end_deg), gates[0].current_A, VOLTAGE_V)
    assert one is not None
    assert late_deg == 0 or abs(one.resistance.value / resistance - 1) > 0.04  # as one delay takes it for resistance
    assert loop_from_delays(gates[:2], VOLTAGE_V) is None


def test_the_uncertainty_holds_the_truth() -> None:
    """Timings and current off by as much as they may be: the truth stays within what is reported, and only just."""
    rng = np.random.default_rng(16)
    loop_ohm, work_ohm, reactance, delay = 2.2, 2.0, 5.0, 90
    short_end, short_A = integrated(delay, loop_ohm, reactance)
    end, _ = integrated(delay, loop_ohm + work_ohm, reactance)
    widths = []
    for _ in range(200):
        wrong = rng.uniform(-0.3, 0.3, 3)
        current = short_A * (1 + rng.uniform(-0.02, 0.02))
        short = Timing(delay + wrong[0], short_end + wrong[1], 0.3, 0.3)
        loop = loop_from_short(short, current, VOLTAGE_V, 0.0205)
        assert loop is not None
        found = work_resistance(Timing(delay + wrong[0], end + wrong[2], 0.3, 0.3), loop)
        assert found is not None
        assert found.low < work_ohm < found.high
        widths.append(found.relative_error)
    assert max(widths) < 0.5


def test_ten_per_cent_of_the_work_moves_the_end_as_computed_elsewhere() -> None:
    """On a 3 kVA machine 10 % of the work's resistance moves the end by 56 to 82 us (computed outside the project)."""
    z = 230 / 15
    for angle in (35.0, 45.0):
        total = z * math.cos(math.radians(angle))
        reactance = z * math.sin(math.radians(angle))
        work = total / 2
        ends = [integrated(90, total + share * work, reactance)[0] for share in (-0.1, 0.1)]
        moved_us = (ends[0] - ends[1]) / 360 / FREQUENCY_HZ * 1e6 / 2
        assert 50 < moved_us < 90
