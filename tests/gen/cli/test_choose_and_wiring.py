"""`choose` and `wiring` as a user types them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gen.wiring.sheet import DRAWING_FILES
from tests.support.cli.command_line import WELDER, contents, replaced, typed

SWITCH = '[switch]\nkind = "scr_pair"'


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a welder file, in which the user stands."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "welder.toml").write_text(WELDER)
    return tmp_path


def test_choose_tells_every_part_with_its_calculation(here: Path) -> None:
    """As a person reads it: fit, working, result, source; within the width of a terminal; cautions below."""
    short, outcome = typed(["choose"]), typed(["choose", "--all"])
    assert (outcome.code, outcome.err) == (short.code, short.err) == (0, "")
    assert max(map(len, outcome.out.splitlines())) <= 80
    assert set(short.out.splitlines()) < set(outcome.out.splitlines())
    told = " ".join(outcome.out.split())
    for words in (
        "welds of up to 3 s at full current, 4 a minute",
        "Switch: Two thyristors back to back",
        "Triac or relay instead:",
        "Heat sink: Aluminium",
        "Simulated on it: case ",
        "Fuse: Semiconductor fuse",
        "a circuit breaker in its place",
        "Snubber: ",
        "Varistor: ",
        "Gate drive: ",
        "Detector: ",
        "Conduction sense: ",
        "Contactor: ",
        "Insulation: ",
        "Conductors: ",
        "common practice, no source",
        "from memory",
        "licensed",
    ):
        assert words.strip() in told, words


def test_choose_for_another_program(here: Path) -> None:
    """The same as JSON, with every figure as a number."""
    told = json.loads(typed(["choose", "--json", "--pace", "10"]).out)
    assert told["load"]["welds_per_minute"] == 10
    assert told["load"]["inrush_peak_A"]["low"] <= told["load"]["inrush_peak_A"]["high"]
    assert [part["part"] for part in told["parts"]][:3] == ["switch", "triac or relay instead", "heat sink"]
    assert told["snubber"].keys() == {"ohm", "farad", "rated_W"}
    assert told["not_enough"] == []


def test_choose_judges_the_switch_in_the_file(here: Path) -> None:
    """One rating enough and one not, told beside the part and gathered at the end."""
    given = f"{SWITCH}\nrated_current_A = 90\nsurge_current_A = 100\ni2t_A2s = 50"
    (here / "welder.toml").write_text(replaced(WELDER, SWITCH, given))
    out = typed(["choose"]).out
    assert "yours: rated current 90 A: enough" in out
    assert "yours: I2t 50 A2s: not enough" in out
    assert "\nNot enough\n" in out
    told = json.loads(typed(["choose", "--json"]).out)
    yours = {mine["what"]: mine["enough"] for mine in told["parts"][0]["yours"]}
    assert yours["rated current"]
    assert not yours["I2t"]
    assert "switch: I2t 50 A2s: not enough" in told["not_enough"][0] + told["not_enough"][-1]


@pytest.mark.parametrize("pace", ["0.5", "4", "30"])
@pytest.mark.parametrize("foster", ["", "\nfoster = [[0.05, 0.005], [0.15, 0.05], [0.25, 0.4]]"])
def test_heat_sink_chosen_holds_in_the_simulation(here: Path, pace: str, foster: str) -> None:
    """The textbook's sum against the thermal networks: on the sink chosen, case and junction keep their limits for ever."""
    (here / "welder.toml").write_text(replaced(WELDER, SWITCH, SWITCH + foster))
    simulated = json.loads(typed(["choose", "--json", "--pace", pace]).out)["simulated_on_heat_sink"]
    assert [part["part"] for part in simulated] == (["junction", "case"] if foster else ["case"])
    for part in simulated:
        assert 40 < part["for_ever_C"] <= part["limit_C"]
    case = next(part for part in simulated if part["part"] == "case")
    assert case["for_ever_C"] > case["limit_C"] - 25  # and is not chosen far too large


def test_weld_longer_than_the_board_takes(here: Path) -> None:
    """The longest weld that counts is the board's, where the welder file allows more."""
    (here / "welder.toml").write_text(replaced(WELDER, 'longest_weld = "3 s"', 'longest_weld = "40 s"'))
    assert json.loads(typed(["choose", "--json"]).out)["load"]["weld_s"] == 15


def test_wiring_writes_sheet_and_drawings(here: Path) -> None:
    """Written, said, and the same again over itself; with what the machine lacks."""
    without = WELDER
    for key in ("contactor", "mirror_contact", "stop_cuts_contactor"):
        without = replaced(without, f"\n{key} = true", "")
    (here / "welder.toml").write_text(without)
    line = ["wiring", "-o", "upgrade.html", "--svg", "drawings"]
    outcome = typed(line)
    assert (outcome.code, outcome.err) == (0, "")
    files = contents(here)
    assert set(files) == {
        "welder.toml",
        "upgrade.html",
        "drawings",
        *(str(Path("drawings", name)) for name in DRAWING_FILES),
    }
    assert b"Drawing 1: supply, control feed and earth" in files["upgrade.html"]
    for words in ("Written: upgrade.html", "To be fitted", "  contactor", "Isolate and lock off"):
        assert words in outcome.out
    assert typed(line) == outcome
    assert contents(here) == files


def test_wiring_with_the_machines_own_pins(here: Path) -> None:
    """Pins that the welder file chooses are the ones drawn."""
    (here / "welder.toml").write_text(f"{WELDER}[board.pins]\ngate = 10\n")
    assert typed(["wiring", "-o", "upgrade.html"]).code == 0
    html = (here / "upgrade.html").read_text()
    assert "GP10, pin 14" in html
    assert "GP4, pin 6" not in html


def test_a_zero_cross_relay_gets_no_sheet(here: Path) -> None:
    """Refused in one line, and nothing written; `choose` still says what would do."""
    (here / "welder.toml").write_text(replaced(WELDER, '"scr_pair"', '"zero_cross_relay"'))
    before = contents(here)
    outcome = typed(["wiring", "-o", "upgrade.html", "--svg", "drawings"])
    allowed = "allowed: before a transformer, scr_pair, triac or random_phase_relay; see `weldbeat choose`"
    assert outcome.err == f'weldbeat: welder.toml: switch.kind: "zero_cross_relay" given; {allowed}\n'
    assert (outcome.code, outcome.out) == (2, "")
    assert contents(here) == before
    assert "Yours waits for the zero crossing: it must not switch a transformer." in typed(["choose"]).out


def test_other_files_are_left_alone(here: Path) -> None:
    """A drawing of the user's own with the same name is not written over, nor the welder file, nor one file by both options."""
    (here / "mine").mkdir()
    (here / "mine" / "contacts.svg").write_text("<svg/>")
    before = contents(here)
    for line, why in (
        (["wiring", "-o", "up.html", "--svg", "mine"], '--svg: "mine" given; contacts.svg in it is not one of these'),
        (["wiring", "-o", "welder.toml"], '--output: "welder.toml" given; this is a file that this command reads'),
        (["wiring", "-o", "contacts.svg", "--svg", "."], "this is also a file of --svg"),
    ):
        outcome = typed(line)
        assert why in outcome.err
        assert (outcome.code, outcome.out, outcome.err.count("\n")) == (2, "", 1)
        assert contents(here) == before
