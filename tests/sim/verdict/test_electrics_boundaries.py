"""Checks of electrics and heat: each either side of its limit, tripped alone by one welder file, against a closed form.

`judged` is the whole judgement but the simulated run, whose checks are in test_boundaries.py.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from typing import Any

import pytest

import sim.verdict
from gen.boards import boards
from gen.machine.welder import Welder
from gen.phase_control import extinction_angle_deg, rms_fraction
from gen.ranges import shown
from gen.table import TimingTable
from sim.core.impulse import gate_windows, sine, worst_of_residues
from sim.core.weld_current import Assumed, WeldCurrents, weld_currents
from sim.verdict import CHECKS, Finding, PacedJob, judge_plan
from sim.verdict.hot_parts import winding_part
from tests.support.machines import compiled, job_of, known_welder

PICO = boards()["pico"]
WELD: dict[str, Any] = {"weld": "10 cycles"}
BIG_PLATE = {"rating_kVA": 20.0, "rating_duty_percent": 100}


# An unknown residue trips `inrush` on nearly every machine, so that each other check is tried on a core without one.
DEMAGNETISED = Assumed(remanence=0.0)


def judged(
    welder: Welder, pace: float = 1, weld: dict[str, Any] | None = None, assumed: Assumed = DEMAGNETISED
) -> dict[str, Finding]:
    job = job_of(welder, weld or WELD)
    run = PacedJob(job=job, welds_per_minute=pace, currents=weld_currents(job.table, welder, assumed))
    return {f.name: f for f in judge_plan(run).findings}


def currents_for(welder: Welder, weld: dict[str, Any] | None = None) -> tuple[TimingTable, WeldCurrents]:
    table = compiled(welder, weld or WELD)
    return table, weld_currents(table, welder, DEMAGNETISED)


def impedance(currents: WeldCurrents) -> complex:
    """The circuit's own, as the primary sees it, without the core."""
    c, omega = currents.circuit, 2 * math.pi * 50
    ohms = c.source_ohm + c.primary_ohm + c.secondary_ohm
    return complex(ohms, omega * (c.source_H + c.primary_H + c.secondary_H))


def impedance_with_core(currents: WeldCurrents) -> complex:
    """The same with the core below its knee in parallel to the secondary."""
    c, omega = currents.circuit, 2 * math.pi * 50
    (knee_Vs, knee_A) = c.curve.knees[0]
    before = complex(c.source_ohm + c.primary_ohm, omega * (c.source_H + c.primary_H))
    behind, core = complex(c.secondary_ohm, omega * c.secondary_H), complex(0, omega * knee_Vs / knee_A)
    return before + behind * core / (behind + core)


def phase_deg(z: complex) -> float:
    return math.degrees(cmath.phase(z))


def delay_deg(table: TimingTable) -> float:
    """Firing delay of the last row, in degrees at 50 Hz."""
    delay_us = table.impulse_rows[-1].firing_delay_us
    assert delay_us is not None
    return delay_us * 0.018


def tripped(found: dict[str, Finding]) -> dict[str, str]:
    return {name: f.severity for name, f in found.items() if f.severity != "passed"}


def boundary(at: Callable[[float], dict[str, Finding]], name: str, kept: float, beyond: float, step: float) -> float:
    """Where the check changes its mind, by bisection down to `step`; on the one side nothing trips, on the other it alone."""
    assert tripped(at(kept)) == {}
    assert set(tripped(at(beyond))) == {name}
    with pytest.MonkeyPatch.context() as patch:  # between the ends this check alone is asked
        patch.setattr(
            sim.verdict, "CHECKS", [check for check in CHECKS if check.find.__name__ == name.replace("-", "_")]
        )
        while abs(beyond - kept) > step:
            middle = (kept + beyond) / 2
            kept, beyond = (middle, beyond) if at(middle)[name].severity == "passed" else (kept, middle)
    assert tripped(at(kept)) == {}
    assert set(tripped(at(beyond))) == {name}
    return (kept + beyond) / 2


def test_a_known_welder_passes_all() -> None:
    """The baseline: every figure is known and within its limit."""
    assert tripped(judged(known_welder())) == {}


