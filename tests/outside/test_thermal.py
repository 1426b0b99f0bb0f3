"""Junction, case and sink and the answers about them, against textbook formulas, SciPy and patient stepping."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from sim.thermal import (
    Cooling,
    FosterTerm,
    LinearNetwork,
    NodeRow,
    OnState,
    PowerProfile,
    Segment,
    alternating,
    alternating_slices,
    cyclic_state,
    equilibrium,
    fastest_safe_pace,
    forecast,
    foster_network,
    loss_slices,
    nth_cycle,
    rest_after_burst_s,
    row_network,
    state_after,
    switch_network,
    time_to_limit_s,
)

# Invented, of the size of a 100 A module's data sheet.
LADDER = (FosterTerm(0.02, 0.0015), FosterTerm(0.1, 0.02), FosterTerm(0.2, 0.25), FosterTerm(0.13, 1.5))
COOLING = Cooling(0.1, 0.8, 300, 30)
HALF_S = 0.01
WELD = alternating(0.2, HALF_S, [120.0] * 40)


def stepped(network: LinearNetwork, profile: PowerProfile, period_s: float, state: np.ndarray) -> np.ndarray:
    """One period by `step` alone, interval by interval."""
    time_s = 0.0
    nothing = np.zeros(len(network.inputs))
    for s in profile.segments:
        state = network.step(network.step(state, nothing, s.start_s - time_s), s.inputs, s.length_s)
        time_s = s.end_s
    return network.step(state, nothing, period_s - time_s)


def linear(step: Callable[[np.ndarray], np.ndarray], modes: int) -> Callable[[np.ndarray], np.ndarray]:
    """The same, which is linear in the state, by what it makes of nothing and of each mode alone: for a great many steps."""
    of_none = step(np.zeros(modes))
    matrix = np.array([step(mode) - of_none for mode in np.eye(modes)]).T
    return lambda state: matrix @ state + of_none


# The junction


@pytest.mark.parametrize("time_s", [1e-4, 0.01, 0.5, 20.0])
def test_junction_step_is_the_data_sheets_impedance(time_s: float) -> None:
    """Z(t) = sum R (1 - exp(-t / tau)): the form in which every data sheet gives it (IEC 60747-6, from memory)."""
    network = foster_network(LADDER, case_degC=60)
    junction = network.temperatures_degC(network.step(network.cold, [50.0], time_s), [50.0])[0]
    expected = 60 + 50 * sum(t.resistance_K_per_W * (1 - math.exp(-time_s / t.time_constant_s)) for t in LADDER)
    assert junction == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("pulses", [1, 7, 500])
def test_junction_after_a_pulse_train(pulses: int) -> None:
    """P sum R (1 - e^(-tp/tau)) (1 - e^(-nT/tau)) / (1 - e^(-T/tau)) (Semikron Application Manual, from memory)."""
    power, on_s, period_s = 80.0, 0.01, 0.02
    expected = sum(
        power * t.resistance_K_per_W * (1 - math.exp(-on_s / t.time_constant_s))
        * (1 - math.exp(-pulses * period_s / t.time_constant_s)) / (1 - math.exp(-period_s / t.time_constant_s))
        for t in LADDER
    )  # fmt: skip
    network, one = foster_network(LADDER), PowerProfile.of([(0, on_s, power)])
    assert nth_cycle(network, one, period_s, pulses, "junction").peak_degC == pytest.approx(expected, rel=1e-9)
    train = PowerProfile.of((n * period_s, on_s, power) for n in range(pulses))
    assert nth_cycle(network, train, 60, 1, "junction").peak_degC == pytest.approx(expected, rel=1e-9)


def test_junction_against_scipy_lsim() -> None:
    """An irregular weld of 30 pulses against scipy.signal.lsim with the input held between samples."""
    from scipy.signal import lsim  # takes long to read, and one worker needs it

    rng = np.random.default_rng(3)
    powers = rng.uniform(0, 200, 60) * (rng.uniform(size=60) > 0.4)
    a = np.diag([-1 / t.time_constant_s for t in LADDER])
    b = np.array([[t.resistance_K_per_W / t.time_constant_s] for t in LADDER])
    times = np.arange(61) * HALF_S
    system = (a, b, np.ones((1, 4)), np.zeros((1, 1)))
    _, response, _ = lsim(system, np.append(powers, 0.0), times, interp=False)
    profile = PowerProfile.of((n * HALF_S, HALF_S, float(p)) for n, p in enumerate(powers) if p)
    cycle = nth_cycle(foster_network(LADDER), profile, 0.6, 1, "junction")
    assert cycle.end_degC == pytest.approx(response[-1], rel=1e-9)
    assert cycle.peak_degC == pytest.approx(response.max(), rel=1e-9)


def test_sliced_half_sine_against_solve_ivp() -> None:
    """Under V0 |i| + r i^2 of a half-sine, against scipy's solve_ivp: twelve slices come within 1 %."""
    on, peak_A = OnState(0.9, 0.003), 150.0

    def current(time_s: float) -> float:
        return peak_A * math.sin(math.pi * time_s / HALF_S)

    def slope(time_s: float, y: np.ndarray) -> list[float]:
        loss = on.threshold_V * abs(current(time_s)) + on.slope_ohm * current(time_s) ** 2
        return [(t.resistance_K_per_W * loss - v) / t.time_constant_s for t, v in zip(LADDER, y, strict=True)]

    exact = solve_ivp(slope, (0, HALF_S), [0.0] * 4, rtol=1e-9, atol=1e-12, max_step=1e-4)
    sliced = nth_cycle(foster_network(LADDER), PowerProfile.of(loss_slices(on, current, 0, HALF_S)), 1.0, 1, "junction")
    assert sliced.peak_degC == pytest.approx(exact.y.sum(axis=0).max(), rel=0.01)
    uniform = PowerProfile.of([(0, HALF_S, on.loss_W(2 / math.pi * peak_A, peak_A / math.sqrt(2)))])
    at_end = nth_cycle(foster_network(LADDER), uniform, 1.0, 1, "junction").peak_degC
    assert 0.75 * sliced.peak_degC < at_end < sliced.peak_degC  # the uniform pulse is on the low side for fast terms


