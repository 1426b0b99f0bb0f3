"""`weldbeat suggest`: what it prints, what it writes, and how it ends.

No source outside: the machines are invented, and the figures are held against their tables in tests/outside.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from gen.schedule import read_schedule
from tests.support.cli.command_line import WELDER, contents, replaced, typed

MACHINE = replaced(WELDER, "rating_duty_percent = 50\n", "rating_duty_percent = 50\nopen_secondary_V = 2.4\n")
TAPS = replaced(
    WELDER,
    "rating_duty_percent = 50\n",
    'rating_duty_percent = 50\ntap = "low"\nworking_tap = "low"\ntaps = {low = 1.8, high = 3.2}\n',
)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "welder.toml").write_text(MACHINE)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_rods_are_suggested_written_and_pass_on(here: Path) -> None:
    """The reasons with rows and sources, a file that the next command takes, and never over a file that is there."""
    line = ["suggest", "--rods", "4,5", "--setdown", "15", "-o", "rungs.toml"]
    outcome = typed(line)
    assert (outcome.code, outcome.err) == (0, "")
    for words in (
        "cross-wire table, cold-drawn, setdown 15 %, between rows 0.125 in and 0.1875 in",
        "Our assumption",
        "a conduction model of crossed rods",
        "equal I^2 t",
        "groove",
        "bedding pulse",
    ):
        assert words in " ".join(outcome.out.split())
    assert outcome.out.rstrip().endswith("Written: rungs.toml. Next: weldbeat simulate rungs.toml")
    assert max(map(len, outcome.out.splitlines())) <= 120
    assert read_schedule(here / "rungs.toml").frequency_Hz == 50
    assert typed(["table", "rungs.toml"]).code == 0
    assert typed(["simulate", "rungs.toml"]).code == 0
    before = contents(here)
    assert typed(line).code == 2
    assert contents(here) == before


def test_a_joint_file_says_the_same(here: Path) -> None:
    """Options and file are two ways to tell one joint; inches are millimetres."""
    (here / "joint.toml").write_text(
        'rods_mm = [4.7625, 4]\nfinish = "hot_drawn"\nsetdown_percent = 15\nforce_N = 900\n'
    )
    by_file = typed(["suggest", "--joint", "joint.toml"])
    by_options = typed(
        ["suggest", "--rods", "0.1875in,4", "--finish", "hot_drawn", "--setdown", "15", "--force", "900"]
    )
    assert by_file == by_options
    assert (by_file.code, "FROM MEMORY" in by_file.out) == (0, True)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "sheets_mm = [1, 20]",
            "joint.toml: sheets_mm: 20 given; allowed: two or three thicknesses from 0.254 to 3.175 mm, where",
        ),
        (
            "sheets_mm = [1, 1, 1, 1]",
            "joint.toml: sheets_mm: a list of 4 given; allowed: two or three thicknesses from",
        ),
        (
            "sheets_mm = [1]",
            "joint.toml: sheets_mm: a list of 1 given; allowed: two or three thicknesses from 0.254 to",
        ),
        (
            "sheets_mm = [1, 3, 0.9]",
            "joint.toml: sheets_mm: 3 given; allowed: at most 3 times the thinnest; of more no",
        ),
        (
            "sheets_mm = [1, 3, 1]",
            "joint.toml: sheets_mm: 1 + 3 + 1 = 5 given; allowed: a pile of at most 4 times its thinner outer sheet; of",
        ),
        (
            "sheets_in = [0.04, 0.8]",
            "joint.toml: sheets_in: a list of 2 given; allowed: two or three thicknesses from 0.254 to 3.175 mm, where "
            "the tables end (25.4 mm to the inch)",
        ),
        (
            "rods_in = [0.2, 0.2]\nforce_lb = -1",
            "joint.toml: force_lb: -1 given; allowed: a number from 1 to 50000 (4.448 N to the pound)",
        ),
        (
            "rods_in = [0.2, 0.2]\nrods_mm = [5, 5]",
            "joint.toml: rods_in: a list of 2 given; rods_mm is given too; allowed: one of them",
        ),
        (
            'sheets_mm = [1, 1]\nmaterial = ["aluminium", "low_carbon_steel"]',
            "joint.toml: material: a list of 2 given; allowed: low_carbon_steel, stainless_steel (austenitic)",
        ),
        (
            'rods_mm = [5, 5]\nforce_measured = "spring"',
            'joint.toml: force_measured: "spring" given; allowed: only with force_N',
        ),
        (
            'sheets_mm = [1, 1]\nmaterial = "bronze"',
            'joint.toml: material: "bronze" given; allowed: low_carbon_steel, stainless_steel (austenitic)',
        ),
        ("surface = 3", 'joint.toml: surface: 3 given; allowed: "clean", "scaled" or "zinc"'),
        ("", "joint.toml: sheets_mm and rods_mm; allowed: one of them"),
        (
            "rods_mm = [5, 5]\nforce_N = -1",
            "joint.toml: force_N: -1 given; allowed: a number from 1 to 50000",
        ),
    ],
)
def test_a_bad_joint_file(here: Path, text: str, message: str) -> None:
    """One line that names file and key."""
    (here / "joint.toml").write_text(text)
    outcome = typed(["suggest", "--joint", "joint.toml"])
    assert (outcome.code, outcome.out, outcome.err.count("\n")) == (2, "", 1)
    assert outcome.err.startswith(f"weldbeat: {message}")


def test_not_known_is_said_and_nothing_written(here: Path) -> None:
    """Too little current: exit code 1, what would help, no file."""
    outcome = typed(["suggest", "--sheets", "2,2", "-o", "sheets.toml"])
    assert outcome.code == 1
    assert "No suggestion: " in outcome.out
    assert "What would help\n  shorter arms" in outcome.out
    assert "a higher tap" not in outcome.out, "this machine has one tap"
    assert not (here / "sheets.toml").exists()


def test_another_tap_that_helps_is_named(here: Path) -> None:
    """The machine's own taps are tried."""
    (here / "welder.toml").write_text(TAPS)
    outcome = typed(["suggest", "--rods", "8,8", "--setdown", "15"])
    assert outcome.code == 1
    assert 'What would help\n  tap "high", for which the tables have figures' in outcome.out


