"""What the report says: every figure against the recording it was made from, with an HTML parser that we did not write."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gen.cautions import CAUTIONS
from gen.cli.show import table_text
from gen.firmware import duty_limit, heat, render
from sim.faults.catalogue import FAULTS
from sim.faults.runs import FaultTarget, inject_all
from sim.report.data import flux_of, refusals
from sim.report.sections import headline, limit_words
from sim.report.sections import page as render_report
from sim.report.svg import Scale, number, spread, ticks
from sim.report.timeline import grouped, segments
from sim.verdict import Finding, Verdict
from sim.verdict.flux import flux_balance
from tests.support.machines import make_welder
from tests.support.report import report_runs as runs
from tests.support.report.report_trees import Shape, page_of, parsed, rows, section, text_of, words

SHAPES = pytest.mark.parametrize("shape", runs.EVERY_SHAPE, ids=lambda shape: shape.__name__)


@SHAPES
def test_well_formed_and_self_contained(shape: Shape) -> None:
    page, tree = text_of(shape), page_of(shape)
    assert not re.search(r"https?:|@import|url\((?!#)|javascript:|<script|<link|<img|<iframe", page)
    for element in tree.iter():
        assert not {"src", "srcset", "data", "action"} & set(element.attrib)
        assert element.attrib.get("href", "#").startswith("#")
    names = [element.attrib["id"] for element in tree.iter() if "id" in element.attrib]
    assert len(names) == len(set(names))
    used = set(re.findall(r"url\(#([^)]*)\)", page)) | {a.attrib["href"][1:] for a in tree.iter("a")}
    assert used <= set(names)


@SHAPES
def test_the_cautions_come_before_the_pictures(shape: Shape) -> None:
    tree = page_of(shape)
    assert " ".join(CAUTIONS) in words(section(tree, "cautions"))
    assert [s.attrib["id"] for s in tree.iter("section")][:4] == ["setup", "verdict", "cautions", "schedule"]


def test_findings_are_listed_gravest_first_with_all_they_say() -> None:
    tree = page_of(runs.refused)
    listed = rows(section(tree, "findings"))
    assert [row[:2] for row in listed] == [
        ["duty", "refused"],
        ["pace", "caution"],
        ["gate-window", "passed"],
        ["flux-balance", "passed"],
    ]
    assert listed[0][2:4] == ["31.2 % of a minute at full conduction", "at most 21.3"]
    assert listed[2][2:4] == ["53.1 degrees of gate", "at least 10"]
    for finding, row in zip((runs.REFUSED, runs.DOUBTFUL, runs.PASSED, runs.FLUX), listed, strict=True):
        assert finding.source in row[4]
        assert finding.advice in row[4]
        assert finding.unit_text in row[2]
    verdict = words(section(tree, "verdict"))
    assert verdict.startswith("Refused. Current flows for 31.2 % of each minute; 21.3 % is allowed.")
    assert verdict.index("refused: duty.") < verdict.index("caution: pace.")
    assert "Weld no faster than 7 a minute." in verdict
    assert "at 12.500 s of the run" in verdict
    assert "1 refused, 1 caution, 2 passed" in verdict


@pytest.mark.parametrize(
    ("findings", "line"),
    [
        ((runs.PASSED,), "Passed: 1 check, none beyond its limit."),
        ((runs.PASSED, runs.FLUX), "Passed: 2 checks, none beyond a limit."),
        ((runs.PASSED, runs.DOUBTFUL), "Passed with cautions. 3 presses began no weld."),
        ((), "Nothing was checked, so nothing is known."),
    ],
)
def test_the_verdict_in_one_line(findings: tuple[Finding, ...], line: str) -> None:
    data = runs.changed(runs.without_weld(), verdict=Verdict(findings))
    assert headline(data) == line
    assert line in words(section(parsed(data), "verdict"))


@pytest.mark.parametrize(
    ("limit", "low", "said"),
    [(10, False, "at most 10"), (10, True, "at least 10"), (0, False, "at most 0"), (None, False, "not known")],
)
@pytest.mark.parametrize("figure", [5, 10, 15])
def test_the_side_of_a_limit(figure: float, limit: float | None, low: bool, said: str) -> None:
    assert limit_words(Finding("x", "passed", figure, limit, "A", "", "", low=low)) == said


@pytest.mark.parametrize(("shape", "unit"), [(runs.everything, "kA secondary"), (runs.rods, "A primary")])
def test_the_schedule_delivers_in_the_unit_of_the_table(shape: Shape, unit: str) -> None:
    """Thousands of amperes are kA in the report as in the timing table, figure by figure."""
    told = table_text(shape().run.job)
    assert f"delivers, {unit.split()[0]} " in told
    schedule = section(page_of(shape), "schedule")
    assert f"Delivers, {unit}" in words(schedule)
    level = {row[5] for row in rows(schedule) if row[1].startswith(("weld", "pulse"))}  # a slope is one row here
    assert len(level) == 2
    for figure in level:
        assert f" {figure} " in told


def test_the_schedule_says_every_row_of_the_table() -> None:
    data = runs.rods()
    listed = rows(section(page_of(runs.rods), "schedule"))
    assert [row[1] for row in listed] == [
        "squeeze",
        "pulse, 2 times",
        "cool, 2 times",
        "upslope",
        "weld",
        "hold",
        "off",
    ]
    times = [2 if "2 times" in row[1] else 1 for row in listed]
    assert sum(int(row[2]) * n for row, n in zip(listed, times, strict=True)) == data.table.half_cycles
    assert [float(row[3]) for row in listed] == [10 * int(row[2]) for row in listed]
    assert (listed[1][4], listed[4][4], listed[0][6]) == ("60 %", "75 %", "no gate")
    weld = next(row for row in data.table.rows if row.phase == "weld")
    assert listed[4][6] == str(weld.firing_delay_us)
    low, high = (
        float(word) for word in listed[4][5].split(" to ")
    )  # primary, since this machine's turns are not known
    assert (low, high) == pytest.approx(
        (0.97 * 20 * weld.share[0], 1.03 * 20 * weld.share[1]), rel=0.01
    )  # read within 3 %


def test_segments_keep_every_row() -> None:
    for data in (runs.rods(), runs.long()):
        groups = grouped(segments(data.table))
        assert sum(part.half_cycles * part.times for group in groups for part in group) == data.table.half_cycles
    assert [group[0].times for group in groups] == [1, 20, 1, 1, 1, 1, 1]


@SHAPES
def test_gate_marks_and_delays_are_those_of_the_recording(shape: Shape) -> None:
    data = shape()
    tree, recording = page_of(shape), data.recording
    by_half_cycle = {recording.half_cycle_at(on_s).index: (on_s, off_s) for on_s, off_s in recording.gates}
    pictures = [svg for svg in tree.iter("svg") if "data-start-s" in svg.attrib]
    assert len(pictures) == (4 if data.shown_weld else 0)  # first and last, wide and narrow
    for svg in pictures:
        start_s, per_s, left = (float(svg.attrib[key]) for key in ("data-start-s", "data-px-per-s", "data-left"))
        marks = [rect for rect in svg.iter("rect") if "data-gate-on-s" in rect.attrib]
        assert marks
        for mark in marks:
            on_s, off_s = by_half_cycle[int(mark.attrib["data-half-cycle"])]
            assert float(mark.attrib["data-gate-on-s"]) == pytest.approx(on_s, abs=1e-8)
            assert float(mark.attrib["x"]) == pytest.approx(left + (on_s - start_s) * per_s, abs=0.01)
            assert float(mark.attrib["width"]) == pytest.approx((off_s - on_s) * per_s, abs=0.01)
            delay = f"{(on_s - recording.half_cycle_at(on_s).start_s) * 1e3:.2f}"
            assert delay in [words(text) for text in svg.iter("text")]


def test_the_current_drawn_is_the_one_simulated() -> None:
    data = runs.rods()
    svg = next(svg for svg in page_of(runs.rods).iter("svg") if "data-start-s" in svg.attrib)
    start_s, per_s, left = (float(svg.attrib[key]) for key in ("data-start-s", "data-px-per-s", "data-left"))
    curves = [p.attrib["d"] for p in svg.iter("path") if p.attrib["class"] == "current"]
    weld = data.recording.welds[0]
    c = next(c for c in data.recording.conductions if c.start_s >= weld.asked_s)
    points = [tuple(map(float, point.split())) for point in curves[0][1:].split("L")]
    base = points[0][1]
    scale = max(base - y for _, y in points) / c.peak_A
    for x, y in points[1:-1]:
        assert base - y == pytest.approx(scale * c.current.at(start_s + (x - left) / per_s), abs=0.3)


@pytest.mark.parametrize("kind", ["square", "pulse"])
def test_one_detected_edge_for_each_crossing(kind: str) -> None:
    data = runs.run({"weld": "6 cycles", "current_percent": 80}, detector={"kind": kind}, mains={"frequency_Hz": 60})
    tree = parsed(data)
    for svg in (svg for svg in tree.iter("svg") if "data-start-s" in svg.attrib):
        marks = [element.attrib.get("class") for element in svg.iter()]
        assert marks.count("detected") == marks.count("true") >= 4
    assert rows(section(tree, "schedule"))[1][1:4] == ["weld", "12", "100"]
    assert rows(section(tree, "schedule"))[2][1:4] == ["hold", "10", "83.3"]


def test_unlatched_currents_are_dashed_and_counted() -> None:
    tree = page_of(runs.unlatched)
    assert "48 currents of this weld never latched" in words(section(tree, "half-cycles"))
    assert [p for p in section(tree, "half-cycles").iter("path") if p.attrib["class"] == "current unlatched"]
    assert "never latched" not in words(section(page_of(runs.open_electrodes), "half-cycles"))


@pytest.mark.parametrize(
    "shape", [runs.rods, runs.long, runs.stopped, runs.open_electrodes], ids=lambda shape: shape.__name__
)
def test_the_flux_path_is_the_one_that_is_judged(shape: Shape) -> None:
    data = shape()
    first = replace(data.run, recording=replace(data.recording, welds=data.recording.welds[:1]))
    flux = flux_of(data, first.recording.welds[0])
    assert abs(flux.peak) == pytest.approx(flux_balance(first).figure, abs=6e-4)
    times = [time_s for time_s, _ in flux.path]
    assert times == sorted(times)
    assert all(abs(b - a) < 0.9 for (_, a), (_, b) in itertools.pairwise(flux.path))
    assert f"Greatest in this weld {number(abs(flux.peak))}, limit 1.4" in words(section(page_of(shape), "flux"))


@pytest.mark.parametrize(
    "shape", [runs.rods, runs.refused, runs.stopped, runs.without_weld], ids=lambda shape: shape.__name__
)
def test_the_duty_minute_is_a_sum_over_gates(shape: Shape) -> None:
    data = shape()
    costs = [heat(row) for row in data.table.rows if row.firing_delay_us is not None for _ in range(row.half_cycles)]
    charges = []
    for weld in data.recording.welds:
        gates = [on_s for on_s, _ in data.recording.gates if weld.asked_s <= on_s < weld.ended_s]
        charges += list(zip(gates, costs, strict=False))
    most = max((sum(cost for t, cost in charges if end - 60 < t <= end) for end, _ in charges), default=0) / 100
    assert data.minute.used == pytest.approx(most)
    assert data.minute.limit == duty_limit(data.welder) / 100
    assert max(value for _, value in data.minute.path) == pytest.approx(most)
    listed = rows(section(page_of(shape), "duty"))
    assert listed[0][1:3] == [number(most), number(duty_limit(data.welder) / 100)]
    assert listed[3][1] == number(max((c.peak_A for c in data.recording.conductions), default=0))


def test_presses_that_began_no_weld_have_their_reason() -> None:
    data = runs.refused()
    found = refusals(data)
    assert len(found) == len(data.recording.presses) - len(data.recording.welds)
    assert {refusal.reason for refusal in found} == {"duty used up"}
    assert f"{len(found)} of these came in the state “locked out: duty used up”" in words(
        section(page_of(runs.refused), "welds")
    )


@pytest.mark.parametrize("shape", [runs.rods, runs.stopped, runs.dropout], ids=lambda shape: shape.__name__)
def test_each_weld_is_listed_as_it_went(shape: Shape) -> None:
    data = shape()
    tree = section(page_of(shape), "welds")
    for row, weld in zip(rows(tree), data.recording.welds, strict=True):
        assert row[1:3] == [f"{weld.asked_s:.3f}", f"{weld.ended_s:.3f}"]
        assert [int(cell) for cell in row[3:6]] == [weld.planned, weld.gates, weld.conducted]
        assert row[6].startswith(weld.ending)
    assert rows(tree, 1)[0][1] == "waiting for mains"


def test_a_weld_ended_early_says_why() -> None:
    assert "stop is open" in rows(section(page_of(runs.stopped), "welds"))[0][6]
    assert "mains lost or unsteady" in rows(section(page_of(runs.dropout), "welds"))[0][6]


def test_a_long_list_is_cut_but_keeps_the_odd_weld() -> None:
    tree = section(page_of(runs.many), "welds")
    listed = rows(tree)
    assert len(listed) == 25
    assert listed[-1][0] == "1501"
    assert "1975 more welds are not listed" in words(tree)


def test_what_was_built_rounded_and_assumed() -> None:
    data = runs.changed(runs.rods(), table=replace(runs.rods().table, notes=("phase 1: 0.4 s & <more>",)))
    built = words(section(parsed(data), "built"))
    for said in (
        data.table.digest,
        data.bundle.digest,
        data.board.title,
        data.board.micropython_min,
        *data.table.notes,
    ):
        assert said in built
    for path, content in data.bundle.files.items():
        assert f"{path} {len(content.encode())} bytes" in built
    for key in data.welder.assumed():
        assert " ".join(key.split()) in built


def test_words_of_the_user_are_escaped() -> None:
    titled = runs.without_weld().run.job.schedule.model_copy(update={"title": "<b>5 & 6</b>"})
    data = runs.changed(runs.without_weld(), schedule=titled)
    assert words(next(parsed(data).iter("h1"))) == "<b>5 & 6</b>"


def test_same_run_same_page() -> None:
    assert text_of(runs.rods) == render_report(runs.run(*runs.RODS))


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(1, 12))
def test_ticks_are_few_and_inside(low: float, span: float, most: int) -> None:
    found = ticks(low, low + span, most)
    assert len(found) <= most + 1
    assert all(low - 1e-6 * span <= value <= low + span * (1 + 1e-6) for value in found)


@given(st.lists(st.tuples(st.floats(0, 700), st.floats(1, 150)), min_size=1, max_size=12))
def test_spread_labels_do_not_overlap(wanted: list[tuple[float, float]]) -> None:
    centres, widths = sorted(c for c, _ in wanted), [w for _, w in wanted]
    placed = spread(centres, widths, 0, 700)
    if placed is None:
        assert sum(widths) > 700
        return
    edges = [(at - w / 2, at + w / 2) for at, w in zip(placed, widths, strict=True)]
    assert edges[0][0] >= -1e-6
    assert edges[-1][1] <= 700 + 1e-6
    assert all(left[1] <= right[0] + 1e-6 for left, right in itertools.pairwise(edges))


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (1276.4, "1276"),
        (0.19946, "0.199"),
        (-1.4, "−1.4"),
        (20.0, "20"),
        (1e6, "1000000"),
        (float("inf"), "unlimited"),
    ],
)
def test_figures_are_written_without_exponents(value: float, said: str) -> None:
    assert number(value) == said


def test_a_scale_is_a_straight_line() -> None:
    x = Scale(2, 4, 100, 300)
    assert (x(2), x(3), x(4), x.per_unit) == (100, 200, 300, 100)


def test_faults_are_reported_with_what_carries_them() -> None:
    """A row a fault; what nothing carries is said to be so; without faults struck there is no such section."""
    data = runs.rods()
    bare = make_welder(protection={"isolator": False, "contactor": False})
    job = data.run.job
    job = replace(job, welder=bare, bundle=render(job.table, bare, job.board))
    struck = tuple(inject_all(FaultTarget(job), 0, 1))
    tree = section(parsed(replace(data, faults=struck)), "faults")
    listed = {row[0]: row[1:] for row in rows(tree)}
    assert len(listed) == len(FAULTS)
    shorted = next(cells for name, cells in listed.items() if name.startswith("switch shorted"))
    assert shorted[1:] == ["no end", "NO", "nothing that the welder file names"]
    sag = next(row for row in struck if row.fault.name == "sag")
    assert listed[f"sag{sag.fault.words}"] == [sag.worst[1].did, str(sag.worst[1].unwanted), "yes", sag.ended_by]
    assert "switch shorted: Nothing that the welder file names ends the current" in words(tree)
    assert page_of(runs.rods).find(".//section[@id='faults']") is None
