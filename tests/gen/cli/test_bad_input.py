"""Whatever a user gets wrong: one plain line that says what is allowed, exit code 2, and nothing written.

The cases lie beside this file as text: bad_schedules.txt, bad_welders.txt, bad_commands.txt,
bad_trials.txt, bad_trial_tables.txt.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.support.cli.command_line import SCHEDULE, WELDER, contents, replaced, typed

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Case:
    """A case as its text file gives it: lines by the mark that they begin with."""

    what: str
    lines: tuple[str, ...]

    def marked(self, mark: str) -> str:
        return "".join(f"{line[2:]}\n" for line in self.lines if line[0] == mark)

    def broken(self, good: str) -> str:
        """The good file with this case's rule broken."""
        return self.marked("=") or replaced(good, self.marked("-"), self.marked("+"))

    @property
    def message(self) -> str:
        return f"weldbeat: {self.marked('!')}"


def cases(name: str) -> list[Case]:
    """The cases of a text file; lines beginning with # are for its readers."""
    blocks = (HERE / name).read_text(encoding="utf-8").strip().split("\n\n")
    return [Case(lines[0], tuple(lines[1:])) for block in blocks if (lines := block.splitlines())[0][0] != "#"]


def each(name: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("case", cases(name), ids=lambda case: case.what)


@pytest.fixture(scope="module")
def earlier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the good files and the firmware that they give."""
    folder = tmp_path_factory.mktemp("earlier")
    (folder / "welder.toml").write_text(WELDER)
    (folder / "job.toml").write_text(SCHEDULE)
    before = Path.cwd()
    os.chdir(folder)
    try:
        assert typed(["build", "job.toml", "-o", "firmware"]).code == 0
    finally:
        os.chdir(before)
    return folder


@pytest.fixture
def shed(earlier: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder in which the user stands, with things of their own that must not be touched."""
    here = tmp_path / "shed"
    shutil.copytree(earlier, here)
    shutil.copytree(earlier / "firmware", here / "noted")
    (here / "noted" / "wiring.txt").write_text("blue is neutral here")
    for folder, name in (("notes", "cellar.txt"), ("foreign", "main.py")):
        (here / folder).mkdir()
        (here / folder / name).write_text("print('mine')\n")
    (here / "latin.toml").write_bytes(b'title = "T\xfcr"\n' + SCHEDULE.encode())
    (here / "Big-Job.toml").write_text(SCHEDULE)
    (here / "commission-shorted.toml").write_text(SCHEDULE)
    monkeypatch.chdir(here)
    return here


def refused(folder: Path, line: list[str], message: str) -> None:
    """Type `line`; it must print `message` alone and change nothing around."""
    before = contents(folder.parent)
    outcome = typed(line)
    assert outcome.err == message
    assert outcome.err.count("\n") == 1
    assert len(outcome.err.splitlines()) == 1
    assert (outcome.code, outcome.out) == (2, "")
    assert contents(folder.parent) == before


@each("bad_schedules.txt")
def test_bad_schedule(shed: Path, case: Case) -> None:
    """A rule of the schedule broken: told before the earlier firmware is touched."""
    (shed / "job.toml").write_text(case.broken(SCHEDULE), encoding="utf-8")
    refused(shed, ["build", "job.toml", "-o", "firmware"], case.message)


@each("bad_welders.txt")
def test_bad_welder(shed: Path, case: Case) -> None:
    """A rule of the welder file broken."""
    (shed / "welder.toml").write_text(case.broken(WELDER), encoding="utf-8")
    refused(shed, ["build", "job.toml", "-o", "firmware"], case.message)


@each("bad_commands.txt")
def test_bad_command(shed: Path, case: Case) -> None:
    """A command line that cannot be meant, or that would go over the user's own files."""
    refused(shed, case.marked("$").split(), case.message)


TWO_WELDS = '[[phase]]\ncool = "4 cycles"\n[[phase]]\nweld = "6 cycles"\n[[phase]]\nhold'


@pytest.fixture(scope="module")
def tried(earlier: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with joints, one of which was tried twice, and schedules that cannot be tried."""
    here = tmp_path_factory.mktemp("tried")
    shutil.copytree(earlier, here, dirs_exist_ok=True)
    (here / "notes").mkdir()
    (here / "rungs.toml").write_text("rods_mm = [5, 8]\n")
    (here / "frame.toml").write_text("sheets_mm = [1, 1]\n")
    weld = 'weld = "20 cycles"\ncurrent_percent = 85\nupslope = "5 cycles"'
    (here / "pulses.toml").write_text(replaced(SCHEDULE, weld, 'pulse = "20 cycles"'))
    (here / "twice.toml").write_text(replaced(SCHEDULE, "[[phase]]\nhold", TWO_WELDS))
    before = Path.cwd()
    os.chdir(here)
    try:
        for outcome in ("no-bond", "tore-parent"):
            assert typed(["trial", "add", "rungs.toml", "job.toml", "--outcome", outcome]).code == 0
    finally:
        os.chdir(before)
    return here


@pytest.fixture
def scrap(tried: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The same, to stand in."""
    here = tmp_path / "scrap"
    shutil.copytree(tried, here)
    monkeypatch.chdir(here)
    return here


@each("bad_trials.txt")
def test_bad_trial(scrap: Path, case: Case) -> None:
    """A trial that cannot be, or an answer that cannot go there: the records stay as they were, byte for byte."""
    refused(scrap, case.marked("$").split(), case.message)


GOOD_TRIALS = """\
joint,tried_at,weld_s,percent,outcome,expulsion,setdown_mm,note
frame,2026-05-01T10:00:00Z,0.2,100,no bond,,,
frame,2026-05-02T09:30:00Z,0.4,85,tore parent,late,0.3,held
"""


@each("bad_trial_tables.txt")
def test_bad_trial_table(scrap: Path, case: Case) -> None:
    """One bad cell: its line and column are named, and none of the rows is added."""
    (scrap / "trials.csv").write_text(case.broken(GOOD_TRIALS), encoding="utf-8")
    refused(scrap, ["trial", "import", "trials.csv"], case.message)


def test_no_welder_file_here(shed: Path) -> None:
    """Without a welder file the message says both ways on."""
    (shed / "welder.toml").unlink()
    allowed = "allowed: name one with --welder, or make one with `weldbeat new`"
    message = f"weldbeat: welder.toml: no such file; looked for in this folder; {allowed}\n"
    refused(shed, ["build", "job.toml", "-o", "firmware"], message)


def test_a_file_name_with_a_line_break_stays_on_one_line(shed: Path) -> None:
    """Odd names cannot break the message in two, nor send the terminal commands."""
    message = r'weldbeat: command line: SCHEDULE: "a\nb\u001b[31m.toml" given; allowed: the name of a file or folder in UTF-8, '
    refused(shed, ["table", "a\nb\x1b[31m.toml"], f"{message}without control characters and of at most 1000 bytes\n")
    name = "a\u202elmot"
    message = r"weldbeat: a\u202elmot: no such file; looked for as a\u202elmot; allowed: a TOML file"
    refused(shed, ["table", name], f"{message}\n")


def test_a_name_too_long_for_the_file_system(shed: Path) -> None:
    """What the operating system refuses is reported as plainly."""
    name = "a" * 300
    refused(shed, ["table", name], f"weldbeat: {name}: cannot be read; File name too long; allowed: a TOML file\n")


LONG = "line 1; {} characters long; allowed: lines, and so keys, of at most 1000 characters"
CHOKING = {
    "digits": ("frequency_Hz = " + "5" * 5000, LONG.format(5015)),
    "hexadecimal digits": (
        "frequency_Hz = 0x" + "f" * 900,
        "frequency_Hz: a whole number of 3600 bits given; allowed: whole numbers of at most 64 bits",
    ),
    "one bit too many": (
        f"[mains]\nvoltage_V = [{2**63 - 1}, {2**63}]",
        "mains.voltage_V: a whole number of 64 bits given; allowed: whole numbers of at most 64 bits",
    ),
    "brackets": (
        "a = " + "[\n" * 100_000,
        'last line; not readable as TOML; allowed: one key = value a line, with times and words in quotes ("0.4 s")',
    ),
    "a key of many parts": ("a" + ".a" * 600 + " = 1", LONG.format(1205)),
    "many keys of many parts": (
        "".join(f"a{n}{'.a' * 40} = 1\n" for n in range(300)),
        "more than 10000 dots; allowed: at most so many; a dotted key has one or two",
    ),
    "a megabyte": ("#\n" * 500_001, "larger than 1000000 bytes; allowed: a TOML file of at most that"),
}


@pytest.mark.parametrize(("text", "message"), CHOKING.values(), ids=CHOKING)
def test_files_that_choke_the_reader(shed: Path, text: str, message: str) -> None:
    """Files, keys, numbers and nesting without end are bad input, not a crash and not a gigabyte of memory.

    Integers: TOML 1.0.0 asks for 64 bits, and for an error where one is larger.
    """
    (shed / "job.toml").write_text(text)
    refused(shed, ["table", "job.toml"], f"weldbeat: job.toml: {message}\n")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes in folders here")
@pytest.mark.parametrize(
    "line", [["table", "pipe"], ["table", "job.toml", "--welder", "pipe"], ["trial", "import", "pipe"]]
)
def test_a_pipe_for_a_file_is_not_waited_for(shed: Path, tmp_path: Path, line: list[str]) -> None:
    """A pipe that nobody writes to would keep the command for ever."""
    os.mkfifo(shed / "pipe")
    outcome = typed(line)
    assert outcome.code == 2
    assert outcome.err.startswith("weldbeat: pipe: this is a pipe or a device, not a file; allowed: a ")


def test_a_device_for_a_file(shed: Path) -> None:
    """Zeros without end are not read."""
    message = "weldbeat: zero: this is a pipe or a device, not a file; allowed: a TOML file\n"
    refused(shed, ["table", "/dev/zero"], message)


LONG_WORDS = {
    "a key": f"{'k' * 900} = 1\n" + SCHEDULE,
    "keys": "\n".join(f"{'k' * 900}{n} = 1" for n in range(900)) + "\n" + SCHEDULE,
    "phases": SCHEDULE.replace(
        "[[phase]]\nhold", "[[phase]]\n" + "\n".join(f"k{n:0900} = 1" for n in range(900)) + "\nhold"
    ),
    "title": f'title = "{"t" * 900}"\n' + SCHEDULE,
}


@pytest.mark.parametrize("text", LONG_WORDS.values(), ids=LONG_WORDS)
def test_a_message_stays_readable(shed: Path, text: str) -> None:
    """A message names a file, without its content."""
    (shed / "job.toml").write_text(text)
    outcome = typed(["table", "job.toml"])
    assert outcome.code == 2
    assert len(outcome.err) < 1500
    assert "allowed: " in outcome.err


EDGE = "fires 423 us after the zero crossing where the mains runs fast, but the detector's edge comes 1500 us after it"
ANGLES = "load_angle_min_deg = 40\nload_angle_max_deg = 65"
LATE = replaced(WELDER, ANGLES, "load_angle_min_deg = 0\nload_angle_max_deg = 5")
LATE = replaced(LATE, 'kind = "square"', 'kind = "square"\noffset_fall_us = 1500')


def test_firing_before_the_detector_has_told(shed: Path) -> None:
    """A resistive load fires early; an edge that comes later than that would need a negative delay."""
    (shed / "welder.toml").write_text(LATE)
    (shed / "job.toml").write_text(replaced(SCHEDULE, "current_percent = 85", "current_percent = 100"))
    allowed = "allowed: offsets of at most 402 us, or a load_angle_max_deg of at least 26, in the welder file"
    message = f"weldbeat: job.toml: phase 3: current_percent: 100 given; {EDGE}; {allowed}\n"
    refused(shed, ["build", "job.toml", "-o", "firmware"], message)


@pytest.mark.parametrize(
    ("which", "old", "new"),
    [
        ("welder.toml", "offset_fall_us = 1500", "offset_fall_us = 402"),
        ("welder.toml", "load_angle_max_deg = 5", "load_angle_max_deg = 26"),
        ("job.toml", "current_percent = 60", "current_percent = 6"),
        ("job.toml", 'squeeze = "0.4 s"', 'squeeze = "60 ms"'),
        ("job.toml", 'pulse = "2 cycles"', 'pulse = "10.1 ms"'),
        ("job.toml", 'cool = "4 cycles"', 'cool = "4 half-cycles"'),
    ],
)
def test_what_a_message_allows_is_allowed(shed: Path, which: str, old: str, new: str) -> None:
    """The figures that messages offer are tried: whoever follows one is not sent away again."""
    texts = {"welder.toml": LATE if which == "welder.toml" else WELDER, "job.toml": SCHEDULE}
    if which == "welder.toml":
        texts["job.toml"] = replaced(SCHEDULE, "current_percent = 85", "current_percent = 100")
    texts[which] = replaced(texts[which], old, new)
    for name, text in texts.items():
        (shed / name).write_text(text)
    outcome = typed(["table", "job.toml"])
    assert (outcome.code, outcome.err) == (0, "")


def test_file_saved_by_a_windows_editor(shed: Path) -> None:
    """A byte-order mark and carriage returns are no fault of the user's."""
    plain = typed(["table", "job.toml"])
    (shed / "job.toml").write_bytes(b"\xef\xbb\xbf" + SCHEDULE.replace("\n", "\r\n").encode())
    assert typed(["table", "job.toml"]) == plain
    assert plain.code == 0


def test_no_permission_to_write(shed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the operating system refuses while writing is one line too, and the earlier firmware stays."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", "firmware")

    monkeypatch.setattr("gen.writing._write_new", full)
    refused(
        shed,
        ["build", "job.toml", "-o", "firmware"],
        "weldbeat: firmware: cannot be written; No space left on device; allowed: a place with room that you may write to; "
        "what was there is as it was\n",
    )


def test_there_are_enough_cases() -> None:
    """An empty case file would pass in silence."""
    names = ("schedules", "welders", "commands", "trials", "trial_tables")
    assert [len(cases(f"bad_{name}.txt")) for name in names] == [63, 98, 131, 47, 19]