def soft_core(first_delay_deg: float) -> Welder:
    """A machine whose work is nearly all of its impedance, so that only the core holds the current back."""
    return known_welder(
        mains={"source_resistance_ohm": 0.05, "source_inductance_mH": 0.05},
        breaker={"characteristic": "D", "rating_A": 125},
        transformer=BIG_PLATE | {"shorted_current_A": 260},
        switch={"rated_current_A": 500, "surge_current_A": 20_000, "foster": [[0.001, 0.01]]},
        limits={"first_delay_deg": first_delay_deg},
        detector={"offset_rise_us": 100, "offset_fall_us": 100},
    )


def test_inrush_boundary() -> None:
    """A degree of the first delay, earlier and later than 90, with a residue of a tenth of the knee.

    Closed form, in units of the steady peak flux: from residue r the first half-cycle leads to r + 1 + cos(delay), and
    from -r the second leads to -r - 1 + cos(delay). So both boundaries lie equally far from 90 degrees.
    """

    def at(degrees: float) -> dict[str, Finding]:
        return judged(soft_core(degrees), assumed=Assumed(remanence=0.1))

    early, late = boundary(at, "inrush", 90, 66, 1), boundary(at, "inrush", 90, 110, 1)
    assert 80 < early < 87
    assert late - 90 == pytest.approx(90 - early, abs=1)


def test_inrush_says_what_a_gentler_start_brings() -> None:
    """From an unknown residue the core saturates; each of the ways to start that the advice names peaks at less."""
    table = compiled(known_welder(), WELD)
    currents = weld_currents(table, known_welder())
    found = judged(known_welder(), assumed=Assumed())["inrush"]
    assert found.severity == "caution"
    ways = (currents.against_residue, currents.sloped_worst, currents.settled)
    assert all(f"{shown(way.primary_peak_A)} A (" in found.advice for way in ways)
    assert all(way.primary_peak_A < 0.6 * currents.worst.primary_peak_A for way in ways)
    assert currents.settled.primary_peak_A < 1.1 * currents.working_peak_A


def test_a_peak_that_need_not_come_only_may_trip_the_breaker() -> None:
    """Above the band, from the worst residue alone, the breaker is not refused; from the working current it is."""
    small, smaller = (known_welder(breaker={"characteristic": "B", "rating_A": rating}) for rating in (16, 3))
    caution = judged(small, assumed=Assumed())["breaker"]
    assert (caution.severity, caution.figure > 5 * 16) == ("caution", True)
    assert judged(smaller, assumed=Assumed())["breaker"].severity == "refuse"


@pytest.mark.parametrize(("characteristic", "low", "high"), [("B", 3, 5), ("C", 5, 10)])
def test_breaker_boundaries(characteristic: str, low: float, high: float) -> None:
    """IEC 60898-1, from memory: B holds below 3 times its rating and opens from 5, C 5 and 10. One per cent either side."""

    def breaker_of(rating_A: float) -> Welder:
        return known_welder(breaker={"characteristic": characteristic, "rating_A": rating_A})

    short = {"weld": "1 cycle"}
    _, currents = currents_for(breaker_of(20), short)
    rms_A = max(currents.worst.primary_peak_A, currents.working_peak_A * currents.scale) / math.sqrt(2)
    for rating_A, expected in (
        (rms_A / low * 1.01, "passed"),
        (rms_A / low * 0.99, "caution"),
        (rms_A / high * 1.01, "caution"),
        (rms_A / high * 0.99, "refuse"),
    ):
        assert judged(breaker_of(rating_A), 1, short)["breaker"].severity == expected
    assert tripped(judged(breaker_of(rms_A / low * 0.99), 0.1, short)) == {"breaker": "caution"}


