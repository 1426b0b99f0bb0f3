"""`sweep`: the same whatever the workers, inside its ranges, and in agreement with the verdict on the file itself."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gen.machine.derived import ends
from sim.core.weld_current import weld_currents
from sim.sweep import LONGEST_ROW, JudgedMachine, Sweep, SweepPlan, summary, sweep
from sim.verdict import judge_plan
from tests.support.cli.command_line import SCHEDULE, WELDER, replaced, typed
from tests.support.machines import job_of, known_welder, paced_job

WELD = {"weld": "3 cycles"}
MACHINES = 120


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a welder file and a schedule."""
    (tmp_path / "welder.toml").write_text(WELDER)
    (tmp_path / "job.toml").write_text(SCHEDULE)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def drawn() -> tuple[SweepPlan, list[JudgedMachine]]:
    """A drawing and its machines, judged once for all tests that look at many."""
    made = drawing()
    return made, [made.judged(number) for number in range(MACHINES)]


def drawing(pace: float = 4, seed: int = 0, **tables: dict[str, object]) -> SweepPlan:
    welder = known_welder(**tables)
    return SweepPlan(job_of(welder, WELD), pace, seed)


def test_readings_of_no_machine_are_one_message(shop: Path) -> None:
    """A shorted current that only one corner of the load angle's range allows: nobody can draw a machine from it."""
    text = WELDER
    for old, new in (
        ("frequency_Hz = 50\n", "frequency_Hz = 50\nsource_resistance_ohm = 0.3\nsource_inductance_mH = 0.5\n"),
        ("rating_kVA = 2.5", "rating_kVA = 16\nshorted_current_A = 100.993\nopen_secondary_V = 6.9255"),
        ("working_current_A = 22", "working_current_A = 74.604"),
        ("min_deg = 40", "min_deg = 51.037"),
        ("max_deg = 65", "max_deg = 59.004"),
    ):
        text = replaced(text, old, new)
    (shop / "welder.toml").write_text(text)
    found = typed(["sweep", "job.toml", "--machines", "8", "--workers", "1"])
    assert (found.code, found.out) == (2, "")
    assert found.err.startswith("weldbeat: welder.toml: transformer; hardly any machine has these readings together")
    assert found.err.count("\n") == 1


def spread(found: Sweep, name: str) -> dict[str, object]:
    return vars(next(s for s in found.spreads if s.name == name))


@pytest.mark.usefixtures("shop")
def test_text_and_json_agree() -> None:
    """One sweep for a person and for a program, and no progress bar where nobody looks."""
    line = ["sweep", "job.toml", "--machines", "8", "--workers", "1"]
    text, data = typed(line), typed([*line, "--json"])
    assert (text.code, text.err, data.code, data.err) == (0, "", 0, "")
    found = json.loads(data.out)
    assert (found["machines"], found["seed"], found["welds_per_minute"]) == (8, 0, 4)
    assert text.out.startswith("8 machines at 4 welds a minute: 0.0% refused, 100.0% with cautions\n")
    for finding in found["findings"]:
        assert f"\n  {finding['name']} " in text.out
        low, middle, high = finding["figure_5_50_95_percent"]
        assert low <= middle <= high
    assert {"duty", "latching", "inrush", "winding", "case"} <= {f["name"] for f in found["findings"]}


@pytest.mark.usefixtures("shop")
def test_refused_machines_give_exit_code_1() -> None:
    """Too fast for the plate: most machines are refused, and the share says how many."""
    outcome = typed(["sweep", "job.toml", "--machines", "10", "--workers", "1", "--pace", "60", "--json"])
    found = json.loads(outcome.out)
    assert outcome.code == 1
    assert 0 < found["refused"] <= 1
    assert found["findings"][0]["refused"] == max(f["refused"] for f in found["findings"])


def test_the_number_of_workers_changes_nothing() -> None:
    """A machine is drawn from the seed and its own number, by whichever worker."""
    one, two = (sweep(drawing(seed=3), 12, workers) for workers in (1, 2))
    assert one == two
    assert one != sweep(drawing(seed=4), 12, 1)


def test_progress_counts_every_machine() -> None:
    """Whoever watches sees as many as were asked for."""
    seen: list[int] = []
    sweep(drawing(), 5, 1, seen.append)
    assert sum(seen) == 5


