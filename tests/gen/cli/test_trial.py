"""`weldbeat trial` as its user goes through it: next, add, show, keep, and what the verdict forbids.

No source outside: machines and joints are invented. The estimate itself is held against outside methods elsewhere.
"""

from __future__ import annotations

import difflib
import itertools
import json
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from gen.records import Records
from sim.run import Run
from tests.support.cli.command_line import WELDER, contents, replaced, typed
from tests.support.cli.scrap import JOINT, MACHINE, SCHEDULE, add, set_out, watched, weld_of, well
from tests.support.judged_once import simulate_once

SLOWLY = ("--pace", "1")  # a weld a minute: as on scrap, and sooner simulated


@pytest.fixture(scope="module")
def simulated() -> dict[str, Run]:
    """What these trials were judged by."""
    return {}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, simulated: dict[str, Run]) -> Path:
    simulate_once(monkeypatch, simulated, 0.05)
    return set_out(tmp_path, monkeypatch)


# -- the way through --------------------------------------------------------------------------------------------------


def test_from_the_suggestion_to_a_schedule_that_holds(here: Path) -> None:
    """Ask, weld, note, ask again. The joint (invented) tears the parent metal from 0.9 s and expels from 1.5 s on.

    Its force is read off a spring, so that a few welds do. What is kept at the end lies between, the verdict lets every weld on
    the way by, and each file is ready to push.
    """
    (here / "rungs.toml").write_text(JOINT + 'force_N = 1000\nforce_measured = "spring"\n')
    for n in itertools.count(1):
        assert n < 12
        told = well("next", "rungs.toml", "-o", "try.toml", *SLOWLY)
        assert "Try " in told
        assert "Wear eye protection" in told
        time_s, _ = weld_of(here / "try.toml")
        came = "no-bond" if time_s < 0.5 else "broke-at-joint" if time_s < 0.9 else "tore-parent"
        add(came, *(["--expulsion", "late"] if time_s > 1.5 else []), schedule="try.toml")
        if "settled" in told.lower():
            break
    assert "good window at 100 %" in well("show", "rungs.toml").lower()
    kept = well("keep", "rungs.toml", "-o", "kept.toml", *SLOWLY)
    assert 0.9 <= weld_of(here / "kept.toml")[0] <= 1.5
    assert kept.endswith("Written: kept.toml. Next: weldbeat push kept.toml --select --pace 1\n")
    assert "rungs" in well("compare")
    well("page", "rungs.toml", "-o", "rungs.html")
    assert typed(["simulate", "kept.toml"]).code == 0


def test_the_next_schedule_keeps_its_writers_words(here: Path) -> None:
    """Only the weld time and, where another is asked for, the percent change; comments, order and spaces stay."""
    add("no-bond")
    well("next", "rungs.toml", "-o", "try.toml", "--percent", "80", *SLOWLY)
    before, after = SCHEDULE.splitlines(), (here / "try.toml").read_text(encoding="utf-8").splitlines()
    changed = [line for line in difflib.ndiff(before, after) if line[0] in "+-"]
    cycles = round(weld_of(here / "try.toml")[0] * 50)
    assert changed == [
        "- weld = '30 cycles'   # to be found",
        f'+ weld = "{cycles} cycles"   # to be found',
        "- current_percent = 90.0 # of the tap",
        "+ current_percent = 80 # of the tap",
    ]


def test_the_next_schedule_never_goes_over_an_untried_file(here: Path) -> None:
    """One that was tried is in the records, text and all, so that a newer one may take its place; no other file is."""
    line = ["trial", "next", "rungs.toml", "-o", "try.toml", *SLOWLY]
    assert typed(line).code == 0
    before = contents(here)
    assert "exists already" in typed(line).err
    assert contents(here) == before
    add("no-bond", schedule="try.toml")
    assert typed(line).code == 0
    with Records(here / "records.sqlite") as records:
        assert records.trials()[0].text.encode() == before["try.toml"]