def test_breaker_heat_boundary() -> None:
    """A tenth of a weld a minute. Closed form of one lag: the quickest bimetal of one, which trips after 1 s at 2.55 times.

    Of several lags it may be quicker, though not by much.
    """
    long = {"weld": "100 cycles"}
    welder = known_welder(breaker={"rating_A": 10, "panel_temperature_C": 30}, transformer=BIG_PLATE)
    found = boundary(lambda pace: judged(welder, pace, long), "breaker-heat", 1, 20, 0.1)
    _, currents = currents_for(welder, long)
    ((amperes, seconds),) = currents.impulses
    tau_s = 1 / math.log(2.55**2 / (2.55**2 - 1.13**2))
    swing = -math.expm1(-seconds / tau_s) / -math.expm1(-60 / found / tau_s)
    assert 0.75 < (amperes / 10) ** 2 * swing / 1.13**2 <= 1.01


def test_switch_current_boundary() -> None:
    """A per cent of the rated current. Closed form: the R-L load's RMS at the firing delay (gen.phase_control)."""
    long = {"weld": "60 cycles"}
    found = boundary(
        lambda rated: judged(known_welder(switch={"rated_current_A": rated}), 1, long), "switch-current", 30, 10, 0.1
    )
    table, currents = currents_for(known_welder(), long)
    z = impedance_with_core(currents)
    full_A = 230 / abs(z) * currents.scale
    assert found == pytest.approx(full_A * rms_fraction(delay_deg(table), phase_deg(z)), rel=0.02)


def test_switch_surge_boundary() -> None:
    """A tenth of an ampere. Textbook: a shorted R-L circuit peaks at up to 2 root 2 times its steady RMS; fired late, at less."""
    found = boundary(
        lambda surge: judged(known_welder(switch={"rated_current_A": 20, "surge_current_A": surge})),
        "switch-surge",
        500,
        20,
        0.1,
    )
    steady_A = known_welder().machine.in_use.short_primary.middle
    assert steady_A < found < 2 * math.sqrt(2) * steady_A


def test_switch_i2t_boundary() -> None:
    """A hundredth. Textbook: a sine's half-cycle has RMS^2 times its length; the first of a shorted circuit up to 4 times."""
    found = boundary(lambda rated: judged(known_welder(switch={"i2t_A2s": rated})), "switch-i2t", 100, 0.5, 0.01)
    steady_A = known_welder().machine.in_use.short_primary.middle
    assert 0.6 * steady_A**2 * 0.01 < found < 4 * steady_A**2 * 0.01


def test_junction_boundary() -> None:
    """A hundredth of a kelvin per watt. Closed form: over the case the junction's rise goes with the ladder's resistance."""

    def at(resistance: float, tau_s: float = 0.5) -> dict[str, Finding]:
        return judged(known_welder(switch={"foster": [[resistance, tau_s]], "junction_limit_C": 80}))

    found = boundary(at, "junction", 1, 20, 0.01)
    one, three = at(1)["junction"].figure, at(3)["junction"].figure
    assert found == pytest.approx(1 + (80 - one) / ((three - one) / 2), rel=0.02)


def test_junction_peaks_within_the_half_cycle() -> None:
    """A term much quicker than a half-cycle follows the loss itself: its peak is that of the current's loss.

    Textbook: at full conduction peak over mean loss of a half sine is pi / 2 for the voltage and 2 for the square.
    """
    quick, slow = (judged(known_welder(switch={"foster": [[5, tau_s]]}))["junction"].figure for tau_s in (0.0002, 0.1))
    assert quick > 1.3 * slow - 0.3 * 25


def test_case_boundary() -> None:
    """A hundredth of a kelvin per watt. Closed form: ambient, mean loss through the sink, loss of a half-cycle to it."""
    long = {"weld": "100 cycles"}

    def sunk(resistance: float) -> Welder:
        return known_welder(
            heat_sink={"K_per_W": resistance, "J_per_K": 100_000},
            switch={"junction_limit_C": 200},
            transformer=BIG_PLATE,
            breaker={"rating_A": 40},
        )

    pace = 15.0
    found = boundary(lambda resistance: judged(sunk(resistance), pace, long), "case", 1, 12, 0.01)
    _, currents = currents_for(sunk(1), long)
    losses = [
        1.0 * abs(s.charge_C) / 0.01 * currents.scale + 0.005 * (s.primary_rms_A * currents.scale) ** 2
        for s in currents.settled.swings
    ]
    mean_W = sum(losses) * 0.01 * pace / 60
    assert found == pytest.approx((85 - 25 - 0.2 * max(losses)) / mean_W, rel=0.01)