def test_draws_fill_their_ranges_and_no_more(drawn: tuple[SweepPlan, list[JudgedMachine]]) -> None:
    """Every input lies in its range, comes near both ends, and has its mean in the middle (even draws)."""
    made, machines = drawn
    for values, stated in zip(np.array([machine.inputs for machine in machines]).T, made.ranges(), strict=True):
        width = stated.high - stated.low
        assert stated.low <= values.min() < stated.low + 0.1 * width, stated.name
        assert stated.high - 0.1 * width < values.max() <= stated.high, stated.name
        # The mean of the even draws is within 3.5 standard deviations of the middle, width / sqrt(12 MACHINES) each.
        assert abs(values.mean() - (stated.low + stated.high) / 2) < 3.5 * width / np.sqrt(12 * MACHINES), stated.name


def test_every_factor_of_a_reading_has_its_own_name() -> None:
    """The names of the factors go with gen.readings: those of this welder that have two ends are drawn."""
    made = drawing()
    uncertain = [values for values in ends(made.welder, None) if min(values) < max(values)]
    assert [(r.low, r.high) for r in made.ranges()[: len(uncertain)]] == [(min(v), max(v)) for v in uncertain]
    assert [r.name for r in made.ranges()[: len(uncertain)]] == [
        "source impedance", "working-current reading", "secondary-voltage reading", "work resistance",
    ]  # fmt: skip


def test_supply_dip_leans_on_the_supply(drawn: tuple[SweepPlan, list[JudgedMachine]]) -> None:
    """Ohm's law: the dip is current times the supply's impedance, so nothing orders the machines like the latter."""
    leans = spread(summary(*drawn), "supply-dip")["leans"]
    assert isinstance(leans, tuple)
    assert leans[0][0] == "source impedance"
    assert leans[0][1] > 0.7


def test_ambient_moves_the_case_degree_by_degree(drawn: tuple[SweepPlan, list[JudgedMachine]]) -> None:
    """A linear network: a short weld's temperature is nearly the ambient's, which is drawn evenly from 10 to 40 degC."""
    found = spread(summary(*drawn), "case")
    low, _, high = found["figures"]  # type: ignore[misc]
    assert high - low == pytest.approx(0.9 * 30, abs=3)
    assert found["leans"][0][0] == "ambient"  # type: ignore[index]


def test_shares_count_machines() -> None:
    """A share is the number of machines so judged over all; a machine is refused once, whatever refuses it."""
    made = drawing()
    rows = [made.judged(n) for n in range(4)]
    sound = {name: ("passed", *rest) for name, (_, *rest) in rows[3].findings.items()}
    rows[3] = replace(rows[3], findings=sound)  # type: ignore[arg-type]
    for n in range(3):
        figures = rows[n].findings | {"duty": ("refuse", 20.0, 10.0, 2.0), "inrush": ("caution", 3.0, 2.5, 1.2)}
        rows[n] = replace(rows[n], findings=figures)
    found = summary(made, rows)
    assert (found.refused, found.cautioned) == (0.75, 0)
    assert found.spreads[0].name == "duty"
    assert (spread(found, "duty")["refused"], spread(found, "inrush")["cautioned"]) == (0.75, 0.75)


def test_rows_followed_in_part_stand_for_the_whole() -> None:
    """The sweep's shortened rows against the whole weld of 60 cycles: no figure differs by more than 1 %."""
    welder = known_welder(switch={"i2t_A2s": 5000})
    plan = paced_job(job_of(welder, {"weld": "60 cycles", "current_percent": 80, "upslope": "5 cycles"}), 4)
    whole, part = (
        judge_plan(replace(plan, currents=weld_currents(plan.table, welder, longest_row=longest))).findings
        for longest in (None, LONGEST_ROW)
    )
    assert [f.name for f in whole] == [f.name for f in part]
    for one, other in zip(whole, part, strict=True):
        assert other.figure == pytest.approx(one.figure, rel=0.01), one.name


@pytest.mark.usefixtures("shop")
def test_sweep_of_a_file_that_leaves_all_to_be_assumed() -> None:
    """The least that a welder file may say: it has more to draw, and the sweep still comes to an end."""
    Path("welder.toml").write_text(
        replaced(WELDER, "load_angle_min_deg = 40\nload_angle_max_deg = 65\n", "").replace('kind = "scr_pair"\n', "")
    )
    outcome = typed(["sweep", "job.toml", "--machines", "3", "--workers", "1"])
    assert (outcome.code, outcome.err) == (0, "")
