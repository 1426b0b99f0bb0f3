"""The currents of a weld as the application keeps, judges and tells them, against the bench's own."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from firmware_templates.app.curve import Curve
from gen.firmware import with_crc
from gen.words import CURVE_KEPT, LOPSIDED, NO_CONDUCTION, NO_REASON, ONE_SIDED, RUNS_ON_US, SWITCH_SHORTED, TOO_LONG
from sim.bench.circuit import JointCurve
from sim.bench.recording import Recording
from sim.bench.sense import SenseSpec
from sim.bench.world import bench_for
from tests.support.app.ammeter_settings import settings
from tests.support.app.bench_runs import WELD, run, states
from tests.support.machines import compiled, make_welder

HELD = (0.6, 1.5)
WELDER = make_welder(board={"conduction_sense": True})
ROWS = (("squeeze", 10, -1, 0), ("pulse", 4, 5000, 50), ("cool", 4, -1, 0), ("weld", 300, 4000, 80), ("hold", 9, -1, 0))


class Timed:
    """A driver that has timed these lengths."""

    def __init__(self, *lengths_us: int) -> None:
        self.lengths_us = lengths_us

    def conduction_us(self, gate: int) -> int:
        return self.lengths_us[gate] if gate < len(self.lengths_us) else -1


def looked(*lengths_us: int, half_us: int = 10_000, longest_us: int = 8_000) -> Curve:
    curve = Curve(settings(LONGEST_US=(longest_us,) * 33))
    curve.begin(ROWS, 1, half_us)
    for _ in range(100):
        curve.look(Timed(*lengths_us), half_us)  # type: ignore[arg-type]
    return curve


def test_before_the_first_weld_nothing_is_taken() -> None:
    """Whatever a driver reports: there are no rows that it could belong to."""
    curve = Curve(settings())
    curve.look(Timed(6_000, 6_000), 10_000)  # type: ignore[arg-type]
    assert curve.count == 0


def asked(recording: Recording) -> dict[int, dict[str, object]]:
    """The board's answers by the number of the request."""
    lines = b"".join(recording.sent).decode().splitlines()
    replies = [json.loads(line[:-9]) for line in lines]
    return {reply["id"]: reply["result"] for reply in replies if "result" in reply}


def requests(at_s: float) -> tuple[tuple[float, bytes], ...]:
    lines = [
        with_crc(json.dumps({"jsonrpc": "2.0", "id": n + 1, "method": "curve", "params": {"from": 10 * n}}))
        for n in range(4)
    ]
    return tuple((at_s + 0.1 * n, f"{line}\n".encode()) for n, line in enumerate(lines))


def test_it_tells_each_current_of_the_bench() -> None:
    """Firing delay, length and mains of every gate, by the bench's own conductions: to 30 us, by the switch's turn-on."""
    recording = run(HELD, welder=WELDER, serial=requests(3.2), length_s=4.2)
    told = asked(recording)
    entries = [entry for n in sorted(told) for entry in told[n]["entries"]]  # type: ignore[attr-defined]
    conductions = [c for c in recording.conductions if c.latched]
    assert {(told[n]["weld"], told[n]["total"]) for n in told} == {(1, len(conductions))}
    assert len(entries) == len(conductions) == 40
    for (delay_us, length_us, half_us, current_dA, peak_dA), c in zip(entries, conductions, strict=True):
        half = recording.half_cycles[c.half_cycle]
        assert (c.start_s - half.start_s) * 1e6 == pytest.approx(delay_us, abs=60)
        assert (c.end_s - c.start_s) * 1e6 == pytest.approx(length_us, abs=30)
        assert half.length_s * 1e6 == pytest.approx(half_us, abs=40)
        assert (current_dA, peak_dA) == (-1, 0)


def test_the_joint_shows_in_it() -> None:
    """A resistance that rises makes the currents shorter, one that falls makes them longer."""
    load = bench_for(WELDER, compiled(WELDER, WELD)).load
    loop = replace(load, resistance_ohm=load.resistance_ohm * 0.6)
    joint = JointCurve(((0.0, 1.0), (0.15, 5.0), (0.3, 1.0)))
    recording = run(HELD, welder=WELDER, serial=requests(3.2), length_s=4.2, load=loop, joint=joint)
    told = asked(recording)
    lengths = [entry[1] for n in sorted(told) for entry in told[n]["entries"]]  # type: ignore[attr-defined]
    assert len(lengths) == 40
    assert min(lengths[15:]) < lengths[4] - 200
    assert lengths[-1] > min(lengths[15:]) + 200


def test_a_dead_or_stuck_sense_makes_no_weld_longer() -> None:
    """One that always shows voltage ends the weld as one without a current; one that never does fires nothing at all."""
    whole = run(HELD, welder=WELDER)
    dark = run(HELD, welder=WELDER, sense=SenseSpec(stuck=1))
    assert dark.fired == 0
    assert "switch conducts without a gate" in states(dark)[-1]
    lit = run(HELD, welder=WELDER, sense=SenseSpec(stuck=0))
    assert lit.fired < 10 < whole.fired
    assert "no conduction after firing" in states(lit)[-1]