def test_winding_boundary() -> None:
    """A tenth of a weld a minute. Closed form: I^2 d over the plate's, times the class's rise, from a hot workshop.

    In 60 degC class A has 40 K left of the 60 K that its plate is for, so it trips before the duty does.
    """
    welder = known_welder(
        transformer={
            "rating_kVA": 2.0,
            "winding_time_constant_min": 240,
            "load_angle_min_deg": 58,
            "load_angle_max_deg": 60,
        },
        ambient={"temperature_C": 60},
        breaker={"rating_A": 40},
    )
    found = boundary(lambda pace: judged(welder, pace), "winding", 10, 27, 0.1)
    _, currents = currents_for(welder)
    heat_A2s = sum((s.primary_rms_A * currents.scale) ** 2 * 0.01 for s in currents.settled.swings)
    assert found == pytest.approx(60 * 40 / 60 * (2000 / 230) ** 2 * 0.5 / heat_A2s, rel=0.01)


def test_winding_takes_its_time_constant_from_the_file() -> None:
    """Measured goes before mass, mass before the assumed 10 to 30 minutes; mass needs the windings' own resistance.

    Closed form of the mass: rise times capacity over loss, 30 % copper and the rest core.
    """
    arms = {"length_mm": 250, "throat_mm": 100, "diameter_mm": 20}

    def taus(**transformer: Any) -> set[float]:
        welder = known_welder(transformer=transformer, arms=arms)
        part = winding_part(currents_for(welder)[1], welder)
        return {round(n.slowest_s, 3) for n in (part.network, part.slow) if n is not None}

    assert taus() == {600.0, 1800.0}
    assert taus(winding_time_constant_min=25, mass_kg=14) == {1500.0}
    welder = known_welder(transformer={"mass_kg": 14}, arms=arms)
    loss_W = (3000 / 230) ** 2 * welder.machine.leakage_resistance.middle * 0.5
    (tau_s,) = taus(mass_kg=14)
    assert tau_s == pytest.approx(60 * (4.2 * 385 + 9.8 * 480) / loss_W, rel=1e-5)


def test_electrode_heat_boundary() -> None:
    """A tenth of a weld a minute. Closed form: the mean rise goes with the pace, a little faster as copper's resistance rises.

    Long rods whose faces are as wide as they are, worked fast: the face is never much hotter than its mean.
    """
    welder = known_welder(
        transformer=BIG_PLATE | {"open_secondary_V": 1.8},
        electrodes={"alloy": "Cu-ETP", "diameter_mm": 12, "face_diameter_mm": 12, "length_mm": 80},
        breaker={"rating_A": 40},
    )
    found = boundary(lambda pace: judged(welder, pace), "electrode-heat", 0.5, 45, 0.1)
    half = judged(welder, found / 2)["electrode-heat"].figure
    assert (150 - 25) / 2 * 0.85 < half - 25 < (150 - 25) / 2


def with_face(diameter_mm: float) -> Welder:
    """CuCr1Zr turned down to a point: its mean stays cool, and the point glows in each weld."""
    return known_welder(transformer=BIG_PLATE, electrodes={"face_diameter_mm": diameter_mm}, breaker={"rating_A": 40})


