"""How one begins: `new` and `demo`, what they ask, leave and lead to."""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import pytest

from gen.begin import demo_files, without_asking
from gen.machine.welder import Welder, read_welder
from tests.support.cli.command_line import BESIDE_PYTHON, contents, shell, typed
from tests.support.machines import make_welder


def test_new_typical_asks_nothing_and_proves_at_once(here: Path) -> None:
    """`new --typical`: two files, every guess marked, and the command it names works in the folder it names.

    The parts that end a faulty weld are never guessed: it refuses for that alone.
    """
    outcome = typed(["new", "shed", "--typical"])
    assert outcome.code == 0
    assert sorted(contents(here / "shed")) == ["first-weld.toml", "welder.toml"]
    text = (here / "shed" / "welder.toml").read_text()
    for key in ("voltage_V", "frequency_Hz", "rating_kVA", "rating_duty_percent", "source", "gate_drive"):
        assert re.search(rf"^{key} = .*# typical\b", text, re.M), key
    assert re.search(r"^# working_current_A = ", text, re.M), "nobody read it"
    assert "licensed electrician" in outcome.out
    named = re.search(r"^Then, in (\S+): (weldbeat .*)$", outcome.out, re.M)
    assert named
    done = shell(named[2], here / named[1])
    assert (done.returncode, done.stderr) == (1, "")
    assert re.findall(r"^Refused, ([a-z-]+)", done.stdout, re.M) == [
        "gate-drive", "contactor", "stop-contact", "over-temperature", "disconnection", "earthing",
    ]  # fmt: skip
    assert (here / "shed" / "report.html").is_file()


def test_new_left_half_way_leaves_nothing(here: Path) -> None:
    """Questions broken off: nothing is written, and the exit code says so."""
    for answers in range(0, len(without_asking({})) + 1, 6):
        outcome = typed(["new", "shed"], "\n" * answers)
        assert (outcome.code, outcome.err.strip()) == (2, "weldbeat: stopped")
        assert contents(here) == {}


@pytest.mark.parametrize("force", ["hand", "foot_lever", "air"])
@pytest.mark.parametrize("detector", ["square", "pulse"])
@pytest.mark.parametrize(("voltage", "frequency"), [("120V", "60"), ("230", "50"), ("400", "50")])
def test_every_kind_of_new_machine_reads_back_and_passes(
    here: Path, force: str, detector: str, voltage: str, frequency: str
) -> None:
    """Whatever is answered, the first weld passes on the simulated machine."""
    machine = ["--voltage", voltage, "--frequency", frequency, "--force", force, "--detector", detector]
    machine += ["--force-switch", "yes"] if force == "air" else []
    machine += ["--gate-drive", "one_shot", "--fitted", ",".join(make_welder().protection.fitted)]
    assert typed(["new", "shed", "--typical", *machine]).code == 0
    os.chdir(here / "shed")
    run = typed(["simulate", "first-weld.toml", "--minutes", "0.05"])
    assert (run.code, run.err) == (0, "")


def test_demo_from_nothing_to_the_next_commands(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One command shows the whole way; then the three commands that it names work as they stand."""
    monkeypatch.setenv("PATH", f"{BESIDE_PYTHON}{os.pathsep}{os.environ['PATH']}")  # as in the shell
    first = shell("weldbeat demo show", here)
    assert (first.returncode, first.stderr) == (0, "")
    assert {p.name for p in (here / "show").iterdir()} == {
        "welder.toml", "boot-scraper.toml", "firmware", "report.html", "trace.vcd", "weld.csv",
    }  # fmt: skip
    for words in ("upslope", "Verdict: passed", "Written to show:", "report.html", "for yours, go on with"):
        assert words in first.stdout
    welder: Welder = read_welder(here / "show" / "welder.toml")
    assert welder.mains.frequency_Hz == 50

    before = contents(here)
    again = typed(["demo", "show"])
    assert (again.code, again.out) == (0, first.stdout)
    assert contents(here) == before

    commands = first.stdout.rstrip("\n").splitlines()[-3:]
    assert all(line.startswith("  ") for line in commands)
    assert commands[0].split() == ["weldbeat", "new", "my-welder"]
    questions = len(without_asking({}))
    answers = "\n" * (questions - 3) + "one shot\n1,2,3,4,5,6,7\n\n1\n"
    done = shell(f"printf {shlex.quote(answers)} | " + " && ".join(line.strip() for line in commands), here)
    assert (done.returncode, done.stderr) == (0, "")
    assert (here / "my-welder" / "report.html").is_file()


def test_demo_leaves_changed_files_alone(here: Path) -> None:
    """Whoever plays with the demonstration's files does not lose them to a second run."""
    for name, text in demo_files().items():
        (here / name).write_text(text)
    (here / "boot-scraper.toml").write_text("# my own\n")
    before = contents(here)
    assert typed(["demo", "."]).code == 2
    assert contents(here) == before
