"""The compiler: every rule of the timing table, each by its own definition and over random schedules."""

from __future__ import annotations

import itertools
import math
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gen.boards import Board, boards
from gen.current import FULL_MARGIN_DEG
from gen.errors import InputError
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.phase_control import rms_fraction
from gen.schedule import Schedule
from gen.table import TimingRow, TimingTable
from gen.timing import _Compiler, compile_schedule, flux_peak
from gen.units import degrees_to_us, parse_duration, us_to_degrees
from tests.support.machines import compiled, fired_row, make_schedule, make_welder

SOURCE = Path("job.toml")
ROUNDING_DEG = 0.02  # a delay is whole microseconds


def angle(row: TimingRow, frequency_Hz: int = 50) -> float:
    """A fired row's delay in degrees."""
    assert row.firing_delay_us is not None
    return us_to_degrees(row.firing_delay_us, frequency_Hz)


def runs(rows: tuple[TimingRow, ...]) -> list[tuple[bool, list[TimingRow]]]:
    """Impulses and pauses in turn."""
    return [
        (fired, list(group))
        for fired, group in itertools.groupby(rows, key=lambda row: row.firing_delay_us is not None)
    ]


def refusal(welder: Welder, *phases: dict[str, Any]) -> str:
    with pytest.raises(InputError) as error:
        compiled(welder, *phases)
    return str(error.value)


@pytest.mark.parametrize(
    ("tables", "least_ms"),
    [
        ({"contactor": {"closes_ms": 120, "bounce_ms": 10}}, 130),
        ({"contactor": {"closes_ms": 120, "bounce_ms": 11}}, 140),
        ({"force": {"source": "air"}}, 200),
        ({"force": {"source": "air", "builds_up_ms": 350}, "contactor": {"closes_ms": 120}}, 350),
        ({"protection": {"contactor": False}}, 10),
    ],
)
def test_a_squeeze_lets_force_and_contactor_come(tables: dict[str, dict[str, Any]], least_ms: int) -> None:
    """As long as the slower of both takes, in whole half-cycles, and not a half-cycle less."""
    welder = make_welder(**tables)

    def table(ms: int) -> TimingTable:
        phases = ({"squeeze": f"{ms} ms"}, {"weld": "5 cycles"}, {"hold": "5 cycles"}, {"off": "0.5 s"})
        schedule = Schedule.model_validate({"name": "test", "frequency_Hz": 50, "phases": phases})
        return compile_schedule(schedule, welder, boards()["pico"], SOURCE)

    assert table(least_ms).rows[0].half_cycles == least_ms // 10
    with pytest.raises(
        InputError, match="this rounds to nothing" if least_ms == 10 else f"allowed: {least_ms} ms or more"
    ):
        table(least_ms - 10 if least_ms > 10 else 4)


# -- random schedules -----------------------------------------------------------------------------------------------

times = st.one_of(
    st.integers(1, 20).map(lambda n: f"{n} cycles"),
    st.integers(1, 20).map(lambda n: f"{2 * n} half-cycles"),
    st.integers(201, 4000).map(lambda n: f"{n / 10:g} ms"),
    st.integers(21, 400).map(lambda n: f"{n / 1000:g} s"),
)
percents = st.one_of(st.just(100.0), st.floats(16, 100).map(lambda p: round(p, 1)))


@st.composite
def pulses(draw: st.DrawFn) -> dict[str, Any]:
    return {
        "pulse": draw(times),
        "current_percent": draw(percents),
        "repeat": draw(st.integers(1, 3)),
        "cool": draw(times),
    }


@st.composite
def welds(draw: st.DrawFn) -> dict[str, Any]:
    phase: dict[str, Any] = {"weld": f"{draw(st.integers(6, 40))} cycles", "current_percent": draw(st.floats(60, 100))}
    for slope, end in (("upslope", "upslope_from_percent"), ("downslope", "downslope_to_percent")):
        if draw(st.booleans()):
            phase |= {slope: f"{draw(st.integers(1, 3))} cycles", end: draw(st.floats(16, 59))}
    return phase


@st.composite
def jobs(draw: st.DrawFn) -> tuple[TimingTable, Welder, list[dict[str, Any]]]:
    """A compiled table, with the machine and the phases that it came from."""
    least, most = sorted((draw(st.integers(15, 75)), draw(st.integers(15, 75))))
    welder = make_welder(
        mains={"frequency_Hz": draw(st.sampled_from((50, 60)))},
        transformer={"load_angle_min_deg": least, "load_angle_max_deg": most},
        limits={"longest_weld": "60 s", "least_cool": "1 cycle"},
    )
    phases: list[dict[str, Any]] = []
    for phase in draw(st.lists(st.one_of(pulses(), welds()), min_size=1, max_size=4)):
        if phases and "weld" in phases[-1] and draw(st.booleans()):
            phases.append({"cool": draw(times)})
        phases.append(phase)
    return compiled(welder, *phases), welder, phases


