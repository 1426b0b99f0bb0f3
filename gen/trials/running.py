"""A run of trials: the next weld is shown, sent to the board and watched, one key records its outcome, the next follows.

All state is in the records, so a run may be left at any question and continued later. The front end passes in the operator's
side and the source of the welds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, Protocol

from gen.ask import Ask, NotTaken, number
from gen.job import Job
from gen.joint import Joint
from gen.machine import WELDER_FILE, Welder
from gen.records import Records, TrialRecord, WeldRecord
from gen.trials.adding import add_trial, remove_trial
from gen.trials.better import better_weld
from gen.trials.dialling import DRESS_EVERY, Proposal, propose, verdicts_on
from gen.trials.joints import Compute, Known, known_of, recorded
from gen.trials.values import OUTCOMES, Expulsion, Outcome, Setting
from gen.trials.verdicts import Forbidden
from gen.trials.wording import good_text, not_known, setting_text
from gen.user_files import figure
from gen.words import COMPLETED, ENDING_NAMES
from gen.writing import write_whole

LEAVE, UNDO, DRESSED, NOT_COUNTED = "q", "u", "d", "s"
EARLY, LATE = "e", "l"
OUTCOME_KEYS: Mapping[str, Outcome] = {"n": "no bond", "b": "broke at joint", "t": "tore parent"}
_EXPULSION_KEYS: Mapping[str, Expulsion] = {EARLY: "early", LATE: "late"}
_TRY = "-try"
_NAME = 32  # letters of the longest schedule name

Left = Literal["q", "u", "d"]


@dataclass(frozen=True)
class NextWeld:
    """The display before a weld: the figures to set, the chance of a good weld, and the reminders."""

    number: int
    cycles: int
    percent: float
    setting: str
    likely: str
    why: str
    settled: bool
    reminders: tuple[str, ...]


class Operator(Ask, Protocol):
    """The operator, reached through a front end. Each call may raise `Stopped`."""

    def say(self, text: str) -> None:
        """Show a sentence."""

    def shown(self, weld: NextWeld) -> None:
        """Show the next weld, its figures large."""

    def key(self, question: str, keys: Mapping[str, str]) -> str:
        """Ask for one of `keys`, each with its meaning."""


class WeldsSeen(Protocol):
    """The source of the welds: a board that receives the schedule, or an operator at a machine without a cable."""

    def made(self, schedule: Path, job: Job, operator: Operator) -> WeldRecord | Left | None:
        """Wait for the next weld with this schedule. None: it was made, but not watched. A letter: the key pressed instead."""


@dataclass(frozen=True)
class Bounds:
    """The files of a joint, and the judgements on a weld.

    `judge`: the reason that forbids a job at a pace, None where it is allowed. `bearable`: the fastest pace at which a job is
    allowed. `compute`: as of `known_of`.
    """

    joint: Path
    welder: Path | None
    judge: Callable[[Job, float | None], Forbidden | None]
    bearable: Callable[[Job, float], float | None]
    schedule: Path | None = None
    between_s: tuple[float, float] | None = None
    percent: float | None = None
    dress_every: int = DRESS_EVERY
    compute: Compute | None = None


@dataclass
class TrialRun:
    """One session of trials. `pace`: welds a minute, None for the fastest that can continue indefinitely."""

    bounds: Bounds
    operator: Operator
    welds: WeldsSeen
    pace: float | None
    noted: int = 0
    _not_counted: set[tuple[str, int, int, str]] = field(default_factory=set)
    _dressed: bool = False
    _frequency_Hz: int = 0

    def _known(self) -> tuple[Known, Welder]:
        bounds = self.bounds
        return known_of(bounds.joint, bounds.welder, bounds.between_s, bounds.compute)

    def go(self) -> bool:
        """Run weld after weld until the operator leaves or none is proposed. Returns whether any was proposed."""
        while True:
            known, welder = self._known()
            belief = known.belief
            if belief is None:
                self.operator.say("\n".join(not_known(known)))
                return False
            name = try_name(known)
            judge = lambda job: self.bounds.judge(job, self.pace)  # noqa: E731
            verdicts = verdicts_on(known, welder, self.bounds.schedule, Path(f"{name}.toml"), judge)
            found = propose(known, belief, verdicts, self.bounds.percent, self.bounds.dress_every)
            setting, frequency = found.advice.setting, welder.mains.frequency_Hz
            self._frequency_Hz = frequency
            better = better_weld(setting, belief, verdicts, known.records, self._bearable)
            if better is not None:
                self.operator.say(better.remedy(frequency))
                if better.pace is not None and self.operator.yes(
                    f"Work at {better.pace:g} welds a minute from now on?"
                ):
                    self.pace = better.pace
                    continue
                if better.in_vain and setting is not None:
                    self.operator.say(better.in_vain_text(setting, frequency))
                    return False
            if setting is None or found.text is None:
                self.operator.say(f"No weld to try: {found.advice.why}.")
                return False
            if not self._weld(known, found, setting, name, verdicts.job(setting)):
                return True

    def _bearable(self, job: Job) -> float | None:
        return None if self.pace is None else self.bounds.bearable(job, self.pace)

    def _weld(self, known: Known, found: Proposal, setting: Setting, name: str, job: Job) -> bool:
        """One weld and its outcome. Returns whether to continue."""
        assert found.text is not None
        with TemporaryDirectory() as scratch:
            schedule = Path(scratch, f"{name}.toml")
            write_whole(schedule, found.text)
            weld = self._waiting(job)
            if weld is not None:
                self.operator.say(f"The weld of {weld.ended_at}, {name}, has no outcome yet.")
                return self._outcome(known, schedule, weld)
            self.operator.shown(_shown(known, found, setting, job.table.frequency_Hz))
            made = self.welds.made(schedule, job, self.operator)
            if made == LEAVE:
                return False
            if made == UNDO:
                self._undo(known)
                return True
            if made == DRESSED:
                self._dressed = True
                return True
            assert not isinstance(made, str)
            return self._outcome(known, schedule, made)

    def _waiting(self, job: Job) -> WeldRecord | None:
        """A completed watched weld of this schedule, later than the last trial, that has no outcome yet."""
        with Records.beside(self.bounds.welder or Path(WELDER_FILE)) as records:
            welds, trials = records.welds(), records.trials()
        joined = {(t.board, t.boot, t.count, t.tried_at) for t in trials} | self._not_counted
        last = max((t.tried_at for t in trials if t.joint == self.bounds.joint.stem), default="")
        found = [
            w
            for w in welds
            if w.digest == job.table.digest
            and w.ended_at >= last
            and completed(w)
            and (w.board, w.boot, w.count, w.ended_at) not in joined
        ]
        return found[-1] if found else None

    def _outcome(self, known: Known, schedule: Path, weld: WeldRecord | None) -> bool:
        """Ask for the weld's outcome, and record it. Returns whether to continue."""
        while True:
            observed = self._observed("What came of it?", known.joint)
            if observed == UNDO:
                self._undo(known)
                known, _ = self._known()
                continue
            if observed == LEAVE:
                return False
            if observed == NOT_COUNTED:
                if weld is not None:
                    self._not_counted.add((weld.board, weld.boot, weld.count, weld.ended_at))
                return True
            assert not isinstance(observed, str)
            which = None if weld is None else (weld.boot, weld.count)
            added = add_trial(
                self.bounds.joint, schedule, self.bounds.welder, observed | {"dressed": int(self._dressed)}, which
            )
            self._dressed = False
            self.noted += 1
            self.operator.say(f"Trial {added.record.number}: {_words(added.record, added.frequency_Hz)}.")
            return True

    def _undo(self, known: Known) -> None:
        """Ask for the last trial's outcome again. The old outcome stays until a new one is recorded."""
        trials, _ = recorded(self.bounds.welder, self.bounds.joint.stem)
        if not trials:
            self.operator.say("No trial to take back.")
            return
        last = trials[-1]
        said = _words(last, self._frequency_Hz)
        observed = self._observed(f"Trial {last.number} was noted as {said}. What came of it?", known.joint)
        if observed in (UNDO, LEAVE):
            self.operator.say("The trial is unchanged.")
            return
        if observed == NOT_COUNTED:
            remove_trial(self.bounds.joint, last.number, self.bounds.welder)
            self.operator.say(f"Trial {last.number} is removed.")
            return
        assert not isinstance(observed, str)
        with Records.beside(self.bounds.welder or Path(WELDER_FILE)) as records:
            records.replace_trial(
                replace(last, **{key: observed[key] for key in ("outcome", "expulsion", "setdown_mm")})
            )
        self.operator.say(f"Trial {last.number} is changed.")

    def _observed(self, question: str, joint: Joint) -> dict[str, Any] | str:
        """A weld's outcome, as `add_trial` takes it, or the letter of the key pressed instead."""
        expulsion: Expulsion = "none"
        keys = dict(OUTCOME_KEYS)
        also = {EARLY: "metal flew early", LATE: "metal flew late"}
        rest = {NOT_COUNTED: "not to be counted", UNDO: "change the one before", LEAVE: "leave"}
        while True:
            key = self.operator.key(question, keys | also | rest)
            if key in rest:
                return key
            if key in _EXPULSION_KEYS:
                expulsion, also, question = (
                    _EXPULSION_KEYS[key],
                    {},
                    f"Metal flew {_EXPULSION_KEYS[key]}. And the joint?",
                )
                continue
            setdown = self.operator.answer("Setdown, mm", _setdown(joint), "none")
            unmeasured = dict.fromkeys(("force_N", "strength_N", "twist_Nm", "nugget_mm"))
            return {
                **unmeasured,
                "outcome": OUTCOME_KEYS[key],
                "expulsion": expulsion,
                "setdown_mm": setdown,
                "note": "",
            }


