"""What is derived from a few readings: held against machines that are known because we made them up whole.

No source outside: circuits are drawn at random, read as an owner would read them, and the derived ranges must hold the
truth. The uncertainties and typical ranges are the module's own (common practice, no source).
"""

from __future__ import annotations

import cmath
import math
import random
from dataclasses import fields
from typing import Any

import pytest

from gen.machine.derived import CLAMP, JOINTS_FACTOR, REFERENCE_OHM, Machine, MachineCase, cases, circuit_of, derive
from gen.machine.inductance import STEEL_FACTOR, loop_of
from gen.machine.tables import Arms, Electrodes
from gen.machine.welder import Welder
from gen.ranges import Figure

ARMS = {"length_mm": 250, "throat_mm": 100, "diameter_mm": 20}
ELECTRODES = {"diameter_mm": 12, "length_mm": 40}
READ = {"shorted_current_A": 30, "open_secondary_V": 2.4}
TAPS = {"shorted_current_A": 30, "shorted_tap": "high", "taps": {"low": 1.8, "high": 2.4}, "tap": "high"}


def welder_with(transformer: dict[str, Any], **tables: dict[str, Any]) -> Welder:
    """A machine of the fewest keys, with what `transformer` and `tables` add."""
    content: dict[str, Any] = {
        "mains": {"voltage_V": 230, "frequency_Hz": 50},
        "transformer": {"rating_kVA": 3.0, "rating_duty_percent": 50} | transformer,
        "force": {"source": "foot_lever"},
        "board": {"name": "pico"},
    }
    for name, table in tables.items():
        content[name] = content.get(name, {}) | table
    return Welder.model_validate(content)


