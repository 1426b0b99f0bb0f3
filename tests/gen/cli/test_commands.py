"""Each command as a newcomer uses it: what it prints, what it leaves, and how it ends."""

from __future__ import annotations

import csv
import html.parser
import io
import json
import os
import re
from pathlib import Path

import pytest

from gen.cli.commands import SECTIONS, weldbeat
from sim.run import Run
from tests.support.cli.command_line import SCHEDULE, WELDER, contents, replaced, shell, typed
from tests.support.judged_once import simulate_once

COMMANDS = [name for commands in SECTIONS.values() for name in commands]


@pytest.fixture(scope="module")
def simulated() -> dict[str, Run]:
    """What was simulated for these commands."""
    return {}


@pytest.fixture
def once(monkeypatch: pytest.MonkeyPatch, simulated: dict[str, Run]) -> None:
    """Where what is simulated is not in question."""
    simulate_once(monkeypatch, simulated)


@pytest.fixture
def shop(here: Path) -> Path:
    """A folder with a welder file and a schedule."""
    (here / "welder.toml").write_text(WELDER)
    (here / "job.toml").write_text(SCHEDULE)
    return here


# -- help -----------------------------------------------------------------------------------------------------------


def test_commands_are_listed_in_working_order() -> None:
    """The list is the newcomer's map: begin, plan, prove, make."""
    text = typed(["--help"]).out
    places = [text.index(f"\n  {name} ") for name in COMMANDS]
    assert COMMANDS[:2] == ["demo", "new"]
    assert places == sorted(places)
    assert [text.index(f"\n{section}:") for section in SECTIONS] == sorted(text.index(f"\n{s}:") for s in SECTIONS)
    assert list(weldbeat.list_commands(None)) == COMMANDS  # type: ignore[arg-type]


def test_bare_command_shows_help() -> None:
    """Whoever types the bare name is shown the way, and is not told off."""
    bare = typed([])
    assert (bare.code, bare.err) == (0, "")
    assert bare.out == typed(["--help"]).out


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_help_is_one_screen_of_plain_words(name: str) -> None:
    """One screen (30 lines of 80, the list of commands 50), a sentence for every option, no word of the program's own inside."""
    outcome = typed([*([name] if name else []), "--help"])
    assert outcome.code == 0
    assert len(outcome.out.splitlines()) <= (30 if name else 50)
    assert max(map(len, outcome.out.splitlines())) <= 80
    for word in (
        "pydantic",
        "bench",
        "simpy",
        "bundle",
        "recording",
        "None",
        "PATH_TYPE",
        "<=",
        "FLOAT",
        "RANGE",
        "TODO",
    ):
        assert word not in outcome.out, word
    entries = re.findall(r"^  (-.*)(?:\n {6,}.*)*", outcome.out, re.M)
    assert entries
    for entry in re.findall(r"^  -.*(?:\n {6,}.*)*", outcome.out, re.M):
        assert re.search(r"\S {2,}\S|\n {6,}\S", entry[2:]), f"no explanation: {entry}"


def test_version() -> None:
    """The version is what headers and reports name."""
    assert re.fullmatch(r"weldbeat, version \d+\.\d+.*\n", typed(["--version"]).out)


# -- table and boards -----------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("shop")
def test_table_as_text_json_and_csv_agree() -> None:
    """Three ways to print one table; the sums are the schedule's own times."""
    text = typed(["table", "job.toml"]).out
    data = json.loads(typed(["table", "job.toml", "--json"]).out)
    rows = list(csv.DictReader(io.StringIO(typed(["table", "job.toml", "--csv"]).out)))
    assert data["frequency_Hz"] == 50
    assert data["digest"] in text
    assert [(r["phase"], r["half_cycles"], r["firing_delay_us"]) for r in data["rows"]] == [
        (r["phase"], int(r["half_cycles"]), int(r["firing_delay_us"]) if r["firing_delay_us"] else None) for r in rows
    ]
    # 0.4 s, 2 x (2 + 4) cycles, 20 cycles, 25 cycles, 1 s at 50 Hz
    assert sum(r["half_cycles"] for r in data["rows"]) == 40 + 24 + 40 + 50 + 100
    assert rows[-1]["total_ms"] == "2540.000"
    for row in data["rows"]:
        shown = f" {row['firing_delay_us']} " if row["firing_delay_us"] else ""
        assert re.search(rf"^{row['phase']} +{row['half_cycles']} .*{shown}", text, re.M)
    assert all(f"- {note}" in " ".join(text.split()) for note in data["notes"])


def test_table_says_what_was_rounded(shop: Path) -> None:
    """A rounding is never silent."""
    (shop / "job.toml").write_text(replaced(SCHEDULE, '"20 cycles"', '"413 ms"'))
    out = typed(["table", "job.toml"]).out
    assert "- phase 3: weld: 413 ms becomes 42 half-cycles, 420 ms (+7 ms)" in out


