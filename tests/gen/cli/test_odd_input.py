"""Names, numbers, cells and keys that only a program or an attacker types; and Ctrl-C, whenever it is pressed."""

from __future__ import annotations

import csv
import io
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gen.records import TrialRecord
from gen.trials import from_csv, to_csv
from gen.units import typed_number
from tests.support.cli.command_line import SCHEDULE, WELDER, Outcome, contents, replaced, typed

TAPS = "load_angle_max_deg = 65\ntaps = {{{name} = 2.4}}\ntap = {name}\n"
TRIAL = TrialRecord(
    "rungs", 1, "2026-01-01T00:00:00Z", "", "job", "", "0" * 16, 0.3, 87.5,
    None, "no bond", "late", None, None, None, None, 0, "",
)  # fmt: skip

NOBODY = 65534


@pytest.fixture
def shed(here: Path) -> Path:
    (here / "welder.toml").write_text(WELDER)
    (here / "job.toml").write_text(SCHEDULE)
    return here


# What Python alone would take for a number (docs.python.org, "Built-in Functions", int and float).
LENIENT = ("1_0", " 3", "3 ", "٣", "３", "1e400", "infinity", "nan", "0x3", "3\n")


@pytest.mark.parametrize("text", LENIENT)
@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        (["simulate", "job.toml", "--seed"], "--seed: {} given; allowed: a whole number from 0 to 1000000"),
        (["simulate", "job.toml", "--minutes"], "--minutes: {} given; allowed: a number from 0.05 to 60"),
        (["new", "x", "--voltage"], "--voltage: {} given; allowed: a number from 90 to 480"),
        (["suggest", "--sheets"], "--sheets: {} given; allowed: two or three sizes"),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_numbers_are_ascii_and_plain(shed: Path, line: list[str], allowed: str, text: str) -> None:
    before = contents(shed)
    outcome = typed([*line, text])
    assert outcome.code == 2
    assert outcome.err.count("\n") == 1
    what = allowed.partition(" {} ")
    assert what[0] in outcome.err
    assert what[2] in outcome.err
    assert contents(shed) == before


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_that_is_printed_can_be_typed(value: float) -> None:
    """The second method is Python's own reading of its own writing."""
    assert typed_number(repr(value)) == value


@pytest.mark.parametrize("name", ["\udcff.toml", "a\nb.toml", "a\0b", "x" * 1001, "", "a\x1b[2J"])
@pytest.mark.parametrize(
    "line",
    [
        ["table"],
        ["describe", "--welder"],
        ["build", "job.toml", "-o"],
        ["flash"],
        ["trial", "export"],
        ["demo"],
        ["rescue"],
    ],
    ids="-".join,
)
def test_names_that_no_message_can_hold(shed: Path, line: list[str], name: str) -> None:
    before = contents(shed)
    outcome = typed([*line, name])
    assert outcome.code == 2
    assert "allowed: the name of a file or folder in UTF-8, without control characters" in outcome.err
    assert outcome.err.count("\n") == 1
    assert contents(shed) == before


def test_a_file_that_may_not_be_read(shed: Path) -> None:
    """By nobody, where the tests run as root, who may read everything."""
    assert typed(["table", "job.toml"]).code == 0  # and all is imported that nobody may not read either
    shed.chmod(0o755)
    (shed / "job.toml").chmod(0)
    user = os.geteuid()
    if user == 0:
        os.seteuid(NOBODY)
    try:
        outcome = typed(["table", "job.toml"])
    finally:
        os.seteuid(user)
    assert outcome.err == "weldbeat: job.toml: cannot be read; Permission denied; allowed: a TOML file\n"


@pytest.mark.parametrize("name", [r'"\u001b[2J"', r'"a\nb"', '""', f'"{"x" * 41}"', r'"a\u202eb"', r'"\u2028"'])
def test_tap_names(shed: Path, name: str) -> None:
    """A tap's name goes into messages, tables and pages."""
    (shed / "welder.toml").write_text(replaced(WELDER, "load_angle_max_deg = 65\n", TAPS.format(name=name)))
    outcome = typed(["describe"])
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.err.startswith("weldbeat: welder.toml: transformer.taps: ")
    assert "allowed: a table of 1 to 50 tap names (each on one line, at most 40 characters), each with" in outcome.err


def test_a_key_of_the_readers_own_word(shed: Path) -> None:
    """Pydantic calls the name of a key `[key]`, as somebody else may."""
    (shed / "welder.toml").write_text(WELDER + '"[key]" = 1\n')
    assert typed(["describe"]).err.startswith("weldbeat: welder.toml: board.[key]: 1 given; unknown key; allowed: ")


