"""The application's ammeter: the current of each gate from samples, and each limit it is held against.

The reference is arithmetic: samples of a sine of known height, whose RMS over the half-cycle is known (textbook).
"""

from __future__ import annotations

import math
import random
from typing import Any

import pytest

from firmware_templates.app.ammeter import Ammeter, root
from firmware_templates.app.curve import Curve
from gen.words import (
    CURRENT_HIGH,
    CURRENT_LOW,
    CURRENT_SENSE_FAULT,
    NO_CONDUCTION,
    NO_REASON,
    ONE_SIDED,
    SENSES_DISAGREE,
    SWITCH_SHORTED,
)
from tests.support.app.ammeter_settings import FIRST, HALF, SampledDriver, settings, waves

ROWS = (("squeeze", 10, -1, 0), ("weld", 300, 4_500, 80), ("hold", 9, -1, 0))


def looked(driver: SampledDriver, step: int = 60, planned: bool = True, rows: Any = ROWS, **changes: Any) -> Ammeter:
    """An ammeter that has looked at it all, so many samples a step, and fired where the first gate was due."""
    config = settings(**changes)
    curve = Curve(config)
    meter = Ammeter(driver, config, curve)  # type: ignore[arg-type]
    meter.begin(driver, 0, planned)  # type: ignore[arg-type]
    fired = False
    for taken in range(0, len(driver.counts) + step, step):
        driver.to(taken)
        if not fired and taken > FIRST - 100:
            curve.begin(rows, 1, 10_000)
            meter.fire(rows, 1)
            fired = True
        if fired:
            curve.look(driver, 10_000)  # type: ignore[arg-type]
        meter.look(driver, 10_000, taken // 8)  # type: ignore[arg-type]
    return meter


def met(*rms_A: float, lengths_us: list[int] | None = None, **changes: Any) -> Ammeter:
    counts, gates = waves(list(rms_A))
    return looked(SampledDriver(counts, gates, lengths_us), **changes)


@pytest.mark.parametrize("step", [5, 60, 208])
def test_each_gate_has_its_current(step: int) -> None:
    """Within a hundredth and a tenth of an ampere, however late the steps come; the peak with its sign."""
    rms_A = [10.0, 20.0, 15.0, 30.0, 22.0, 22.0]
    counts, gates = waves(rms_A)
    meter = looked(SampledDriver(counts, gates), step)
    assert [value / 10 for value in meter.curve.currents[:6]] == pytest.approx(rms_A, rel=0.01, abs=0.1)
    peaks = [(-1) ** n * amperes * math.sqrt(2 / 0.6) for n, amperes in enumerate(rms_A)]
    assert [value / 10 for value in meter.curve.peaks[:6]] == pytest.approx(peaks, rel=0.01, abs=0.2)
    assert (meter.curve.count, meter.fault) == (6, NO_REASON)


def test_the_bias_is_what_stands_there() -> None:
    """A converter that is off by 150 counts shows the same current."""
    counts, gates = waves([20.0] * 4, bias=1_898)
    assert [value / 10 for value in looked(SampledDriver(counts, gates)).curve.currents[:4]] == pytest.approx(
        [20.0] * 4, abs=0.2
    )


def test_the_root_is_the_whole_one() -> None:
    """Against math.isqrt, over all that can come."""
    chance = random.Random(1)
    for square in [0, 1, 2, 3, 4, 2**28, 2**30 - 1, *(chance.randrange(2**30) for _ in range(300))]:
        assert root(square) == math.isqrt(square)


@pytest.mark.parametrize(
    ("rms_A", "fault"),
    [
        ([20.0] * 12, NO_REASON),
        ([0.0] * 3 + [20.0] * 4, NO_REASON),
        ([0.0] * 4, NO_CONDUCTION),
        ([20.0, 0.0, 20.0, 20.0], NO_REASON),
        ([20.0, 0.0, 20.0, 0.0], ONE_SIDED),
        ([0.0, 20.0, 0.0], ONE_SIDED),
        ([39.0] * 6, NO_REASON),
        ([41.0, 39.0] * 4, NO_REASON),
        ([20.0, 41.0, 41.0], CURRENT_HIGH),
        ([9.0] * 7 + [20.0], NO_REASON),
        ([9.0] * 8, CURRENT_LOW),
        ([11.0] * 20, NO_REASON),
    ],
)
def test_what_is_wrong_with_them(rms_A: list[float], fault: int) -> None:
    """One step either side of each limit: 10 and 40 A, and how many gates in a row."""
    assert met(*rms_A).fault == fault


@pytest.mark.parametrize(
    ("rms_A", "fault"), [([0.0] * 8, NO_REASON), ([9.0] * 20, NO_REASON), ([20.0, 41.0, 41.0], CURRENT_HIGH)]
)
def test_through_another_load_only_too_much_is_wrong(rms_A: list[float], fault: int) -> None:
    """A heater or open electrodes in a weld of a commissioning."""
    assert met(*rms_A, planned=False).fault == fault
    assert met(*rms_A).fault != NO_REASON


def test_fired_too_late_to_tell_nothing_is_judged() -> None:
    """Where the least planned current is below the noise it is 0, and no current is no fault."""
    assert met(*[0.0] * 8, LEAST_DA=(0,) * 33).fault == NO_REASON


@pytest.mark.parametrize(("lengths_us", "fault"), [(0, SENSES_DISAGREE), (6_000, NO_REASON)])
def test_a_current_that_the_switch_does_not_show(lengths_us: int, fault: int) -> None:
    """Two gates in a row on which the two senses differ."""
    assert met(*[20.0] * 8, lengths_us=[lengths_us] * 8).fault == fault


def test_a_switch_that_conducts_while_the_ammeter_shows_nothing() -> None:
    """A transformer that is open or on another conductor."""
    assert met(*[0.0] * 8, lengths_us=[6_000] * 8).fault == SENSES_DISAGREE


def shorted(amperes: float, half_cycles: int, at: int) -> list[int]:
    """Samples of a current without a gate."""
    counts = [2048.0] * 900
    for n in range(round(half_cycles * HALF)):
        counts[at + n] += amperes * 10 * math.sqrt(2) * math.sin(math.pi * n / HALF)
    return [round(count) for count in counts]


@pytest.mark.parametrize("at", [0, 10, 200, 450])
def test_a_current_without_a_gate_is_seen_within_a_half_cycle(at: int) -> None:
    """In squeeze, from its first sample on, and after the last gate: by the end of the window after it began."""
    counts = shorted(20.0, 4, at)
    driver = SampledDriver(counts, [])
    config = settings()
    meter = Ammeter(driver, config, Curve(config))  # type: ignore[arg-type]
    meter.begin(driver, 0)  # type: ignore[arg-type]
    for taken in range(0, len(counts), 40):
        driver.to(taken)
        meter.look(driver, 10_000, taken // 8)  # type: ignore[arg-type]
        if meter.fault:
            break
    assert meter.fault == SWITCH_SHORTED
    # Two half-cycles of bias where it flows from the start; else its own half-cycle, and the step that looks.
    assert taken <= max(at + HALF + HALF / 2, 2 * HALF) + 2 * 40


def flowing(amperes: float, at_gates: tuple[int, ...], samples: int = 7, **changes: Any) -> Ammeter:
    """Eight sound gates, and this current in so many samples before some of them."""
    counts, gates = waves([20.0] * 8)
    for gate in at_gates:
        counts[gates[gate] - samples : gates[gate]] = [2048 + round((-1) ** gate * amperes * 10)] * samples
    return looked(SampledDriver(counts, gates), **changes)


@pytest.mark.parametrize(
    ("amperes", "at_gates", "longest_us", "fault"),
    [
        (5.2, (3, 4), 8_000, SWITCH_SHORTED),
        (4.9, (3, 4), 8_000, NO_REASON),  # the limit of a current without a gate is 5 A
        (20.0, (3,), 8_000, NO_REASON),
        (20.0, (3, 5), 8_000, NO_REASON),
        (20.0, (0, 1), 8_000, NO_REASON),  # before the first gate that is another's judgement
        (20.0, (1, 2), 8_000, SWITCH_SHORTED),
        (20.0, (3, 4), 9_999, SWITCH_SHORTED),
        (20.0, (3, 4), 10_000, NO_REASON),  # fired at about the load angle: shorted electrodes may look so
    ],
)
def test_a_current_that_flows_on_to_the_next_gate(
    amperes: float, at_gates: tuple[int, ...], longest_us: int, fault: int
) -> None:
    """A shorted switch, told by the current alone: two gates in a row, and each limit one step either side."""
    assert flowing(amperes, at_gates, LONGEST_US=(longest_us,) * 33).fault == fault


def test_a_gate_that_is_told_late_is_no_current_before_it() -> None:
    """Its own current, in the sample before it."""
    assert flowing(20.0, (2, 3, 4), samples=1).fault == NO_REASON


@pytest.mark.parametrize(
    ("at_gates", "early_us", "late_us", "fault"),
    [
        ((4, 5), 8_400, 8_400, SWITCH_SHORTED),
        ((4, 5), 8_600, 8_600, NO_REASON),  # from 6 ms to the next gate's 4.5 ms are 8.5 ms, so that only gate 5 tells
        ((3, 4), 10_000, 8_000, SWITCH_SHORTED),  # both gates before were fired late
        ((5, 6), 10_000, 8_000, NO_REASON),
    ],
)
def test_what_must_have_ended_follows_from_both_gates(
    at_gates: tuple[int, ...], early_us: int, late_us: int, fault: int
) -> None:
    """Four gates at 6 ms, whose current is the shorter, then some at 4.5 ms."""
    rows = (("squeeze", 10, -1, 0), ("pulse", 4, 6_000, 50), ("weld", 300, 4_500, 80), ("hold", 9, -1, 0))
    longest_us = (early_us,) * 20 + (late_us,) * 13
    assert flowing(20.0, at_gates, rows=rows, LONGEST_US=longest_us).fault == fault


def test_noise_without_a_gate_is_none() -> None:
    """Ten counts of noise, and hum of twenty."""
    chance = random.Random(2)
    counts = [round(2048 + chance.gauss(0, 10) + 20 * math.sin(math.pi * n / HALF)) for n in range(4_000)]
    assert looked(SampledDriver(counts, [])).fault == NO_REASON


@pytest.mark.parametrize(("bias", "fault"), [(1_843, 0), (2_253, 0), (1_842, 1), (2_254, 1), (0, 1), (4_095, 1)])
def test_a_bias_that_is_none(bias: int, fault: int) -> None:
    """A converter that is railed or stuck, or a divider that has drifted, is reported before anything is fired."""
    assert looked(SampledDriver([bias] * 300, [])).fault == fault * CURRENT_SENSE_FAULT


def test_a_converter_that_stands_still() -> None:
    """No sample for 50 ms."""
    driver = SampledDriver([2048] * 300, [])
    config = settings()
    meter = Ammeter(driver, config, Curve(config))  # type: ignore[arg-type]
    meter.begin(driver, 1_000)  # type: ignore[arg-type]
    driver.to(250)
    meter.look(driver, 10_000, 1_030)  # type: ignore[arg-type]
    meter.look(driver, 10_000, 1_080)  # type: ignore[arg-type]
    assert meter.fault == NO_REASON
    meter.look(driver, 10_000, 1_081)  # type: ignore[arg-type]
    assert meter.fault == CURRENT_SENSE_FAULT


RISEN = [20.0] * 12 + [21.0] * 4


@pytest.mark.parametrize(
    ("rms_A", "lengths_us", "expelled"),
    [
        (RISEN, [6_000] * 12 + [6_040] * 4, 14),
        (RISEN, [6_000] * 12 + [6_020] * 4, 0),
        ([20.0] * 12 + [20.2] * 4, [6_000] * 12 + [6_040] * 4, 0),
        ([20.0] * 6 + [21.0] * 4, [6_000] * 6 + [6_040] * 4, 0),
        (RISEN, [], 0),
    ],
)
def test_metal_thrown_out(rms_A: list[float], lengths_us: list[int], expelled: int) -> None:
    """A current greater by a twenty-fifth at once, that lasts longer too, after the contacts have bedded in; else none."""
    meter = met(*rms_A, lengths_us=lengths_us)
    assert (meter.expelled, meter.fault) == (expelled, NO_REASON)


def test_a_step_that_comes_far_too_late_loses_samples_and_judges_none_of_them() -> None:
    """A ring that was written over: the gates have no current, and nobody is accused."""
    counts, gates = waves([20.0] * 20)
    meter = looked(SampledDriver(counts, gates), step=700)
    assert meter.fault == NO_REASON
