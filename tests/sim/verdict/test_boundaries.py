"""Each check of the verdict one step either side of its limit, and one machine or bench that trips it alone.

The runs are real: the emitted firmware on the simulated bench. What is varied is named in each test.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from gen.boards import Board, boards
from gen.job import Job
from gen.machine.welder import Welder
from gen.table import TimingRow, TimingTable
from sim.bench.recording import Recording
from sim.bench.world import Bench, bench_for, simulate, without_detector_error
from sim.verdict import PacedJob, SimulatedJob, Verdict, judge, judge_plan, judged
from sim.verdict.cut_off import findings_of, fitted_of
from sim.verdict.flux import FLUX_LIMIT, flux_balance
from sim.verdict.planned import cool_time, duty, latching, low_current, table_size
from sim.verdict.recorded import FIRING_ERROR_DEG, LEAST_GATE_REST_DEG
from tests.support.machines import compiled, fired_row, job_of, paced_job
from tests.support.machines import known_welder as make_welder

WELD = {"weld": "6 cycles", "current_percent": 80}
PICO = boards()["pico"]
# Nothing that a person could open.
ALONE = {"isolator": False, "contactor": False, "stop_cuts_contactor": False}


def bench(welder: Welder, table: TimingTable, **changes: Any) -> Bench:
    """One weld on a bench with an ideal detector and steady mains, with some of it changed."""
    quiet = without_detector_error(bench_for(welder, table, minutes=0.02, welds_per_minute=1), welder)
    return replace(quiet, **changes)


def verdict_of(
    welder: Welder, *phases: dict[str, Any], table: TimingTable | None = None, pace: float = 1, **changes: Any
) -> Verdict:
    """Compile (unless given a table), render, run on the bench and with open electrodes, and judge."""
    job = job_of(welder, *phases, table=table)
    unloaded = bench_for(welder, job.table, minutes=0.02, welds_per_minute=1, open_electrodes=True)
    loaded = simulate(job.bundle, job.table, bench(welder, job.table, **changes))
    return judge(recorded(job, loaded, simulate(job.bundle, job.table, unloaded), pace))


def recorded(job: Job, loaded: Recording, unloaded: Recording, pace: float = 1) -> SimulatedJob:
    """A job with recordings chosen by the test."""
    return SimulatedJob(**vars(paced_job(job, pace)), recording=loaded, open_electrodes=unloaded)


def planned(welder: Welder, table: TimingTable | None = None, board: Board = PICO) -> PacedJob:
    """A job that nothing was simulated of, at one weld a minute."""
    return paced_job(replace(job_of(welder, WELD, table=table), board=board), 1)


def severities(verdict: Verdict) -> dict[str, str]:
    return {f.name: f.severity for f in verdict.findings}


# A first weld from an unknown residue may saturate the core of nearly every machine, and the breaker then need not hold.
UNKNOWN_RESIDUE = {"inrush": "caution", "breaker": "caution"}


def tripped(verdict: Verdict) -> list[str]:
    found = {f.name: f.severity for f in verdict.findings if f.severity != "passed"}
    assert found.items() >= UNKNOWN_RESIDUE.items()
    return sorted(found.keys() - UNKNOWN_RESIDUE)


def detector_late_by(welder: Welder, extra_us: float) -> dict[str, Any]:
    """A bench whose edges come this much later than the welder file says."""
    d = bench(welder, compiled(welder, WELD)).detector
    return {"detector": replace(d, rise_us=d.rise_us + extra_us, fall_us=d.fall_us + extra_us)}


def test_a_sound_schedule_passes_every_check() -> None:
    """The baseline: without a fault only an unknown residue is graver than passed, so each test below trips what it names."""
    verdict = verdict_of(make_welder(), WELD)
    assert verdict.word == "passed with cautions"
    assert tripped(verdict) == []


# The firing limit in microseconds at 50 Hz; the emitted gate itself is within 1 us on this bench.
LIMIT_US = FIRING_ERROR_DEG / 180 * 10_000


@pytest.mark.parametrize(("late_us", "expected"), [(LIMIT_US - 2, "passed"), (LIMIT_US + 2, "refuse")])
def test_firing_boundary(late_us: float, expected: str) -> None:
    """Detector edges that the firmware does not know to be late: just inside and just outside 2 degrees."""
    verdict = verdict_of(make_welder(), WELD, **detector_late_by(make_welder(), late_us))
    assert severities(verdict)["firing"] == expected
    assert tripped(verdict) == ([] if expected == "passed" else ["firing"])


def test_compensation_of_zero_is_seen() -> None:
    """Firmware built for a detector without offset, on a bench whose edges are 300 us late: the verdict must refuse it."""
    honest = make_welder()
    naive = make_welder(detector={"offset_rise_us": 0, "offset_fall_us": 0})
    job = job_of(naive, WELD)
    recording = simulate(job.bundle, job.table, bench(honest, job.table))
    verdict = judge(recorded(replace(job, welder=honest), recording, recording))
    assert severities(verdict)["firing"] == "refuse"
    assert next(f for f in verdict.findings if f.name == "firing").figure == pytest.approx(
        5.4, abs=0.1
    )  # 300 us of 10 ms


@pytest.mark.parametrize(
    ("rest_deg", "expected"), [(LEAST_GATE_REST_DEG + 0.1, "passed"), (LEAST_GATE_REST_DEG - 0.1, "refuse")]
)
def test_gate_end_boundary(rest_deg: float, expected: str) -> None:
    """Late edges push the gate's end towards the next crossing: 5 degrees must be left."""
    late_us = (15 - rest_deg) / 180 * 10_000
    verdict = verdict_of(make_welder(), WELD, **detector_late_by(make_welder(), late_us))
    assert severities(verdict)["gate-end"] == expected


