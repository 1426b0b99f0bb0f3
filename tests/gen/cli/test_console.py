"""What a console of 80 columns shows: no line wider, nothing cut with dots, and long answers a page at a time.

No source outside; pyte draws the screen, and `less` is the pager where it is there.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

from gen.cli.said import WIDTH, folded, say
from tests.support.cli.command_line import typed
from tests.support.cli.scrap import add, set_out

if sys.platform != "win32":
    from tests.support.cli.console import Console

LINES = (
    "boards",
    "boards pico",
    "boards pyboard",
    "describe",
    "suggest --rods 4,4",
    "suggest --sheets 3,3 --inch",
    "table job.toml",
    "choose",
    "choose --all",
    "wiring -o wiring.html",
    "trial show rungs.toml",
    "trial compare",
    "trial next rungs.toml",
    "next",
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> object:
    with pytest.MonkeyPatch.context() as patch:
        yield set_out(tmp_path_factory.mktemp("shop"), patch)


@pytest.mark.usefixtures("shop")
def test_no_line_is_wider_than_a_console() -> None:
    """Of every command that answers in a moment; the names of joints and the words of sizes stay whole."""
    note = "a note of so many words that it does not fit on one line of a console, far from it"
    add("tore-parent", "--setdown", "0.4", "--note", note)
    for line in LINES:
        outcome = typed(line.split())
        assert outcome.code in (0, 1), (line, outcome.err)
        wide = [text for text in outcome.out.splitlines() if len(text) > WIDTH]
        assert wide == [], line
        assert "..." not in outcome.out.replace("--outcome ...", ""), line


def test_what_is_said_is_folded_and_nothing_lost(capsys: pytest.CaptureFixture[str]) -> None:
    """Indents stay, words stay whole, and a word longer than the line is not broken."""
    say("  " + "word " * 40)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert all(line.startswith("  ") for line in lines)
    assert " ".join(lines).split() == ["word"] * 40
    long = "x" * 100
    say(f"before {long} after")
    assert long in capsys.readouterr().out
    assert folded("a b", "> ", "  ", 4).splitlines() == ["> a", "  b"]


@pytest.mark.skipif(sys.platform == "win32" or shutil.which("less") is None, reason="less is not there")
def test_a_long_answer_is_paged_on_a_terminal(shop: Path) -> None:
    """The first page stays until a key is pressed; `q` ends it with the command's own exit code."""
    with Console("choose", "--all", environment={"PAGER": "less"}) as console:
        console.until("Parts for 230 V")
        console.until("\x1b[K")
        assert "Conductors" not in console.screen
        console.type("q")
        assert console.end() == 0
    with Console("table", "job.toml", environment={"PAGER": "less"}) as console:
        assert console.end() == 0
