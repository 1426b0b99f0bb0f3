"""`weldbeat joint show` and `suggest --model`: what they print, the page, and what the model refuses.

No source outside: the machine is invented; the model itself is held against tables and other codes in tests/outside.
"""

from __future__ import annotations

import json
from pathlib import Path

import html5lib
import pytest

from tests.support.cli.command_line import SCHEDULE, WELDER, contents, replaced, typed

MACHINE = replaced(WELDER, "rating_duty_percent = 50\n", "rating_duty_percent = 50\nopen_secondary_V = 2.4\n")
SHORT = replaced(SCHEDULE, 'weld = "20 cycles"', 'weld = "10 cycles"')
RODS = "rods_mm = [3, 3]\nforce_N = 700\n"


@pytest.fixture
def few_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """One draw of the uncertain values, in tests of something else."""
    monkeypatch.setattr("sim.joint.estimate.DRAWS", 1)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "welder.toml").write_text(MACHINE)
    (tmp_path / "job.toml").write_text(SHORT)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_joint_is_shown_by_its_schedule(here: Path) -> None:
    """Told in lines of at most 120 characters, and drawn on one page with six sections and no script."""
    (here / "rungs.toml").write_text(RODS)
    outcome = typed(["joint", "show", "rungs.toml", "job.toml", "-o", "rungs.html"])
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.startswith("Computed, not measured: ")
    assert max(map(len, outcome.out.splitlines())) <= 120
    for words in ("Setdown", "mm wanted", "by the joint's resistance", "on scrap", "eye protection"):
        assert words in " ".join(outcome.out.split())
    page = (here / "rungs.html").read_text()
    html5lib.HTMLParser(strict=True).parse(page)
    assert "<script" not in page
    assert page.count(" s: up to ") == 12  # six sections, for wide and for narrow pages
    assert "melting" in page