fast = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


@fast
@given(jobs())
def test_every_impulse_and_every_gap_is_even(job: tuple[TimingTable, Welder, list[dict[str, Any]]]) -> None:
    """Common practice, no source: whole cycles of current and whole cycles between, or the core is left magnetised."""
    table, _, _ = job
    for _, rows in runs(table.impulse_rows):
        assert sum(row.half_cycles for row in rows) % 2 == 0
    assert all(row.half_cycles > 0 for row in table.rows)


@fast
@given(jobs())
def test_every_delay_is_between_the_load_angle_and_the_end_of_the_gate(
    job: tuple[TimingTable, Welder, list[dict[str, Any]]],
) -> None:
    """Never below the greatest load angle (a gate there half-waves), and at least 10 degrees of gate up to 165."""
    table, welder, _ = job
    for row in table.rows:
        if row.firing_delay_us is not None:
            assert welder.transformer.load_angle_max_deg < angle(row, table.frequency_Hz) <= 155 + ROUNDING_DEG
        else:
            assert row.current_percent == 0


@fast
@given(jobs())
def test_first_half_cycle_after_each_pause(job: tuple[TimingTable, Welder, list[dict[str, Any]]]) -> None:
    """Common practice, no source: a floor of 87 degrees; a larger scheduled delay stands, and only one half-cycle is moved."""
    table, welder, _ = job
    floor = welder.limits.first_delay_deg
    for fired, rows in runs(table.rows):
        if fired:
            assert angle(rows[0], table.frequency_Hz) >= floor - ROUNDING_DEG
            moved = angle(rows[0], table.frequency_Hz) < floor + ROUNDING_DEG
            assert (
                rows[0].half_cycles == 1 or not moved or len(rows) == 1 or angle(rows[1], table.frequency_Hz) >= floor
            )


@fast
@given(jobs())
def test_a_table_takes_as_long_as_its_phases(job: tuple[TimingTable, Welder, list[dict[str, Any]]]) -> None:
    """Fired times and gaps within a half-cycle of what was written, each; to the half-cycle where it was counted."""
    table, _, phases = job
    written, given_in_seconds = Fraction(0), 0
    for phase in phases:
        for key in ("pulse", "weld", "cool"):
            if key in phase:
                time = parse_duration(phase[key])
                written += time.half_cycles(table.frequency_Hz) * phase.get("repeat", 1)
                given_in_seconds += 0 if time.counted else phase.get("repeat", 1)
    assert abs(table.time_of("pulse", "upslope", "weld", "downslope", "cool") - written) <= given_in_seconds
    assert table.half_cycles == sum(table.time_of(phase) for phase in {row.phase for row in table.rows})
    assert table.fired_half_cycles == sum(row.half_cycles for row in table.rows if row.firing_delay_us is not None)


@fast
@given(jobs())
def test_same_files_same_digest(job: tuple[TimingTable, Welder, list[dict[str, Any]]]) -> None:
    """The digest is that of what runs: compiled again it is the same, a half-cycle more and it is not."""
    table, welder, phases = job
    assert compiled(welder, *phases).digest == table.digest
    assert len(table.digest) == 16
    longer = (*table.rows[:-1], TimingRow("off", table.rows[-1].half_cycles + 1))
    assert TimingTable(table.name, table.frequency_Hz, longer, table.notes).digest != table.digest
    assert TimingTable(table.name, table.frequency_Hz, table.rows, ()).digest == table.digest


@fast
@given(welds(), st.integers(15, 75))
def test_slopes_climb_and_fall_inside_the_weld(phase: dict[str, Any], load_angle: int) -> None:
    """Slopes are part of the weld time; current only climbs before the weld's own, and only falls after it."""
    welder = make_welder(transformer={"load_angle_min_deg": load_angle, "load_angle_max_deg": load_angle})
    table = compiled(welder, phase)
    assert table.time_of("upslope", "weld", "downslope") == parse_duration(phase["weld"]).half_cycles(50)
    for slope, end in (("upslope", "upslope_from_percent"), ("downslope", "downslope_to_percent")):
        rows = [row for row in table.rows if row.phase == slope]
        assert sum(row.half_cycles for row in rows) == (
            parse_duration(phase[slope]).half_cycles(50) if slope in phase else 0
        )
        rising = [row.current_percent for row in (rows if slope == "upslope" else reversed(rows))]
        assert rising == sorted(rising)
        if rows:
            assert rising[0] == pytest.approx(phase[end], abs=0.06)
            assert rising[-1] < phase["current_percent"] + 0.06


