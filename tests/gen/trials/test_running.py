"""A sitting of trials with a scripted person and scripted welds: what is kept, undone, left, taken up again and not advised.

No source outside. The records, the estimate and the schedules are the real ones; the terminal and the board are tried in
tests/gen/cli/test_trial_run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import pytest

from gen.ask import NotTaken, Stopped
from gen.begin import demo_files
from gen.job import Job
from gen.machine import WELDER_FILE
from gen.records import Records, TrialRecord, WeldRecord
from gen.trials import Bounds, Forbidden, NextWeld, Operator, TrialRun, recorded
from gen.trials.running import Left
from gen.words import COMPLETED, ENDING_NAMES

T = TypeVar("T")
END = ENDING_NAMES[COMPLETED]


class Person:
    """Presses `keys` and answers `answers` in order; with none left it stops, as Ctrl-C does."""

    def __init__(self, keys: str = "", answers: tuple[str, ...] = (), agrees: bool = True) -> None:
        self.keys, self.answers, self.agrees = list(keys), list(answers), agrees
        self.said: list[str] = []
        self.welds: list[NextWeld] = []

    def yes(self, question: str) -> bool:
        self.said.append(question)
        return self.agrees

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        while True:
            if not self.answers:
                raise Stopped
            try:
                return read(self.answers.pop(0) or typical)
            except NotTaken as error:
                self.said.append(str(error))

    def say(self, text: str) -> None:
        self.said.append(text)

    def shown(self, weld: NextWeld) -> None:
        self.welds.append(weld)

    def key(self, question: str, keys: Mapping[str, str]) -> str:
        self.said.append(question)
        if not self.keys:
            raise Stopped
        assert self.keys[0] in keys, (question, self.keys[0])
        return self.keys.pop(0)


class Bench:
    """Makes welds one after another: None unseen, a letter, or "weld" for one that the records see."""

    def __init__(self, *made: str | None) -> None:
        self.made_next: Iterator[str | None] = iter(made)
        self.jobs: list[Job] = []

    def made(self, schedule: Path, job: Job, operator: Operator) -> WeldRecord | Left | None:
        assert schedule.stem == job.table.name == "rungs-try"
        self.jobs.append(job)
        found = next(self.made_next, "q")
        if found != "weld":
            return found  # type: ignore[return-value]
        return see(job, len(self.jobs))


def see(job: Job, count: int) -> WeldRecord:
    """The weld as `watch` keeps it, in a year after every trial."""
    table = job.table
    fired = table.fired_half_cycles
    weld = WeldRecord(
        "bench", 1, count, f"2099-01-01T00:00:{count:02}Z", END, fired, fired, 10, table.name, table.digest
    )
    with Records.beside(Path(WELDER_FILE)) as records:
        records.add_welds([weld])
    return weld


@pytest.fixture(autouse=True)
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A joint file in a user's folder, its machine that of the demonstration."""
    monkeypatch.chdir(tmp_path)
    Path(WELDER_FILE).write_text(demo_files()[WELDER_FILE])
    Path("rungs.toml").write_text("rods_mm = [5, 8]\n")
    return tmp_path


def no_judge(_: Job, __: float | None) -> None:
    return None


def sitting(person: Person, bench: Bench, **bounds: Any) -> TrialRun:
    given: dict[str, Any] = {"judge": no_judge, "bearable": lambda *_: None, "between_s": (0.4, 2.0)} | bounds
    return TrialRun(Bounds(Path("rungs.toml"), None, **given), person, bench, pace=4)


def trials() -> list[TrialRecord]:
    return recorded(None, "rungs")[0]


def test_a_key_and_digits_make_a_trial_and_the_next_weld_follows() -> None:
    """Three welds, one with metal that flew late; a comma will do in a setdown, and one larger than the rods is asked again."""
    person = Person("ntlb", ("", "0,4", "99", "0.2"))
    run = sitting(person, Bench(None, None, "d", None))
    assert run.go()
    assert [(t.outcome, t.expulsion, t.setdown_mm, t.dressed) for t in trials()] == [
        ("no bond", "none", None, 0),
        ("tore parent", "none", 0.4, 0),
        ("broke at joint", "late", 0.2, 1),
    ]
    assert run.noted == 3
    assert [weld.number for weld in person.welds] == [1, 2, 3, 3, 4]
    assert all(f"{w.cycles} cycles" in w.setting for w in person.welds)
    assert any("less than 13" in said for said in person.said)
    # What was tried is what was shown, and it is on no schedule of the user's.
    assert [round(t.weld_s * 50) for t in trials()] == [
        w.cycles for w in (person.welds[0], person.welds[1], person.welds[2])
    ]
    assert list(Path().glob("*try*")) == []


def test_an_outcome_is_changed_or_taken_out() -> None:
    """`u` asks for the one before again, at the weld and at the outcome; `s` then takes it out; leaving changes nothing."""
    sitting(Person("n", ("",)), Bench(None)).go()
    sitting(Person("t", ("0.3",)), Bench("u")).go()
    assert [(t.number, t.outcome, t.setdown_mm) for t in trials()] == [(1, "tore parent", 0.3)]
    before = trials()
    sitting(Person("uqq"), Bench(None)).go()
    assert trials() == before
    person = Person("unb", ("", "0.1"))
    assert sitting(person, Bench(None)).go()
    assert [(t.number, t.outcome, t.setdown_mm) for t in trials()] == [(1, "no bond", None), (2, "broke at joint", 0.1)]
    sitting(Person("s"), Bench("u")).go()
    assert [t.number for t in trials()] == [1]
    person = Person("s")
    sitting(Person("s"), Bench("u")).go()
    sitting(person, Bench("u")).go()
    assert "No trial to take back." in person.said