def test_zinc_brings_a_caution_about_fumes(here: Path) -> None:
    """Zinc: no figures, and the caution that matters most."""
    outcome = typed(["suggest", "--sheets", "0.5,0.5", "--surface", "zinc"])
    assert outcome.code == 1
    assert "poisonous fumes" in outcome.out
    scaled = typed(["suggest", "--rods", "4,4", "--surface", "scaled"])
    assert scaled.code == 0
    assert "clean to bright metal first" in scaled.out


def test_a_schedule_that_this_machine_refuses_is_not_written(here: Path) -> None:
    """The limits of the welder file hold for a suggestion too."""
    (here / "welder.toml").write_text(replaced(MACHINE, 'longest_weld = "3 s"', 'longest_weld = "0.5 s"'))
    outcome = typed(["suggest", "--rods", "5,5", "--setdown", "15", "-o", "long.toml"])
    assert outcome.code == 1
    assert "This machine refuses the schedule, so nothing is written: long.toml" in outcome.out
    assert not (here / "long.toml").exists()


def test_json(here: Path) -> None:
    """Everything for another program, the schedule's text with it."""
    outcome = typed(["suggest", "--rods", "5,5", "--setdown", "15", "--json", "-o", "five.toml"])
    data = json.loads(outcome.out)
    assert outcome.code == 0
    assert data["known"]
    assert data["schedule"] == (here / "five.toml").read_text()
    assert data["weld_s"]["low"] < data["start_s"] < data["weld_s"]["high"]
    assert {"name", "low", "high", "unit", "source"} == set(data["figures"][0])
    assert data["shape"]["impulses"] == 1
    assert data["practice"]
    assert data["against"].startswith("of the table's current")
    unknown = json.loads(typed(["suggest", "--sheets", "2,2", "--json"]).out)
    assert (unknown["known"], unknown["schedule"], unknown["start_s"]) == (False, None, None)