def test_welder_file_is_the_one_here_unless_named(shop: Path) -> None:
    """A welder file named on the command line goes before the one in this folder."""
    here = typed(["table", "job.toml", "--json"])
    (shop / "other.toml").write_text(replaced(WELDER, "load_angle_max_deg = 65", "load_angle_max_deg = 75"))
    other = typed(["table", "job.toml", "--json", "--welder", "other.toml"])
    assert json.loads(here.out)["digest"] != json.loads(other.out)["digest"]
    (shop / "elsewhere").mkdir()
    os.chdir(shop / "elsewhere")
    assert typed(["table", "../job.toml", "--json", "--welder", "../welder.toml"]) == here


def test_boards_lists_what_a_welder_file_may_name(shop: Path) -> None:
    """The names that `boards` prints are those that board.name takes."""
    data = json.loads(typed(["boards", "--json"]).out)
    text = typed(["boards"]).out
    assert {board["name"] for board in data} == {"pico", "pico_w", "pico2", "pico2_w", "pyboard", "esp32"}
    for board in data:
        assert f"{board['name']}: {board['title']}" in text
        (shop / "welder.toml").write_text(replaced(WELDER, '"pico"', f'"{board["name"]}"'))
        outcome = typed(["table", "job.toml"])
        if board["welds"]:
            assert (outcome.code, outcome.err) == (0, "")
            assert f"stop {board['pins']['stop']['gpio']}" in text
        else:
            assert outcome.code == 2
            assert outcome.err.count("\n") == 1
            assert "no hard interrupt" in outcome.err
            assert "no hard interrupt" in text


def test_boards_shows_one_board(shop: Path) -> None:
    """Pins with where they are, what they do at start-up, and the chip's faults with their remedy."""
    text = typed(["boards", "pico2_w"]).out
    for words in (
        "GP4, pin 6 [10, 18]",
        "pull-down, input off",
        "RP2350-E9",
        "8.2 kilo-ohm",
        "GP23",
        "RPI_PICO2_W .uf2",
    ):
        assert words in text
    assert max(map(len, text.splitlines())) <= 120
    assert json.loads(typed(["boards", "pico2_w", "--json"]).out)["pins"]["gate"]["header"] == "6"
    assert "input, floating" in typed(["boards", "pyboard"]).out


def test_pins_of_ones_own_choice_reach_the_firmware(shop: Path) -> None:
    """The gate on another pin, in the file that drives it."""
    (shop / "welder.toml").write_text(replaced(WELDER, "[board]\n", "[board]\npins = {gate = 10, contactor = 11}\n"))
    assert typed(["build", "job.toml", "-o", "firmware"]).code == 0
    config = (shop / "firmware" / "config.py").read_text()
    assert "\nPIN_GATE = 10\n" in config
    assert "\nPIN_CONTACTOR = 11\n" in config
    assert "Pin(10, Pin.OUT, value=0)  # gate" in (shop / "firmware" / "boot.py").read_text()


# -- simulate -------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("shop", "once")
def test_simulate_as_text_and_json() -> None:
    """The verdict for a person and for a program, from the same run."""
    data = json.loads(typed(["simulate", "job.toml", "--json"]).out)
    text = typed(["simulate", "job.toml"]).out
    assert {"verdict", "findings", "half_cycles", "welds"} <= set(data)
    keys = {"name", "severity", "figure", "limit", "unit", "source", "advice"}
    assert all(keys <= set(finding) for finding in data["findings"])
    assert all(finding["source"] for finding in data["findings"])
    assert all(finding["advice"] for finding in data["findings"] if finding["severity"] != "passed")
    assert {finding["severity"] for finding in data["findings"]} <= {"refuse", "caution", "passed"}
    # The welder file of these tests names neither breaker nor switch data: cautions say so.
    assert data["verdict"] == "passed with cautions"
    assert data["welds"] == {"asked": 4, "made": 4, "refused": 0}
    # 2 pulses of 2 cycles and a weld of 20 cycles, four times
    assert {key: data["half_cycles"][key] for key in ("planned", "fired")} == {"planned": 192, "fired": 192}
    assert text.startswith("Verdict: passed with cautions, at 4 welds a minute.\n")
    everything = " ".join(typed(["simulate", "job.toml", "--all"]).out.split())
    for finding in data["findings"]:
        assert f"{finding['name']}: {finding['says']}" in everything
        assert (f"Caution, {finding['name']}: " in text) == (finding["severity"] == "caution")


