"""The steps and their judging, the shots, and the sheet, without a board."""

from __future__ import annotations

import math
import re
from pathlib import Path

import html5lib
import pytest

from gen.boards import boards
from gen.cautions import CAUTIONS
from gen.commissioning.sheet import record_html, sheet_html
from gen.commissioning.shots import (
    LEAST_LOAD_W,
    SHORTED_CYCLES,
    conducted_fraction,
    least_load_W,
    lowest_tap,
    short_circuit_A,
    shorted_fraction,
    shot,
    with_shorted_electrodes,
)
from gen.commissioning.steps import KEYS, READING_FACTOR, SHORT_CIRCUIT, steps
from gen.commissioning.values import NOT_DONE, Step, is_done, judge
from gen.machine.welder import Welder
from gen.records import CheckRecord
from gen.timing import GATE_END_DEG
from gen.wiring.detector_offset import DetectorParts, offset_from_parts
from tests.support.machines import known_welder, make_welder

PICO = boards()["pico"]
SHOTS = ("resistive-load", "open-electrodes", "shorted")


def named(welder: Welder, name: str, **readings: float) -> Step:
    return next(
        step for step in steps(welder, PICO, {k.replace("_", "-"): v for k, v in readings.items()}) if step.key == name
    )


@pytest.mark.parametrize("welder", [make_welder(), known_welder()], ids=["little known", "much known"])
def test_each_limit_to_the_last_digit(welder: Welder) -> None:
    """A reading on the limit passes, one beyond it fails and says what to do; no reading is never a pass."""
    judged = 0
    for step in steps(welder, PICO):
        assert judge(step, None).outcome == "not checked"
        if step.contact is not None or step.let_go:
            continue
        for end, beyond in ((step.limit.low, -1), (step.limit.high, 1)):
            if math.isinf(end):
                continue
            judged += 1
            assert judge(step, end).outcome == "passed"
            failed = judge(step, end + beyond * 1e-9 * max(1, abs(end)))
            assert failed.outcome == "failed"
            assert step.mend in failed.why
        assert step.limit.low < step.limit.high
        assert step.limit.source
    assert judged >= 18


def test_limits_of_the_mains() -> None:
    """EN 50160: 10 % of the voltage, from memory; the dip of 10 % is common practice. What is from memory says so."""
    welder = known_welder()
    assert named(welder, "voltage").limit.low == pytest.approx(207)
    assert named(welder, "voltage").limit.high == pytest.approx(253)
    assert named(welder, "line-impedance").limit.high == pytest.approx(23 / 20)
    for step in steps(welder, PICO):
        if re.search(r"IEC|EN \d", step.limit.source):
            assert "from memory" in step.limit.source or "public copy" in step.limit.source


def test_what_the_machine_lacks_is_said() -> None:
    """No breaker, no force switch, no contact, a pulse detector: each its own reason; a whole machine lacks nothing."""
    bare = make_welder(protection={"over_temperature_contact": False}, detector={"kind": "pulse"})
    lacking = {step.key: step.lacking for step in steps(bare, PICO) if step.lacking}
    assert list(lacking) == [
        "loop-impedance",
        "residual-current",
        "residual-time",
        "over-temperature",
        "force-switch",
        "heat-cuts",
        "offset-fall",
    ]
    assert "names no breaker" in lacking["loop-impedance"]
    assert "names no residual-current device" in lacking["residual-time"]
    plain = make_welder(
        protection=dict.fromkeys(("contactor", "stop_cuts_contactor"), False) | {"gate_drive": "direct"}
    )
    lacking = {step.key: step.lacking for step in steps(plain, PICO) if step.lacking}
    assert "no contactor" in lacking["coil-supply"]
    assert "no stop contact" in lacking["stop-cuts"]
    assert "no gate drive that ends by itself" in lacking["gate-stands"]
    whole = known_welder(force={"source": "air", "force_switch": True}, protection={"residual_current_device": True})
    assert [step.key for step in steps(whole, PICO) if step.lacking] == []


@pytest.mark.parametrize(
    ("outcome", "has_board", "done"),
    [
        (None, True, False),
        ("failed", True, False),
        ("failed", False, False),
        ("passed", True, True),
        ("not checked", False, True),
        ("not checked", True, False),
    ],
)
def test_what_is_behind_a_walk(outcome: str | None, has_board: bool, done: bool) -> None:
    """A failed step is never behind; one left out for want of a board is open again once there is one."""
    pedal = named(make_welder(), "pedal")
    assert is_done(pedal, outcome, has_board) is done
    assert is_done(named(make_welder(), "force-switch"), "not checked", True)
    assert is_done(named(make_welder(), "voltage"), "not checked", True)


