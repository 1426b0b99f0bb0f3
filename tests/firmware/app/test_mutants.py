"""The mutation campaign's own tool: a sample of its mutants is caught, and it would tell if one were not.

tests/campaigns/mutants.py tries them all. Source of the mutations: PyPI `cosmic-ray`.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SAMPLE = 8

pytest.importorskip("cosmic_ray")
if not sys.platform.startswith("linux"):
    pytest.skip(
        "forks a process for each mutant, and reads the PIO assembler, which is for Linux", allow_module_level=True
    )
from tests.campaigns import mutants  # noqa: E402
from tests.campaigns.mutant_making import (  # noqa: E402
    IN_ANNOTATION,
    IN_TYPE_CHECKING,
    INITIAL,
    OF_STATES,
    OTHER_ONE,
    Mutant,
    mutant,
    targets,
)
from tests.campaigns.mutant_trying import CAUGHT, SURVIVED, Trial  # noqa: E402

DRIVER = "drivers/rp2/driver.py"


def test_a_sample_of_all_mutants_is_caught(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of the application's files; what is not caught must be on the list with its reason. The drivers are the campaign's.

    All of them: `python -m tests.campaigns.mutants results.jsonl`.
    """
    arguments = [str(tmp_path / "results"), "--sample", str(SAMPLE), "--only", "app"]
    command = [sys.executable, "-m", "tests.campaigns.mutants", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    figures = re.search(r"^all: (\d+) made, (\d+) caught, (\d+) timed out, (\d+) survived", done.stdout, re.MULTILINE)
    assert figures is not None
    made, *outcomes = (int(figure) for figure in figures.groups())
    assert made == sum(outcomes) == SAMPLE
    # What was tried before is not tried again.
    assert mutants.main(arguments) == 0
    assert f"{SAMPLE} tried before, 0 to try" in capsys.readouterr().out


def test_every_file_of_the_board_is_a_target() -> None:
    """The application, and the driver of each family; each with tests to run."""
    paths = targets(mutants.TEMPLATES)
    assert {"app/supervisor.py", "app/lock.py", DRIVER} <= set(paths)
    assert set(mutants.settings().tests) == set(paths)


def test_a_mutant_is_one_change_to_one_line() -> None:
    """And compiles; what stands in annotations or is for mypy alone is passed over, and said to be."""
    found = mutants.of_file("app/lock.py")
    assert len(found) > 300
    made = mutant(mutants.TEMPLATES, found[-1])
    assert isinstance(made, Mutant)
    source = (mutants.TEMPLATES / "app/lock.py").read_text(encoding="utf-8")
    changed = [n for n, (old, new) in enumerate(zip(source.split("\n"), made.text.split("\n")), 1) if old != new]
    assert changed == [found[-1].number]
    reasons = {it.silent for path in targets(mutants.TEMPLATES) for it in mutants.of_file(path)}
    assert "" in reasons
    assert reasons <= {"", IN_ANNOTATION, IN_TYPE_CHECKING, OF_STATES}
    assert IN_ANNOTATION in reasons


def test_the_list_names_what_is_there() -> None:
    """By function, operator and number, never by what a line says; each place on the list is some mutation that is tried."""
    there = {mutants.name_of(it): it for path in targets(mutants.TEMPLATES) for it in mutants.of_file(path)}
    content = tomllib.loads(mutants.SETTINGS.read_text(encoding="utf-8"))
    places = [place for places in content["known"].values() for place in places]
    named = [{name[:3] for name in mutants.named(place)} for place in places]
    assert all(len(names) == 1 for names in named), [place for place, names in zip(places, named) if not names]
    known = mutants.settings().known
    assert not any(there[name].silent or there[name].rule for name in known), "listed, and passed over or a rule's"


def test_a_rule_speaks_of_its_own_places_alone() -> None:
    """An initial value in `__init__` and nowhere else; `1 - x` and no other difference; of `==` none that asks of a text."""
    found = mutants.of_file("app/store.py")
    assert {it.function.split(".")[1] for it in found if it.rule == INITIAL} == {"__init__"}
    assert {(it.function, it.operator[22:]) for it in found if it.rule == OTHER_ONE} == {
        ("Store.write", "Sub_BitXor"),
        ("Store.write", "Sub_RShift"),
    }
    asks_of_text = [it for it in mutants.of_file("app/line.py") if it.function == "Line._answer_line"]
    assert not any(it.rule for it in asks_of_text)


def test_a_survivor_that_is_not_listed_and_a_listed_one_that_is_caught_are_reported(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Either is exit code 1; neither is 0."""
    mutation = mutants.of_file("app/clock.py")[0]
    survived = Trial(mutation, SURVIVED, "", 1.0, "a", "b")
    caught = Trial(mutation, CAUGHT, "test", 1.0, "a", "b")
    name = mutants.name_of(mutation)
    assert mutants.report([survived], {}, {"app/clock.py"}) == 1
    assert "NOT LISTED" in capsys.readouterr().out
    assert mutants.report([survived], {name: "the same"}, {"app/clock.py"}) == 0
    assert "the same" in capsys.readouterr().out
    assert mutants.report([caught], {name: "the same"}, {"app/clock.py"}) == 1
    assert "listed and no survivor" in capsys.readouterr().out
    assert mutants.report([caught], {}, {"app/clock.py"}) == 0
    assert mutants.report([caught], {name: "the same"}, set()) == 0
