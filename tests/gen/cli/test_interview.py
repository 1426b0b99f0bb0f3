"""`weldbeat new` at a real terminal of 80 columns: a console (pexpect) is typed at, a screen (pyte) is read.

Three invented machines, one without a plate. Time to answer is reckoned at a question's words read and its answer fetched;
what is measured here is how many questions there are.
"""

from __future__ import annotations

import os
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from gen.machine.welder import read_welder
from tests.support.cli.command_line import contents, typed

pexpect = pytest.importorskip("pexpect", reason="left out: no pexpect")
pyte = pytest.importorskip("pyte", reason="left out: no pyte")
if sys.platform == "win32":
    pytest.skip("left out: no pseudo-terminal here", allow_module_level=True)

COLUMNS, ROWS = 80, 45
PROMPT = r"back(?: \[do not know\])?: "

# A bench machine on a 230 V outlet, its plate read and its currents too.
BENCH = [
    "230 V", "C20", "yes", "2.5 kVA", "50", "14 kg", "no", "2.4", "24", "30", "250", "100", "20", "no",
    "12", "40", "flat", "8", "CuCr1Zr", "yes", "1", "55", "1", "foot lever", "one shot", "1,2,3,4,5,6", "pico", "yes",
]  # fmt: skip
# A North American rod welder with a tap switch; the owner read its breaker's trip curve.
RODS = [
    "240V split phase", "UL 30", "150-300", "1", "3", "", "45 lb", "yes", "1.6 2.0 2.5", "3", "40", "3", "", "10in", "4 in",
    "3/4in", "no", "1/2in", "1 1/2 in", "groove", "3/32in", "1", "no", "", "", "groove", "1/8in", "",
    "", "", "air", "yes", "pulse transformer", "isolator, contactor", "pico 2", "",
]  # fmt: skip
# Home-made, no plate and no readings: a tape, a caliper and a scale.
HOME = ["4", "", "no", "60x75", "12 swg", "", "18", "", "", "", "", "", "", "", "", "hand", "", "1 2", ""]


class Console:
    """A terminal of 80 by 45 with `weldbeat new` in it."""

    def __init__(self, folder: Path, *words: str) -> None:
        environment = os.environ | {"COLUMNS": str(COLUMNS), "LINES": str(ROWS), "TERM": "xterm"}
        command = [sys.executable, "-c", "from gen.cli import main; main()", "new", *words]
        self.child = pexpect.spawn(
            command[0],
            command[1:],
            cwd=str(folder),
            env=environment,
            dimensions=(ROWS, COLUMNS),
            encoding="utf-8",
            timeout=180,
        )
        self.screen = pyte.Screen(COLUMNS, ROWS)
        self.stream = pyte.Stream(self.screen)
        self.text = ""

    def question(self) -> str:
        """What the screen shows once it asks."""
        self.child.expect(PROMPT)
        self.text += self.child.before + self.child.after
        self.stream.feed(self.child.before + self.child.after)
        return "\n".join(line.rstrip() for line in self.screen.display)

    def interrupt(self) -> None:
        """Ctrl-C, and again where it came in the instant between the prompt and the wait for a key, in which Python loses it."""
        for _ in range(10):
            self.child.sendintr()
            if self.child.expect(["stopped", pexpect.TIMEOUT], timeout=5) == 0:
                break
        self.text += self.child.before + str(self.child.after)

    def end(self) -> int:
        self.child.expect(pexpect.EOF)
        self.text += self.child.before
        self.stream.feed(self.child.before)
        self.child.close()
        return int(self.child.exitstatus)


@pytest.fixture
def consoles() -> Iterator[list[Console]]:
    opened: list[Console] = []
    yield opened
    for console in opened:
        console.child.close(force=True)


@pytest.mark.parametrize(
    ("answers", "kVA", "came_from", "volts"),
    [(BENCH, 2.5, "plate", 230), (RODS, 3, "plate", 240), (HOME, 2.5, "core_and_wire", 230)],
    ids=["bench", "rods", "home"],
)
def test_three_machines_at_a_console(
    here: Path, consoles: list[Console], answers: list[str], kVA: float, came_from: str, volts: int
) -> None:
    """From the first question to the files, on 80 columns: nothing runs over, and nothing is written before the end."""
    console = Console(here, "shed")
    consoles.append(console)
    for answer in answers:
        console.question()
        assert not (here / "shed").exists()
        console.child.sendline(answer)
    summary = console.question()
    assert "Is this your machine?" in summary or "write the two files" in console.text
    assert "given; allowed" not in console.text, "an answer was not taken"
    console.child.sendline("1")
    assert console.end() == 0
    lines = re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", console.text).splitlines()
    asked = console.text[: console.text.index("Written:")].splitlines()
    assert max(len(line.rstrip()) for line in asked) <= COLUMNS
    assert any("Written: shed/welder.toml" in line for line in lines)
    welder = read_welder(here / "shed" / "welder.toml")
    assert welder.mains.voltage_V == volts
    assert welder.transformer.rating_from == came_from
    assert welder.transformer.rating_kVA == pytest.approx(kVA, rel=0.2)
    os.chdir(here / "shed")
    assert typed(["describe"]).code == 0
    assert typed(["table", "first-weld.toml"]).code == 0


def test_ctrl_c_at_each_question_leaves_nothing(here: Path, consoles: list[Console]) -> None:
    """At the first question, half way and at the summary: stopped (130, as shells say), no file and no folder."""
    for stop in (0, len(BENCH) // 2, len(BENCH)):
        console = Console(here, "shed")
        consoles.append(console)
        for answer in BENCH[:stop]:
            console.question()
            console.child.sendline(answer)
        console.question()
        console.interrupt()
        assert console.end() == 130, stop
        assert "stopped" in console.text
        assert contents(here) == {}


def test_the_same_words_as_options(here: Path) -> None:
    """No question left but those that no option answers; what an option may not be is said as a message."""
    line = ["new", "shed", "--typical", "--supply", "120V", "--breaker", "UL 20", "--rating-kva", "1.5 kVA"]
    line += ["--force", "foot lever", "--fitted", "isolator,contactor", "--electrode-diameter", "1/2in"]
    line += ["--electrode-length", "40", "--groove", "2.5", "--gate-drive", "one shot", "--board", "pico w"]
    outcome = typed(line)
    assert (outcome.code, outcome.err) == (0, "")
    content = tomllib.loads((here / "shed" / "welder.toml").read_text())
    assert content["breaker"] == {"standard": "UL 489", "rating_A": 20}
    assert content["electrodes"] == {"diameter_mm": 12.7, "length_mm": 40, "groove_radius_mm": 2.5}
    assert (content["force"]["source"], content["board"]["name"]) == ("foot_lever", "pico_w")
    for bad, message in (
        (["--supply", "9 V"], '--supply: "9 V" given; allowed: 120 V, 240 V split phase,'),
        (
            ["--mass", "2,4 kg"],
            '--mass: "2,4 kg" given; allowed: a number from 0.1 to 5000 (a decimal comma; write a point',
        ),
        (["--throat", "100"], "--throat; it belongs to another answer; allowed: only with that"),
        (["--alike", "back"], '--alike: "back" given; allowed: an answer'),
    ):
        outcome = typed(["new", "other", "--typical", *bad])
        assert (outcome.code, outcome.out) == (2, "")
        assert outcome.err.startswith(f"weldbeat: command line: {message}")
        assert not (here / "other").exists()