FORMULAS = ("=1+1", "+1", "-1", "@SUM(1)", "\tx", "\rx", "'=1", "''", "'")


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_is_a_formula(text: str, tmp_path: Path) -> None:
    """OWASP, "CSV Injection": a cell that begins with = + - @, a tab or a return is run by a spreadsheet."""
    out = to_csv([replace(TRIAL, board=text, boot=1, count=1)])
    for row in csv.reader(io.StringIO(out, newline="")):
        assert not [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))]


@given(
    st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), max_size=20),
    st.sampled_from(["", *FORMULAS[:4], "'"]),
)
def test_a_cell_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, text: str, before: str) -> None:
    file = tmp_path_factory.getbasetemp() / "cells.csv"
    trial = replace(TRIAL, joint=f"{before}{text}x", note=f"{before}{text}")
    file.write_text(to_csv([trial]), encoding="utf-8", newline="")
    assert from_csv(file) == [(2, trial)]


class Interrupts(io.StringIO):
    """Answers, and then Ctrl-C."""

    def readline(self, size: int | None = -1, /) -> str:
        line = super().readline(-1 if size is None else size)
        if not line:
            raise KeyboardInterrupt
        return line


STOPPED = (130, "weldbeat: stopped\n")
# Ctrl-C at a count of the imports (sys.addaudithook, event "import"): 0 to 2 are gen.cli, the gen that
# it lies in, and what hears Ctrl-C: until then it is Python's.
PRESSED = """
import os, signal, sys
at, seen = int(sys.argv.pop(1)), -1
def hear(event, args):
    global seen
    if event == "import" and (seen >= 0 or args[0] == "gen.cli"):
        seen += 1
        if seen == at:
            os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(hear)
from gen.cli import main
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="os.kill ends a process there, and sends it no Ctrl-C")
@pytest.mark.parametrize("at", [3, 4, 10, 30, 100, 200])
def test_ctrl_c_while_modules_are_loaded(shed: Path, at: int) -> None:
    """From the first import of our own on: one line, 130, no traceback."""
    ended = subprocess.run(
        [sys.executable, "-c", PRESSED, str(at), "table", "job.toml"], cwd=shed, capture_output=True, text=True
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (130, "", STOPPED[1])


# Deleted while Python takes itself apart, long after its handlers of signals (docs.python.org, "object.__del__").
AFTERWARDS = """
import os, signal
class Last:
    def __del__(self, kill=os.kill, own=os.getpid(), number=signal.SIGINT):
        kill(own, number)
last = Last()
from gen.cli import main
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="os.kill ends a process there, and sends it no Ctrl-C")
def test_ctrl_c_when_all_is_done(shed: Path) -> None:
    """The work's own exit code, all of its output, and not a word."""
    line = [sys.executable, "-c", AFTERWARDS, "boards"]
    ended = subprocess.run(line, cwd=shed, capture_output=True, text=True)
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, typed(["boards"]).out, "")


@pytest.mark.parametrize("answered", range(4))
def test_ctrl_c_at_a_question(here: Path, answered: int) -> None:
    """Nothing is written before the last answer."""
    outcome = typed(["new", "shed"], Interrupts("230\n50\n2.5\n50\n"[: 4 * answered]))
    assert (outcome.code, outcome.err) == STOPPED
    assert contents(here) == {}


@pytest.mark.parametrize(
    ("line", "place"),
    [
        (["simulate", "job.toml", "--report", "r.html"], "sim.run.run"),
        (["build", "job.toml", "-o", "firmware"], "sim.run.run"),
        (["build", "job.toml", "-o", "firmware"], "gen.writing._write_new"),
        (["simulate", "job.toml", "--vcd", "r.vcd"], "gen.writing._write_new"),
        (["simulate", "job.toml", "--vcd", "r.vcd"], "gen.writing.os.replace"),
        (["table", "job.toml"], "gen.cli.plan.read_job"),
        (["commission", "--sheet", "sheet.html"], "gen.writing._write_new"),
    ],
)  # fmt: skip
def test_ctrl_c_in_a_long_run(shed: Path, monkeypatch: pytest.MonkeyPatch, line: list[str], place: str) -> None:
    def pressed(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    before = contents(shed)
    monkeypatch.setattr(place, pressed)
    outcome = typed(line)
    assert (outcome.code, outcome.err) == STOPPED
    assert {name: text for name, text in contents(shed).items() if name != "records.sqlite"} == before


def test_ctrl_c_in_a_sweep(shed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The workers end with it, without a word."""

    @contextmanager
    def progress(machines: int) -> Iterator[Callable[[int], None]]:
        yield lambda made: os.kill(os.getpid(), signal.SIGINT)

    monkeypatch.setattr("gen.cli.sweep._progress", progress)
    outcome: Outcome = typed(["sweep", "job.toml", "--machines", "1000", "--workers", "2"])
    assert (outcome.code, outcome.err) == STOPPED