def test_delays_of_pulse_and_weld() -> None:
    """Each gate has the delay of its row, the unfired ones passed over, scaled to the mains; beyond 200 nothing is kept."""
    curve = looked(*range(6_000, 6_300), half_us=9_900)
    assert curve.count == CURVE_KEPT
    assert list(curve.delays[:6]) == [4950, 4950, 4950, 4950, 3960, 3960]
    assert list(curve.lengths) == list(range(6_000, 6_200))
    assert set(curve.halves) == {9_900}


def test_what_is_reported() -> None:
    curve = looked(6_000, 6_100, RUNS_ON_US)
    curve.ended(12)
    assert json.loads("{%s}" % curve.as_json(1)) == {  # noqa: UP031
        "weld": 12,
        "total": 3,
        "entries": [[5000, 6100, 10000, -1, 0], [5000, RUNS_ON_US, 10000, -1, 0]],
    }
    assert json.loads("{%s}" % curve.as_json(200))["entries"] == []  # noqa: UP031
    curve.begin(ROWS, 1, 10_000)
    assert json.loads("{%s}" % curve.as_json(0)) == {"weld": 0, "total": 0, "entries": []}  # noqa: UP031


@pytest.mark.parametrize(
    ("lengths_us", "fault"),
    [
        ((7000,) * 30, NO_REASON),
        ((0, 0, 0), NO_REASON),
        ((0, 0, 0, 0), NO_CONDUCTION),
        ((7000, 7000, 0, 0, 0, 0), NO_CONDUCTION),
        ((7000, 0, 7000, 7000), NO_REASON),
        ((7000, 0, 7000, 0), ONE_SIDED),
        ((0, 7000, 0), ONE_SIDED),
        ((7000, 6557, 7000), NO_REASON),
        ((7000, 6555, 7000), LOPSIDED),
        ((7000, 6555, 6555, 7000, 6555), NO_REASON),
        ((6555, 7000, 6555, 7000), LOPSIDED),
        ((RUNS_ON_US, 7000, 7000, RUNS_ON_US), NO_REASON),
        ((RUNS_ON_US, RUNS_ON_US), SWITCH_SHORTED),
        ((7000, RUNS_ON_US, RUNS_ON_US, RUNS_ON_US), SWITCH_SHORTED),
        ((RUNS_ON_US, 9000, RUNS_ON_US), LOPSIDED),
        ((8000, 8000, 8000, 8000), NO_REASON),
        ((8001, 8000, 8000, 8001), NO_REASON),
        ((8001, 8000, 8001), TOO_LONG),
    ],
)
def test_what_is_wrong_with_them(lengths_us: tuple[int, ...], fault: int) -> None:
    """One step either side of each limit: four gates without a current, two of a direction, 444 us, 8 ms."""
    assert looked(*lengths_us).fault == fault


@pytest.mark.parametrize(
    ("half_us", "before", "longest_us", "fault"),
    [
        (10_000, 0, 9_999, SWITCH_SHORTED),
        (10_000, 0, 10_000, NO_REASON),  # fired at about the load angle: shorted electrodes may look so
        (10_000, 3, 8_999, SWITCH_SHORTED),
        (10_000, 3, 9_000, NO_REASON),  # the next gate comes a millisecond sooner
        (8_333, 0, 9_999, SWITCH_SHORTED),  # the limit is of 10 ms, and shrinks with the half-cycle
        (8_333, 0, 10_000, NO_REASON),
    ],
)
def test_a_current_that_must_have_ended_flows_through_a_shorted_switch(
    half_us: int, before: int, longest_us: int, fault: int
) -> None:
    """Two that run on, after so many sound ones: one microsecond of the longest possible current either side of the limit."""
    sound = (5_000,) * before
    assert looked(*sound, RUNS_ON_US, RUNS_ON_US, half_us=half_us, longest_us=longest_us).fault == fault


def test_the_first_gate_is_not_judged_by_the_last_weld() -> None:
    """Whose last of 200 currents ran on."""
    curve = looked(*[5_000] * (CURVE_KEPT - 1), RUNS_ON_US)
    curve.begin(ROWS, 1, 10_000)
    curve.look(Timed(RUNS_ON_US), 10_000)  # type: ignore[arg-type]
    assert (curve.count, curve.fault) == (1, NO_REASON)


@pytest.mark.parametrize("percent", [85, 60])
@pytest.mark.parametrize("by", ["the sense", "the current"])
def test_a_switch_that_shorts_in_a_weld_is_found_within_two_cycles(by: str, percent: int) -> None:
    """By either sense alone; the contactor then ends the current, within its opening time."""
    weld = {"weld": "30 cycles", "current_percent": percent}
    welder = WELDER if by == "the sense" else make_welder(current_sense={"turns": 1000, "burden_ohm": 22})
    bench = bench_for(welder, compiled(welder, weld))
    shorts_s = 1.05
    switch = replace(bench.switch, fault="shorted", fault_s=shorts_s)
    recording = run(HELD, welder=welder, weld=weld, switch=switch)
    last = recording.states[-1]
    assert (last.state, last.reason) == ("locked out", "switch conducts without a gate")
    assert shorts_s < last.time_s < shorts_s + 0.04
    assert shorts_s < recording.conductions[-1].end_s < last.time_s + WELDER.contactor_opens_ms / 1000 + 0.02
    assert recording.fired < 60
