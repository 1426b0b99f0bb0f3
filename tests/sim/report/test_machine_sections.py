"""What the report draws and says of the machine: switching on, temperatures, margins and its figures."""

from __future__ import annotations

import math
from dataclasses import replace
from xml.etree.ElementTree import Element

import pytest

from sim.core.weld_current import KNEE, REMANENCE
from sim.report.heat import BURST, heat_of, rest_words, time_words
from sim.report.margins import fitting, limit_words, margins
from sim.report.svg import number, width_of
from sim.verdict import Finding, Verdict
from sim.verdict.finding import Severity
from tests.support.report import report_runs as runs
from tests.support.report.report_trees import Shape, page_of, parsed, rows, section, words

MACHINES = pytest.mark.parametrize(
    "shape", [runs.little, runs.everything, runs.too_hot], ids=lambda shape: shape.__name__
)


def pictures(tree: Element) -> list[Element]:
    return list(tree.iter("svg"))


def outlines(svg: Element, *classes: str) -> list[list[tuple[float, float]]]:
    """The corners of each path of one of these classes."""
    found = [p.attrib["d"] for p in svg.iter("path") if p.attrib["class"] in classes]
    return [[(float(x), float(y)) for x, y in (point.split() for point in d[1:].rstrip("Z").split("L"))] for d in found]


@MACHINES
def test_switching_on_is_drawn_as_the_checks_ran_it(shape: Shape) -> None:
    data = shape()
    tree, currents = section(page_of(shape), "switching"), shape().currents
    wide, narrow = pictures(tree)
    for svg, shown in ((wide, 10), (narrow, 5)):
        per_s, left = float(svg.attrib["data-px-per-s"]), float(svg.attrib["data-left"])
        (zero_current, zero_flux), (current, _) = outlines(svg, "other"), outlines(svg, "current")
        assert max(x for x, _ in zero_current) == pytest.approx(left + shown * currents.half_s * per_s, abs=2)
        peaks = [s.primary_peak_A for s in currents.zero_worst.swings][:2]
        base = zero_current[0][1]
        rise = base - min(y for _, y in zero_current), max(y for _, y in zero_current) - base
        assert rise[0] / rise[1] == pytest.approx(peaks[0] / peaks[1], rel=0.1)
        first = next(x for x, y in current if abs(y - base) > 0.2)
        assert (first - left) / per_s / currents.half_s * 180 == pytest.approx(currents.pattern.delays_deg[0], abs=8)
        knees = [float(line.attrib["y1"]) for line in svg.iter("line") if line.attrib["class"] == "limit"]
        assert len(knees) == 2
        assert min(y for _, y in zero_flux) < min(knees)  # beyond the knee, and hatched
        assert [p for p in svg.iter("path") if p.attrib["class"] == "area"]
        assert number(KNEE) in [words(text) for text in svg.iter("text")]
    said = words(tree)
    assert f"a knee at {KNEE:g} times the steady peak flux and a remanence of {REMANENCE:g} of the knee" in said
    assert f"at voltage zero {number(currents.zero_worst.primary_peak_A)} A" in said
    assert f"In the whole weld: {number(data.currents.worst.primary_peak_A)} A" in said


@MACHINES
def test_temperatures_are_those_that_were_judged(shape: Shape) -> None:
    data = shape()
    tree, heat = section(page_of(shape), "heat"), heat_of(data)
    judged = {f.name: f for f in data.findings if f.zero}
    listed = rows(tree)
    assert [row[0] for row in listed][1:4] == ["a minute later", "in continuous work", "limit"]
    assert len(judged) == len(heat.parts) == len(listed[0]) - 1
    for n, part in enumerate(heat.parts, 1):
        finding, said = judged[part.said.name], part.said
        assert float(listed[2][n]) == pytest.approx(finding.figure, rel=6e-3)
        assert finding.limit is not None
        assert listed[3][n] == number(finding.limit)
        assert float(listed[0][n]) <= float(listed[1][n]) <= float(listed[2][n])
        beyond = finding.figure > finding.limit
        assert listed[4][n].startswith("any") == (said.fastest_pace >= 0.999 * heat.most_pace)
        if beyond:
            assert (0 if listed[4][n] == "not one weld" else float(listed[4][n])) < heat.pace
        assert (part.passes_s is not None) == (beyond and not said.by_mean)
        at = [point[2 if said.by_mean else 1] for point in part.curve]
        assert at == sorted(at)
        assert at[-1] <= said.for_ever_C + 1e-6
        assert said.for_ever_C == (part.final.mean_degC if said.by_mean else part.final.peak_degC)