def test_the_welder_files_groove_is_seen(here: Path) -> None:
    """A groove in the welder file need not be told again."""
    without = typed(["suggest", "--rods", "5,5", "--setdown", "15"]).out
    (here / "welder.toml").write_text(
        f"{MACHINE}[electrodes]\ndiameter_mm = 12\nlength_mm = 40\ngroove_radius_mm = 2.5\n"
    )
    grooved = typed(["suggest", "--rods", "5,5", "--setdown", "15"]).out
    assert "lets it roll" in without
    assert "lets it roll" not in grooved


def test_a_groove_for_each_rod_earns_no_caution(here: Path) -> None:
    """4 on 5 mm, each rod in a groove of its own radius: from the joint, and from the welder file however they are named."""
    own = "[electrodes]\ndiameter_mm = 12\nlength_mm = 40\ngroove_radius_mm = {}\n[electrodes.lower]\ngroove_radius_mm = {}\n"
    joint = "rods_mm = [4, 5]\ngroove_radius_mm = {}\n"
    for welder, rods, warned in (
        (MACHINE, joint.format("2"), True),
        (MACHINE, joint.format("[2.5, 2]"), True),
        (MACHINE, joint.format("[2, 2.5]"), False),
        (MACHINE + own.format(2, 2.5), "rods_mm = [4, 5]\n", False),
        (MACHINE + own.format(2.5, 2), "rods_mm = [4, 5]\n", False),
        (MACHINE + own.format(2, 2), "rods_mm = [4, 5]\n", True),
    ):
        (here / "welder.toml").write_text(welder)
        (here / "joint.toml").write_text(rods)
        told = typed(["suggest", "--joint", "joint.toml"]).out
        assert ("a groove of radius" in told.lower()) == warned, rods
        assert "lets it roll" not in told


def test_a_file_name_that_the_board_cannot_keep(here: Path) -> None:
    """Told before anything is printed or written."""
    outcome = typed(["suggest", "--rods", "5,5", "-o", "Five Rods.toml"])
    assert (outcome.code, outcome.out) == (2, "")
    assert "file name" in outcome.err
    assert not (here / "Five Rods.toml").exists()


def test_three_sheets_with_everything_told(here: Path) -> None:
    """Each option reaches the joint: a force and its worth, a pitch and an overlap too small; lines stay readable."""
    (here / "welder.toml").write_text(
        replaced(MACHINE, "working_current_A = 22\n", "working_current_A = 80\n").replace("2.5", "15", 1)
    )
    line = "suggest --sheets 0.8,1,0.8 --force 400lb --force-measured spring --face 0.2in --pitch 10 --overlap 5"
    outcome = typed([*line.split(), "-o", "pile.toml"])
    assert (outcome.code, outcome.err) == (0, "")
    told = " ".join(outcome.out.split())
    for words in ("Three sheets", "1510 to 2050 N 1780 N given; by a spring", "A pitch of 10 mm", "An overlap of 5 mm"):
        assert words in told
    assert "of the tables' current" in told
    assert max(map(len, outcome.out.splitlines())) <= 120
    assert typed(["table", "pile.toml"]).code == 0


