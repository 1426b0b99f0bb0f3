"""`faults`: a table with a line a fault, refused where nothing carries one, and a replay of each of its runs."""

from __future__ import annotations

import itertools
import json
import random
from dataclasses import replace
from pathlib import Path

import pytest
from vcd.reader import tokenize

from gen.boards import boards
from gen.cli.faults import faults_json, faults_text
from gen.firmware import FirmwareBundle
from gen.job import read_job
from gen.machine.cut_off import HEADING
from sim.bench.recording import StateChange
from sim.faults.catalogue import FAULTS
from sim.faults.runs import FaultRuns, FaultTarget, case_of, inject_all, run_case
from sim.faults.text import finding_of, verdict_word
from sim.verdict.cut_off import findings_of, fitted_of
from tests.support.cli.command_line import PROTECTION, WELDER, Outcome, contents, replaced, typed
from tests.support.faults.fault_grounds import ground_of

SHORT = """\
frequency_Hz = 50
[[phase]]
squeeze = "0.1 s"
[[phase]]
weld = "6 cycles"
[[phase]]
hold = "5 cycles"
[[phase]]
off = "10 cycles"
"""


def lay_out(folder: Path, protection: str) -> None:
    (folder / "welder.toml").write_text(replaced(WELDER, PROTECTION, protection))
    (folder / "job.toml").write_text(SHORT)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine with all its hardware."""
    lay_out(tmp_path, PROTECTION)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    """What the command prints for that machine, once for all tests that read it."""
    folder = tmp_path_factory.mktemp("shop")
    lay_out(folder, PROTECTION)
    return typed(["faults", str(folder / "job.toml"), "--welder", str(folder / "welder.toml")])


def rows_of(folder: Path, moments: int) -> list[FaultRuns]:
    return inject_all(FaultTarget(read_job(folder / "job.toml", folder / "welder.toml")), 0, moments)


def test_a_protected_machine_survives_everything(table: Outcome) -> None:
    """Exit code 0; each fault has its line; a shorted switch has its own warning; nothing is wider than the screen."""
    assert (table.code, table.err) == (0, "")
    lines = table.out.splitlines()
    assert lines[0].startswith(f"{len(FAULTS)} faults, ")
    for name in FAULTS:
        assert sum(line.startswith(f"{name:<24} ") for line in lines[2:]) == 1, name
    shorted = next(line for line in lines if line.startswith("switch shorted "))
    assert " yes " in shorted, "the contactor ends it, and no person"
    assert int(shorted[24:32]) < 60
    assert "No software stops a shorted switch, or a gate driver stuck on" in " ".join(lines)
    assert any(line.startswith("switch half-wave ") and " unseen " in line for line in lines)
    assert "Caution, switch half-wave: With a sense across the switch" in " ".join(lines)
    assert any(line.startswith("contactor welded shut ") and " yes " in line for line in lines)
    assert max(len(line) for line in lines) <= 80


def test_an_unprotected_machine_is_refused(shop: Path) -> None:
    """A current that nothing named ends is a refusal for each fault that makes one, and says what to fit."""
    lay_out(shop, "")
    rows = rows_of(shop, 2)  # the second fault begins with the weld, before any of its gates
    refused = {row.fault.name for row in rows if not row.safe}
    assert refused == {"switch shorted", "gate driver stuck on", "stop, hung, no test"}
    text = faults_text(rows, ())
    line = next(line for line in text.splitlines() if line.startswith("switch shorted "))
    assert " no end  NO " in line
    assert "switch shorted" in text
    assert "nothing in the welder file" in text
    words = " ".join(text.split())
    assert "Refused, switch shorted: Nothing that the welder file names ends the current. Fit an isolator" in words
    assert max(len(line) for line in text.splitlines()) <= 80
    # A contactor that is not there cannot weld shut.
    assert finding_of(next(row for row in rows if row.fault.name == "contactor welded shut")).severity == "passed"


def test_a_fault_that_the_board_locks_out_for_is_seen(shop: Path) -> None:
    """Unseen is what the board did not notice: with a lockout in every run the same fault needs no person to find it."""
    lay_out(shop, replaced(PROTECTION, "mirror_contact = true\n", ""))
    (row,) = (row for row in rows_of(shop, 1) if row.fault.name == "contactor welded shut")
    assert finding_of(row).severity == "caution"
    (number, outcome), *_ = row.outcomes
    assert not outcome.seen
    after = StateChange(outcome.case.at_s + 0.01, "locked out", "none")
    locked = replace(outcome, recording=replace(outcome.recording, states=(*outcome.recording.states, after)))
    assert finding_of(replace(row, outcomes=((number, locked),))).severity == "passed"
    assert verdict_word(replace(row, outcomes=((number, locked), (number, outcome)))) == "unseen"


ENDINGS = ("contactor", "stop-contact", "over-temperature", "disconnection", "earthing")


def test_what_faults_refuses_build_push_and_flash_refuse(shop: Path) -> None:
    """By the same findings, under the same heading, word for word: `flash` reads them out of the firmware's own files."""
    lay_out(shop, '[protection]\ngate_drive = "one_shot"\n')
    job = read_job(Path("job.toml"))
    job.bundle.write(shop / "firmware")  # as an earlier version, or another hand, would leave it
    ends = findings_of(fitted_of(job.welder, job.board))
    told = [faults_text([], ends)]
    lines = (
        ["build", "job.toml", "-o", "new"],
        ["push", "job.toml", "/dev/nowhere"],
        ["flash", "firmware", "/dev/nowhere"],
    )
    for line in lines:
        outcome = typed(line)
        assert (outcome.code, outcome.err) == (1, ""), line
        told.append(outcome.out.removesuffix("Nothing was sent.\n").rstrip())
    heading = f"{HEADING}: 1 of 6 is fitted.\n"
    told = [text[text.index(heading) :].split("\n\n")[0] for text in told]
    assert [line.split(":")[0] for line in told[0].splitlines() if not line.startswith(" ")][1:] == [
        f"Refused, {name}" for name in ENDINGS
    ]
    assert told[1:] == [told[0]] * 3
    assert not (shop / "new").exists()
    for data in (faults_json([], ends, 0), *(json.loads(typed([*line, "--json"]).out) for line in lines)):
        assert (data["refused"], data["cut_off"]["heading"]) == (True, HEADING)
        assert [f["name"] for f in data["cut_off"]["findings"] if f["severity"] == "refuse"] == list(ENDINGS)


