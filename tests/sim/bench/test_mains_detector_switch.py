"""The parts of the simulated bench: supply, detector and switch, each against what a textbook or its own figures say."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import simpy

from sim.bench.circuit import BenchWork, SeriesLoad
from sim.bench.detector import CrossingDetector, DetectorSpec
from sim.bench.mains import MainsSpec, MainsSupply
from sim.bench.pin import Pin, PinTrace, Wires
from sim.bench.protection import Contactor, ProtectionSpec
from sim.bench.switch import Conduction, SolidStateSwitch, SwitchSpec

SCR = SwitchSpec("scr_pair", 0.2, 0.1, 10)
LOAD = SeriesLoad.from_working_point(230, 20, 50, 50)


def test_mains_frequency_drift_and_jitter() -> None:
    """A second of 50 Hz has 100 half-cycles; drift shortens them; jitter moves each crossing and does not add up."""
    steady = MainsSupply(MainsSpec(230, 50), 0)
    assert steady.half_cycle(100).start_s == pytest.approx(1.0)
    drifting = MainsSupply(MainsSpec(230, 50, drift_Hz_per_s=1), 0)
    assert drifting.half_cycle(200).length_s == pytest.approx(0.5 / 52, rel=0.01)
    jittery = MainsSupply(MainsSpec(230, 50, jitter_us=50), 1)
    moved = [jittery.half_cycle(n).start_s - n * 0.01 for n in range(1, 500)]
    assert 40e-6 < max(moved) <= 50e-6
    assert -50e-6 <= min(moved) < -40e-6


def test_harmonics_repeat_every_cycle_and_odd_ones_mirror() -> None:
    """A third harmonic in the negative half-cycle is the mirror of that in the positive one (half-wave symmetry)."""
    mains = MainsSupply(MainsSpec(230, 50, harmonics=((3, 10, 25),)), 0)
    first, second = mains.half_cycle(0), mains.half_cycle(1)
    for t in (0.001, 0.004, 0.0075):
        assert first.voltage(t) == pytest.approx(-second.voltage(0.01 + t))


def edges(spec: DetectorSpec, mains: MainsSpec, length_s: float = 0.3) -> list[tuple[float, int]]:
    env = simpy.Environment()
    pin = Pin(env)
    CrossingDetector(env, spec, MainsSupply(mains, 0), pin)
    seen = PinTrace(env, pin).changes
    env.run(until=length_s)
    return seen


SQUARE = DetectorSpec("square", 300, 260, 230)


def test_square_detector_edges() -> None:
    """Rising 300 us after the crossing into the positive half-cycle, falling 260 us after the other."""
    seen = edges(SQUARE, MainsSpec(230, 50))
    for time_s, level in seen:
        assert (time_s * 1e6) % 20_000 == pytest.approx(300 if level else 10_260, abs=0.01)
    assert len(seen) == 28  # from the first rise on


def test_detector_edges_move_with_amplitude() -> None:
    """At 85 % mains the threshold is reached later on the way up and earlier on the way down, by the arcsine of the textbook."""
    moved_us = (math.asin(20 / (0.85 * 325.27)) - math.asin(20 / 325.27)) / (2 * math.pi * 50) * 1e6
    seen = edges(SQUARE, MainsSpec(230 * 0.85, 50))
    rise = next(t for t, level in seen if level and t > 0.02)
    fall = next(t for t, level in seen if not level and t > 0.02)
    assert rise * 1e6 % 20_000 == pytest.approx(300 + moved_us, abs=0.1)
    assert fall * 1e6 % 20_000 == pytest.approx(10_260 - moved_us, abs=0.1)


def test_missing_and_false_edges() -> None:
    """A crossing that gives no edge leaves the level as it was; a glitch toggles it for a moment."""
    plain = edges(SQUARE, MainsSpec(230, 50))
    assert len(edges(replace(SQUARE, missing=frozenset({6})), MainsSpec(230, 50))) == len(plain) - 2
    assert len(edges(replace(SQUARE, false_s=(0.105,)), MainsSpec(230, 50))) == len(plain) + 2


def test_pulse_detector_gives_one_pulse_a_crossing() -> None:
    """A pulse about each crossing, whatever its direction."""
    seen = edges(DetectorSpec("pulse", -400, -400, 230), MainsSpec(230, 50))
    rises = [t for t, level in seen if level]
    assert [round(t * 1e6) % 10_000 for t in rises] == [9_600] * len(rises)
    assert len(rises) == 30


def test_dropout_gives_no_edges() -> None:
    """No mains, no crossings."""
    seen = edges(SQUARE, MainsSpec(230, 50, sags=((0.1, 0.1, 0.0),)))
    assert not [t for t, _ in seen if 0.1005 < t < 0.2]


def conductions(
    spec: SwitchSpec, load: SeriesLoad, *gates: tuple[float, float], mains: MainsSpec | None = None
) -> list[Conduction]:
    """Currents that these gates (on, off; seconds) make."""
    env = simpy.Environment()
    wires = Wires(env)
    supply, contactor = MainsSupply(mains or MainsSpec(230, 50), 0), Contactor(env, ProtectionSpec(), wires)
    switch = SolidStateSwitch(env, spec, BenchWork(load, None), supply, contactor, wires)

    def drive(on: float, off: float):  # type: ignore[no-untyped-def]
        yield env.timeout(on)
        wires.fired.set(1)
        yield env.timeout(off - on)
        wires.fired.set(0)

    for on, off in gates:
        env.process(drive(on, off))
    env.run(until=max(off for _, off in gates) + 0.1)
    return switch.conductions


def test_scr_pair_conducts_to_the_current_zero_after_the_gate_has_gone() -> None:
    """A gate from 90 to 100 degrees: the current runs on past the voltage zero and ends once."""
    (only,) = conductions(SCR, LOAD, (0.005, 0.0056))
    assert only.latched
    assert only.end_s > 0.01
    assert only.end_s < 0.01 + math.radians(50) / (100 * math.pi)


def test_a_gate_too_short_to_latch_conducts_only_while_it_lasts() -> None:
    """An inductive load reaches the latching current late: a gate shorter than that leaves no current behind."""
    slow = SeriesLoad(1.0, 3.0)
    (only,) = conductions(SCR, slow, (0.005, 0.0052))
    assert not only.latched
    assert only.end_s == pytest.approx(0.0052)
    assert conductions(SCR, slow, (0.005, 0.0092))[0].latched


def test_long_gate_below_the_load_angle_gives_full_conduction() -> None:
    """Textbook: with long gates below the load angle one current follows the other without a gap, on alternate sides."""
    inductive = SeriesLoad.from_working_point(230, 20, 75, 50)
    got = conductions(SCR, inductive, *[(0.0025 + 0.01 * n, 0.0092 + 0.01 * n) for n in range(20)])
    assert [c.positive for c in got] == [n % 2 == 0 for n in range(20)]
    assert all(b.start_s - a.end_s < 1e-4 for a, b in zip(got[10:], got[11:], strict=False))


def test_short_gate_below_the_load_angle_goes_half_wave() -> None:
    """Textbook: the same with short gates conducts on one side only."""
    inductive = SeriesLoad.from_working_point(230, 20, 75, 50)
    got = conductions(SCR, inductive, *[(0.0025 + 0.01 * n, 0.0029 + 0.01 * n) for n in range(20)])
    assert len({c.positive for c in got}) == 1
    assert len(got) == 10


def test_zero_cross_relay_waits_for_the_zero() -> None:
    """Asked at the peak it turns on at the next zero, and only if it is still asked then."""
    relay = replace(SCR, kind="zero_cross_relay")
    (first, *_) = conductions(relay, LOAD, (0.005, 0.0152))
    assert first.start_s == pytest.approx(0.01, abs=1e-6)
    assert conductions(relay, LOAD, (0.005, 0.0092)) == []


def test_random_phase_relay_turns_on_where_it_is_asked() -> None:
    """After its own delay, at any phase."""
    relay = replace(SCR, kind="random_phase_relay", turn_on_us=80)
    assert conductions(relay, LOAD, (0.005, 0.0092))[0].start_s == pytest.approx(0.00508)


def test_triac_that_does_not_recover_fires_again_without_a_gate() -> None:
    """At extinction an inductive load leaves the voltage near its peak; a triac that cannot stand that step conducts on."""
    triac = replace(SCR, kind="triac", recovers_V=100)
    assert len(conductions(triac, LOAD, (0.005, 0.0056))) > 3
    assert len(conductions(replace(triac, recovers_V=400), LOAD, (0.005, 0.0056))) == 1


def test_faulty_switches() -> None:
    """An open gate wire gives no current."""
    assert conductions(replace(SCR, fault="gate_open"), LOAD, (0.005, 0.0092)) == []