def test_a_weld_that_was_seen_and_left_waits_for_its_outcome() -> None:
    """Stopped at the question: nothing is noted, and the next sitting asks for that very weld, once, and joins it."""
    with pytest.raises(Stopped):
        sitting(Person(""), Bench("weld")).go()
    assert trials() == []
    person = Person("t", ("0.3",))
    run = sitting(person, Bench())
    assert run.go()
    assert any("has no outcome yet" in said for said in person.said)
    (trial,) = trials()
    assert (trial.board, trial.boot, trial.count, trial.tried_at) == ("bench", 1, 1, "2099-01-01T00:00:01Z")
    again = Person()
    assert sitting(again, Bench()).go()
    assert again.said == []


def test_a_weld_that_is_not_to_be_counted_is_not_asked_for_again() -> None:
    person = Person("s")
    bench = Bench("weld")
    assert sitting(person, bench).go()
    assert trials() == []
    assert len(person.welds) == 2


@pytest.mark.parametrize("keys", ["", "t", "l", "u"])
def test_stopped_anywhere_leaves_old_or_nothing(keys: str) -> None:
    """The end of what is typed, at each question in turn: the trials are as before."""
    sitting(Person("n", ("",)), Bench(None)).go()
    before = trials()
    with pytest.raises(Stopped):
        sitting(Person(keys), Bench(None)).go()
    assert trials() == before


LONGEST_S = 0.6


def too_long(job: Job, pace: float | None) -> Forbidden | None:
    """A duty limit: at 4 a minute 0.6 s, at 1 a minute four times as much."""
    weld_s = job.table.fired_half_cycles * 0.5 / job.table.frequency_Hz
    return Forbidden("heat", "Too hot.") if pace and weld_s > LONGEST_S * 4 / pace else None


def bearable(job: Job, pace: float) -> float | None:
    weld_s = job.table.fired_half_cycles * 0.5 / job.table.frequency_Hz
    return round(min(pace, LONGEST_S * 4 / weld_s) - 0.05, 1)


def test_the_remedy_comes_first_and_is_taken() -> None:
    """Cold welds at the limit: the pace at which the better weld is allowed is said before any weld, and then it is shown."""
    for _ in range(3):
        sitting(Person("n", ("",), agrees=False), Bench(None), judge=too_long, bearable=lambda *_: None).go()
    person = Person()
    run = sitting(person, Bench(), judge=too_long, bearable=bearable)
    assert run.go()
    assert person.said[0].startswith("Weld no faster than ")
    assert "likely to be good" in person.said[0]
    assert person.said[1].startswith("Work at ")
    assert run.pace is not None
    assert run.pace < 4
    assert person.welds[0].cycles > LONGEST_S * 50


def test_the_same_weld_is_not_advised_in_vain() -> None:
    """Where the better weld stays forbidden, the best that is allowed is advised until two were made for nothing, and no more."""
    for _ in range(8):
        person = Person("n", ("",), agrees=False)
        if not sitting(person, Bench(None), judge=too_long, bearable=bearable).go():
            break
    person = Person()
    assert not sitting(person, Bench(), judge=too_long, bearable=lambda *_: None).go()
    longest = [t for t in trials() if t.weld_s * 1.1 >= max(t.weld_s for t in trials())]
    assert 2 <= len(longest) <= 4
    assert len(trials()) < 7
    assert "it is not advised again" in person.said[-1]
    assert person.welds == []


def test_a_window_beyond_all_that_is_allowed_is_said_and_ends_the_search() -> None:
    """Nothing that was asked for on the way is likelier good than the longest weld; the weld that would be is too long by far."""
    beyond: dict[str, Any] = {"between_s": (2.5, 12.0)}
    for _ in range(6):
        if not sitting(Person("n", ("",), agrees=False), Bench(None), **beyond).go():
            break
    assert 2 <= len(trials()) <= 4
    person = Person()
    assert not sitting(person, Bench(), **beyond).go()
    assert "is forbidden at any pace" in person.said[-2]
    assert "limits.longest_weld" in person.said[-2]
    assert "it is not advised again" in person.said[-1]


def test_without_an_idea_of_the_joint_nothing_is_shown() -> None:
    Path(WELDER_FILE).write_text(demo_files()[WELDER_FILE].replace("\nopen_secondary_V = 2.4", ""))
    person = Person()
    assert not sitting(person, Bench(), between_s=None).go()
    assert person.said[0].startswith("No estimate")


def test_a_trial_in_its_place() -> None:
    """The records change one trial and leave the others as they are."""
    for _ in range(2):
        sitting(Person("n", ("",)), Bench(None)).go()
    first, second = trials()
    with Records.beside(Path(WELDER_FILE)) as records:
        records.replace_trial(replace(first, outcome="tore parent"))
    assert trials() == [replace(first, outcome="tore parent"), second]