def completed(weld: WeldRecord) -> bool:
    """Whether a weld ran to its end with every half-cycle fired."""
    return weld.ending == ENDING_NAMES[COMPLETED] and weld.fired == weld.planned


def try_name(known: Known) -> str:
    """The name of the trial's schedule, distinct so that none of the user's schedules is overwritten."""
    return f"{known.schedule.removesuffix(_TRY)[: _NAME - len(_TRY)]}{_TRY}"


def _shown(known: Known, found: Proposal, setting: Setting, frequency_Hz: int) -> NextWeld:
    assert found.chances is not None
    return NextWeld(
        len(known.records) + 1,
        round(setting.time_s * frequency_Hz),
        setting.percent,
        setting_text(setting, frequency_Hz),
        good_text(found.chances),
        found.advice.why,
        found.advice.settled,
        found.reminders,
    )


def _words(record: TrialRecord, frequency_Hz: int) -> str:
    expelled = "" if record.expulsion == "none" else f", expelled {record.expulsion}"
    setdown = "" if record.setdown_mm is None else f", setdown {record.setdown_mm:g} mm"
    return f"{setting_text(record, frequency_Hz)}, {record.outcome}{expelled}{setdown}"


def _setdown(joint: Joint) -> Callable[[Any], float | None]:
    """Converter of a setdown, with a decimal comma or point; "none" where it was not measured."""
    most = sum(joint.sheets_mm or joint.rods_mm or ())
    read = number(0.0, 100.0)

    def convert(text: Any) -> float | None:
        if text == "none":
            return None
        value = read(str(text).replace(",", "."))
        if value >= most:
            raise NotTaken(figure(value), f"less than {most:g}, all parts together, or none")
        return value

    return convert


assert set(OUTCOME_KEYS.values()) == set(OUTCOMES)