def test_the_cross_lies_where_the_limit_is_passed() -> None:
    heat = heat_of(runs.too_hot())
    passes = {part.name: part.passes_s for part in heat.parts if part.passes_s is not None}
    assert set(passes) == {"junction", "winding", "electrode peak"}
    tree = section(page_of(runs.too_hot), "heat")
    for seconds in passes.values():
        assert f"beyond its limit after {time_words(seconds)}" in words(tree)
    svg = pictures(tree)[0]
    crosses = [line for line in svg.iter("line") if line.attrib["class"] == "mark"][::2]
    axis = next(line for line in svg.iter("line") if line.attrib["class"] == "limit")
    left, right = float(axis.attrib["x1"]), float(axis.attrib["x2"])
    minutes = [((float(c.attrib["x1"]) + 4) - left) / (right - left) * heat.minutes for c in crosses]
    assert minutes == pytest.approx([seconds / 60 for seconds in passes.values()], abs=0.01)


@pytest.mark.parametrize(
    ("rest_s", "made", "said"),
    [
        (0.0, BURST, "none"),
        (33.3, BURST, "33.3 s"),
        (600.0, 4, "10 min; too hot from weld 5"),
        (math.inf, 0, "never safe"),
        (None, BURST, "none: its limit is of the mean"),
    ],
)
def test_the_rest_after_a_burst_in_words(rest_s: float | None, made: int, said: str) -> None:
    part = heat_of(runs.everything()).parts[0]
    assert rest_words(replace(part, said=replace(part.said, rest_s=rest_s), burst_welds=made)) == said


def test_what_is_not_known_is_said_and_not_drawn() -> None:
    tree = page_of(runs.little)
    assert [words(th) for th in section(tree, "heat").iter("th")] == ["°C", "case", "winding"]
    assert "has too few figures: junction and electrode face." in words(section(tree, "heat"))
    assert "not known" in rows(section(tree, "machine"), 1)[0]
    listed = {row[0]: row for row in rows(section(tree, "findings")) if row}  # the second heading has no cells
    assert listed["breaker"][3] == "not known"
    assert "too few figures" not in words(section(page_of(runs.everything), "heat"))


def test_a_run_without_a_weld_and_a_pace_beyond_the_schedule_are_said() -> None:
    assert "This run made no weld." in words(section(page_of(runs.without_weld), "heat"))
    data = runs.changed(runs.without_weld(), welds_per_minute=120)
    assert "the most that a weld of this length leaves room for" in words(section(parsed(data), "heat"))


@pytest.mark.parametrize(
    ("seconds", "said"), [(12.34, "12.3 s"), (119, "1.98 min"), (5400, "90 min"), (7200, "2 h"), (99.9, "99.9 s")]
)
def test_times_are_written_to_be_read(seconds: float, said: str) -> None:
    assert time_words(seconds) == said


def finding(
    figure: float, limit: float | None, severity: Severity, low: bool = False, zero: float = 0, name: str = "x"
) -> Finding:
    return Finding(name, severity, figure, limit, "A", "", "", low=low, zero=zero)


@pytest.mark.parametrize(
    ("figure", "limit", "severity", "low", "zero", "share", "percent"),
    [
        (5, 10, "passed", False, 0, 0.5, "50 %"),
        (10, 10, "passed", False, 0, 1, "100 %"),
        (10.01, 10, "refuse", False, 0, 1.001, "101 %"),  # never "100 %" beyond
        (9.99, 10, "passed", False, 0, 0.999, "99 %"),
        (20, 10, "passed", True, 0, 0.5, "50 %"),
        (10, 10, "passed", True, 0, 1, "100 %"),
        (8, 10, "refuse", True, 0, 1.25, "125 %"),
        (0, 10, "refuse", True, 0, math.inf, "beyond"),
        (-3, 10, "refuse", True, 0, math.inf, "beyond"),
        (75, 125, "passed", False, 25, 0.5, "50 %"),  # a temperature counts from the ambient
        (225, 125, "refuse", False, 25, 2, "200 %"),
        (3, 0, "caution", False, 0, math.inf, "beyond"),
        (17, None, "caution", False, 0, math.inf, "?"),
    ],
)
def test_the_share_of_a_limit(
    figure: float, limit: float | None, severity: Severity, low: bool, zero: float, share: float, percent: str
) -> None:
    (margin,) = margins([finding(figure, limit, severity, low, zero)])
    assert margin.share == pytest.approx(share)
    assert margin.percent == percent


