"""What is said of a verdict: every finding's sentence, what came nearest to its limit, and what to change, found by trying.

No source outside: the words are our own. What a remedy promises is held against a run at that very value and one step further.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from gen.job import Job
from gen.machine.welder import Welder
from sim.remedy import Remedy, bearable_pace, on_tap, refusing, remedies
from sim.run import Run, simulated
from sim.run import run as run_for
from sim.verdict import Finding, Verdict, judged
from sim.verdict.finding import percent_of, summarised
from tests.support.machines import job_of, known_welder, make_welder

MINUTES = 0.1
WELD: dict[str, Any] = {"weld": "20 cycles", "current_percent": 90}
WELDERS: dict[str, Callable[[], Welder]] = {
    "little known": make_welder,
    "much known": known_welder,
    "too small": lambda: known_welder(
        switch={"rated_current_A": 12, "surge_current_A": 30, "i2t_A2s": 1}, heat_sink={"K_per_W": 9}
    ),
    "a breaker that trips": lambda: known_welder(breaker={"characteristic": "B", "rating_A": 2}),
    "a breaker of another standard": lambda: known_welder(breaker={"standard": "other", "rating_A": 20}),
    "a relay that waits for zero": lambda: known_welder(switch={"kind": "zero_cross_relay"}),
    "a bare triac": lambda: make_welder(
        switch={"kind": "triac"}, protection={"gate_drive": "direct", "contactor": False, "isolator": False}
    ),
}


def run(job: Job, pace: float) -> Run:
    """Some welds of the job at a pace; what they cannot tell is judged for ever."""
    return run_for(job, pace, seed=0, minutes=MINUTES)


def all_findings(welder: Welder, pace: float) -> tuple[Finding, ...]:
    percent = 100 if welder.switch.kind == "zero_cross_relay" else 90
    return run(job_of(welder, {"weld": "20 cycles", "current_percent": percent}), pace).verdict.findings


@pytest.mark.parametrize("name", WELDERS)
@pytest.mark.parametrize("pace", [2, 60])
def test_every_finding_is_one_sentence(name: str, pace: float) -> None:
    """It begins with a capital or a count, ends with a full stop, leaves no place empty, and counts one thing as one."""
    for finding in all_findings(WELDERS[name](), pace):
        says = finding.says
        assert re.fullmatch(r"[A-Z0-9][^{}]*\.", says), says
        assert "  " not in says
        assert not re.search(r"\b1 (half-cycles|welds|presses|things)\b|\bnan\b|\binf\b|\b\d+e[+-]?\d", says), says
        assert (finding.advice == "") == (finding.severity == "passed")
        assert finding.sentence == f"{says} {finding.advice}".strip()


def test_figures_in_a_sentence_never_tell_another_story() -> None:
    """Three digits, and more where three would read as kept."""
    says = "{figure} of {limit}, {percent}"
    assert judged("x", 2 / 3, 2, "A", "", "less", says=says).says == "0.667 of 2, 33 %"
    beyond = judged("x", 100.04, 100, "A", "", "less", says=says)
    assert (beyond.severity, beyond.says) == ("refuse", "100.04 of 100, 101 %")
    kept = judged("x", 99.96, 100, "A", "", "less", says=says)
    assert (kept.severity, kept.says) == ("passed", "100 of 100, 99 %")
    assert percent_of(float("inf")) == "beyond"


def test_the_nearest_come_first_and_the_rest_are_counted() -> None:
    """Three at most, in the order of the share of the limit. Temperatures count from the surroundings; nil has no share."""

    def found(name: str, figure: float, limit: float, **more: Any) -> Finding:
        return Finding(name, "passed", figure, limit, "A", "", "", says=f"{name}.", **more)

    inside = [
        found("a", 1, 10),
        found("b", 9, 10),
        found("c", 20, 10, low=True),
        found("d", 0, 0),
        found("e", 60, 100, zero=50),
    ]
    said = summarised(Verdict(tuple(inside)), 4)
    assert [f.name for f in said.nearest] == ["b", "c", "e"]
    assert said.headline == "passed, at 4 welds a minute."
    assert said.others == "2 other checks are well within their limits."
    near = summarised(Verdict((*inside, found("f", 95, 100), found("g", 99, 100), found("h", 98, 100))), 4)
    assert [f.name for f in near.nearest] == ["g", "h", "f"]
    assert near.others == "5 other checks are within their limits."
    assert summarised(Verdict((found("a", 1, 10),)), 4).others == ""


@pytest.fixture
def short_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """A remedy is tried for as long as `run` here takes, in place of a minute."""
    monkeypatch.setattr("sim.remedy.simulated", partial(simulated, minutes=MINUTES))


def by_kind(job: Job, pace: float) -> dict[str, Remedy]:
    return {r.what: r for r in remedies(job, pace, run(job, pace).verdict)}


@pytest.mark.usefixtures("short_runs")
def test_the_pace_and_the_percentage_that_would_pass() -> None:
    """At each the verdict lets it by, and one step nearer to what was asked it does not."""
    welder = known_welder(transformer={"rating_duty_percent": 20})
    job, pace = job_of(welder, WELD), 40.0
    assert "duty" in refusing(run(job, pace).verdict)
    found = by_kind(job, pace)
    slower, weaker = found["pace"], found["percent"]
    assert slower.left == weaker.left == ()
    assert slower.says == f"Weld no faster than {slower.value:g} a minute: then it passes."
    assert isinstance(slower.value, float)
    assert isinstance(weaker.value, int)
    for step, refused in ((0.0, False), (0.1, True)):
        assert run(job, slower.value + step).verdict.refused == refused
    for more, refused in ((0, False), (1, True)):
        changed = job_of(welder, WELD | {"current_percent": weaker.value + more})
        assert run(changed, pace).verdict.refused == refused
    assert bearable_pace(job, pace) == slower.value
    assert bearable_pace(job, slower.value - 1) == slower.value - 1


@pytest.mark.usefixtures("short_runs")
def test_what_stays_to_be_mended_is_named() -> None:
    """A machine without an isolator is refused at any pace; slower mends the duty alone, and stands behind what mends all."""
    nothing = {"isolator": False, "stop_cuts_contactor": False}
    job = job_of(known_welder(protection=nothing, transformer={"rating_duty_percent": 20}), WELD)
    found = by_kind(job, 40)
    assert found["pace"].left == ("disconnection",)
    assert found["pace"].says.endswith("then this is still refused: disconnection.")
    assert bearable_pace(job, 40) is None


@pytest.mark.usefixtures("short_runs")
def test_a_percentage_may_have_to_rise() -> None:
    """A gate that opens too late is mended by more current, and by no pace."""
    job = job_of(
        known_welder(switch={"latching_current_A": 5}, transformer={"working_current_A": 8}),
        {"weld": "6 cycles", "current_percent": 45},
    )
    assert "latching" in refusing(run(job, 1).verdict)
    found = by_kind(job, 1)
    assert "pace" not in found
    percent = found["percent"].value
    assert isinstance(percent, int)
    assert percent > 45
    welder = job.welder
    for less, refused in ((0, False), (1, True)):
        weld = {"weld": "6 cycles", "current_percent": percent - less}
        assert run(job_of(welder, weld), 1).verdict.refused == refused


def test_nothing_is_tried_where_nothing_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A verdict that lets the job by costs no search."""
    job = job_of(known_welder(), WELD)
    verdict = run(job, 1).verdict

    def never(*_: Any) -> None:
        raise AssertionError

    monkeypatch.setattr("sim.remedy._plan", never)
    assert remedies(job, 1, verdict) == ()