def test_suggest_sets_the_models_time_beside_the_tables(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only when asked, since it takes seconds; where no table speaks, the model does."""
    monkeypatch.setattr("sim.joint.estimate.DRAWS", 2)
    assert "By the model" not in typed(["suggest", "--rods", "3,3"]).out
    outcome = typed(["suggest", "--rods", "3,3", "--force", "700", "--model"])
    said = " ".join(outcome.out.split())
    assert "By the model of the joint, computed and not measured 15 % setdown" in said
    assert "the tables' range" in said
    assert "in 2 draws of the uncertain values" in said
    unknown = typed(["suggest", "--sheets", "3,3", "--force", "1500", "--face", "6", "--model"])
    assert unknown.code == 1
    assert "No table covers this joint" in " ".join(unknown.out.split())


@pytest.mark.parametrize("metal", ["brass", "nickel", "stainless_steel"])
@pytest.mark.usefixtures("few_draws")
def test_a_metal_without_a_table_is_said_to_have_none_and_computed(here: Path, metal: str) -> None:
    plain = typed(["suggest", "--rods", "3,3", "--material", metal, "--force", "500"])
    assert plain.code == 1
    assert "No suggestion: no table of rods" in plain.out
    outcome = typed(["suggest", "--rods", "3,3", "--material", metal, "--force", "500", "--model"])
    said = " ".join(outcome.out.split())
    assert "15 % setdown" in said
    assert "the model was not checked" in said
    assert ("poisonous fumes" in said) == (metal == "brass")


def test_a_rod_on_a_flat_bar_has_no_table(here: Path) -> None:
    outcome = typed(["suggest", "--rods", "2,1", "--flat-width", "8", "--force", "400"])
    assert outcome.code == 1
    assert "rod 2 mm on flat 8 x 1 mm" in outcome.out
    assert "no table of a rod on a flat bar is known here" in outcome.out
    assert "the model of the joint: --model" in outcome.out


@pytest.mark.parametrize(
    ("joint", "words"),
    [
        ('sheets_mm = [0.8, 0.8]\nsurface = "zinc"\n', 'surface: "zinc" given; the model has no zinc'),
        (
            "rods_mm = [3, 5]\nforce_N = 700\ngroove_radius_mm = 1.5\n",
            "groove_radius_mm: 1.5 given; the 5 mm rod rides",
        ),
        (
            "sheets_mm = [1, 1]\nforce_N = 700\nface_diameter_mm = 6\ndome_radius_mm = 2\n",
            "dome_radius_mm: 2 given; less than half of its face; allowed: 3 or more",
        ),
        (
            "rods_mm = [5, 3]\nflat_width_mm = 20\ngroove_radius_mm = [2.5, 4]\n",
            "groove_radius_mm: [2.5, 4] given; the electrode on a flat bar has no groove",
        ),
        ("rods_mm = [5, 0.3]\nflat_width_mm = 20\n", "rods_mm: 0.3 given; allowed: for the thickness of a flat bar"),
        ("sheets_mm = [1, 1]\nflat_width_mm = 20\n", "flat_width_mm: 20 given; allowed: only with rods_mm"),
        ("rods_mm = [3, 5]\ndome_radius_mm = 40\n", "dome_radius_mm: 40 given; allowed: only with sheets_mm"),
        ('rods_mm = [3, 5]\nmaterial = "titanium"\n', 'material: "titanium" given'),
    ],
)
def test_what_the_model_cannot_know_is_one_message(here: Path, joint: str, words: str) -> None:
    (here / "bad.toml").write_text(joint)
    before = contents(here)
    outcome = typed(["joint", "show", "bad.toml", "-o", "bad.html"])
    assert (outcome.code, outcome.out) == (2, "")
    assert len(outcome.err.splitlines()) == 1
    assert words in outcome.err
    assert contents(here) == before


def test_a_machine_that_does_not_say_its_secondary_is_one_message(here: Path) -> None:
    (here / "welder.toml").write_text(WELDER)
    (here / "rungs.toml").write_text(RODS)
    outcome = typed(["joint", "show", "rungs.toml"])
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.err.startswith("weldbeat: welder.toml: transformer.open_secondary_V; missing; allowed:")


def test_a_page_of_another_ending_is_refused_before_anything_is_computed(here: Path) -> None:
    (here / "rungs.toml").write_text(RODS)
    outcome = typed(["joint", "show", "rungs.toml", "-o", "rungs.txt"])
    assert outcome.code == 2
    assert ".html" in outcome.err


def test_a_weld_that_ends_at_once_is_drawn_all_the_same(here: Path) -> None:
    """Very thin sheets on a strong machine boil before the first of six instants: one section, and it says so."""
    strong = replaced(replaced(MACHINE, "= 2.4\n", "= 6\n"), "working_current_A = 22\n", "working_current_A = 400\n")
    strong = replaced(strong, "rating_kVA = 2.5\n", "rating_kVA = 60\n")
    (here / "welder.toml").write_text(strong)
    (here / "foil.toml").write_text("sheets_mm = [0.5, 0.5]\nforce_N = 800\nface_diameter_mm = 3\n")
    outcome = typed(["joint", "show", "foil.toml", "job.toml", "-o", "foil.html"])
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.startswith("Computed, not measured: expelled; after ")
    assert (here / "foil.html").read_text().count(" s: up to ") in (2, 4)


def test_what_finer_cells_move_is_refused_and_nothing_is_written(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With no move allowed at all, every weld is one that did not converge."""
    monkeypatch.setattr("sim.joint.estimate.MOST_GRID_ERROR", 0.0)
    (here / "rungs.toml").write_text(RODS)
    before = contents(here)
    outcome = typed(["joint", "show", "rungs.toml", "job.toml", "-o", "rungs.html"])
    assert (outcome.code, outcome.out, contents(here)) == (2, "", before)
    assert outcome.err.startswith(
        "weldbeat: rungs.toml: the joint's model; coarser cells and steps give another result"
    )
    assert outcome.err.rstrip().endswith("no figure is given")


def test_a_window_is_reported_drawn_and_kept(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Computed once; then read, and computed anew where the file is damaged or cannot be written."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(here / "cache"))
    (here / "rungs.toml").write_text(RODS)
    line = ["joint", "window", "rungs.toml", "--percent", "100", "--draws", "1", "-o", "window.svg"]
    first = typed(line)
    assert (first.code, first.err) == (0, "")
    assert "100 %  good from " in first.out
    assert max(map(len, first.out.splitlines())) <= 120
    drawn = (here / "window.svg").read_text()
    assert drawn.count("good ") >= 7
    (kept,) = (here / "cache" / "weldbeat" / "joints").iterdir()
    text = kept.read_text()
    kept.write_text(text[:-30])
    assert typed(line).out == first.out
    assert kept.read_text() == text
    for wrong in ("0", "80,80", "99.5", "x", ""):
        assert typed(["joint", "window", "rungs.toml", "--percent", wrong]).code == 2


def test_trials_of_a_joint_without_a_table_begin_from_its_computed_window(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stainless rods have no table: nothing need be typed in any more, and it is said where the estimate begins."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(here / "cache"))
    monkeypatch.setattr("sim.joint.window.PERCENTS", (100,))
    monkeypatch.setattr("sim.joint.window.DRAWS", 2)
    (here / "rungs.toml").write_text(f'{RODS}material = "stainless_steel"\n')
    outcome = typed(["trial", "next", "rungs.toml", "--schedule", "job.toml", "-o", "try.toml"])
    assert (outcome.code, outcome.err) == (0, "")
    said = " ".join(outcome.out.split())
    assert "so the estimate begins from computed times: good from" in said
    assert "Try " in said
    told = json.loads(typed(["trial", "next", "rungs.toml", "--schedule", "job.toml", "--json"]).out)
    assert told["computed"]["low_s"] < told["computed"]["high_s"]


def test_other_electrodes_are_compared_on_a_joint(here: Path) -> None:
    """A groove takes more heat from the rods than a flat face, so that the weld takes longer; alone it is refused."""
    parts = "[electrodes]\ndiameter_mm = 12\nlength_mm = 40\nface_diameter_mm = 8\n"
    (here / "welder.toml").write_text(f"{MACHINE}{parts}[arms]\nlength_mm = 250\nthroat_mm = 100\ndiameter_mm = 20\n")
    (here / "rungs.toml").write_text(RODS)
    outcome = typed(["describe", "--electrode", "groove=1.5", "--joint", "rungs.toml"])
    assert (outcome.code, outcome.err) == (0, "")
    row = next(line for line in outcome.out.splitlines() if "15 % setdown after" in line)
    flat_s, grooved_s = (float(part.split()[-1]) for part in row.split(" s")[1:3])
    assert grooved_s > 1.2 * flat_s
    alone = typed(["describe", "--joint", "rungs.toml"])
    assert (alone.code, "only with --electrode" in alone.err) == (2, True)