def test_a_limit_of_nothing_that_is_kept_has_no_bar() -> None:
    assert margins([finding(0, 0, "passed")]) == []
    data = runs.changed(runs.without_weld(), verdict=Verdict((finding(0, 0, "passed", name="pace"), runs.PASSED)))
    assert "none is allowed and none came: pace." in words(section(parsed(data), "findings"))


@MACHINES
def test_bars_are_as_long_as_the_share_and_nearest_first(shape: Shape) -> None:
    data = shape()
    found = margins(data.of("weld"))
    known = [margin.share for margin in found if not margin.unknown]
    assert known == sorted(known, reverse=True)
    for svg in pictures(section(page_of(shape), "findings")):
        limit = next(float(line.attrib["x1"]) for line in svg.iter("line") if line.attrib["class"] == "limit solid")
        bars = outlines(svg, "kept", "beyond", "unlatched")
        for margin, bar in zip(found, bars, strict=True):
            start, end = bar[0][0], bar[1][0]
            drawn = 1 if margin.unknown else min(margin.share, 1.25)
            assert (end - start) / (limit - start) == pytest.approx(drawn, abs=1e-3)
        kinds = [p.attrib["class"] for p in svg.iter("path") if p.attrib["class"] in ("kept", "beyond", "unlatched")]
        assert kinds == [
            "kept" if m.finding.severity == "passed" else "unlatched" if m.unknown else "beyond" for m in found
        ]
        said = " ".join(words(text) for text in svg.iter("text"))
        assert said.count("refused") == sum(f.severity == "refuse" for f in data.findings)
        assert said.count("caution") == sum(f.severity == "caution" for f in data.findings)


@MACHINES
def test_every_check_has_a_bar_or_is_named(shape: Shape) -> None:
    data = shape()
    tree = section(page_of(shape), "findings")
    said = words(tree.find("figure")) if tree.find("figure") is not None else ""
    for f in data.of("weld"):
        assert f.name in said
    assert len(data.findings) == sum(bool(row) for row in rows(tree))


def test_figures_beside_the_bars_fit() -> None:
    for f in (*runs.everything().findings, *runs.little().findings, *runs.too_hot().findings):
        for room in (60, 150, 320):
            assert width_of(fitting(f, room)) <= room
        assert number(f.figure) in fitting(f, 320)
        assert f.low == limit_words(f).startswith("at least")


@MACHINES
def test_every_figure_of_the_machine_is_listed_with_its_source(shape: Shape) -> None:
    machine = shape().welder.machine
    tree = section(page_of(shape), "machine")
    expected = [[name, figure.text, " ".join(figure.source.split())] for name, figure in machine.figures()]
    assert rows(tree) == expected
    taps = rows(tree, 1)
    assert len(taps) == len(machine.taps)
    for row, tap in zip(taps, machine.taps, strict=True):
        assert {tap.short_primary.text, tap.working_primary.text, tap.load_angle.text} <= set(row)
        if tap.name:
            assert row[0].startswith(tap.name)
        if tap.working_secondary:
            assert tap.working_secondary.text in row


def test_ranges_of_ohms_are_drawn_to_one_scale() -> None:
    machine = runs.everything().welder.machine
    ohms = [figure for _, figure in machine.figures() if figure.unit == "ohm"]
    for svg in pictures(section(page_of(runs.everything), "machine")):
        bars = outlines(svg, "kept")
        ends = [(figure.low, bar[0][0]) for bar, figure in zip(bars, ohms, strict=True)]
        (least, left), (most, right) = min(ends), max(ends)
        per_ohm = (right - left) / (most - least)
        for bar, figure in zip(bars, ohms, strict=True):
            width = bar[1][0] - bar[0][0]
            assert width == pytest.approx(max((figure.high - figure.low) * per_ohm, 1.5), abs=0.05)


@MACHINES
def test_what_if_rows_are_the_impulses_they_name(shape: Shape) -> None:
    """A missed firing, a repeated polarity and open electrodes: each row's peak is that of the run it names."""
    currents = shape().currents
    runs_named = currents.worst, currents.missed_worst, currents.odd_worst, currents.open_worst, currents.zero_worst
    shown = [row[1] for row in rows(section(page_of(shape), "switching"))]
    assert shown == [number(impulse.primary_peak_A) for impulse in runs_named]
    # Textbook: a missed half-cycle, or one of the same side again, pushes the flux further than the weld by itself does.
    assert currents.missed_worst.peak_flux_Vs > currents.settled.peak_flux_Vs
    assert currents.odd_worst.peak_flux_Vs > currents.settled.peak_flux_Vs