def test_slices_against_even_half_cycles_at_equilibrium() -> None:
    """No source: what judging at the end of even half-cycles leaves out, so that nobody takes it for exact."""
    network, on, peak_A = switch_network(LADDER, COOLING), OnState(0.9, 0.003), 150.0

    def current(time_s: float) -> float:
        return peak_A * math.sin(math.pi * time_s / HALF_S)

    even = alternating(0, HALF_S, [on.loss_W(2 / math.pi * peak_A, peak_A / math.sqrt(2))] * 40)
    one = loss_slices(on, current, 0, HALF_S)
    sliced = alternating_slices([[(n * HALF_S + s, length, w) for s, length, w in one] for n in range(40)])
    rough, fine = (equilibrium(network, weld, 2.0, "junction_2") for weld in (even, sliced))
    assert fine.mean_degC == pytest.approx(rough.mean_degC, rel=1e-3)
    assert 0.1 < (fine.peak_degC - rough.peak_degC) / (fine.peak_degC - 30) < 0.2
    assert 0.39 < fine.peak_at_s < 0.4


def test_loss_of_a_half_sine() -> None:
    """V0 * mean + r * rms^2; for a half-sine of peak I it is V0 2 I / pi + r I^2 / 2 (thyristor data books)."""
    on = OnState(0.85, 0.0032)
    slices = loss_slices(on, lambda t: 200 * math.sin(math.pi * t / HALF_S), 0, HALF_S, 40)
    mean = sum(length * power for _, length, power in slices) / HALF_S
    assert mean == pytest.approx(0.85 * 400 / math.pi + 0.0032 * 20000, rel=1e-6)
    assert on.loss_W(400 / math.pi, 200 / math.sqrt(2)) == pytest.approx(mean, rel=1e-6)


@pytest.mark.parametrize("term", [FosterTerm(-0.01, 0.1), FosterTerm(0.01, -0.1), FosterTerm(0.0, 0.1)])
def test_negative_terms_are_refused(term: FosterTerm) -> None:
    """A Foster ladder of a passive device has positive terms only (Foster's theorem)."""
    with pytest.raises(ValueError, match="above zero"):
        foster_network([*LADDER, term])


# Case and sink