def rows(*fired: TimingRow) -> TimingTable:
    """A hand-made table, for what the compiler itself would not let pass."""
    return TimingTable("made", 50, (TimingRow("squeeze", 20), *fired, TimingRow("hold", 10), TimingRow("off", 50)))


def delay_us(degrees: float) -> int:
    return round(degrees / 180 * 10_000)


@pytest.mark.parametrize(("degrees", "expected"), [(154.9, "passed"), (155.1, "refuse")])
def test_gate_window_boundary(degrees: float, expected: str) -> None:
    """A gate from 155 degrees has 10 left before its end at 165."""
    verdict = verdict_of(make_welder(), table=rows(fired_row("weld", 8, delay_us(degrees), 45)))
    assert severities(verdict)["gate-window"] == expected


@pytest.mark.parametrize("half_cycles", [8, 9])
def test_polarity_trips_on_an_odd_gap(half_cycles: int) -> None:
    """Two impulses with an even gap between them, and with an odd one: the second starts on the polarity just used."""
    late = delay_us(100)
    gap = half_cycles
    table = rows(fired_row("pulse", 4, late, 60), TimingRow("cool", gap), fired_row("weld", 4, late, 60))
    verdict = verdict_of(make_welder(), table=table)
    assert severities(verdict)["polarity"] == ("passed" if gap % 2 == 0 else "refuse")


@pytest.mark.parametrize(("first_deg", "expected"), [(68, "refuse"), (87, "passed")])
def test_flux_balance_trips_on_an_early_first_half_cycle(first_deg: float, expected: str) -> None:
    """Full conduction begun at 87 degrees stays near the steady peak; begun early it does not.

    Textbook: switched on at voltage zero the flux swings to twice its steady peak, at the peak of voltage to once.
    """
    welder = make_welder(transformer={"load_angle_min_deg": 20, "load_angle_max_deg": 25})
    first = delay_us(first_deg if first_deg == 87 else 28)
    table = rows(fired_row("weld", 1, first, 100), fired_row("weld", 9, delay_us(28), 100))
    verdict = verdict_of(welder, table=table)
    finding = next(f for f in verdict.findings if f.name == "flux-balance")
    assert finding.severity == expected
    assert (finding.figure > FLUX_LIMIT) == (expected == "refuse")