def test_simulate_refuses_with_exit_code_1_and_advice(shop: Path) -> None:
    """Too fast for the transformer: exit code 1, and a pace that the advice names passes."""
    fast = shell("weldbeat simulate job.toml --welds-per-minute 100 --json", shop)
    data = json.loads(fast.stdout)
    assert (fast.returncode, fast.stderr, data["verdict"]) == (1, "", "refused")
    refusing = [finding for finding in data["findings"] if finding["severity"] == "refuse"]
    # Duty counts the most that the firing may deliver, and refuses before the winding of the machine's middle does.
    assert [finding["name"] for finding in refusing] == ["duty"]
    pace = re.search(r"no faster than (\d+) a minute", refusing[0]["advice"])
    assert pace
    slower = json.loads(typed(["simulate", "job.toml", "--json", "--welds-per-minute", pace[1]]).out)
    assert "refuse" not in {f["severity"] for f in slower["findings"] if f["name"] == "duty"}


def test_simulate_writes_what_is_asked_for(shop: Path) -> None:
    """Report, waveforms and currents, each named in what is printed; nothing else."""
    outcome = typed(
        ["simulate", "job.toml", "--minutes", "0.05", "--report", "r.html", "--vcd", "w.vcd", "--csv", "c.csv"]
    )
    assert outcome.code == 0
    assert outcome.out.endswith("Written: r.html\nWritten: w.vcd\nWritten: c.csv\n")
    assert sorted(contents(shop)) == ["c.csv", "job.toml", "r.html", "w.vcd", "welder.toml"]
    html.parser.HTMLParser().feed((shop / "r.html").read_text(encoding="utf-8"))
    assert (shop / "w.vcd").read_text().startswith("$")
    rows = list(csv.DictReader(io.StringIO((shop / "c.csv").read_text())))
    assert len(rows) == 48
    assert all(float(row["rms_A"]) > 0 for row in rows)


@pytest.mark.usefixtures("shop")
def test_same_seed_same_run() -> None:
    """A verdict that changed from run to run would be worth nothing; another seed is another bench."""
    first, again, other = (
        typed(["simulate", "job.toml", "--minutes", "0.2", "--json", "--seed", seed]).out for seed in ("7", "7", "8")
    )
    assert first == again
    assert first != other


# -- build ----------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("once")
def test_build_twice_gives_the_same_bytes(shop: Path) -> None:
    """The same files give the same firmware to the byte, whatever the folder is called."""
    one, two = typed(["build", "job.toml", "-o", "one"]), typed(["build", "job.toml", "-o", "deep/er/two"])
    assert (one.code, two.code) == (0, 0)
    assert contents(shop / "one") == contents(shop / "deep" / "er" / "two")
    digests = [re.search(r"digest ([0-9a-f]{16})", outcome.out) for outcome in (one, two)]
    assert digests[0]
    assert digests[1]
    assert digests[0][1] == digests[1][1]
    assert "emergency stop" in one.out


@pytest.mark.usefixtures("once")
def test_build_that_is_refused_writes_nothing(shop: Path) -> None:
    """Exit code 1, the reason, and an earlier firmware untouched."""
    assert typed(["build", "job.toml", "-o", "firmware"]).code == 0
    before = contents(shop)
    refused = typed(["build", "job.toml", "-o", "firmware", "--welds-per-minute", "100"])
    assert (refused.code, refused.err) == (1, "")
    assert refused.out.startswith("Verdict: refused")
    assert refused.out.endswith("Nothing was written.\n")
    assert typed(["build", "job.toml", "-o", "new", "--welds-per-minute", "100"]).code == 1
    assert contents(shop) == before


@pytest.mark.usefixtures("once")
def test_build_replaces_an_earlier_firmware_whole(shop: Path) -> None:
    """No file of the earlier one stays, nor anything beside it."""
    assert typed(["build", "job.toml", "-o", "firmware"]).code == 0
    earlier = contents(shop)
    (shop / "job.toml").write_text(replaced(SCHEDULE, "current_percent = 85", "current_percent = 80"))
    assert typed(["build", "job.toml", "-o", "firmware"]).code == 0
    later = contents(shop)
    assert set(later) == set(earlier)
    assert later["firmware/config.py"] != earlier["firmware/config.py"]


@pytest.mark.usefixtures("once")
def test_build_into_an_empty_folder_and_through_a_link(shop: Path) -> None:
    """An empty folder and a link to one are folders like any other; the link stays a link."""
    (shop / "stick").mkdir()
    (shop / "link").symlink_to("stick")
    assert typed(["build", "job.toml", "-o", "link"]).code == 0
    assert (shop / "link").is_symlink()
    assert (shop / "stick" / "main.py").is_file()


# -- the terminal ---------------------------------------------------------------------------------------------------


def test_letters_that_the_terminal_has_not(shop: Path) -> None:
    """A title in any language does not end in a crash where the terminal knows only the letters of western Europe."""
    (shop / "job.toml").write_text('title = "Lábtörlő"\n' + SCHEDULE, encoding="utf-8")
    done = shell("weldbeat table job.toml", shop, encoding="cp1252")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("job: L\xe1bt\xf6rl\\u0151\n")