def test_electrode_peak_boundary() -> None:
    """A hundredth of a millimetre of the face, in welds of a fifth of a second.

    By hand, after Larson and Miller: T (20 + log h) = 773 (20 + log 2) = 15 700. A face that is soft after 1000 welds, each
    hot for 1 to 50 ms, has been hot for 1 to 50 s: at 680 to 590 degC. Of that its mean of some 60 tells nothing.
    """
    found = boundary(lambda face: judged(with_face(face), 10), "electrode-peak", 2, 1.3, 0.01)
    wide, narrow = (judged(with_face(found + step), 10) for step in (0.01, -0.01))
    assert (wide["electrode-peak"].severity, narrow["electrode-peak"].severity) == ("passed", "caution")
    assert all(f["electrode-heat"].figure < 65 for f in (wide, narrow))
    assert 590 < narrow["electrode-peak"].figure < 680
    assert narrow["electrode-peak"].meaning in {f"soft after {n} welds" for n in range(500, 1000, 10)}


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_of_unlike_electrodes_the_hotter_is_judged(side: str) -> None:
    """A point on one side alone is as hot as it would be on both; the wide face across from it hides nothing."""
    both, one = (
        judged(known_welder(transformer=BIG_PLATE, electrodes=electrodes, breaker={"rating_A": 40}), 10)[
            "electrode-peak"
        ]
        for electrodes in ({"face_diameter_mm": 2}, {"face_diameter_mm": 8, side: {"face_diameter_mm": 2}})
    )
    assert one.figure == pytest.approx(both.figure)
    assert one.figure > 1.5 * judged(with_face(8), 10)["electrode-peak"].figure


def test_a_face_that_may_melt_is_refused() -> None:
    """Refused alone, from the face on that reaches 1070 degC with 40 % of the joint's heat, one hundredth either side.

    Algebra: in a thin face, where the joint's heat is nearly all, the rise goes with the share: 4/10 for 1/4.
    """

    def peak(face: float, assumed: Assumed = DEMAGNETISED) -> Finding:
        return judged(with_face(face), 10, assumed=assumed)["electrode-peak"]

    cool, hot = 1.4, 1.1
    while cool - hot > 0.01:
        middle = (cool + hot) / 2
        cool, hot = (middle, hot) if peak(middle).severity == "caution" else (cool, middle)
    assert (peak(cool).severity, peak(hot).severity) == ("caution", "refuse")
    assert tripped(judged(with_face(hot), 10)) == {"electrode-peak": "refuse"}
    assert peak(cool, Assumed(remanence=0.0, joint_share=0.4)).figure == pytest.approx(1070, abs=12)
    assert (peak(cool).figure - 25) * 0.4 / 0.25 == pytest.approx(1070 - 25, rel=0.1)
    known = Assumed(remanence=0.0, most_joint_share=0.25)  # as sweep draws it
    assert peak(hot, known).severity == "caution"


def test_a_face_near_melting_in_each_weld_does_not_pass() -> None:
    """A point of 1 mm, 40 cycles, 10 welds a minute: a mean of some 180 degC, which passes, and a peak of over 1000."""
    found = judged(with_face(1.0), 10, {"weld": "40 cycles"})
    assert found["electrode-heat"].severity == "passed"
    assert found["electrode-heat"].figure < 200
    assert found["electrode-peak"].figure > 1000
    assert tripped(found) == {"electrode-peak": "refuse"}


def test_an_electrode_that_runs_away_is_a_finding() -> None:
    """A wire for an electrode heats its own resistance without end: a caution, not a crash."""
    welder = known_welder(transformer=BIG_PLATE, electrodes={"diameter_mm": 2, "face_diameter_mm": 2, "length_mm": 200})
    assert judged(welder, 40, {"weld": "40 cycles"})["electrode-heat"].severity == "caution"


def test_supply_dip_boundary() -> None:
    """A hundredth of an ohm. Textbook: I (R cos phi + X sin phi), each at its upper end, less the square of the quadrature
    part, I (X cos phi - R sin phi), over twice the voltage."""

    def fed(resistance: float) -> Welder:
        return known_welder(mains={"source_resistance_ohm": resistance, "source_inductance_mH": 0.1})

    found = boundary(lambda resistance: judged(fed(resistance)), "supply-dip", 0.3, 2.5, 0.01)
    tap, x = fed(found).machine.in_use, 1.15 * 2 * math.pi * 50 * 0.1e-3
    angle = math.radians(tap.load_angle.low)
    r, amperes = 1.15 * found, tap.working_primary.high
    across = amperes * (x * math.cos(angle) - r * math.sin(angle))
    volts = amperes * (r * math.cos(angle) + x * math.sin(angle)) - across**2 / (2 * 230)
    assert volts == pytest.approx(23, abs=0.25)  # the figure is told in tenths of a per cent


