"""`weldbeat describe`, and every contradiction that a welder file's new keys can hold: one plain line each, exit code 2.

No source outside: the messages and figures are our own.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.support.cli.command_line import SCHEDULE, WELDER, Outcome, contents, replaced, typed

BARE = replaced(WELDER, "working_current_A = 22\nload_angle_min_deg = 40\nload_angle_max_deg = 65\n", "")
SHORTED = "shorted_current_A = 30\nopen_secondary_V = 2.4\n"
TAPS = 'shorted_current_A = 30\nshorted_tap = "high"\ntap = "low"\ntaps = {low = 1.8, high = 2.4}\n'
ARMS = "[arms]\nlength_mm = 250\nthroat_mm = 100\ndiameter_mm = 20\n"
ELECTRODES = "[electrodes]\ndiameter_mm = 12\nlength_mm = 40\n"
BREAKER = '[breaker]\nstandard = "IEC 60898-1"\ncharacteristic = "C"\nrating_A = 20\n'


def welder(transformer: str = SHORTED, tables: str = "", switch: str = "", mains: str = "") -> str:
    """A welder file with lines added to its tables, and tables added before its board."""
    text = replaced(BARE, "[switch]\n", f"{transformer}[switch]\n{switch}")
    text = replaced(text, "[transformer]", f"{mains}[transformer]")
    return replaced(text, "[board]", f"{tables}[board]")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def described(here: Path, text: str, *line: str) -> Outcome:
    (here / "welder.toml").write_text(text)
    return typed(["describe", *line])


TWO_TAPS = 'tap = "low"\ntaps = {low = 1.8, high = 2.4}\n'
CONTRADICTIONS = {
    "open secondary above primary": (
        welder("shorted_current_A = 30\nopen_secondary_V = 95\n").replace("voltage_V = 230", "voltage_V = 90"),
        "transformer.open_secondary_V: 95 given; allowed: less than mains.voltage_V (90); a welding transformer steps down",
    ),
    "tap above primary": (
        welder('shorted_current_A = 30\nshorted_tap = "a"\ntap = "a"\ntaps = {a = 2, b = 92}\n').replace(
            "voltage_V = 230", "voltage_V = 90"
        ),
        "transformer.taps.b: 92 given; allowed: less than mains.voltage_V (90); a welding transformer steps down",
    ),
    "tap not among taps": (
        welder('shorted_current_A = 30\ntap = "middle"\ntaps = {low = 1.8, high = 2.4}\n'),
        'transformer.tap: "middle" given; allowed: "low", "high", the names in transformer.taps',
    ),
    "taps without the one in use": (
        welder("shorted_current_A = 30\ntaps = {low = 1.8, high = 2.4}\n"),
        'transformer.tap; missing; allowed: the one in use of "low", "high"',
    ),
    "tap without taps": (
        welder(SHORTED + 'tap = "high"\n'),
        'transformer.tap: "high" given; there are no taps; allowed: a tap that is named in transformer.taps',
    ),
    "no taps in the table": (
        welder('shorted_current_A = 30\ntap = "high"\ntaps = {}\n'),
        "transformer.taps: a table given; allowed: a table of 1 to 50 tap names (each on one line, at most 40 characters), "
        "each with its open secondary voltage from 0.1 to 100",
    ),
    "a tap of no volts": (
        welder('shorted_current_A = 30\ntap = "high"\ntaps = {high = 0}\n'),
        "transformer.taps.high: 0 given; allowed: a table of 1 to 50 tap names (each on one line, at most 40 characters), "
        "each with its open secondary voltage from 0.1 to 100",
    ),
    "two open voltages": (
        welder("open_secondary_V = 2.4\nshorted_current_A = 30\n" + TWO_TAPS),
        'transformer.open_secondary_V: 2.4 given; allowed: 1.8, as tap "low" has in transformer.taps, or left out',
    ),
    "shorted tap unknown": (
        welder('shorted_current_A = 30\nshorted_tap = "top"\n' + TWO_TAPS),
        'transformer.shorted_tap: "top" given; allowed: "low", "high", the names in transformer.taps',
    ),
    "shorted tap without taps": (
        welder(SHORTED + 'shorted_tap = "top"\n'),
        'transformer.shorted_tap: "top" given; there are no taps; allowed: a tap that is named in transformer.taps',
    ),
    "shorted tap without a reading": (
        welder('working_current_A = 20\nshorted_tap = "low"\n' + TWO_TAPS),
        'transformer.shorted_tap: "low" given; it belongs to shorted_current_A; allowed: both or neither',
    ),
    "a reading on no tap": (
        welder("working_current_A = 20\n" + TWO_TAPS),
        'transformer.working_tap; missing; allowed: the tap on which working_current_A was read, of "low", "high"',
    ),
    "a shorted reading on no tap": (
        welder("shorted_current_A = 20\n" + TWO_TAPS),
        'transformer.shorted_tap; missing; allowed: the tap on which shorted_current_A was read, of "low", "high"',
    ),
    "a load angle on no tap": (
        welder("load_angle_min_deg = 40\n" + TWO_TAPS),
        'transformer.working_tap; missing; allowed: the tap on which load_angle_min_deg was read, of "low", "high"',
    ),
    "a working tap without a reading": (
        welder('working_tap = "low"\n' + TWO_TAPS),
        'transformer.working_tap: "low" given; it belongs to working_current_A; allowed: both or neither',
    ),
    "a load angle that the currents forbid": (
        welder("load_angle_min_deg = 60\nload_angle_max_deg = 70\nworking_current_A = 20\n" + SHORTED),
        "transformer.load_angle_min_deg: 60 given; allowed: about 27 to 43, which agrees with the currents that were read, "
        "or the key left out",
    ),
    "a rating that the supply cannot feed": (
        welder("open_secondary_V = 2.4\n", mains="source_resistance_ohm = 10\n").replace(
            "rating_kVA = 2.5", "rating_kVA = 25"
        ),
        "transformer.rating_kVA: 25 given; a machine of this power draws 141 A or more as it welds, and the supply lets "
        "through at most 27; allowed: less",
    ),
    "shorted below working": (
        welder("working_current_A = 31\n" + SHORTED),
        "transformer.shorted_current_A: 30 given; allowed: more than working_current_A (31), which the work limits",
    ),
    "working above what another tap's reading allows": (
        welder('working_current_A = 25\nworking_tap = "low"\n' + TAPS),
        "transformer.working_current_A: 25 given; allowed: less than 18.2, the most that flows on this tap with the "
        "electrodes shorted",
    ),
    "shorted above what the supply lets": (
        welder("shorted_current_A = 500\n", mains="source_resistance_ohm = 0.6\n"),
        "transformer.shorted_current_A: 500 given; allowed: at most 464, which is all that the supply alone lets through",
    ),
    "shorted above what the arms let": (
        welder("shorted_current_A = 150\nopen_secondary_V = 2.4\n", ARMS.replace("250", "600")),
        "transformer.shorted_current_A: 150 given; allowed: at most 122, which is all that the supply and the arms alone "
        "let through",
    ),
    "working above what the arms let": (
        welder("working_current_A = 150\nopen_secondary_V = 2.4\n", ARMS.replace("250", "600")),
        "transformer.working_current_A: 150 given; allowed: at most 122, which is all that the supply and the arms alone "
        "let through",
    ),
    "a load angle below the arms' own": (
        welder(
            "working_current_A = 60\nopen_secondary_V = 2.4\nload_angle_min_deg = 5\nload_angle_max_deg = 15\n",
            ARMS.replace("250", "600"),
        ),
        "transformer.load_angle_max_deg: 15 given; allowed: 29 or more, the angle of the supply and the arms alone",
    ),
    "a load angle above the arms' own": (
        welder(
            "working_current_A = 60\nopen_secondary_V = 2.4\nload_angle_min_deg = 78\nload_angle_max_deg = 80\n",
            ARMS.replace("= 20", "= 8"),
        ),
        "transformer.load_angle_min_deg: 78 given; allowed: 59 or less, for the resistance of the supply and the arms",
    ),
    "open above shorted": (
        welder(SHORTED + "open_current_A = 31\n"),
        "transformer.open_current_A: 31 given; allowed: less than shorted_current_A (30)",
    ),
    "open above derived working": (
        welder(SHORTED + "open_current_A = 29.9\n"),
        "transformer.open_current_A: 29.9 given; allowed: less than the working current that follows from "
        "the other readings (22.7 to 29.8 A)",
    ),
    "no resistance": (
        welder(mains="source_resistance_ohm = 0\n"),
        "mains.source_resistance_ohm: 0 given; allowed: a number from 1e-06 to 10",
    ),
    "negative inductance": (
        welder(mains="source_inductance_mH = -0.5\n"),
        "mains.source_inductance_mH: -0.5 given; allowed: a number from 1e-06 to 30",
    ),
    "a slope of nothing": (
        welder(switch="on_state_slope_mohm = 0\n"),
        "switch.on_state_slope_mohm: 0 given; allowed: a number from 0.001 to 100",
    ),
    "surge below rating": (
        welder(switch="rated_current_A = 100\nsurge_current_A = 50\n"),
        "switch.surge_current_A: 50 given; allowed: rated_current_A (100) or more",
    ),
    "an empty ladder": (
        welder(switch="foster = []\n"),
        "switch.foster: [] given; allowed: 1 to 20 [K/W, s] pairs, or the key left out",
    ),
    "a negative term": (
        welder(switch="foster = [[0.1, 0.02], [-0.2, 0.3]]\n"),
        "switch.foster: [-0.2, 0.3] given; as term 2; allowed: K/W from 0.0001 to 100 and seconds from 1e-05 to 10000",
    ),
    "a term of one": (
        welder(switch="foster = [[0.1]]\n"),
        "switch.foster: [0.1] given; as term 1; allowed: K/W from 0.0001 to 100 and seconds from 1e-05 to 10000",
    ),
    "an empty term": (
        welder(switch="foster = [[]]\n"),
        "switch.foster: [] given; as term 1; allowed: K/W from 0.0001 to 100 and seconds from 1e-05 to 10000",
    ),
    "no ladder at all": (
        welder(switch='foster = "0.1 K/W"\n'),
        'switch.foster: "0.1 K/W" given; allowed: a list of [K/W, s] pairs, such as [[0.12, 0.02], [0.2, 0.3]]',
    ),
    "an electrode too long": (
        welder(tables=ARMS + ELECTRODES.replace("40", "51")),
        "electrodes.length_mm: 51 given; allowed: at most 50, half of arms.throat_mm (100), since two of them meet in it",
    ),
    "a face too wide": (
        welder(tables=ELECTRODES + "face_diameter_mm = 13\n"),
        "electrodes.face_diameter_mm: 13 given; wider than the electrode; allowed: at most 12 (diameter_mm 12)",
    ),
    "a groove too wide": (
        welder(tables=ELECTRODES + "groove_radius_mm = 7\n"),
        "electrodes.groove_radius_mm: 7 given; wider than the electrode; allowed: at most 6 (diameter_mm 12)",
    ),
    "a face and a groove": (
        welder(tables=ELECTRODES + "face_diameter_mm = 8\ngroove_radius_mm = 3\n"),
        "electrodes.groove_radius_mm: 3 given; a face is flat or grooved; allowed: face_diameter_mm or groove_radius_mm, "
        "one of them",
    ),
    "beryllium copper": (
        welder(tables=ELECTRODES + 'alloy = "CuCo2Be"\n'),
        'electrodes.alloy: "CuCo2Be" given; allowed: "Cu-ETP", "CuCr1" or "CuCr1Zr"',
    ),
    "a breaker without its letter": (
        welder(tables=BREAKER.replace('characteristic = "C"\n', "")),
        'breaker.characteristic; missing; allowed: "B", "C" or "D", the letter before the rating',
    ),
    "a breaker of another letter": (
        welder(tables=BREAKER.replace('"C"', '"K"')),
        'breaker.characteristic: "K" given; allowed: "B", "C" or "D"',
    ),
    "a misspelt key in an optional table": (
        welder(tables=BREAKER.replace("rating_A", "rating")),
        "breaker.rating: 20 given; unknown key; did you mean rating_A? allowed: standard, characteristic, rating_A, "
        "instantaneous_from_A, instantaneous_to_A, panel_temperature_C, other_load_A",
    ),
    "an insulation class that is none": (
        welder(SHORTED + 'insulation_class = "Z"\n'),
        'transformer.insulation_class: "Z" given; allowed: "A", "E", "B", "F" or "H"',
    ),
}


@pytest.mark.parametrize("what", CONTRADICTIONS)
def test_contradiction(here: Path, what: str) -> None:
    """Figures that cannot go together: the key, the value, what is allowed, and nothing else happens."""
    text, message = CONTRADICTIONS[what]
    outcome = described(here, text)
    assert outcome == Outcome(2, "", f"weldbeat: welder.toml: {message}\n")
    assert sorted(contents(here)) == ["welder.toml"]


@pytest.mark.parametrize(
    ("what", "old", "new"),
    [
        ("working above what another tap's reading allows", "working_current_A = 25", "working_current_A = 18.1"),
        ("shorted above what the supply lets", "shorted_current_A = 500", "shorted_current_A = 464"),
        ("shorted above what the arms let", "shorted_current_A = 150", "shorted_current_A = 122"),
        ("working above what the arms let", "working_current_A = 150", "working_current_A = 122"),
        ("a load angle below the arms' own", "load_angle_max_deg = 15", "load_angle_max_deg = 29"),
        ("a load angle above the arms' own", "load_angle_min_deg = 78", "load_angle_min_deg = 59"),
        ("open above derived working", "open_current_A = 29.9", "open_current_A = 29.7"),
    ],
)
def test_what_a_message_allows_is_allowed(here: Path, what: str, old: str, new: str) -> None:
    """The figures that the messages offer are tried: whoever follows one is not sent away again."""
    outcome = described(here, replaced(CONTRADICTIONS[what][0], old, new))
    assert (outcome.code, outcome.err) == (0, "")


ALLOWED = (
    "allowed: diameter, length, offset, face, groove (its radius; all in mm) or alloy, each once, separated by commas, such as "
    "diameter=10,length=45,offset=20; upper.length=60 for the upper one alone"
)
BAD_ELECTRODES = {
    "": f'"" given; {ALLOWED}',
    "10": f'"10" given; {ALLOWED}',
    "diametre=10": f'"diametre=10" given; {ALLOWED}',
    "diameter=10,diameter=11": f'"diameter=10,diameter=11" given; {ALLOWED}',
    "diameter=0": "diameter: 0 given; allowed: a number from 1 to 100",
    "length=long": 'length: "long" given; allowed: a number from 1 to 1000',
    "offset=-1": "offset: -1 given; allowed: a number from 0 to 500",
    "offset=nan": 'offset: "nan" given; allowed: a number from 0 to 500',
    "middle.length=40": f'"middle.length=40" given; {ALLOWED}',
    "upper.offset=4": f'"upper.offset=4" given; {ALLOWED}',
    "face=6,groove=3": "groove_radius_mm: 3 given; a face is flat or grooved; allowed: face_diameter_mm or groove_radius_mm, "
    "one of them",
    "face=13": "face_diameter_mm: 13 given; wider than the electrode; allowed: at most 12 (diameter_mm 12)",
    "lower.length=61": "lower.length_mm: 61 given; allowed: at most 60, what the other leaves of arms.throat_mm (100)",
    "alloy=brass": 'alloy: "brass" given; allowed: "Cu-ETP", "CuCr1" or "CuCr1Zr"',
    "length=51": "length_mm: 51 given; allowed: at most 50, half of arms.throat_mm (100), since two of them meet in it",
}


@pytest.mark.parametrize("sizes", BAD_ELECTRODES)
def test_bad_electrode(here: Path, sizes: str) -> None:
    """Sizes that cannot be read, or cannot be had on this machine."""
    outcome = described(here, welder(tables=ARMS + ELECTRODES), "--electrode", sizes)
    assert outcome == Outcome(2, "", f"weldbeat: command line: --electrode: {BAD_ELECTRODES[sizes]}\n")


def test_electrode_needs_something_to_compare_with(here: Path) -> None:
    """Without arms, electrodes or a secondary voltage the message names what is missing in the welder file."""
    for text, message in (
        (welder(tables=ELECTRODES), "arms; missing; allowed: a table [arms], which --electrode needs"),
        (welder(tables=ARMS), "electrodes; missing; allowed: a table [electrodes], which --electrode needs"),
        (
            welder("shorted_current_A = 30\n", ARMS + ELECTRODES),
            "transformer.open_secondary_V; missing; allowed: this or transformer.taps, which --electrode needs",
        ),
    ):
        outcome = described(here, text, "--electrode", "diameter=10")
        assert outcome == Outcome(2, "", f"weldbeat: welder.toml: {message}\n")


def test_no_welder_file(here: Path) -> None:
    """As with every other command."""
    outcome = typed(["describe"])
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.err.startswith("weldbeat: welder.toml: no such file; looked for in this folder; allowed: ")


def test_every_figure_has_range_and_source(here: Path) -> None:
    """The whole of a machine with everything given, as a person reads it: what was read, what is typical, what follows."""
    outcome = described(here, welder(TAPS, BREAKER + ARMS + ELECTRODES))
    assert (outcome.code, outcome.err) == (0, "")
    assert max(map(len, outcome.out.splitlines())) <= 80
    told = " ".join(outcome.out.split())
    for words in (
        "supply resistance 0.1 to 0.4 ohm typical:",
        "loop reactance",
        "(Grover's rectangle of",
        "Tap low (in use)",
        "Tap high ",
        "shorted, primary 29.1 to 30.9 A given, read within 3 %",
        "work resistance, unreferred 100 to 300 micro-ohm typical: 100 to 300 micro-ohm (common practice, no source)",
        "passes 100 A RMS for 0.1 s and opens at once from 200 A",
        "21.2 A (IEC 60898-1, from",  # 1.13 times 20 A less 6 % for a panel 10 K above the reference
        "transformer.winding_time_constant_min = 10 to 30",
        "transformer.load_angle_min_deg = ",
    ):
        assert words in told, words
    assert outcome == typed(["describe"])


def test_little_known_is_said_to_be_little(here: Path) -> None:
    """An old file: what cannot be known is named, with what would tell it."""
    outcome = described(here, WELDER)
    assert outcome.code == 0
    assert "breaker not known give [breaker]" in " ".join(outcome.out.split())
    assert "Secondary currents are not known: give transformer.open_secondary_V" in outcome.out
    assert "give it as transformer.shorted_current_A." in " ".join(outcome.out.split())
    other = described(here, welder(tables='[breaker]\nstandard = "other"\nrating_A = 16\n'))
    assert "of another standard: its limits are not known here" in other.out


def test_json(here: Path) -> None:
    """For another program: every figure with low, high, unit and source."""
    outcome = described(here, welder(TAPS, BREAKER + ARMS + ELECTRODES), "--json", "--electrode", "length=45")
    told = json.loads(outcome.out)
    assert outcome.code == 0
    assert list(told["figures"])[:2] == ["supply resistance", "supply reactance"]
    for figure in told["figures"].values():
        assert set(figure) == {"low", "high", "unit", "source"}
    low, high = told["taps"]
    assert (low["name"], low["in_use"], high["name"], high["in_use"]) == ("low", True, "high", False)
    assert low["working, secondary"]["unit"] == "A"
    assert told["breaker"] == {
        "standard": "IEC 60898-1",
        "characteristic": "C",
        "rating_A": 20,
        "instantaneous_from_A": None,
        "instantaneous_to_A": None,
        "panel_temperature_C": 40,
        "other_load_A": 0,
    }
    assert told["electrodes"]["other"]["electrodes"]["length_mm"] == 45
    assert 'electrodes.alloy = "Cu-ETP"' in told["assumed"]


def change(here: Path, sizes: str, text: str = "") -> dict[str, dict[str, float]]:
    outcome = described(here, text or welder(tables=ARMS + ELECTRODES), "--json", "--electrode", sizes)
    assert outcome.code == 0, outcome.err
    compared: dict[str, dict[str, float]] = json.loads(outcome.out)["electrodes"]
    return compared


def test_what_other_electrodes_cost(here: Path) -> None:
    """Longer, thinner and offset ones cost amperes and heat more; thicker ones win; the same ones change nothing."""
    for sizes in ("length=50", "diameter=8", "offset=30", "alloy=CuCr1Zr", "diameter=8,length=50,offset=30"):
        found = change(here, sizes)
        assert found["secondary"]["low"] <= found["secondary"]["high"] < 0, sizes
        assert found["primary"]["high"] < 0
        assert found["heat_percent"]["low"] > 0
    assert change(here, "diameter=16")["secondary"]["low"] > 0
    assert change(here, "diameter=16")["heat_percent"]["high"] < 0
    same = change(here, "diameter=12,length=40,offset=0")
    assert (same["secondary"]["low"], same["secondary"]["high"]) == pytest.approx((0, 0))
    shank = change(here, "diameter=6")["other"]["shank_resistance"]  # type: ignore[index]
    assert shank["low"] == pytest.approx(1e6 * 1.7241e-8 * 0.08 / (3.14159265 * 0.003**2), rel=0.001)  # type: ignore[index]


def test_each_electrode_has_its_own_figures(here: Path) -> None:
    """A change of the lower one alone comes to half of a change of both, and the table shows the two."""
    both, one = (change(here, sizes)["secondary"] for sizes in ("length=44", "lower.length=48"))
    assert one["low"] == pytest.approx(both["low"], rel=1e-6)
    outcome = described(
        here,
        welder(tables=ARMS + ELECTRODES + "groove_radius_mm = 2.5\n[electrodes.lower]\ngroove_radius_mm = 4\n"),
        "--electrode",
        "upper.alloy=CuCr1Zr,lower.face=6",
    )
    assert outcome.code == 0
    lines = outcome.out.splitlines()
    assert lines[0] == "Electrodes compared, on the tap in use, at full conduction"
    assert max(map(len, lines)) <= 80
    face = lines.index("  face                        groove of 2.5 mm; groove of 4 mm")
    assert lines[face + 1].strip() == "other: groove of 2.5 mm; flat, 6 mm"
    assert "  alloy                       Cu-ETP                    CuCr1Zr; Cu-ETP" in lines


def test_a_grooved_face_does_not_stand_in_the_way(here: Path) -> None:
    """A thinner electrode may be asked for although the present face is wider than it: it gets a face of its own."""
    text = welder(tables=ARMS + ELECTRODES + "face_diameter_mm = 10\n")
    assert change(here, "diameter=8", text)["other"]["electrodes"]["face_diameter_mm"] is None  # type: ignore[index]


def test_comparison_as_text(here: Path) -> None:
    """The comparison says from what to what, and how the offset is taken."""
    outcome = described(here, welder(tables=ARMS + ELECTRODES), "--electrode", "diameter=10,offset=20")
    for words in (
        "Electrodes compared, on the tap in use, at full conduction",
        "diameter                    12 mm                     10 mm",
        "change of working current   -",
        "change of heat in shanks    +",
        "An offset is taken to reach outwards",
    ):
        assert words in outcome.out


def test_a_shorted_reading_alone_is_enough_to_simulate(here: Path) -> None:
    """No working current and no load angles in the file: the firmware, the simulated welder and the verdict use those derived."""
    (here / "welder.toml").write_text(welder(tables=ARMS + ELECTRODES + BREAKER))
    (here / "job.toml").write_text(SCHEDULE)
    outcome = typed(["simulate", "job.toml", "--minutes", "0.1", "--welds-per-minute", "2", "--json"])
    told = json.loads(outcome.out)
    assert (outcome.code, outcome.err) == (0, "")
    assert any(line.startswith("transformer.working_current_A = ") for line in told["assumed"])