def test_the_least_load_is_latched_to_the_gates_end() -> None:
    """500 W where that is enough; with a sluggish thyristor what draws its latching current where the gate ends (a sine)."""
    assert least_load_W(make_welder()) == LEAST_LOAD_W
    sluggish = make_welder(switch={"latching_current_A": 1.5})
    peak_A = math.sqrt(2) * least_load_W(sluggish) / 230
    assert peak_A * math.sin(math.radians(GATE_END_DEG)) == pytest.approx(1.5)
    lamp = named(make_welder(), "load-power")
    assert judge(lamp, 60).outcome == "failed"


def test_current_of_a_resistance_by_the_dimmers_formula() -> None:
    """sqrt(1 - a/pi + sin(2a)/(2 pi)): the RMS of a sine cut at a (Hart, Power Electronics, chapter 5), by quadrature too."""
    table = shot("resistive-load", make_welder(), PICO).table
    row = max((r for r in table.rows if r.firing_delay_us is not None), key=lambda r: r.half_cycles)
    a = (row.firing_delay_us or 0) * 1e-6 * 2 * math.pi * 50
    formula = math.sqrt(1 - a / math.pi + math.sin(2 * a) / (2 * math.pi))
    n = 20000
    grid = (a + (math.pi - a) * (i + 0.5) / n for i in range(n))
    by_sum = math.sqrt(2 / math.pi * sum(math.sin(t) ** 2 for t in grid) * (math.pi - a) / n)
    assert formula == pytest.approx(by_sum, rel=1e-6)
    assert conducted_fraction(table, 0.0) == pytest.approx(formula, rel=1e-3)
    low, high = (named(make_welder(), "resistive-load", load_power=2000).limit.low, 2000 / 230 * formula)
    assert low == pytest.approx(0.8 * high, rel=1e-3)
    assert high / math.sqrt(2) < low  # half the half-waves would be noticed


@pytest.mark.parametrize("name", SHOTS)
def test_every_shot_is_long_enough_and_small_enough(name: str) -> None:
    """At least 25 cycles; the shorted one leaves a minute; all of them balanced."""
    welder = make_welder()
    table = shot(name, welder, PICO).table
    assert table.fired_half_cycles == 2 * SHORTED_CYCLES >= 50
    assert table.fired_half_cycles % 2 == 0
    assert (table.time_of("off") >= 60 * 100) == (name == "shorted")


def tapped() -> Welder:
    """Two taps, the upper one in use."""
    taps = {"high": 2.4, "low": 1.8}
    read = {"shorted_current_A": 40, "shorted_tap": "high", "working_tap": "high"}
    return make_welder(transformer={"taps": taps, "tap": "high"} | read)


def test_shorted_on_the_lowest_tap() -> None:
    """The limit is that of the lowest tap: about (1.8 / 2.4)^2 of the shorted current on the upper one; and so it is judged."""
    welder = tapped()
    assert lowest_tap(welder.transformer) == "low"
    limit = named(welder, "shorted").limit
    assert limit.low < 40 * (1.8 / 2.4) ** 2 < limit.high < 40
    meets = with_shorted_electrodes(welder).machine
    assert meets.in_use.name == "low"
    assert meets.work_resistance.high == 0
    # The supply does not change with the tap, so the rest is what is scaled; the whole must still come to V / I.
    z = abs(meets.source_ohm + meets.leakage_ohm + meets.loop_ohm)
    assert 230 / z == pytest.approx(meets.in_use.working_primary.middle, rel=0.05)


def test_a_reading_below_full_conduction_is_put_up_to_it() -> None:
    """Where the short circuit lags less than 100 % fires for, the meter shows less than V / Z; the band holds the truth."""
    welder = make_welder()
    fraction = shorted_fraction(welder, PICO)
    assert 0.7 < fraction.low < fraction.high <= 1
    for angle in (welder.machine.short_angle.low, welder.machine.short_angle.middle, welder.machine.short_angle.high):
        reading = 30 * conducted_fraction(shot("shorted", welder, PICO).table, angle)
        found = short_circuit_A(reading, welder, PICO)
        assert found.low <= 30 * (1 + 1e-9)
        assert found.high >= 30 * (1 - 1e-9)


