"""The VCD file read back by vcdvcd, a reader that we did not write, against the recording it was made from."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from vcdvcd import VCDVCD

from sim.report.data import ReportData
from sim.vcd import vcd_text
from tests.support.report import report_runs as runs

SHAPES = [runs.rods, runs.without_weld, runs.unlatched, runs.stopped, runs.dropout]


class Reader(VCDVCD):  # type: ignore[misc]
    """vcdvcd, told that string changes (s, text, identifier: an extension of GTKWave) are laid out as vectors are."""

    _VECTOR_VALUE_CHANGE = VCDVCD._VECTOR_VALUE_CHANGE | {"s"}


def signal(text: str, name: str) -> list[tuple[int, str]]:
    """(Microsecond, value) of every change; in strings the escaped spaces are restored."""
    changes = Reader(vcd_string=text)[f"weldbeat.{name}"].tv
    return [(time_us, re.sub(r"\\x20", " ", value)) for time_us, value in changes]


def levels(spans: list[tuple[float, float]]) -> list[tuple[int, str]]:
    """What the changes of a signal that is 1 in these spans must be."""
    return [(0, "0"), *((round(t * 1e6), value) for span in spans for t, value in zip(span, "10", strict=True))]


def named(changes: list[tuple[float, str]]) -> list[tuple[int, str]]:
    """What the changes of a string must be: those that say something new."""
    found: list[tuple[int, str]] = []
    for time_s, value in changes:
        if not found or found[-1][1] != value:
            found.append((round(time_s * 1e6), value))
    return found


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.__name__)
def test_every_edge_and_state_reads_back(shape: Callable[[], ReportData]) -> None:
    recording = shape().recording
    text = vcd_text(recording)
    assert signal(text, "gate") == levels(list(recording.gates))
    assert signal(text, "conduction") == levels([(c.start_s, c.end_s) for c in recording.conductions])
    assert signal(text, "latched") == levels([(c.start_s, c.end_s) for c in recording.conductions if c.latched])
    edges = [(round(change.time_s * 1e6), str(change.value)) for change in recording.detector]
    assert signal(text, "detector") == [(0, "0"), *edges]
    assert signal(text, "state") == named([(change.time_s, change.state) for change in recording.states])
    assert signal(text, "reason") == named([(change.time_s, change.reason) for change in recording.states])


def test_mains_polarity_is_undriven_in_a_dropout() -> None:
    recording = runs.dropout().recording
    crossings = [h for h in recording.half_cycles if h.start_s <= recording.length_s]
    expected = named([(h.start_s, "z" if h.amplitude_V == 0 else str(int(h.positive))) for h in crossings])
    assert signal(vcd_text(recording), "mains_positive") == expected
    assert "z" in {value for _, value in expected}


def test_no_date_no_seed_of_its_own() -> None:
    first, second = (vcd_text(runs.run(*runs.RODS).recording) for _ in range(2))
    assert first == second
    assert "$date" not in first
    assert "$timescale 1 us $end" in first


def test_the_file_ends_where_the_run_does() -> None:
    recording = runs.rods().recording
    last = re.findall(r"^#(\d+)$", vcd_text(recording), re.MULTILINE)[-1]
    assert int(last) == round(recording.length_s * 1e6)