@pytest.mark.parametrize("case_J_per_K", [None, 40.0])
def test_junction_stands_on_the_case_and_no_heat_passes_its_ladder(case_J_per_K: float | None) -> None:
    """Junction less case is the ladder's own response, whatever the sink (Foster nodes are no temperatures)."""
    network = switch_network(LADDER, Cooling(0.1, 0.8, 300, 30, case_J_per_K))
    junction = foster_network(LADDER)
    state, alone = network.cold, junction.cold
    for power, dt in [(100.0, 0.01), (0.0, 0.3), (250.0, 2.0)]:
        state, alone = network.step(state, [power, 70.0], dt), junction.step(alone, [power], dt)
        j1, _, case, _ = network.temperatures_degC(state, [power, 70.0])
        assert j1 - case == pytest.approx(junction.temperatures_degC(alone, [power])[0], abs=1e-9)


def test_sink_at_steady_loss() -> None:
    """Sink = Ta + P Rsa, case = sink + P Rcs, junction = case + P1 Rjc (any thyristor data book)."""
    network = switch_network(LADDER, Cooling(0.1, 0.8, 300, 30, 40.0))
    j1, j2, case, sink = network.temperatures_degC(network.steady([60.0, 40.0]), [60.0, 40.0])
    assert (sink, case, j1, j2) == pytest.approx((110, 120, 120 + 60 * 0.45, 120 + 40 * 0.45))


def test_modes_against_the_matrix_exponential() -> None:
    """A random row of seven nodes against scipy.linalg.expm of its matrices."""
    rng = np.random.default_rng(1)
    capacity, ambient = rng.uniform(0.1, 100, 7), rng.uniform(0, 2, 7)
    links = rng.uniform(0, 3, 6)
    shares = rng.uniform(size=(7, 2))
    each = {str(n): (np.eye(7)[n], (0, 0)) for n in range(7)}
    network = row_network(NodeRow(capacity, links, ambient), {"a": shares[:, 0], "b": shares[:, 1]}, each, 0)
    full = np.zeros((9, 9))
    full[:7, :7] = -np.diag(ambient)
    for i, g in enumerate(links):
        full[[i, i + 1], [i, i + 1]] -= g
        full[[i, i + 1], [i + 1, i]] += g
    full[:7, 7:] = shares
    full[:7] /= capacity[:, None]
    for dt in (0.01, 3.0, 400.0):
        expected = (expm(full * dt) @ np.concatenate((np.zeros(7), [5.0, 2.0])))[:7]
        got = network.temperatures_degC(network.step(network.cold, [5.0, 2.0], dt), [5.0, 2.0])
        assert got == pytest.approx(expected, rel=1e-8)


# Answers


def test_cyclic_state_against_many_cycles() -> None:
    """(I - Phi)^-1 g against 3000 cycles of 81 steps each."""
    network = switch_network(LADDER, COOLING)
    state = network.cold
    cycle = linear(partial(stepped, network, WELD, 2.0), len(state))
    for _ in range(3000):
        state = cycle(state)
    assert cyclic_state(network, WELD, 2.0) == pytest.approx(state, rel=1e-6)
    assert stepped(network, WELD, 2.0, cyclic_state(network, WELD, 2.0)) == pytest.approx(state, rel=1e-6)


def test_state_after_a_burst_against_stepping() -> None:
    """The geometric series against stepping 23 welds."""
    network = switch_network(LADDER, COOLING)
    state = network.cold
    for _ in range(23):
        state = stepped(network, WELD, 1.7, state)
    assert state_after(network, WELD, 1.7, 23) == pytest.approx(state, rel=1e-10)


def test_forecast_and_mean_against_solve_ivp() -> None:
    """Weld 5, weld 25 and a late one, with their means, by scipy's solve_ivp on the nodes of case and sink."""
    cooling = Cooling(0.2, 0.9, 60, 25, 15.0)
    network = switch_network(LADDER, cooling)
    weld = PowerProfile((Segment(0.0, 1.0, (90.0, 90.0)),))

    def slope(on: float) -> object:
        def of(_: float, y: np.ndarray) -> list[float]:
            through = (y[0] - y[1]) / cooling.case_to_sink_K_per_W
            return [(180 * on - through) / 15.0, (through - y[1] / cooling.sink_to_ambient_K_per_W) / 60, y[0]]

        return of

    y, cases = [0.0, 0.0, 0.0], []
    for _ in range(400):
        y[2] = 0.0
        hot = solve_ivp(slope(1.0), (0, 1), y, rtol=1e-9, atol=1e-10).y[:, -1]
        y = list(solve_ivp(slope(0.0), (0, 2), hot, rtol=1e-9, atol=1e-10).y[:, -1])
        cases.append((25 + hot[0], 25 + y[2] / 3))
    answer = forecast(network, weld, 3.0, 5, "case")
    for cycle, (peak, mean) in zip(
        (answer.now, answer.minute_later, answer.equilibrium), (cases[4], cases[24], cases[-1]), strict=True
    ):
        assert (cycle.peak_degC, cycle.mean_degC) == pytest.approx((peak, mean), rel=1e-6)
        assert cycle.peak_at_s == pytest.approx(1.0)


