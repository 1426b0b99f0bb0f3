"""`weldbeat weld`: what was timed, told, drawn and written. The bench with errors makes the welds."""

from __future__ import annotations

import csv
import json
import random
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from gen.measured import course_of, drift_of, job_of, text_chart
from gen.records import GateRecord, Records, WeldRecord
from gen.words import NOT_TIMED, RUNS_ON_US
from tests.support.cli.command_line import WELDER, typed
from tests.support.measured_welds import Errors, machine, weld

SHORT, EXPELLED = 3, 2


def gates_of(number: int) -> list[GateRecord]:
    """Weld 1 is sound; in 2 the resistance falls by a fifth at half-cycle 25; 3 has shorted electrodes."""
    chance = random.Random(4)
    made = machine(chance, Errors(aged=False))
    if number == SHORT:
        made = replace(made, work_ohm=1e-9)
    gates = weld(made, chance, Errors(aged=False))
    late = 200 if number == EXPELLED else 0
    return [
        GateRecord("pico", 7, number, n, gate.aimed_us, gate.length_us + (late if n >= 24 else 0), 10_000, None, None)
        for n, gate in enumerate(gates)
    ]


def record(number: int) -> WeldRecord:
    return WeldRecord("pico", 7, number, f"2026-01-01T00:00:0{number}Z", "completed", 40, 40, 30, "job", "0" * 16)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "welder.toml").write_text(WELDER)
    monkeypatch.chdir(tmp_path)
    with Records(tmp_path / "records.sqlite") as records:
        for number in (1, 2, 3):
            records.add_welds([record(number)])
            records.add_curve(gates_of(number))
        records.add_welds([record(4)])
    return tmp_path


def test_the_last_weld_that_was_timed(shop: Path) -> None:
    """A line a half-cycle; weld 4 was watched, but nothing was timed of it."""
    told = typed(["weld", "show"])
    assert told.code == 0
    assert told.out.startswith("Weld 7/3, ")
    assert len([line for line in told.out.splitlines() if " ms  " in line]) == 40


def test_an_expulsion_is_named_and_a_sound_weld_not(shop: Path) -> None:
    assert "fell suddenly at half-cycle 25: expulsion is likely" in typed(["weld", "show", "7/2"]).out
    assert "fell suddenly" not in typed(["weld", "show", "7/1"]).out


def test_the_work_alone(shop: Path) -> None:
    """Less shorted electrodes, it follows the truth: dip, peak and fall in the places where the joint has them."""
    chance = random.Random(4)
    made = machine(chance, Errors(aged=False))
    truth = [gate.work_ohm / made.reactance_ohm for gate in weld(made, chance, Errors(aged=False))]
    (told,) = json.loads(typed(["weld", "show", "7/1", "--shorted", "7/3", "--json"]).out)
    work = told["work_over_reactance"]
    for gate, value in work[1:]:
        assert value == pytest.approx((truth[gate] + truth[gate + 1]) / 2, rel=0.15)
    assert told["sudden_falls"] == []


def test_it_is_drawn(shop: Path) -> None:
    """Each weld a line with its name, the schedule behind them."""
    assert typed(["weld", "show", "7/1", "7/2", "--shorted", "7/3", "-o", "both.svg"]).code == 0
    root = ElementTree.fromstring((shop / "both.svg").read_text(encoding="utf-8"))
    texts = [element.text for element in root.iter() if element.tag.endswith("text")]
    assert {"7/1", "7/2", "half-cycles under current"} <= set(texts)
    lines = [e for e in root.iter() if e.tag.endswith("path") and e.get("class") in ("curve", "other")]
    assert [len(e.get("d", "").split("L")) for e in lines] == [20, 20]
    assert len([e for e in root.iter() if e.tag.endswith("rect")]) == 40


def test_the_current_is_drawn_below(shop: Path) -> None:
    """Where it was measured: a second curve a weld, the line of each half-cycle with its amperes, and a column of the CSV."""
    with Records(shop / "records.sqlite") as records:
        records.add_welds([replace(record(5), fired_for_percent=104.2, correction="taken for the next weld")])
        measured = [replace(gate, count=5, current_A=20.0 + gate.gate / 10, peak_A=-40.0) for gate in gates_of(1)]
        records.add_curve(measured)
    told = typed(["weld", "show", "7/5", "-o", "one.svg"])
    assert "  20.0 A\n" in told.out
    assert "  fired for 104.2 % of the planned current; correction taken for the next weld\n" in told.out
    root = ElementTree.fromstring((shop / "one.svg").read_text(encoding="utf-8"))
    texts = [element.text for element in root.iter() if element.tag.endswith("text")]
    assert "RMS primary current, A" in texts
    lines = [e for e in root.iter() if e.tag.endswith("path") and e.get("class") == "curve"]
    assert [len(e.get("d", "").split("L")) for e in lines] == [20, 40]
    assert typed(["weld", "export", "one.csv", "7/5"]).code == 0
    rows = list(csv.DictReader((shop / "one.csv").read_text(encoding="utf-8").splitlines()))
    assert [(float(row["current_A"]), float(row["peak_A"])) for row in rows[:2]] == [(20.0, -40.0), (20.1, -40.0)]