def test_next_for_another_program(here: Path, simulated: dict[str, Run]) -> None:
    """JSON holds the setting, its reason, its chances and the schedule; the same question has the same answer."""
    add("broke-at-joint", "--setdown", "0.2")
    first = well("next", "rungs.toml", "--json", *SLOWLY)
    simulated.clear()
    assert well("next", "rungs.toml", "--json", *SLOWLY) == first
    data = json.loads(first)
    assert set(data["setting"]) == {"time_s", "percent"}
    assert data["why"]
    assert math.isclose(sum(data["chances"][key] for key in ("no_bond", "broke", "tore")), 1, abs_tol=1e-6)
    phases = tomllib.loads(data["schedule"])["phase"]
    assert phases[1]["weld"] == f"{round(data['setting']['time_s'] * 50)} cycles"


def test_without_a_handbook_the_user_says_where_to_look(here: Path) -> None:
    """Exit code 1 and what would help; with --between the same question is answered."""
    (here / "welder.toml").write_text(WELDER)
    add("no-bond")
    silent = typed(["trial", "next", "rungs.toml", "-o", "try.toml"])
    assert silent.code == 1
    assert "--between 0.5,2" in silent.out
    assert "open_secondary_V" in silent.out
    assert not (here / "try.toml").exists()
    assert "No estimate" in well("show", "rungs.toml")
    assert "Try " in well("next", "rungs.toml", "--between", "0.3,2", "-o", "try.toml")


# -- what the verdict forbids -----------------------------------------------------------------------------------------


def test_no_weld_is_offered_that_the_verdict_forbids(here: Path) -> None:
    """Cold trials drive the search up to the duty limit and no further; the limit is reported, and a slower pace moves it."""
    for _ in range(3):
        add("no-bond", "--note", "cold")
    pace = ("--pace", "8")
    told = well("next", "rungs.toml", "-o", "fast.toml", *pace)
    assert "The verdict forbids, at 8 welds a minute" in told
    assert "the rating plate allows" in " ".join(told.split())
    assert typed(["simulate", "fast.toml", *pace]).code == 0
    refused = [float(found) for found in re.findall(r"\((\S+) s\) at 90 %: The welds", told)]
    assert refused
    assert weld_of(here / "fast.toml")[0] < min(refused)
    well("next", "rungs.toml", "-o", "slow.toml", "--pace", "1")
    assert weld_of(here / "slow.toml")[0] > weld_of(here / "fast.toml")[0]


def test_what_comes_next_is_judged_at_the_same_pace(here: Path) -> None:
    """The push that is printed names the pace that was asked for, and may be typed as it stands; here no board answers."""
    told = well("next", "rungs.toml", "-o", "try.toml", "--pace", "max")
    command = "weldbeat push try.toml --select --pace max"
    assert f"Next: {command}\n" in told
    sent = typed([*command.split()[1:], "--", "no-such-port"])
    assert (sent.code, sent.err.count("\n")) == (2, 1)
    assert "no-such-port" in sent.err


def test_nothing_is_kept_that_the_verdict_forbids(here: Path) -> None:
    """A machine that may not weld so long: exit code 1, no file, no record."""
    add("tore-parent")
    (here / "welder.toml").write_text(replaced(MACHINE, 'longest_weld = "3 s"', 'longest_weld = "0.1 s"'))
    with Records(here / "records.sqlite") as records:
        trials = records.trials()
    before = contents(here)
    for command in ("keep", "next"):
        outcome = typed(["trial", command, "rungs.toml", "--between", "0.5,0.9", "-o", "kept.toml"])
        assert (outcome.code, outcome.err) == (1, "")
    assert contents(here) == before
    with Records(here / "records.sqlite") as records:
        assert (records.trials(), records.kept()) == (trials, [])


# -- what belongs to a trial ------------------------------------------------------------------------------------------