@pytest.mark.parametrize("falling", [False, True])
def test_the_detectors_offset_from_its_parts(falling: bool) -> None:
    """The time that a sine takes to the LED's threshold, by bisection on the voltage itself, lies in the stated band.

    The circuit is the textbook optocoupler with a series resistor (Horowitz and Hill, The Art of Electronics, from memory).
    """
    parts = DetectorParts(100e3, 10e3, 50, 200, 2, 60)
    band = offset_from_parts(parts, 230, 50, 3.3, falling=falling)
    for ratio, delay_us in ((0.6, 5), (1.0, 30), (1.9, 55)):
        threshold_V = 1.2 + 1.4 / 10e3 / ratio * 100e3  # 1.4 V: a 3.3 V input between its low and its high
        low, high = 0.0, 5e-3
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if 325.27 * math.sin(100 * math.pi * middle) < threshold_V else (low, middle)
        offset_us = delay_us + (-low if falling else low) * 1e6
        assert band.low < offset_us < band.high
    sheets_own = offset_from_parts(DetectorParts(36e3, 6.1e3, 50, 200, 2, 60), 230, 50, 3.3, falling=falling)
    assert sheets_own.high - sheets_own.low < 400 < band.high - band.low  # larger resistors make a wider band


def test_parts_that_never_light_the_led() -> None:
    """A megohm before the LED and a poor transfer ratio: no edge ever, and said so."""
    with pytest.raises(ValueError, match="never drives enough current"):
        offset_from_parts(DetectorParts(10e6, 1e3, 20, 50, 2, 60), 230, 50, 3.3)


def test_the_sheet_has_every_step_caution_and_limit() -> None:
    """Valid HTML5 by a parser that is not ours, self-contained, numbered, with room to write, and all that a reader must know."""
    welder = known_welder()
    found = steps(welder, PICO)
    text = sheet_html(welder, PICO, found)
    html5lib.HTMLParser(strict=True).parse(text)
    assert not re.search(r"(src|href)=|https?:|@import|url\(", text)
    plain = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", text)).replace("&#39;", "'").replace("&#34;", '"')
    for words in (
        *CAUTIONS,
        *NOT_DONE,
        *(step.title for step in found),
        *(step.mend for step in found if not step.contact and not step.lacking),
    ):
        assert words in plain
    for step in found:
        if step.limit_text and not step.lacking:
            assert step.limit_text in plain
            assert step.limit.source in plain
    assert re.findall(r'class="number">(\d+)<', text) == [str(n) for n in range(1, len(found) + 1)]
    assert text.count('class="blanks"') == sum(not step.lacking for step in found)


def test_the_record_shows_what_was_tried_and_no_more() -> None:
    """Steps that nobody reached say so; a note from outside cannot break the page."""
    welder = make_welder()
    walk = [
        CheckRecord(
            3, "earth", 1, "2026-01-01T10:00:00Z", "pico E66", "failed", 0.71, "ohm", "limit: <b>0.3</b> & so on"
        ),
        CheckRecord(3, "earth", 2, "2026-01-01T10:20:00Z", "pico E66", "passed", 0.11, "ohm", ""),
    ]
    text = record_html(welder, PICO, steps(welder, PICO), walk)
    html5lib.HTMLParser(strict=True).parse(text)
    assert "Commissioning record, walk 3" in text
    assert "2026-01-01T10:00:00Z: failed, 0.71 ohm; limit: &lt;b&gt;0.3&lt;/b&gt; &amp; so on" in text
    assert "Earth continuity: passed" in text
    assert text.count(": not reached") == len(steps(welder, PICO)) - 1


def test_keys_for_the_welder_file_are_steps() -> None:
    """Every reading that goes back belongs to a step that can be passed with one."""
    assert set(KEYS) - {SHORT_CIRCUIT, READING_FACTOR} <= {
        step.key for step in steps(make_welder(), PICO) if step.contact is None
    }


def test_a_limit_of_the_welder_forbids_a_shot(tmp_path: Path) -> None:
    """Where 25 cycles are more than longest_weld allows, the message names both."""
    from gen.errors import InputError

    with pytest.raises(
        InputError, match=r"50 half-cycles given; allowed: at most 20 half-cycles \(limits.longest_weld"
    ):
        steps(make_welder(limits={"longest_weld": "10 cycles"}), PICO)
