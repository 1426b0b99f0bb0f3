"""`weldbeat calibrate`: measured values replace assumed ones, and nothing else in the user's file moves."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from gen.commissioning.calibration import MEASURED
from gen.records import CheckRecord, Records
from tests.support.cli.command_line import WELDER, contents, replaced, typed

VALUES = {
    "mains.voltage_V": 236.4,
    "mains.frequency_Hz": 50,
    "mains.source_resistance_ohm": 0.61,
    "mains.source_inductance_mH": 0.4,
    "transformer.working_current_A": 19.5,
    "transformer.open_current_A": 0.82,
    "transformer.open_secondary_V": 2.35,
    "transformer.shorted_current_A": 27.9,
    "detector.offset_rise_us": 412,
    "detector.offset_fall_us": -90,
}


def commented(folder: Path) -> str:
    """A file as `weldbeat new` writes it: many keys commented out, others marked typical."""
    assert typed(["new", "shop", "--typical"]).code == 0
    return (folder / "shop" / "welder.toml").read_text()


SHAPES: dict[str, Callable[[Path], str]] = {
    "as new writes it": commented,
    "as short as can be": lambda _: replaced(WELDER, '[detector]\nkind = "square"\n', ""),
    "inline tables": lambda _: replaced(
        WELDER,
        "[mains]\nvoltage_V = 230\nfrequency_Hz = 50\n",
        "mains = {voltage_V = 230, frequency_Hz = 50}  # the shed\n",
    ),
    "saved on Windows": lambda folder: commented(folder).replace("\n", "\r\n"),
}


@pytest.mark.parametrize("key", VALUES)
@pytest.mark.parametrize("shape", SHAPES)
def test_one_value_changes_and_the_rest_stays(
    shape: str, key: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read by Python's own TOML reader the file differs in this key alone; of its lines at most one went and one came."""
    monkeypatch.chdir(tmp_path)
    before = SHAPES[shape](tmp_path)
    path = Path("welder.toml")
    path.write_bytes(before.encode())
    outcome = typed(["calibrate", f"{key}={VALUES[key]}", "--yes"])
    assert (outcome.code, outcome.err) == (0, "")
    after = path.read_bytes().decode()
    wanted = tomllib.loads(before)
    table, name = key.split(".")
    unchanged = wanted.get(table, {}).get(name) == VALUES[key]
    wanted.setdefault(table, {})[name] = VALUES[key]
    assert tomllib.loads(after) == wanted
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    assert len([line for line in old if line not in new]) <= 1
    most = 1 if table in tomllib.loads(before) else 3  # a table of its own, after an empty line
    assert len([line for line in new if line not in old]) <= most
    assert [line for line in new if line in old] == [line for line in old if line in new]
    assert ("holds these values already" in outcome.out) == unchanged


def test_every_key_that_is_offered_is_tried() -> None:
    """All but the tap's name and the current transformer's factor, which are tried below."""
    below = {"transformer.shorted_tap", "transformer.working_tap", "current_sense.reading_factor"}
    assert set(VALUES) == set(MEASURED) - below


def test_a_factor_needs_its_current_transformer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written beside its turns and burden; without them the file stays as it is."""
    monkeypatch.chdir(tmp_path)
    path, line = Path("welder.toml"), ["calibrate", "current_sense.reading_factor=1.04", "--yes"]
    path.write_text(WELDER)
    outcome = typed(line)
    assert (outcome.code, path.read_text()) == (2, WELDER)
    assert "current_sense.turns" in outcome.err
    path.write_text(WELDER + "[current_sense]\nturns = 1000\nburden_ohm = 20\n")
    assert typed(line).code == 0
    assert tomllib.loads(path.read_text())["current_sense"]["reading_factor"] == 1.04


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "welder.toml").write_text(WELDER)
    return tmp_path


def test_the_difference_comes_before_the_question(shop: Path) -> None:
    """A unified diff, then the question; "no" and no answer leave every byte, "yes" writes what was shown."""
    before = contents(shop)
    for answer, code in (("n\n", 0), ("", 2)):
        outcome = typed(["calibrate", "mains.voltage_V=236", "detector.offset_rise_us=412"], answer)
        assert outcome.code == code
        assert outcome.out.index("-voltage_V = 230\n+voltage_V = 236\n") < outcome.out.index("Write welder.toml?")
        assert contents(shop) == before
    outcome = typed(["calibrate", "mains.voltage_V=236"], "y\n")
    assert (outcome.code, outcome.err) == (0, "")
    assert (shop / "welder.toml").read_text() == replaced(WELDER, "voltage_V = 230", "voltage_V = 236")
    assert "simulate, build and flash anew" in " ".join(outcome.out.split())


def test_typical_becomes_measured(shop: Path) -> None:
    """A value that was marked typical is marked measured; any other comment is the user's own."""
    text = replaced(WELDER, "voltage_V = 230", "voltage_V = 230  # typical")
    (shop / "welder.toml").write_text(
        replaced(text, "working_current_A = 22", "working_current_A = 22  # my brother's clamp")
    )
    assert typed(["calibrate", "mains.voltage_V=236", "transformer.working_current_A=21", "--yes"]).code == 0
    after = (shop / "welder.toml").read_text()
    assert "voltage_V = 236  # measured\n" in after
    assert "working_current_A = 21  # my brother's clamp\n" in after


def test_the_last_walk_gives_the_values(shop: Path) -> None:
    """Only readings of passed steps, only of the last walk, only those that belong into the file; with taps also on which."""
    taps = replaced(WELDER, "[switch]", 'taps = {high = 2.4, low = 1.8}\ntap = "high"\nworking_tap = "high"\n[switch]')
    (shop / "welder.toml").write_text(taps)
    with Records(shop / "records.sqlite") as records:
        for walk, step, outcome, reading in (
            (1, "voltage", "passed", 199.0),
            (2, "earth", "passed", 0.1),
            (2, "voltage", "failed", 180.0),
            (2, "voltage", "passed", 233.0),
            (2, "offset-rise", "passed", 311.6),
            (2, "line-impedance", "not checked", None),
            (2, "shorted", "passed", 15.0),
            (2, "short-circuit-current", "passed", 16.3),
        ):
            records.add_check(CheckRecord(walk, step, 0, "2026-01-01T00:00:00Z", "", outcome, reading, "", ""))
    assert typed(["calibrate", "--yes"]).code == 0
    after = tomllib.loads((shop / "welder.toml").read_text())
    assert after["mains"] == {"voltage_V": 233, "frequency_Hz": 50}
    assert after["detector"] == {"kind": "square", "offset_rise_us": 312}
    assert after["transformer"]["shorted_tap"] == "low"
    assert after["transformer"]["shorted_current_A"] == 16.3