def flux_of_first_delay(degrees: float) -> float:
    welder = make_welder(transformer={"load_angle_min_deg": 20, "load_angle_max_deg": 25})
    table = rows(fired_row("weld", 1, delay_us(degrees), 100), fired_row("weld", 9, delay_us(28), 100))
    return next(f for f in verdict_of(welder, table=table).findings if f.name == "flux-balance").figure


def test_flux_balance_boundary() -> None:
    """One degree of the first delay either side of the limit: found by bisection, then held to the verdict's word."""
    low, high = 28.0, 87.0
    while high - low > 1:
        middle = (low + high) / 2
        low, high = (middle, high) if flux_of_first_delay(middle) > FLUX_LIMIT else (low, middle)
    assert flux_of_first_delay(low) > FLUX_LIMIT >= flux_of_first_delay(high)
    # Closed form: the first half-cycle alone swings the flux to 1 + cos(delay) of its steady peak.
    assert 1 + math.cos(math.radians((low + high) / 2)) == pytest.approx(FLUX_LIMIT, abs=0.03)


def test_flux_of_a_long_weld_settles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half-cycles that differ a little for three seconds: the secondary lets the difference go, and without that it adds up."""
    welder = make_welder()
    table = compiled(welder, {"weld": "140 cycles", "current_percent": 80})
    d = bench(welder, table).detector
    uneven = replace(d, rise_us=d.rise_us + 40, fall_us=d.fall_us - 40)
    job = job_of(welder, table=table)
    recording = simulate(job.bundle, table, bench(welder, table, detector=uneven))
    run = recorded(job, recording, recording)
    assert flux_balance(run).severity == "passed"
    monkeypatch.setattr(Welder, "flux_decay_s", 1e9)
    assert flux_balance(run).severity == "refuse"


def test_half_cycles_trips_on_one_missing_current() -> None:
    """A load whose current does not latch once: one half-cycle off is refused, none off is not."""
    welder = make_welder()
    job = job_of(welder, WELD)
    good = simulate(job.bundle, job.table, bench(welder, job.table))
    weld = good.welds[0]
    one_less = replace(good, welds=(replace(weld, conducted=weld.conducted - 1),))
    one_more = replace(good, welds=(replace(weld, gates=weld.gates + 1),))
    for recording, expected in ((good, "passed"), (one_less, "refuse"), (one_more, "refuse")):
        assert severities(judge(recorded(job, recording, good)))["half-cycles"] == expected


def test_no_weld_at_all_is_refused() -> None:
    """A run in which the pedal never led to a weld proves nothing."""
    welder = make_welder()
    table = compiled(welder, WELD)
    verdict = verdict_of(welder, WELD, pedal=replace(bench(welder, table).pedal, presses=()))
    assert severities(verdict)["half-cycles"] == "refuse"


def test_gate_wire_open_is_refused() -> None:
    """Gates without current: the count of currents tells, not the count of gates."""
    welder = make_welder()
    b = bench(welder, compiled(welder, WELD))
    verdict = verdict_of(welder, WELD, switch=replace(b.switch, fault="gate_open"))
    assert severities(verdict)["half-cycles"] == "refuse"


def test_completed_trips_on_early_release() -> None:
    """With a foot lever, letting go half-way ends the weld; the simulated person otherwise holds on."""
    welder = make_welder()
    b = bench(welder, compiled(welder, WELD))
    press = b.pedal.presses[0]
    verdict = verdict_of(welder, WELD, pedal=replace(b.pedal, presses=(replace(press, hold_s=0.28),)))
    assert severities(verdict)["completed"] == "refuse"


def test_duty_boundary() -> None:
    """A tenth of a weld a minute more than the plate allows is refused: 10 % of 6,000 half-cycles at 20 A."""
    welder = make_welder(transformer={"rating_kVA": 230 * 20 / 1000, "rating_duty_percent": 10})  # 10 % at 20 A
    job = job_of(welder, table=rows(*[fired_row("weld", 20, delay_us(70), 100)]))
    assert duty(paced_job(job, 30)).severity == "passed"
    assert duty(paced_job(job, 30.1)).severity == "refuse"


def test_a_finding_is_judged_before_it_is_rounded() -> None:
    """A figure just past its limit is reported with the digits that show it; at the limit itself it still keeps to it."""
    past = judged("x", 10.04, 10, "%", "", "slower", digits=1)
    assert (past.severity, past.figure > past.limit, past.advice) == ("refuse", True, "slower")
    assert judged("x", 0.1 + 0.2, 0.3, "%", "", "slower").severity == "passed"
    low = judged("x", 9.96, 10, "degrees", "", "later", digits=1, low=True)
    assert (low.severity, low.figure < low.limit) == ("refuse", True)


def test_cool_time_boundary() -> None:
    """The welder file's least cool time, met and missed by one cycle."""
    welder = make_welder(limits={"least_cool": "4 cycles"})
    late = delay_us(100)
    for gap, expected in ((8, "passed"), (6, "refuse")):
        table = rows(fired_row("pulse", 4, late, 60), TimingRow("cool", gap), fired_row("weld", 4, late, 60))
        assert cool_time(planned(welder, table)).severity == expected