@pytest.mark.usefixtures("short_runs")
def test_a_slope_ends_below_no_percentage_that_is_tried() -> None:
    """A percentage is not brought down to where its own slope begins."""
    welder = known_welder(transformer={"rating_duty_percent": 10})
    job = job_of(welder, WELD | {"upslope": "4 cycles", "upslope_from_percent": 70})
    for remedy in remedies(job, 40, run(job, 40).verdict):
        if remedy.what == "percent":
            assert isinstance(remedy.value, int)
            assert remedy.value > 70


TAPS = {
    "taps": {"low": 1.6, "middle": 2.0, "high": 2.4},
    "tap": "high",
    "working_tap": "high",
    "rating_duty_percent": 12,
}


@pytest.mark.usefixtures("short_runs")
def test_the_tap_that_would_pass() -> None:
    """The next below at which the same schedule is let by, on the same machine derived anew; a run on it passes."""
    welder = known_welder(transformer={"open_secondary_V": None} | TAPS)
    job = job_of(welder, WELD)
    pace = round(1.2 * (bearable_pace(job, 120) or 0), 1)
    tap = by_kind(job, pace)["tap"]
    assert (tap.value, tap.left) == ("middle", ())
    assert tap.says == "Use tap middle in place of tap high, at the same percentage: then it passes."
    other = on_tap(welder, "middle")
    assert other.machine.in_use.name == "middle"
    assert other.machine.in_use.working_primary.high < welder.machine.in_use.working_primary.low
    assert not run(job_of(other, WELD), pace).verdict.refused
