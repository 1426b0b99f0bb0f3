"""The interface board as a user types for it: every file of it, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.cli.command_line import WELDER, contents, typed


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a welder file, in which the user stands."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "welder.toml").write_text(WELDER)
    return tmp_path


LINE = ["wiring", "-o", "upgrade.html", "--interface", "board"]


def test_the_whole_board_is_written(here: Path) -> None:
    """Document, net list, a schematic a stage and both sides of each stripboard; said, and the same again over itself."""
    outcome = typed(LINE)
    assert (outcome.code, outcome.err) == (0, "")
    files = contents(here)
    names = {Path(name).name for name in files if name.startswith("board")}
    assert {"interface.html", "interface.net", "interface-gate.svg", "interface-contactor.svg"} <= names
    for board in ("gate", "contactor", "contacts", "supply", "mains"):
        assert {f"board-{board}-component.svg", f"board-{board}-copper.svg"} <= names
    for name in names - {"board"}:
        assert f"Written: {Path('board', name)}" in outcome.out.replace("\n    ", "")
    assert typed(LINE) == outcome
    assert contents(here) == files


@pytest.mark.parametrize(
    ("size", "said"),
    [
        ("24x12", "the contactor board takes 15 strips of 25 holes; allowed: 15x25 or more"),
        ("10x37", "allowed: 12x17 or more"),
        ("24", "allowed: strips x holes, each from 5 to 200, such as 24x37"),
        ("4x37", "allowed: strips x holes, each from 5 to 200, such as 24x37"),
    ],
)
def test_a_board_that_is_too_small_is_refused(here: Path, size: str, said: str) -> None:
    """One message with what it needs, exit code 2, nothing written."""
    before = contents(here)
    outcome = typed([*LINE, "--stripboard", size])
    assert said in outcome.err or (size == "24x12" and "takes 12 strips of 17 holes" in outcome.err)
    assert (outcome.code, outcome.out, outcome.err.count("\n")) == (2, "", 1)
    assert contents(here) == before


def test_other_files_are_left_alone(here: Path) -> None:
    """A file of the user's own with a name of the board's is not written over."""
    (here / "board").mkdir()
    (here / "board" / "interface.net").write_text("mine")
    before = contents(here)
    outcome = typed(LINE)
    assert '--interface: "board" given; interface.net in it is not one of these drawings' in outcome.err
    assert (outcome.code, outcome.out, outcome.err.count("\n")) == (2, "", 1)
    assert contents(here) == before


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('contactor = true\ncontactor_coil = "ac"', 'protection.contactor_coil: "ac" given; allowed: "dc", for 24 V'),
        ("stop_cuts_contactor = true", "protection.stop_cuts_contactor: true given; allowed: only with"),
        (
            'gate_drive = "direct"\nstop_cuts_gate_supply = true',
            'protection.stop_cuts_gate_supply: true given; allowed: false with protection.gate_drive = "direct"',
        ),
        ("residual_current_mA = 30", "protection.residual_current_mA: 30 given; allowed: only with"),
    ],
)
def test_protections_that_contradict_each_other_are_refused(here: Path, lines: str, said: str) -> None:
    """A coil for a.c. on a d.c. stage, a feed that is not there, a cut of what is not there: one message each."""
    table = WELDER.partition("[protection]")
    without = table[0] + (table[2][table[2].index("\n[") :] if table[1] and "\n[" in table[2] else "")
    (here / "welder.toml").write_text(f"{without}\n[protection]\n{lines}\n")
    before = contents(here)
    outcome = typed(LINE)
    assert said in outcome.err, outcome.err
    assert (outcome.code, outcome.out, outcome.err.count("\n")) == (2, "", 1)
    assert contents(here) == before


def test_a_relay_takes_no_pulse_transformer(here: Path) -> None:
    """It isolates its gate itself."""
    text = WELDER.replace('kind = "scr_pair"', 'kind = "random_phase_relay"')
    head, _, tail = text.partition("[protection]")
    text = (
        head
        + "[protection]\n"
        + 'gate_drive = "pulse_transformer"\n'
        + (tail[tail.index("\n[") :] if "\n[" in tail else "")
    )
    (here / "welder.toml").write_text(text)
    outcome = typed(LINE)
    assert 'protection.gate_drive: "pulse_transformer" given; allowed for a relay' in outcome.err
    assert outcome.code == 2