# -- the rules one by one -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("load_angle", [20, 45, 65, 80])
def test_full_current_fires_just_beyond_the_greatest_load_angle(load_angle: int) -> None:
    """100 % at load_angle_max plus a margin, and no percentage before it."""
    welder = make_welder(transformer={"load_angle_min_deg": 10, "load_angle_max_deg": load_angle})
    full = compiled(welder, {"weld": "10 cycles"}).rows[-3]
    near = compiled(welder, {"weld": "10 cycles", "current_percent": 99.9}).rows[-3]
    assert angle(full) == pytest.approx(load_angle + FULL_MARGIN_DEG, abs=ROUNDING_DEG)
    assert angle(near) >= angle(full)


def test_percent_is_of_the_current_and_not_of_the_angle() -> None:
    """Of what flows at 100 %, by the R-L equations at the middle of the load-angle range (Hart, from memory)."""
    welder = make_welder(transformer={"load_angle_min_deg": 40, "load_angle_max_deg": 50})
    row = compiled(welder, {"weld": "10 cycles", "current_percent": 70}).rows[-3]
    assert rms_fraction(angle(row), 45) / rms_fraction(50 + FULL_MARGIN_DEG, 45) == pytest.approx(0.70, abs=0.001)


@pytest.mark.parametrize(
    ("percent", "first_deg", "then_deg"),
    [(100, 87, 68), (50, None, None)],
    ids=["moved to the floor", "a larger delay stands"],
)
def test_first_half_cycle_by_hand(percent: float, first_deg: float | None, then_deg: float | None) -> None:
    """Full current fires once at 87 and then at 65 + 3 degrees; half current fires later than 87 anyway."""
    rows = runs(compiled(make_welder(), {"weld": "10 cycles", "current_percent": percent}).rows)[1][1]
    if first_deg is None:
        assert len(rows) == 1
        assert angle(rows[0]) > 87
    else:
        assert [(row.half_cycles, round(angle(row))) for row in rows] == [(1, first_deg), (19, then_deg)]


def test_first_delay_is_the_welders_to_set() -> None:
    """limits.first_delay_deg moves the floor; a zero-cross relay, which cannot fire there, has none."""
    late = compiled(make_welder(limits={"first_delay_deg": 100}), {"weld": "10 cycles"})
    assert angle(late.impulse_rows[0]) == pytest.approx(100, abs=ROUNDING_DEG)
    relay = compiled(make_welder(switch={"kind": "zero_cross_relay"}), {"weld": "10 cycles"})
    assert [row.half_cycles for row in relay.impulse_rows] == [20]


def test_every_pause_is_followed_by_a_delayed_start() -> None:
    """Each pulse of a pulsation starts anew."""
    table = compiled(make_welder(), {"pulse": "2 cycles", "repeat": 3, "cool": "2 cycles"}, {"weld": "5 cycles"})
    fired = [rows for is_fired, rows in runs(table.rows) if is_fired]
    assert [sum(row.half_cycles for row in rows) for rows in fired] == [4, 4, 4, 10]
    assert [rows[0].half_cycles for rows in fired] == [1, 1, 1, 1]
    assert all(angle(rows[0]) == pytest.approx(87, abs=ROUNDING_DEG) for rows in fired)


@pytest.mark.parametrize(
    ("load_angle", "percent", "slope"), [(60, 90, "3 cycles"), (52, 85, "5 cycles"), (45, 70, "1 cycle")]
)
def test_slopes_step_whichever_way_keeps_the_flux_smaller(
    pico: Board, load_angle: int, percent: int, slope: str
) -> None:
    """Both ways are worked out, the smaller peak is taken, and the table says which and how much."""
    welder = make_welder(transformer={"load_angle_min_deg": load_angle, "load_angle_max_deg": load_angle})
    schedule = make_schedule({"weld": "20 cycles", "current_percent": percent, "upslope": slope, "downslope": slope})
    table = compile_schedule(schedule, welder, pico, SOURCE)
    compiler = _Compiler(schedule, welder, pico, SOURCE)
    rows = {name: compiler.rows(step, []) for name, step in (("half-cycle", 1), ("cycle", 2))}
    peaks = {name: flux_peak(rows[name], 50, load_angle) for name in rows}
    assert peaks[table.slope_step] == min(peaks.values())
    assert table.rows == tuple(rows[table.slope_step])
    told = f"each half-cycle {peaks['half-cycle']:.2f}, each cycle {peaks['cycle']:.2f}"
    assert any(f"slopes step each {table.slope_step}" in note and told in note for note in table.notes)


