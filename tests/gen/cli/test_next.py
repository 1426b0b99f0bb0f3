"""What is still missing for a machine: `next`, and the last line of a command at a terminal.

No source outside: the order is that of README, and each task goes when what it asks for is there.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from gen.boards import boards
from gen.cli.commands import SECTIONS
from gen.commissioning import steps
from gen.machine.welder import read_welder
from gen.records import CheckRecord, Records
from tests.support.cli.command_line import replaced, typed
from tests.support.machines import make_welder

COMMANDS = {name for commands in SECTIONS.values() for name in commands}


def missing() -> list[str]:
    """What each task is done with, in their order."""
    outcome = typed(["next", "--json"])
    assert (outcome.code, outcome.err) == (0, "")
    tasks = json.loads(outcome.out)["tasks"]
    shown = typed(["next"]).out
    assert max(map(len, shown.splitlines())) <= 80
    for task in tasks:
        assert set(task) == {"what", "why", "do"}
        assert task["do"] in " ".join(shown.split())
        words = task["do"].split()
        assert words[0] == "write" or words[1] in COMMANDS
    return [task["do"] for task in tasks]


def test_from_nothing_to_a_weld_that_is_kept(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each thing done takes its task away and no other; the last that is left is to weld."""
    assert missing() == ["weldbeat new my-welder"]
    assert typed(["new", "shed", "--typical"]).code == 0
    monkeypatch.chdir(here / "shed")
    before = missing()
    assert before[0].startswith("write into welder.toml: transformer.rating_kVA")
    assert [do.split()[1] for do in before if do.startswith("weldbeat")] == [
        "calibrate", "calibrate", "choose", "wiring", "simulate", "build", "flash", "commission", "suggest",
    ]  # fmt: skip
    given = ("# {} =", "{} =")
    for changes, gone in (
        ([('rating_from = "typical"', 'rating_from = "plate"')], "transformer.rating_kVA"),
        ([("# [breaker]\n", '[breaker]\nstandard = "UL 489"\nrating_A = 20\n')], "characteristic"),
        (
            [[part.format(key) for part in given] for key in ("instantaneous_from_A", "instantaneous_to_A")],
            "instantaneous",
        ),
        ([[part.format("open_secondary_V") for part in given]], "open_secondary_V"),
        ([[part.format("working_current_A") for part in given]], "working_current_A"),
        (
            [
                ("# [arms]\n", "[arms]\nlength_mm = 250\nthroat_mm = 100\ndiameter_mm = 20\n"),
                ("# [electrodes]\n", "[electrodes]\ndiameter_mm = 12\nlength_mm = 40\n"),
            ],
            "[electrodes]",
        ),
        (
            [[part.format(key) for part in given] for key in ("rated_current_A", "surge_current_A", "foster")],
            "weldbeat choose",
        ),
        (
            [
                ('gate_drive = "direct"', 'gate_drive = "one_shot"'),
                *([part.format(key) for part in given] for key in make_welder().protection.fitted),
            ],
            "weldbeat wiring",
        ),
    ):
        before = missing()
        text = Path("welder.toml").read_text()
        for old, new in changes:
            text = replaced(text, old, new)
        Path("welder.toml").write_text(text)
        kept = [do for do in before if gone not in do]
        assert len(kept) < len(before)
        assert [do for do in missing() if "instantaneous" not in do] == [do for do in kept if "instantaneous" not in do]
    assert missing()[0] == "weldbeat simulate first-weld.toml --report report.html"
    assert typed(["build", "first-weld.toml", "-o", "firmware"]).code == 0
    assert missing()[:2] == ["weldbeat flash firmware", "weldbeat commission"]
    welder = read_welder(Path("welder.toml"))
    with Records(Path("records.sqlite")) as records:
        for step in steps(welder, boards()["pico"]):
            reading = 2.0 if step.key == "open-electrodes" else None
            records.add_check(CheckRecord(1, step.key, 0, "2026-01-01T00:00:00Z", "", "passed", reading, "", ""))
    assert missing()[:2] == ["weldbeat calibrate", "weldbeat suggest --rods 5,8 -o first-guess.toml"]
    assert typed(["calibrate", "--yes"]).code == 0
    assert missing() == ["weldbeat suggest --rods 5,8 -o first-guess.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="left out: no pseudo-terminal here")
def test_the_last_line_at_a_terminal_and_nowhere_else(here: Path) -> None:
    """A person is told what comes next; a pipe and a program get what they asked for."""
    pexpect = pytest.importorskip("pexpect")
    assert typed(["new", "shed", "--typical"]).out.endswith("\nNext:\n  cd shed\n  weldbeat next\n")

    def at_terminal(*words: str) -> str:
        child = pexpect.spawn(
            sys.executable, ["-c", "from gen.cli import main; main()", *words],
            cwd=str(here / "shed"), dimensions=(60, 80), encoding="utf-8", timeout=60,
        )  # fmt: skip
        text: str = child.read()
        child.close()
        return text.replace("\r", "")

    assert at_terminal("table", "first-weld.toml").rstrip().splitlines()[-1].startswith("Next: write into welder.toml")
    assert "Next:" not in at_terminal("table", "first-weld.toml", "--json")
    assert "Next:" not in at_terminal("table", "--help")
    assert "Next:" not in at_terminal("next")