def test_triac_commutation_boundary() -> None:
    """A tenth of a volt per microsecond. Closed form: root 2 V sin(extinction) in 10 us, extinction of the R-L load."""
    long = {"weld": "60 cycles"}

    def fitted(dv_dt: float) -> Welder:
        return known_welder(switch={"kind": "triac", "commutating_dv_dt_V_per_us": dv_dt})

    found = boundary(lambda dv_dt: judged(fitted(dv_dt), 1, long), "triac-commutation", 100, 1, 0.1)
    table, currents = currents_for(fitted(10), long)
    ends = extinction_angle_deg(delay_deg(table), phase_deg(impedance(currents)))
    step_V = 230 * math.sqrt(2) * abs(math.sin(math.radians(ends)))
    assert found == pytest.approx(step_V / 10, rel=0.03)  # the core's own current ends it a little later
    assert tripped(judged(known_welder(switch={"kind": "triac"}))) == {"triac-commutation": "refuse"}


@pytest.mark.parametrize(
    ("table", "key", "check"),
    [
        ("switch", "rated_current_A", "switch-current"),
        ("switch", "surge_current_A", "switch-surge"),
        ("switch", "foster", "junction"),
        ("transformer", "open_secondary_V", "electrode-heat"),
        ("transformer", "open_secondary_V", "electrode-peak"),
    ],
)
def test_what_is_not_judged_is_reported(table: str, key: str, check: str) -> None:
    """One key less: its check is left out, and that is a caution, alone; with it there is no such finding."""
    whole = known_welder()
    content = {name: dict(values) for name, values in whole.model_dump(exclude_unset=True).items() if values}
    content["limits"] = {}
    transformer = content["transformer"]
    content["transformer"] = {k: v for k, v in transformer.items() if k in whole.transformer.model_fields_set}
    del content[table][key]
    found = judged(Welder.model_validate(content))
    assert tripped(found) == {"not-judged": "caution"}
    assert check not in found
    assert f"{key} for {check}" in found["not-judged"].advice
    assert "not-judged" not in judged(whole)


def test_a_zero_cross_relay_is_told_its_own_inrush() -> None:
    """Refused whatever the figure. Textbook: at voltage zero the flux swings to residue and twice the steady peak.

    Held every half-cycle, and waiting for the next zero: then the current goes one way and the peak is the greater.
    """
    welder = known_welder(switch={"kind": "zero_cross_relay"})
    _, currents = currents_for(welder)
    finding = judged(welder)["zero-cross-relay"]
    assert finding.severity == "refuse"
    assert currents.zero_inhibited.half_wave
    assert not currents.zero_worst.half_wave
    assert finding.figure == round(currents.zero_inhibited.primary_peak_A, 1)
    unit = 230 * math.sqrt(2) / (2 * math.pi * 50)
    # From residue 0.6 towards 2.6 of the steady peak, less what the resistances take of the voltage.
    assert 1.2 * unit < currents.zero_worst.peak_flux_Vs < 2.6 * unit
    small = known_welder(switch={"kind": "zero_cross_relay", "rated_current_A": 20, "surge_current_A": 30})
    assert "the switch's surge current" in judged(small)["zero-cross-relay"].advice


def test_the_foot_of_a_slope_is_not_the_working_peak() -> None:
    """A downslope ends at a fraction of the current: the inrush is still measured against the weld's own peak."""
    down = {"weld": "20 cycles", "current_percent": 90, "downslope": "5 cycles"}
    _, currents = currents_for(known_welder(), down)
    plain = currents_for(known_welder(), {"weld": "20 cycles", "current_percent": 90})[1]
    assert currents.working_peak_A == pytest.approx(plain.working_peak_A, rel=0.02)
    assert judged(known_welder(), 1, down)["inrush"].figure < 1.3


def test_the_worst_residue_is_the_worst_of_three() -> None:
    """`worst` is the run with the greatest peak from no residue and from either sign of it."""
    _, currents = currents_for(soft_core(87))
    supply = sine(230, 50, len(currents.delays_deg) + 1)
    again = worst_of_residues(currents.circuit, supply, gate_windows(supply, currents.delays_deg))
    assert currents.worst.primary_peak_A == again.primary_peak_A