@pytest.mark.parametrize(("delay_deg", "peak"), [(0, 2.0), (60, 1.5), (90, 1.0), (120, 0.5)])
def test_flux_of_the_first_half_cycle(delay_deg: float, peak: float) -> None:
    """Textbook: switched on at the voltage zero the flux swings to twice its steady peak, at the voltage peak to once."""
    rows = [fired_row("weld", 2, round(degrees_to_us(delay_deg, 50)), 100)]
    assert flux_peak(rows, 50, 0) == pytest.approx(peak, abs=0.001)


def test_fifty_and_sixty_hertz_give_the_same_seconds() -> None:
    """A schedule in seconds means the same on both mains: each time within one half-cycle of what was written."""
    phases = ({"pulse": "0.07 s", "repeat": 2, "cool": "95 ms"}, {"weld": "0.333 s", "upslope": "0.05 s"})
    written_s = {"squeeze": 0.2, "pulse": 0.14, "cool": 0.19, "weld": 0.333, "off": 0.5}
    for frequency_Hz in (50, 60):
        table = compiled(make_welder(mains={"frequency_Hz": frequency_Hz}), *phases)
        half_s = 0.5 / frequency_Hz
        for phase, seconds in written_s.items():
            took = table.time_of(phase, "upslope") if phase == "weld" else table.time_of(phase)
            count = 2 if phase in ("pulse", "cool") else 1
            assert took * half_s == pytest.approx(seconds, abs=count * half_s + 1e-9), (phase, frequency_Hz)


def test_notes_say_what_was_rounded_and_nothing_else_was() -> None:
    """One note a rounding, with what it became and by how much; counted times need none."""
    table = compiled(make_welder(), {"weld": "413 ms"}, {"cool": "45 ms"}, {"weld": "10 cycles", "current_percent": 80})
    rounded = [note for note in table.notes if "becomes" in note]
    assert rounded == [
        "phase 2: weld: 413 ms becomes 42 half-cycles, 420 ms (+7 ms)",
        "phase 3: cool: 45 ms becomes 4 half-cycles, 40 ms (-5 ms)",
    ]
    exact = compiled(make_welder(), {"weld": "400 ms"}, {"cool": "4 cycles"}, {"weld": "10 cycles"})
    assert not [note for note in exact.notes if "becomes" in note]


def test_notes_say_what_a_percentage_comes_to() -> None:
    """The load angle is known as a range, so the current is reported as a range that holds what was asked."""
    table = compiled(make_welder(), {"weld": "10 cycles", "current_percent": 70})
    note = next(note for note in table.notes if note.startswith("70 % fires at"))
    low, high = (float(word) for word in re.findall(r"delivers ([\d.]+) to ([\d.]+) A RMS", note)[0])
    assert low < 0.7 * 20 * rms_fraction(65 + FULL_MARGIN_DEG, 52.5) < high


# -- limits, one step either side -----------------------------------------------------------------------------------


def test_longest_weld_and_least_cool_to_the_half_cycle() -> None:
    """What is exactly the limit passes; a cycle beyond it does not."""
    welder = make_welder(limits={"longest_weld": "20 cycles", "least_cool": "3 cycles"})
    compiled(welder, {"pulse": "5 cycles", "repeat": 2, "cool": "3 cycles"}, {"weld": "10 cycles"})
    longer = refusal(welder, {"pulse": "5 cycles", "repeat": 2, "cool": "3 cycles"}, {"weld": "11 cycles"})
    assert "pulses and welds together: 42 half-cycles given; allowed: at most 40" in longer
    shorter = refusal(welder, {"pulse": "5 cycles", "repeat": 2, "cool": "2 cycles"}, {"weld": "10 cycles"})
    assert "cool between impulses: 4 half-cycles given; allowed: at least 6" in shorter