def test_everything_told_is_kept_as_told(here: Path) -> None:
    """All that may be measured, beside the files as they were; weld time counted in the table, slopes inside."""
    text = replaced(SCHEDULE, "current_percent = 90.0 # of the tap", 'current_percent = 90.0\nupslope = "5 cycles"')
    (here / "job.toml").write_text(text, encoding="utf-8")
    more = "--expulsion early --force 900 --setdown 0.4 --strength 5200 --twist 12.5 --nugget 3.1 --dressed"
    add("tore-parent", *more.split(), "--note", "Öl an der Stange")
    with Records(here / "records.sqlite") as records:
        (trial,) = records.trials("rungs")
    assert (trial.weld_s, trial.percent, trial.outcome, trial.expulsion) == (0.6, 90, "tore parent", "early")
    measured = (trial.force_N, trial.setdown_mm, trial.strength_N, trial.twist_Nm, trial.nugget_mm, trial.dressed)
    assert measured == (900, 0.4, 5200, 12.5, 3.1, 1)
    assert (trial.text, trial.joint_text, trial.note) == (text, JOINT, "Öl an der Stange")
    assert trial.digest == json.loads(typed(["table", "job.toml", "--json"]).out)["digest"]
    shown = well("show", "rungs.toml")
    for words in ("early", "0.4", "5200", "12.5", "3.1", "Öl an der Stange", "1*", "* just after the electrodes"):
        assert words in shown


def test_reminders(here: Path) -> None:
    """Force first when expulsion is early; dress after so many welds, and try again after it (common practice, no source)."""
    add("broke-at-joint", "--expulsion", "early")
    add("broke-at-joint")
    assert "dress" not in well("next", "rungs.toml", "--dress-every", "3", *SLOWLY)
    assert "dress" in well("next", "rungs.toml", "--dress-every", "2", *SLOWLY)
    add("broke-at-joint", "--dressed", "--expulsion", "early")
    told = well("next", "rungs.toml", "--dress-every", "2", *SLOWLY)
    assert "dress them" not in told
    assert "force" in told


def test_a_trial_noted_wrongly_can_be_taken_out(here: Path) -> None:
    add("no-bond")
    add("tore-parent")
    assert well("remove", "rungs.toml", "1").startswith("Removed: trial 1 of rungs")
    with Records(here / "records.sqlite") as records:
        assert [(trial.number, trial.outcome) for trial in records.trials()] == [(2, "tore parent")]


def test_another_joint_under_the_same_name(here: Path) -> None:
    """Trials of 4 mm rods say nothing of 5 mm ones: one message, and the records stay."""
    add("no-bond")
    (here / "rungs.toml").write_text("rods_mm = [4, 5]\n")
    before = contents(here)
    message = "rungs.toml: rods_mm: [4.0, 5.0] given; trial 1 of rungs was made with it [4.0, 4.0]"
    for line in (["add", "rungs.toml", "job.toml", "--outcome", "no-bond"], ["next", "rungs.toml"]):
        outcome = typed(["trial", *line])
        assert outcome.code == 2
        assert outcome.err == f"weldbeat: {message}; allowed: a file of another name\n"
    assert contents(here) == before


# -- welds that were watched ------------------------------------------------------------------------------------------


def test_a_watched_weld_is_joined_once(here: Path) -> None:
    """By board, start and count, with the time at which it ended; no weld is two trials."""
    watched(here)
    watched(here, count=13, ended_at="2026-03-01T08:05:00Z")
    add("no-bond", "--last")
    add("no-bond", "--weld", "7/12")
    with Records(here / "records.sqlite") as records:
        found = [(trial.board, trial.boot, trial.count, trial.tried_at) for trial in records.trials()]
    assert found == [("pico-1", 7, 13, "2026-03-01T08:05:00Z"), ("pico-1", 7, 12, "2026-03-01T08:00:00Z")]
    again = typed(["trial", "add", "rungs.toml", "job.toml", "--outcome", "no-bond", "--weld", "7/12"])
    assert again.err.endswith("--weld: 7/12 given; weld 7/12 is trial 2 of rungs already; allowed: another weld\n")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"digest": "0" * 16, "schedule": "other"}, "that was other, digest 0000000000000000; this schedule has"),
        ({"ending": "released", "fired": 22}, "that ended as released, 22 of 60 half-cycles fired"),
        ({"fired": 58}, "58 of 60 half-cycles fired"),
    ],
)
def test_a_watched_weld_that_was_another_is_not_joined(here: Path, changes: dict[str, Any], words: str) -> None:
    watched(here, **changes)
    outcome = typed(["trial", "add", "rungs.toml", "job.toml", "--outcome", "no-bond", "--weld", "7/12"])
    assert outcome.code == 2
    assert words in outcome.err
    with Records(here / "records.sqlite") as records:
        assert records.trials() == []
