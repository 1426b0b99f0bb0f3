"""No decision reads prose: with every word that is only printed replaced at random, everything is decided as before.

No source outside: the words are our own, and so is the rule. Each decision is taken once with the words of the program and twice
with random ones in their place (tests/support/reworded.py); what is compared holds no word that was replaced.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from gen.boards import boards
from gen.commissioning import last_walk
from gen.handbook.advice import suggest
from gen.joint import Joint
from gen.machine.welder import Welder
from gen.ranges import Figure
from sim.faults.runs import FaultTarget, inject_all
from sim.faults.text import finding_of
from sim.report.margins import draw_margins, margins
from sim.run import simulated
from sim.verdict import judge_plan
from tests.support.cli.command_line import SCHEDULE, WELDER, replaced, typed
from tests.support.commissioning import Scripted, walked
from tests.support.machines import job_of, known_welder, make_welder, paced_job
from tests.support.reworded import READ_ONLY, reworded

PICO = boards()["pico"]
WELD: dict[str, Any] = {"weld": "10 cycles"}
WELDERS: dict[str, Callable[[], Welder]] = {
    "little known": make_welder,
    "much known": known_welder,
    "too small": lambda: known_welder(switch={"rated_current_A": 12, "surge_current_A": 30}, heat_sink={"K_per_W": 9}),
    "from a short circuit": lambda: known_welder(
        transformer={"shorted_current_A": 26, "load_angle_min_deg": 35.04, "load_angle_max_deg": 50.04}
    ),
    "a relay that waits for zero": lambda: known_welder(switch={"kind": "zero_cross_relay"}),
    "a bare triac": lambda: make_welder(
        switch={"kind": "triac"}, protection={"gate_drive": "direct", "contactor": False, "isolator": False}
    ),
}


def same_in_other_words(decide: Callable[[], Any]) -> Any:
    """What is decided, after it was decided the same with random words."""
    found = decide()
    for seed in (1, 2):
        with reworded(seed):
            assert decide() == found
    return found


def test_words_are_replaced() -> None:
    """The random words are there, so that the tests below compare two things."""
    with reworded(1):
        assert Figure(1, 2, "ohm", "given").text.startswith("1 to 2 x")
        finding = judge_plan(paced_job(job_of(make_welder(), WELD), 4)).findings[0]
    assert {finding.unit[0], finding.source[0]} == {"x"}
    assert all(hasattr(kind, "__init__") for kind in READ_ONLY)


@pytest.mark.parametrize("name", WELDERS)
def test_a_verdict_and_its_bars(name: str) -> None:
    """Severities, figures and limits; which bars are drawn, in which order, how long, and which as refused or not known."""

    def decide() -> Any:
        welder = WELDERS[name]()
        findings = judge_plan(paced_job(job_of(welder, WELD), 8)).findings
        drawn = margins(findings)
        svg = draw_margins(drawn, 720, "margins")
        return (
            [(f.name, f.severity, f.figure, f.limit, f.low, f.zero, f.time_s, bool(f.advice)) for f in findings],
            [(m.finding.name, m.share, m.unknown, m.percent) for m in drawn],
            [svg.count(f'class="{kind}"') for kind in ("kept", "beyond", "unlatched")],
        )

    severities = {severity for _, severity, *_ in same_in_other_words(decide)[0]}
    assert ("refuse" in severities) == (name in ("too small", "a relay that waits for zero", "a bare triac"))


@pytest.mark.parametrize("name", WELDERS)
def test_a_machine(name: str) -> None:
    """What follows from the welder file, which of its keys are typical, and which figures are drawn as ohms."""

    def decide() -> Any:
        welder = WELDERS[name]()
        t, machine = welder.transformer, welder.machine
        return (
            [(label, figure.low, figure.high) for label, figure in machine.figures()],
            [label for label, _ in machine.impedances()],
            (t.working_current_A, t.load_angle_min_deg, t.load_angle_max_deg),
            welder.assumed(),
        )

    same_in_other_words(decide)


@pytest.mark.parametrize(
    "joint",
    [
        {"rods_mm": (5, 8)},
        {"rods_mm": (3, 3), "finish": "hot_drawn"},
        {"sheets_mm": (1, 1)},
        {"sheets_mm": (1.0, 1.0, 1.5)},
        {"sheets_mm": (2, 2)},
        {"sheets_mm": (1, 1), "surface": "zinc"},
        {"sheets_mm": (1, 1), "material": "stainless_steel"},
    ],
    ids=str,
)
@pytest.mark.parametrize("current_A", [3000, 6500, 8500, 11000])
def test_a_suggestion(joint: dict[str, Any], current_A: float) -> None:
    """Whether anything is known, percent and times, the times of other tables, how many cautions there are."""

    def decide() -> Any:
        found = suggest(Joint.model_validate(joint), Figure(0.95 * current_A, 1.05 * current_A, "A", "given"), 50)
        weld, hold = found.weld, found.hold
        return (
            (found.known, found.percent, found.start_s, found.weld_cycles, found.shape.impulses),
            weld and (weld.low, weld.high),
            hold and (hold.low, hold.high),
            [(figure.low, figure.high) for figure in found.other_times],
            [(name, figure.low, figure.high) for name, figure in found.figures],
            (len(found.helps), len(found.assumptions), len(found.cautions), len(found.practice)),
        )

    same_in_other_words(decide)


def test_faults() -> None:
    """The severity and figure of each fault, and whether a person has to end it."""

    def decide() -> Any:
        ground = FaultTarget(job_of(make_welder(), {"weld": "3 cycles"}))
        rows = inject_all(ground, seed=0, moments=1)
        return [(f.name, f.severity, f.figure, f.limit, f.time_s) for f in map(finding_of, rows)]

    assert {severity for _, severity, *_ in same_in_other_words(decide)} == {"caution", "passed"}


def test_a_walk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which step is taken, with which question, what comes of each reading, and what goes into the welder file."""
    monkeypatch.setattr("gen.link.ports.ports", list)
    readable = {"voltage": ["231"], "line-impedance": ["0.4"], "loop-impedance": ["0.5"]}
    parts = ["parts", "94000", "10000", "50", "200", "5", "60"]
    tries: tuple[dict[str, list[str]], ...] = (
        readable | {"offset-rise": ["-20"]},
        {"offset-rise": ["250"], "offset-fall": parts},
        {"offset-fall": ["300"]},
    )
    kept = iter(range(9))

    def decide() -> Any:
        welder, path = known_welder(), tmp_path / f"{next(kept)}.sqlite"
        guides = [Scripted(**answers) for answers in tries]
        ends = [walked(welder, path, guide) for guide in guides]
        checks = [(c.step, c.outcome, c.reading) for c in last_walk(path)]
        stages = [guide.stages for guide in guides]
        return ends, checks, stages

    ends, checks, _ = same_in_other_words(decide)
    assert {outcome for _, outcome, _ in checks} == {"passed", "failed", "not checked"}
    assert [end.failed is None for end in ends] == [False, False, True]
    assert ends[-1].values["detector.offset_rise_us"] == 250


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("simulate job.toml --minutes 0.05 --json", 0),
        ("simulate job.toml --minutes 0.05 --pace 60", 1),
        ("describe --json", 0),
        ("choose", 0),
        ("suggest --rods 3,3 --json", 0),
        ("suggest --sheets 3,3", 1),
        ("simulate none.toml", 2),
        ("build job.toml -o out --json", 0),
    ],
)
def test_exit_codes(line: str, code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The exit code of a command, and what it says for another program: keys, numbers, and the words that no one replaced."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sim.remedy.simulated", partial(simulated, minutes=0.05))  # as long as the command's own run
    known = replaced(WELDER, "working_current_A = 22\n", "working_current_A = 22\nopen_secondary_V = 2.4\n")
    Path("welder.toml").write_text(known)
    Path("job.toml").write_text(SCHEDULE)

    def decide() -> Any:
        outcome = typed(line.split())
        numbers = _without_words(json.loads(outcome.out)) if "--json" in line else None
        return outcome.code, numbers

    assert same_in_other_words(decide)[0] == code


def _without_words(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_words(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_without_words(part) for part in value]
    return bool(value) if isinstance(value, str) else value