def test_the_boards_limits_to_the_row_and_the_half_cycle(pico: Board) -> None:
    """A table that fits exactly is let through; one row or half-cycle less room, and it is not."""
    schedule = make_schedule({"pulse": "2 cycles", "repeat": 5, "cool": "3 cycles"}, {"weld": "5 cycles"})
    table = compile_schedule(schedule, make_welder(), pico, SOURCE)
    fits = {"rows": len(table.rows), "half_cycles": sum(row.half_cycles for row in table.impulse_rows)}
    assert fits["half_cycles"] == 5 * 10 + 10

    def board(**limits: int) -> Board:
        return pico.model_copy(update={"limits": pico.limits.model_copy(update=limits)})

    assert compile_schedule(schedule, make_welder(), board(**fits), SOURCE) == table
    for key, most in fits.items():
        with pytest.raises(InputError, match=f"allowed: at most {most - 1} on board pico"):
            compile_schedule(schedule, make_welder(), board(**fits | {key: most - 1}), SOURCE)


def test_boards_that_may_not_weld_or_cannot_time_a_firing(pico: Board) -> None:
    """A bench board gets no table at all; a board without timed firing gets full current only."""
    schedule = make_schedule({"weld": "10 cycles", "current_percent": 80})
    with pytest.raises(
        InputError, match=r"may not fire a welder: MicroPython has no hard interrupt .*; allowed: one that"
    ):
        compile_schedule(schedule, make_welder(), boards()["esp32"], SOURCE)
    slow = pico.model_copy(update={"capabilities": pico.capabilities.model_copy(update={"random_phase_firing": False})})
    with pytest.raises(
        InputError, match="current_percent: 80 given; board pico cannot time a firing delay; allowed: 100"
    ):
        compile_schedule(schedule, make_welder(), slow, SOURCE)
    assert compile_schedule(make_schedule({"weld": "10 cycles"}), make_welder(), slow, SOURCE).fired_half_cycles == 20


@pytest.mark.parametrize("load_angle", [30, 45, 65, 75])
def test_the_least_percentage_is_the_one_named(load_angle: int) -> None:
    """The message's own figure passes and a per cent less does not: under 10 degrees of gate, latching is luck."""
    welder = make_welder(transformer={"load_angle_min_deg": load_angle, "load_angle_max_deg": load_angle})
    least = int(refusal(welder, {"weld": "5 cycles", "current_percent": 1}).split("allowed: ")[1].split()[0])
    assert angle(compiled(welder, {"weld": "5 cycles", "current_percent": least}).impulse_rows[0]) <= 155 + ROUNDING_DEG
    if least > 1:
        assert "degrees of gate" in refusal(welder, {"weld": "5 cycles", "current_percent": least - 1})


def test_the_detectors_edge_comes_before_the_firing() -> None:
    """The gate is timed from the edge: a delay that would be negative at the top of the band is no delay."""
    load = {"load_angle_min_deg": 0, "load_angle_max_deg": 20}
    earliest_us = round(degrees_to_us(23, 50)) / FREQUENCY_BAND[1]
    offset = math.floor(earliest_us) - 20
    compiled(
        make_welder(transformer=load, detector={"offset_rise_us": offset, "offset_fall_us": offset}),
        {"weld": "5 cycles"},
    )
    for key in ("offset_rise_us", "offset_fall_us"):
        late = make_welder(
            transformer=load, detector={"offset_rise_us": offset, "offset_fall_us": offset} | {key: offset + 1}
        )
        assert f"allowed: offsets of at most {offset} us" in refusal(late, {"weld": "5 cycles"})
    early = make_welder(transformer=load, detector={"offset_rise_us": -1500, "offset_fall_us": -1500})
    compiled(early, {"weld": "5 cycles"})


def test_heating_counts_current_squared() -> None:
    """Equal heating, I1^2 d1 = I2^2 d2 (RWMA practice, from memory), of the most that the firing delivers."""
    table = compiled(make_welder(), {"weld": "20 cycles", "current_percent": 50})
    (row,) = table.impulse_rows
    assert table.heating_half_cycles == pytest.approx(40 * rms_fraction(angle(row), 65) ** 2)
    # A load whose angle is known, fired at once: 10 cycles, 30 welds a minute, 300 / 3600 = 8.3 % of the time (RWMA practice).
    known = {"load_angle_min_deg": 60, "load_angle_max_deg": 60}
    at_once = {"mains": {"voltage_V": 120, "frequency_Hz": 60}, "limits": {"first_delay_deg": 60}}
    sixty = compiled(make_welder(transformer=known, **at_once), {"weld": "10 cycles"})
    of_the_time = sixty.heating_half_cycles * 30 / (2 * 60 * 60) / rms_fraction(60 + FULL_MARGIN_DEG, 60) ** 2
    assert of_the_time == pytest.approx(0.0833, abs=0.0001)