def test_table_size_boundary(pico: Board) -> None:
    """The board's own number, and one more."""
    for count, expected in ((pico.limits.half_cycles, "passed"), (pico.limits.half_cycles + 1, "refuse")):
        assert table_size(planned(make_welder(), rows(fired_row("weld", count, 5000, 60)))).severity == expected


def ends(welder: Welder, board: Board = PICO) -> dict[str, str]:
    """The severity of each part that must end a faulty weld."""
    return severities(Verdict(findings_of(fitted_of(welder, board))))


@pytest.mark.parametrize(
    ("drive", "expected"),
    [
        (None, "refuse"),
        ("direct", "refuse"),
        ("one_shot", "passed"),
        ("pulse_transformer", "passed"),
        ("capacitor", "passed"),
    ],
)
def test_gate_drive_boundary(drive: str | None, expected: str, pico: Board) -> None:
    """A pin that freezes high must not weld on: the hardware that ends it is named, or nothing is built."""
    welder = make_welder(protection={"gate_drive": drive})
    assert ends(welder)["gate-drive"] == expected
    by_itself = pico.model_copy(update={"over_run": pico.over_run.model_copy(update={"gate_ends_itself": True})})
    assert ends(welder, by_itself)["gate-drive"] == "passed"


@pytest.mark.parametrize(
    ("fitted", "expected"),
    [
        ((), "refuse"),
        (("isolator",), "passed"),
        (("contactor",), "refuse"),
        (("stop_cuts_contactor",), "refuse"),
        (("contactor", "stop_cuts_contactor"), "passed"),
        (("stop_cuts_gate_supply", "over_temperature_contact"), "refuse"),
    ],
)
def test_disconnection_boundary(fitted: tuple[str, ...], expected: str) -> None:
    """A switch that has shorted needs no gate: only what breaks the mains ends it."""
    assert ends(make_welder(protection=ALONE | dict.fromkeys(fitted, True)))["disconnection"] == expected


@pytest.mark.parametrize(
    ("name", "just_enough", "one_less"),
    [
        ("contactor", {}, {"contactor": False}),
        (
            "stop-contact",
            {"stop_cuts_contactor": False},
            {"stop_cuts_contactor": False, "stop_cuts_gate_supply": False},
        ),
        ("stop-contact", {"stop_cuts_gate_supply": False}, {"stop_cuts_gate_supply": False, "contactor": False}),
        ("over-temperature", {}, {"over_temperature_contact": False}),
        ("earthing", {}, {"secondary_earthed": False}),
        ("earthing", {"secondary_earthed": False, "residual_current_device": True}, {"secondary_earthed": False}),
    ],
)
def test_what_ends_a_weld_that_goes_wrong(name: str, just_enough: dict[str, bool], one_less: dict[str, bool]) -> None:
    """With the least that will do it passes, and without that it is refused."""
    assert ends(make_welder(protection=just_enough))[name] == "passed"
    assert ends(make_welder(protection=one_less))[name] == "refuse"


@pytest.mark.parametrize(
    ("force", "expected"),
    [
        ({"source": "hand"}, None),
        ({"source": "foot_lever"}, None),
        ({"source": "air"}, "refuse"),
        ({"source": "air", "force_switch": True}, "passed"),
    ],
)
def test_air_wants_a_force_switch(force: dict[str, Any], expected: str | None) -> None:
    """Hand and foot let go; air that fails must be reported by a switch."""
    assert ends(make_welder(force=force)).get("air-force") == expected


