"""What `simulate` says about heat and pace: for a person and for a program, from the same answers."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.support.cli.command_line import SCHEDULE, WELDER, replaced, typed

SMALL = replaced(WELDER, "rating_kVA = 2.5", "rating_kVA = 1.2")
KNOWN = replaced(SMALL, 'kind = "scr_pair"', 'kind = "scr_pair"\nfoster = [[0.05, 0.005], [0.15, 0.05], [0.25, 0.4]]')


@pytest.fixture(autouse=True)
def _shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "welder.toml").write_text(KNOWN)
    (tmp_path / "job.toml").write_text(SCHEDULE)
    monkeypatch.chdir(tmp_path)


def simulated(*options: str) -> tuple[str, dict[str, object], int]:
    line = ["simulate", "job.toml", "--minutes", "0.2", *options]
    text, data = typed([*line, "--all"]), typed([*line, "--json"])
    assert (text.err, data.err) == ("", "")
    assert text.code == data.code
    return text.out, json.loads(data.out), text.code


def test_temperatures_follow_the_findings() -> None:
    """A row for each part of the welder file, the same figures in JSON, and the fastest pace below."""
    text, data, _ = simulated()
    assert text.index("Temperatures in degC") > text.index("Verdict:")
    temperatures = data["temperatures"]
    assert isinstance(temperatures, list)
    assert [t["name"] for t in temperatures] == ["junction", "case", "winding"]
    for t in temperatures:
        figures = " +".join(f"{t[key]:.1f}" for key in ("after_run_C", "minute_later_C", "for_ever_C"))
        assert re.search(rf"^  {t['name']} +{figures} +{t['limit_C']:g} ", text, re.M)
        assert t["time_to_limit_s"] is None
    assert "rest" not in text


def test_the_fastest_pace_is_taken_at_its_word() -> None:
    """`--pace max` runs at the pace that the line below the table tells, and nothing that goes with the pace refuses."""
    text, data, code = simulated("--pace", "max")
    pace = data["welds_per_minute"]
    fastest = data["fastest_pace"]
    assert isinstance(fastest, dict)
    assert pace == fastest["welds_per_minute"]
    assert f"Fastest sustained pace: {pace:g} welds a minute, limited by {fastest['limited_by']}." in text
    assert code == 0
    assert not data["refused"]
    assert fastest["limits"][0]["name"] == fastest["limited_by"]
    assert [x["welds_per_minute"] for x in fastest["limits"]] == sorted(
        x["welds_per_minute"] for x in fastest["limits"]
    )
    faster = typed(["simulate", "job.toml", "--minutes", "0.05", "--pace", str(round(float(str(pace)) + 0.1, 1))])
    assert faster.code == 1


def test_build_takes_the_fastest_pace_too() -> None:
    """Firmware for the fastest pace is written: the verdict at that pace lets it."""
    assert typed(["build", "job.toml", "-o", "firmware", "--pace", "max"]).code == 0
    assert Path("firmware", "main.py").is_file()


def test_a_limit_passed_says_when() -> None:
    """Far too fast: the winding passes its limit after a time, and a burst needs a rest."""
    text, data, code = simulated("--pace", "20", "--burst", "2000")
    assert code == 1
    temperatures = data["temperatures"]
    assert isinstance(temperatures, list)
    winding = next(t for t in temperatures if t["name"] == "winding")
    assert winding["time_to_limit_s"] > 60
    assert winding["rest_s"] > 0
    assert re.search(r"^  winding .* \S+ min$", text, re.M)
    assert re.search(r"^After 2000 welds without a pause: rest \S+ (min|s|h) for the winding\.$", text, re.M)


def test_a_small_burst_needs_no_rest() -> None:
    """One weld from cold."""
    text, data, _ = simulated("--burst", "1")
    assert "After 1 weld: no rest is needed." in text
    assert data["burst"] == 1