def holds(figure: Figure | None, value: float) -> bool:
    assert figure is not None
    return figure.low * (1 - 1e-9) <= value <= figure.high * (1 + 1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_the_truth_lies_in_every_range(seed: int) -> None:
    """A machine made up whole, its readings taken with a clamp meter's error: each derived range holds the truth."""
    chance = random.Random(seed)
    arms = Arms(length_mm=chance.uniform(150, 400), throat_mm=120, diameter_mm=chance.uniform(15, 30))
    electrodes = Electrodes(diameter_mm=12, length_mm=chance.uniform(20, 60))
    shape = loop_of(arms, electrodes, 50)
    volts = {"low": 1.8, "high": chance.uniform(2.2, 3.0)}
    loop = complex(
        shape.resistance_ohm * chance.uniform(*JOINTS_FACTOR), shape.reactance_ohm * chance.uniform(0.9, 1.1)
    )
    said = {"source_resistance_ohm": REFERENCE_OHM.real, "source_inductance_mH": REFERENCE_OHM.imag / 0.1 / math.pi}
    source = REFERENCE_OHM * chance.uniform(0.87, 1.13)
    work = chance.uniform(100, 300) * 1e-6
    turns = {name: 230 / (v * chance.uniform(0.995, 1.005)) for name, v in volts.items()}
    angle = math.radians(chance.uniform(48, 72))
    leakage = cmath.rect(chance.uniform(300, 600) * 1e-6, angle)  # of the secondary side

    def short(tap: str) -> complex:
        return source + (leakage + loop) * turns[tap] ** 2

    def total(tap: str) -> complex:
        return short(tap) + work * turns[tap] ** 2

    assert 45 < math.degrees(cmath.phase(short("high"))) < 75, "a short circuit outside the stated range of angles"
    read = {
        "shorted_current_A": 230 / abs(short("high")) / chance.uniform(1 - CLAMP, 1 + CLAMP),
        "shorted_tap": "high",
        "tap": "low",
        "taps": volts,
    }
    if seed % 2:
        read["working_current_A"] = 230 / abs(total("low")) / chance.uniform(1 - CLAMP, 1 + CLAMP)
        read["working_tap"] = "low"
    shapes = {"arms": arms.model_dump(), "electrodes": electrodes.model_dump(exclude_none=True)}
    machine = welder_with(read, mains=said, **shapes).machine
    k = turns["low"] ** 2
    assert holds(machine.source_resistance, source.real)
    assert holds(machine.source_reactance, source.imag)
    assert holds(machine.loop_resistance, loop.real * k)
    assert holds(machine.loop_reactance, loop.imag * k)
    assert holds(machine.leakage_resistance, leakage.real * k)
    assert holds(machine.leakage_reactance, leakage.imag * k)
    assert holds(machine.work_resistance, work * k)
    assert holds(machine.work_secondary_uohm, work * 1e6)
    for tap in machine.taps:
        assert holds(tap.turns_ratio, turns[tap.name])
        assert holds(tap.short_primary, 230 / abs(short(tap.name)))
        assert holds(tap.short_secondary, 230 / abs(short(tap.name)) * turns[tap.name])
        assert holds(tap.working_primary, 230 / abs(total(tap.name)))
        assert holds(tap.working_secondary, 230 / abs(total(tap.name)) * turns[tap.name])
        assert holds(tap.load_angle, math.degrees(cmath.phase(total(tap.name))))


@pytest.mark.parametrize("working", [None, 24])
def test_no_case_between_the_ends_leaves_the_range(working: float | None) -> None:
    """Ranges are taken from the ends of what is uncertain: a thousand cases from within them stay inside."""
    read = {"working_current_A": working, "working_tap": "high"} if working else {}
    welder = welder_with(TAPS | read, arms=ARMS, electrodes=ELECTRODES)
    assert welder.arms
    loop = loop_of(welder.arms, welder.electrodes, 50)
    ends = {name: [getattr(case, name) for case in cases(welder, loop)] for name in MachineCase._fields}
    chance = random.Random(1)
    machine = derive(welder)
    for _ in range(1000):
        case = MachineCase(**{name: chance.uniform(min(values), max(values)) for name, values in ends.items()})
        circuit = circuit_of(welder, loop, case)
        for figure, value in (
            (machine.short_impedance, abs(circuit.short)),
            (machine.leakage_resistance, circuit.leakage.real),
            (machine.leakage_reactance, circuit.leakage.imag),
            (machine.work_resistance, circuit.work_ohm),
            (machine.in_use.working_primary, 230 / abs(circuit.total)),
            (machine.in_use.load_angle, math.degrees(cmath.phase(circuit.total))),
        ):
            assert figure.low * 0.999 <= value <= figure.high * 1.001


def test_by_hand() -> None:
    """One machine on paper: 230 V over 30 A is 7.667 ohm; 2.4 V makes 95.83 turns; 30 A are 2875 A in the secondary."""
    machine = welder_with(READ).machine
    assert machine.short_impedance.middle == pytest.approx(7.667, rel=0.001)
    assert machine.in_use.turns_ratio is not None
    assert machine.in_use.turns_ratio.middle == pytest.approx(95.83, rel=0.001)
    assert machine.in_use.short_secondary is not None
    assert machine.in_use.short_secondary.middle == pytest.approx(2875, rel=0.002)
    # least: most work, 300 micro-ohm, on the flattest angle, 45 degrees; most: 100 micro-ohm on 75 degrees
    least = 230 / abs(cmath.rect(230 / 29.1, math.radians(45)) + 300e-6 * (230 / 2.4 / 0.98) ** 2)
    most = 230 / abs(cmath.rect(230 / 30.9, math.radians(75)) + 100e-6 * (230 / 2.4 / 1.02) ** 2)
    assert (machine.in_use.working_primary.low, machine.in_use.working_primary.high) == pytest.approx((least, most))


def test_taps_go_with_the_square_of_the_turns() -> None:
    """With a stiff supply a tap of three quarters of the voltage passes 9/16 of the primary, 3/4 of the secondary current."""
    stiff = {"source_resistance_ohm": 1e-6, "source_inductance_mH": 1e-6}
    high, low = welder_with(TAPS, mains=stiff).machine.taps
    assert (high.name, low.name) == ("high", "low")
    assert low.short_primary.middle / high.short_primary.middle == pytest.approx((1.8 / 2.4) ** 2, rel=2e-3)
    assert low.short_secondary is not None
    assert high.short_secondary is not None
    assert low.short_secondary.middle / high.short_secondary.middle == pytest.approx(1.8 / 2.4, rel=2e-3)
    assert "square of the turns" in low.short_primary.source
    assert high.short_primary.source == "given, read within 3 %"


def test_shorted_on_another_tap() -> None:
    """The reading belongs to the tap on which it was taken; the same machine told from either tap is the same."""
    there = welder_with(TAPS | {"tap": "low"}).machine
    here = welder_with(TAPS).machine
    assert there.in_use.name == "low"
    for one, other in ((there.in_use, here.taps[1]), (there.taps[1], here.taps[0])):
        for f in fields(one):
            a, b = getattr(one, f.name), getattr(other, f.name)
            if isinstance(a, Figure):
                assert (a.low, a.high) == pytest.approx((b.low, b.high)), f.name


def test_given_wins() -> None:
    """A working current and load angles that the file gives are the ones that count, whatever follows from the rest."""
    given = {"working_current_A": 24, "load_angle_min_deg": 30, "load_angle_max_deg": 50}
    welder = welder_with(READ | given)
    t = welder.transformer
    assert (t.working_current_A, t.load_angle_min_deg, t.load_angle_max_deg) == (24, 30, 50)
    assert welder.machine.in_use.load_angle == Figure(30, 50, "degrees", "given")
    assert holds(welder.machine.in_use.working_primary, 24)
    assert welder.machine.in_use.working_primary.high == pytest.approx(24 * 1.03)


def test_left_out_is_filled_from_the_shorted_reading() -> None:
    """Code that asks the transformer finds the derived values: of the current the upper end, of the angles both."""
    welder = welder_with(READ)
    machine, t = welder.machine, welder.transformer
    assert t.working_current_A == pytest.approx(machine.in_use.working_primary.high, abs=0.05)
    assert t.load_angle_min_deg == pytest.approx(machine.in_use.load_angle.low, abs=0.05)
    assert t.load_angle_max_deg == pytest.approx(machine.in_use.load_angle.high, abs=0.05)
    assert t.model_fields_set == {"rating_kVA", "rating_duty_percent", *READ}
    assert f"transformer.working_current_A = {t.working_current_A:g} (from shorted_current_A)" in welder.assumed()
    assert welder.allowed_duty == pytest.approx(0.5 * (3000 / 230 / t.working_current_A) ** 2)


def test_an_old_welder_file_is_as_it_was() -> None:
    """Without new keys: typical load angles, the given current, the secondary not known, and nothing contradicts it."""
    for amperes in (2, 20, 60, 2000):
        welder = welder_with({"working_current_A": amperes})
        machine = welder.machine
        t = welder.transformer
        assert (t.working_current_A, t.load_angle_min_deg, t.load_angle_max_deg) == (amperes, 40, 65)
        assert holds(machine.in_use.working_primary, amperes)
        assert machine.in_use.working_secondary is None
        assert (machine.loop_resistance, machine.work_secondary_uohm) == (None, None)
        assert machine.source_resistance.high * amperes <= 23 * 1.0001
        assert machine.in_use.short_primary.high > amperes


def test_arms_narrow_the_short_circuit_angle() -> None:
    """What arms and supply have of their own limits the angle: a resistance near the whole forbids a steep one."""
    wide = welder_with(READ).machine.short_angle
    thin = welder_with(READ, arms=ARMS | {"diameter_mm": 6}).machine.short_angle
    assert (wide.low, wide.high) == pytest.approx((45, 75))
    assert thin.high < 70
    large = welder_with(READ, arms=ARMS | {"length_mm": 2200, "throat_mm": 300, "diameter_mm": 60}).machine.short_angle
    assert large.low > 50


def test_steel_widens_the_reactance_only() -> None:
    """Steel in the throat: its stated factor on the loop's reactance, none on its resistance."""
    without, with_steel = (
        welder_with(READ, arms=ARMS | {"steel_in_throat": steel}, electrodes=ELECTRODES).machine
        for steel in (False, True)
    )
    assert without.loop_reactance
    assert with_steel.loop_reactance
    assert with_steel.loop_reactance.low / without.loop_reactance.low == pytest.approx(STEEL_FACTOR[0])
    assert with_steel.loop_reactance.high / without.loop_reactance.high == pytest.approx(STEEL_FACTOR[1])
    assert with_steel.loop_resistance == without.loop_resistance
    assert "common practice, no source" in with_steel.loop_reactance.source


@pytest.mark.parametrize("frequency_Hz", [50, 60])
def test_reactance_goes_with_frequency(frequency_Hz: int) -> None:
    """A given source inductance is a reactance at the mains frequency."""
    mains = {"source_resistance_ohm": 0.3, "source_inductance_mH": 0.5, "frequency_Hz": frequency_Hz}
    machine = welder_with(READ, mains=mains).machine
    assert machine.source_reactance.middle == pytest.approx(2 * math.pi * frequency_Hz * 0.5e-3)
    assert machine.source_resistance.source == "given, within 15 %"


def every_figure(machine: Machine) -> list[Figure]:
    taps = [getattr(tap, f.name) for tap in machine.taps for f in fields(tap)]
    return [figure for _, figure in machine.figures()] + [figure for figure in taps if isinstance(figure, Figure)]


@pytest.mark.parametrize("read", [{"working_current_A": 20}, READ, TAPS, READ | {"working_current_A": 24}])
@pytest.mark.parametrize("arms", [{}, {"arms": ARMS}, {"arms": ARMS, "electrodes": ELECTRODES}])
def test_every_figure_says_where_it_came_from(read: dict[str, Any], arms: dict[str, dict[str, Any]]) -> None:
    """Ranges in order, no negative impedance, and a source that is given, typical or a computation."""
    machine = welder_with(read, **arms).machine
    for figure in every_figure(machine):
        assert -1e-9 <= figure.low <= figure.high < math.inf
        assert figure.source.startswith(
            ("given", "typical", "from ", "V over", "mains over", "primary current", "angle of")
        )
    assert machine == welder_with(read, **arms).machine
    sum_ohm = machine.source_ohm + machine.leakage_ohm + machine.loop_ohm
    assert abs(sum_ohm) == pytest.approx(machine.short_impedance.middle, rel=0.12)