def test_peak_of_a_node_far_from_the_heat() -> None:
    """A sink behind a slow case peaks after the weld: two exponentials do so at ln(r1/r2) / (r1 - r2) (calculus)."""
    cooling = Cooling(0.5, 0.8, 100, 0, 50.0)
    network = switch_network(LADDER, cooling)
    weld = PowerProfile((Segment(0.0, 1e-6, (1e8, 0.0)),))
    fast, slow = sorted(network.rates_per_s[-2:], reverse=True)
    cycle = nth_cycle(network, weld, 1000, 1, "sink")
    assert cycle.peak_at_s == pytest.approx(math.log(fast / slow) / (fast - slow), rel=1e-4)


def test_fastest_safe_pace_is_where_brute_stepping_says() -> None:
    """The peak meets the limit; by stepping 2000 cycles, 1 % faster passes it and 1 % slower does not."""
    network = switch_network(LADDER, COOLING)
    pace = fastest_safe_pace(network, WELD, 100, "junction_2")
    assert equilibrium(network, WELD, 60 / pace, "junction_2").peak_degC == pytest.approx(100, abs=1e-6)
    peaks = []
    for factor in (0.99, 1.01):
        state = network.cold
        cycle = linear(partial(stepped, network, WELD, 60 / pace / factor), len(state))
        for _ in range(2000):
            state = cycle(state)
        cut = PowerProfile(WELD.segments[:-1])
        last = WELD.segments[-1]
        state = network.step(stepped(network, cut, cut.end_s, state), last.inputs, last.length_s)
        peaks.append(network.temperatures_degC(state, last.inputs)[1])
    assert peaks[0] < 100 < peaks[1]


def test_pace_at_its_ends() -> None:
    """A limit below one weld from cold allows none; a high limit allows weld on weld, or the least period asked."""
    network = switch_network(LADDER, COOLING)
    assert fastest_safe_pace(network, WELD, 35, "junction_1") == 0
    assert fastest_safe_pace(network, WELD, 1e4, "junction_1") == pytest.approx(60 / WELD.end_s)
    assert fastest_safe_pace(network, WELD, 1e4, "junction_1", least_period_s=2.5) == pytest.approx(24)


def test_rest_after_a_burst() -> None:
    """Rest found, then one more weld by stepping alone meets the limit; without welds, none is needed."""
    network = switch_network(LADDER, COOLING)
    rest_s = rest_after_burst_s(network, WELD, 1.0, 200, 75, "junction_2")
    state = network.cold
    for _ in range(199):
        state = stepped(network, WELD, 1.0, state)
    state = network.step(stepped(network, WELD, WELD.end_s, state), [0, 0], rest_s)
    cut, last = PowerProfile(WELD.segments[:-1]), WELD.segments[-1]
    state = network.step(stepped(network, cut, cut.end_s, state), last.inputs, last.length_s)
    assert rest_s > 1
    assert network.temperatures_degC(state, last.inputs)[1] == pytest.approx(75, abs=1e-6)
    assert rest_after_burst_s(network, WELD, 1.0, 0, 75, "junction_2") == 0
    assert rest_after_burst_s(network, WELD, 1.0, 5, 35, "junction_2") == math.inf