@pytest.mark.parametrize(
    ("tables", "name"),
    [
        ({"protection": {"gate_drive": "direct"}}, "gate-drive"),
        ({"protection": {"contactor": False}}, "contactor"),
        ({"protection": {"stop_cuts_gate_supply": False, "stop_cuts_contactor": False}}, "stop-contact"),
        ({"protection": {"over_temperature_contact": False}}, "over-temperature"),
        ({"protection": {"isolator": False, "stop_cuts_contactor": False}}, "disconnection"),
        ({"protection": {"secondary_earthed": False}}, "earthing"),
        ({"force": {"source": "air"}}, "air-force"),
    ],
)
def test_each_of_them_trips_alone(tables: dict[str, dict[str, Any]], name: str) -> None:
    """The rest of the machine is sound; the verdict that build and push ask for holds every one."""
    verdict = judge_plan(planned(make_welder(**tables)))
    refused = [f.name for f in verdict.findings if f.severity == "refuse"]
    assert refused == [name]
    assert {f.name for f in verdict.findings if f.subject == "cut-off"} == ends(make_welder(**tables)).keys()


def test_low_current_boundary() -> None:
    """Below 40 % change the tap (common practice, no source): a caution, never a refusal."""
    for percent, expected in ((40, "passed"), (39.9, "caution")):
        assert low_current(planned(make_welder(), rows(fired_row("weld", 8, 6000, percent)))).severity == expected


def test_latching_boundary() -> None:
    """The latching current just below and just above what flows under the gate at the worst corner."""
    small = {"working_current_A": 2, "open_current_A": 0.2}
    reached_A = latching(planned(make_welder(transformer=small))).figure * 0.2
    for scale, expected in ((0.99, "passed"), (1.01, "refuse")):
        tight = make_welder(transformer=small, switch={"latching_current_A": reached_A * scale})
        assert latching(planned(tight)).severity == expected


def test_pace_cautions_when_presses_are_not_accepted() -> None:
    """Pressing during the off time: counted, told, and not refused."""
    welder = make_welder()
    table = compiled(welder, WELD)
    b = bench(welder, table)
    first = b.pedal.presses[0]
    late = replace(first, start_s=first.start_s + first.hold_s + 0.2, hold_s=0.1)
    assert severities(verdict_of(welder, WELD))["pace"] == "passed"
    assert severities(verdict_of(welder, WELD, pedal=replace(b.pedal, presses=(first, late))))["pace"] == "caution"


def test_open_electrodes_go_half_wave_with_a_short_gate() -> None:
    """Textbook: below the load angle a short gate rectifies, a gate to 165 degrees does not.

    The short gate comes from a gate transformer that saturates after 1.5 ms; the firmware is the same.
    """
    welder = make_welder(transformer={"open_current_A": 1.5, "load_angle_min_deg": 20, "load_angle_max_deg": 30})
    job = job_of(welder, {"weld": "10 cycles"})
    bundle, table = job.bundle, job.table
    unloaded = bench_for(welder, table, minutes=0.02, welds_per_minute=1, open_electrodes=True)
    loaded = simulate(bundle, table, bench(welder, table))
    for pulse_us, expected in ((None, "passed"), (1500, "refuse")):
        run = simulate(bundle, table, replace(unloaded, switch=replace(unloaded.switch, gate_pulse_us=pulse_us)))
        assert severities(judge(recorded(job, loaded, run)))["open-electrodes"] == expected
    assert all(c.positive == run.conductions[0].positive for c in run.conductions)  # half-wave


def test_zero_cross_relay_is_refused() -> None:
    """Before a transformer always, and alone of the relays."""
    for kind, expected in (("random_phase_relay", None), ("zero_cross_relay", "refuse")):
        verdict = verdict_of(make_welder(switch={"kind": kind}), {"weld": "6 cycles"})
        assert severities(verdict).get("zero-cross-relay") == expected