def test_inches_to_read(here: Path) -> None:
    """The same suggestion in inches and pounds: nothing metric but a metric table's own rows; the file stays as it was."""
    line = ["suggest", "--sheets", "0.5,0.5", "--force", "900"]
    (here / "welder.toml").write_text(replaced(MACHINE, "working_current_A = 22\n", "working_current_A = 50\n"))
    metric, inch = typed([*line, "-o", "a.toml"]), typed([*line, "--inch", "-o", "b.toml"])
    assert metric.code == inch.code == 0
    assert (here / "a.toml").read_text() == (here / "b.toml").read_text()
    assert " N" in metric.out
    told = " ".join(inch.out.split())
    assert re.findall(r"\d (?:mm|N)\b", re.sub(r"over [\d.]+ to [\d.]+ mm", "", told)) == []
    assert "sheets 0.0197 + 0.0197 in" in told
    assert "202 lb" in told, "900 N"
    assert len(inch.out.splitlines()) == pytest.approx(len(metric.out.splitlines()), abs=4)


@pytest.mark.parametrize("amperes", [22, 80])
@pytest.mark.parametrize(
    ("line", "words"),
    [
        # 400 lb within 15 %
        (
            "--sheets 0.8,1,0.8 --force 400lb --force-measured spring --face 0.2in --pitch 10 --overlap 5",
            ["its force 340 to 460 lb 400 lb given"],
        ),
        ("--sheets 3,3,3 --face 3", ["sheets 0.118 + 0.118 + 0.118 in"]),
        ("--sheets 0.3,0.3 --surface zinc", ["over 0.4 and to 3 mm only"]),
        # The table itself is in inches and pounds: its row of 0.040 in, and 0.625 in of spacing.
        (
            "--sheets 0.04in,0.04in --material stainless_steel --pitch 5 --overlap 3 --face 9",
            ["force 900 lb;", "weld size 0.16 in; strength in shear 1000 lb; spacing, at least 0.625 in"],
        ),
        ("--rods 3,6 --groove 9,1 --pitch 50 --force 50", ["rods 0.118 x 0.236 in", "11.2 lb given"]),
        # 4 mm times 1.25 to the powers 3/8, 1/4 and 1/2
        ("--rods 4,5", ["an effective diameter of 0.171 in, from 0.167 in (by", "sqrt(d1 d2) = 0.176 in"]),
    ],
)
def test_every_figure_in_inches(here: Path, line: str, words: list[str], amperes: int) -> None:
    """Known or not: no length or force is left metric but in the words of a metric table, and each has its unit."""
    (here / "welder.toml").write_text(replaced(MACHINE, "working_current_A = 22\n", f"working_current_A = {amperes}\n"))
    told = " ".join(typed(["suggest", *line.split(), "--inch"]).out.split())
    rows = r"over [\d.]+ (?:and )?to [\d.]+ mm|hot-dip zinc, 0\.6 to 0\.8 mm"
    assert re.findall(r"\d (?:mm|N)\b", re.sub(rows, "", told)) == []
    for each in words:
        assert each in told


def test_a_joint_file_in_inches(here: Path) -> None:
    """Inch and pound keys say the same joint as the metric ones."""
    (here / "inch.toml").write_text(
        "rods_in = [0.25, 0.1875]\nforce_lb = 200\ngroove_radius_in = 0.125\npitch_in = 4\n"
    )
    (here / "metric.toml").write_text(
        "rods_mm = [6.35, 4.7625]\nforce_N = 889.6444\ngroove_radius_mm = 3.175\npitch_mm = 101.6\n"
    )
    by_inch, by_metric = (typed(["suggest", "--joint", name]) for name in ("inch.toml", "metric.toml"))
    assert by_inch == by_metric
    assert by_inch.code == 0


def test_an_unknown_key_is_told_both_kinds(here: Path) -> None:
    """The message offers the metric and the inch keys."""
    (here / "joint.toml").write_text("rods_inch = [0.25, 0.25]")
    outcome = typed(["suggest", "--joint", "joint.toml"])
    assert (outcome.code, outcome.err.count("\n")) == (2, 1)
    assert "sheets_mm, rods_mm," in outcome.err
    assert "in inches and pounds: sheets_in, rods_in," in outcome.err