@pytest.mark.parametrize("limit_degC", [45.0, 70.0, 86.0])
def test_time_to_a_limit(limit_degC: float) -> None:
    """The first passing, against a brute walk through time in steps of a quarter half-cycle."""
    network = switch_network(LADDER, COOLING)
    found = time_to_limit_s(network, WELD, 1.5, limit_degC, "junction_1")
    state, step_s, hottest, time_s = network.cold, HALF_S / 4, 0.0, 0.0
    inputs = ([0.0, 0.0], [120.0, 0.0], [0.0, 120.0])
    steps = [linear(partial(network.step, inputs=u, dt_s=step_s), len(state)) for u in inputs]
    read = [linear(partial(network.temperatures_degC, inputs=u), len(state)) for u in inputs]
    for n in itertools.count():
        slot = n % 600 // 4 - 20
        which = 1 + slot % 2 if 0 <= slot < 40 else 0
        state = steps[which](state)
        hottest, time_s = read[which](state)[0], (n + 1) * step_s
        if hottest > limit_degC:
            break
    assert time_s - step_s - 1e-9 <= found <= time_s
    assert time_to_limit_s(network, WELD, 1.5, 1000, "junction_1") == math.inf


def test_energy_of_the_sink() -> None:
    """Joules in = stored + lost, over eleven welds of the switch."""
    network = switch_network(LADDER, Cooling(0.1, 0.8, 300, 0, 25.0))
    cycles = {out: [nth_cycle(network, WELD, 1.5, n, out) for n in range(1, 12)] for out in ("case", "sink")}
    stored = 300 * cycles["sink"][-1].end_degC + 25 * cycles["case"][-1].end_degC
    lost = sum(1.5 * c.mean_degC / 0.8 for c in cycles["sink"])
    assert stored + lost == pytest.approx(11 * 40 * 120 * HALF_S, rel=1e-9)


def test_safe_pace_of_one_mode_in_closed_form() -> None:
    """One mode, one pulse: P R (1 - e^(-tp/tau)) / (1 - e^(-T/tau)) = limit, solved for T by hand."""
    network = foster_network([FosterTerm(0.5, 2.0)])
    wanted = -2.0 * math.log(1 - 100 * 0.5 * (1 - math.exp(-1 / 2.0)) / 30)
    assert 60 / fastest_safe_pace(network, PowerProfile.of([(0, 1, 100)]), 30, "junction") == pytest.approx(wanted)


# Boundaries


def test_no_power_is_ambient() -> None:
    """Without loss all stays at ambient, and any pace is safe."""
    network = switch_network(LADDER, COOLING)
    idle = alternating(0, HALF_S, [0.0] * 4)
    cycle = equilibrium(network, idle, 1.0, "junction_1")
    assert (cycle.mean_degC, cycle.peak_degC) == (30, 30)
    assert fastest_safe_pace(network, idle, 31, "junction_1") == pytest.approx(60 / idle.end_s)
    assert time_to_limit_s(network, idle, 1.0, 31, "junction_1") == math.inf


def test_weld_that_does_not_fit_is_refused() -> None:
    """0.6 s of weld at 120 a minute."""
    network = switch_network(LADDER, COOLING)
    assert equilibrium(network, WELD, WELD.end_s, "sink").peak_degC > 30
    with pytest.raises(ValueError, match=r"0\.6 s does not fit a period of 0\.5 s"):
        equilibrium(network, WELD, 0.5, "sink")
    with pytest.raises(ValueError, match="does not fit a period of 0 s"):
        forecast(network, WELD, 0.0, 5, "sink")
    with pytest.raises(ValueError, match="counted from 1, not 0"):
        nth_cycle(network, WELD, 1.0, 0, "sink")


def test_senseless_profiles_are_refused() -> None:
    """Overlap, no length, wrong number of inputs, no way out for the heat."""
    with pytest.raises(ValueError, match="begins before"):
        PowerProfile.of([(0, 0.02, 1), (0.01, 0.02, 1)])
    with pytest.raises(ValueError, match="length above 0"):
        PowerProfile.of([(0, 0, 1)])
    with pytest.raises(ValueError, match="at least one"):
        PowerProfile(())
    with pytest.raises(ValueError, match="1 inputs where the network takes loss_1_W, loss_2_W"):
        equilibrium(switch_network(LADDER, COOLING), PowerProfile.of([(0, 1, 1)]), 2, "sink")
    with pytest.raises(ValueError, match="no output 'tip'"):
        equilibrium(switch_network(LADDER, COOLING), WELD, 2, "tip")
    with pytest.raises(ValueError, match="way to ambient"):
        row_network(NodeRow([1], [], [0]), {"a": [1]}, {"b": ([1], [0])}, 20)