def test_it_is_written_as_csv(shop: Path) -> None:
    """What the records hold, with the load angle's range; read back by Python's own reader."""
    assert typed(["weld", "export", "welds.csv", "7/1", "7/2"]).code == 0
    rows = list(csv.DictReader((shop / "welds.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 80
    assert [int(row["conduction_us"]) for row in rows[:40]] == [gate.length_us for gate in gates_of(1)]
    assert all(float(row["load_angle_low_deg"]) < float(row["load_angle_high_deg"]) for row in rows)
    assert {row["current_A"] for row in rows} == {""}


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (["weld", "show", "9/9"], "was not timed"),
        (["weld", "show", "7/4"], "was not timed"),
        (["weld", "show", "7"], "such as 7/12"),
        (["weld", "show", "7/1", "--shorted", "x"], "such as 7/12"),
        (["weld", "show", "7/1", "-o", "picture.png"], ".svg"),
        (["weld", "export", "welds.txt"], ".csv"),
    ],
)
def test_what_cannot_be_shown(shop: Path, line: list[str], words: str) -> None:
    """One clear message, exit code 2, nothing written."""
    before = sorted(path.name for path in shop.iterdir())
    told = typed(line)
    assert told.code == 2
    assert words in told.err
    assert sorted(path.name for path in shop.iterdir()) == before


def test_what_has_no_angle_is_left_out() -> None:
    """Blocked, running on, or ending before the voltage does: told as they are, and in no curve."""
    lengths = [0, RUNS_ON_US, 4_000, 7_000, 7_000, 7_000]
    gates = [GateRecord("pico", 7, 1, n, 4_800, length, 10_000, None, None) for n, length in enumerate(lengths)]
    course = course_of(record(1), gates)
    assert [seen.ratio is None for seen in course.seen] == [True, True, True, False, False, False]
    assert [gate for gate, _ in course.cycles] == [4]
    assert text_chart(course) == []


def test_the_text_chart_holds_every_cycle() -> None:
    """Five lines, one mark a cycle, the highest and the lowest value named."""
    chart = text_chart(course_of(record(1), gates_of(1)))
    assert len(chart) == 5
    assert sum(line.count("*") for line in chart) == 20
    assert float(chart[0].split("|")[0]) > float(chart[-1].split("|")[0])


def job(shop: Path, per_weld_us: int) -> str:
    """Twelve welds more, a minute apart, each of whose currents last longer by so much; what is said of the last."""
    gates = gates_of(1)[:6]
    with Records(shop / "records.sqlite") as records:
        for n in range(12):
            one = replace(record(20 + n), ended_at=f"2026-02-01T08:{n:02}:00Z", digest="1" * 16)
            records.add_welds([one])
            late = n * per_weld_us + 3 * (-1) ** n
            records.add_curve([replace(gate, count=20 + n, length_us=gate.length_us + late) for gate in gates])
    return drift_told()


def drift_told(*words: str) -> str:
    return " ".join(typed(["weld", "show", *words]).out.split()).rpartition(" Over ")[2]


def test_a_job_whose_resistance_falls_wants_its_electrodes_dressed(shop: Path) -> None:
    """Not one that stays; and not the few welds after a dressing."""
    assert job(shop, 12).endswith(": dress the electrodes.")
    assert drift_told("--since", "7/22").startswith("10 welds of this job the resistance changes by -")
    assert "of this job" not in drift_told("--since", "7/27")
    told = json.loads(typed(["weld", "show", "--json"]).out)[0]["drift"]
    assert (told["welds"], told["drifts"], told["of"]) == (12, True, "resistance")
    assert told["low"] < told["per_weld"] < told["high"] < 0


def test_a_job_that_stays_does_not(shop: Path) -> None:
    assert job(shop, 0).endswith("no drift is shown.")


def test_a_job_ends_at_another_schedule_board_or_day() -> None:
    """A weld that was not completed is passed over; what is earlier than a long pause is another job's."""
    kept = [
        replace(record(1), ended_at="2026-01-01T01:00:00Z"),
        replace(record(2), ended_at="2026-01-02T01:00:00Z"),
        replace(record(3), ended_at="2026-01-02T02:00:00Z", digest="1" * 16),
        replace(record(4), ended_at="2026-01-02T03:00:00Z", board="other"),
        replace(record(5), ended_at="2026-01-02T04:00:00Z", ending="released"),
        replace(record(6), ended_at="2026-01-02T12:59:00Z"),
    ]
    assert [weld.count for weld in job_of(kept[-1], kept)] == [2, 6]


def test_without_timed_currents_the_current_drifts() -> None:
    """For the table as it is: a board that holds the current shows the drift in what it fires for."""
    courses = []
    for n in range(10):
        weld = replace(record(1), fired_for_percent=100.0 + n)
        gates = [GateRecord("pico", 7, 1, g, 5000, NOT_TIMED, 10_000, 20.0 + 0.01 * (-1) ** n, 30.0) for g in range(6)]
        courses.append(course_of(weld, gates))
    drift = drift_of(courses)
    assert drift is not None
    assert (drift.of, drift.slope.drifts) == ("current", True)
    assert drift.slope.per_weld == pytest.approx(-0.0096, abs=0.0005)
