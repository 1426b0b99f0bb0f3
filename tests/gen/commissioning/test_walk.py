"""The walk as any front end makes it: a scripted person behind `Guide`, and no command line anywhere.

No source outside: the limits are held in test_commissioning, the walk with a board in tests/gen/link/test_commission. Here: in
which order a front end is asked, and what is kept of the answers.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import gen
from gen.ask import Stopped
from gen.boards import boards
from gen.commissioning import Walked, last_walk, steps, values_of_last_walk
from tests.support.commissioning import GOOD, Scripted, walked
from tests.support.machines import known_welder

PICO = boards()["pico"]


@pytest.fixture(autouse=True)
def _no_board(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gen.link.ports.ports", list)


def test_a_failed_step_ends_the_walk_and_is_the_next_one_taken(tmp_path: Path) -> None:
    """0.4 ohm of earth fail (IEC 60974-4: 0.3 ohm, public copy); the same walk goes on there, then leaves out the rest."""
    welder, kept = known_welder(), tmp_path / "records.sqlite"
    first = Scripted(earth=["0.4"])
    assert walked(welder, kept, first) == Walked(1, len(steps(welder, PICO)), 1)
    assert first.shown[:2] == ["stage Unpowered", f"1/{len(steps(welder, PICO))} earth"]
    assert first.shown[-1] == "failed"
    second = Scripted(earth=["0.1"])
    end = walked(welder, kept, second)
    assert end.failed is None
    assert set(end.left_out) == {step.key for step in steps(welder, PICO)} - set(GOOD)
    assert [(check.step, check.outcome, check.reading) for check in last_walk(kept)[:2]] == [
        ("earth", "failed", 0.4),
        ("earth", "passed", 0.1),
    ]
    third = Scripted()
    assert walked(welder, kept, third) == end
    assert third.shown == []
    assert walked(welder, kept, Scripted(earth=["9"]), anew=True).number == 2


def test_an_answer_that_is_no_reading_is_asked_for_again(tmp_path: Path) -> None:
    """Words, and less than nothing ohm, go back to the user with what is allowed."""
    welder = known_welder()
    guide = Scripted(earth=["about a third", "-1", "0.07"])
    walked(welder, tmp_path / "records.sqlite", guide)
    assert guide.refused == [
        '"about a third" given; allowed: a number from 0 to 1000000',
        "-1 given; allowed: a number from 0 to 1000000",
    ]
    assert last_walk(tmp_path / "records.sqlite")[0].reading == 0.07


def test_nothing_is_kept_of_a_walk_that_is_not_begun(tmp_path: Path) -> None:
    """Somebody who does not say that things are so is asked nothing more."""
    welder, kept = known_welder(), tmp_path / "records.sqlite"
    guide = Scripted()
    guide.says_yes = False
    with pytest.raises(Stopped):
        walked(welder, kept, guide)
    assert last_walk(kept) == []


def test_readings_that_belong_into_the_file_come_back(tmp_path: Path) -> None:
    """The voltage at the outlet, by the key that it replaces; the same that `calibrate` takes from the records."""
    welder, kept = known_welder(), tmp_path / "records.sqlite"
    end = walked(welder, kept, Scripted(voltage=["231.5"]))
    assert end.values == values_of_last_walk(kept, welder) == {"mains.voltage_V": 231.5}


def test_only_front_ends_ask_at_a_terminal() -> None:
    """Outside gen/cli nothing in gen imports click, not even late; the layers of pyproject.toml keep out the rest."""
    room = Path(gen.__file__).parent
    files = [file for file in room.rglob("*.py") if "cli" not in file.relative_to(room).parts]
    assert len(files) > 70
    for file in files:
        assert re.search(r"^\s*(import|from) click\b", file.read_text(encoding="utf-8"), re.MULTILINE) is None, file