def test_a_firmware_that_does_not_say_what_ends_a_weld_is_not_flashed(shop: Path) -> None:
    """What an earlier version built is built anew, and judged then."""
    bundle = read_job(Path("job.toml")).bundle
    config = "".join(line for line in bundle.files["config.py"].splitlines(True) if not line.startswith("FITTED"))
    FirmwareBundle({**bundle.files, "config.py": config}).named().write(shop / "firmware")
    outcome = typed(["flash", "firmware", "/dev/nowhere"])
    assert (outcome.code, outcome.out) == (2, "")
    assert "does not say what ends a faulty weld; allowed: what `weldbeat build` of this" in outcome.err


def test_nothing_unsafe_passes_the_judgement() -> None:
    """Every machine out of these parts: where a fault's current does not end, what must end it is refused as well."""
    parts = ("isolator", "contactor", "stop_cuts_gate_supply", "stop_cuts_contactor")
    hardware = [name for name, fault in FAULTS.items() if fault.layer == "hardware"]
    unsafe = refused = 0
    for drive, *fitted in itertools.product(("direct", "one_shot"), *[(False, True)] * len(parts)):
        target = ground_of({"protection": {"gate_drive": drive, **dict(zip(parts, fitted))}}, again=False)
        ends = findings_of(fitted_of(target.welder, boards()["pico"]))
        named = all(finding.severity != "refuse" for finding in ends)
        refused += not named
        for name in hardware if named else ("switch shorted",):
            case = case_of(target, (name,), "weld", 0, random.Random(name), 0.1)
            assert case is not None
            safe = run_case(target, case).safe
            unsafe += not safe
            assert safe or not named, (drive, fitted, name)
    assert unsafe > 5
    assert refused > unsafe


def test_a_refusal_in_data(shop: Path) -> None:
    """The same machine without its hardware, for another program."""
    lay_out(shop, "")
    rows = rows_of(shop, 1)
    refused = {row.fault.name for row in rows if not row.safe}
    data = json.loads(json.dumps(faults_json(rows, (), 0)))
    assert data["refused"]
    assert {f["name"] for f in data["faults"] if f["severity"] == "refuse"} == refused
    assert {f["name"] for f in data["faults"] if not f["ends"]} == refused - {"stop, hung, no test"}


def test_an_isolator_is_enough_to_be_told_and_not_refused(shop: Path) -> None:
    """The user's hand on the isolator is named as what carries a shorted switch."""
    lay_out(shop, "[protection]\nisolator = true\n")
    row = next(row for row in rows_of(shop, 1) if row.fault.name == "switch shorted")
    assert row.safe
    assert row.ended_by == "isolator"


def test_a_run_is_replayed_and_its_waveforms_written(shop: Path, table: Outcome) -> None:
    """The run that the table names for a fault injects that fault, and a VCD reader that we did not write reads it."""
    line = next(line for line in table.out.splitlines() if line.startswith("switch shorted "))
    run = line[42:46].strip()
    before = contents(shop)
    outcome = typed(["faults", "job.toml", "--replay", run])
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.startswith(f"Run {run}, seed 0: switch shorted, in ")
    assert "fault begins: switch shorted" in outcome.out
    assert "stop circuit opens" in outcome.out
    assert contents(shop).keys() - before.keys() == {f"fault-{run}.vcd"}
    with open(shop / f"fault-{run}.vcd", "rb") as file:
        assert sum(1 for _ in tokenize(file)) > 100
    named = typed(["faults", "job.toml", "--replay", run, "--vcd", "waves.vcd"])
    assert named.out.replace("waves.vcd", f"fault-{run}.vcd") == outcome.out
    assert (shop / "waves.vcd").read_bytes() == (shop / f"fault-{run}.vcd").read_bytes()


def test_json_is_for_a_program(shop: Path) -> None:
    """Every run with its number, so that a program can replay it."""
    rows = rows_of(shop, 1)
    data = json.loads(json.dumps(faults_json(rows, (), 0)))
    assert not data["refused"]
    assert [fault["name"] for fault in data["faults"]] == list(FAULTS)
    assert all(run["struck_in"] == "weld" for fault in data["faults"] for run in fault["runs"])


def test_the_report_tells_it_too(shop: Path) -> None:
    """Each fault once, and the shorted switch in so many words."""
    assert typed(["simulate", "job.toml", "--minutes", "0.05", "--report", "report.html"]).code in (0, 1)
    page = (shop / "report.html").read_text(encoding="utf-8")
    section = page.partition('<section id="faults">')[2].partition("</section>")[0]
    assert [name for name in FAULTS if f"<td>{name}<br>" in section] == list(FAULTS)
    assert "No software ends the current of a shorted switch" in section
