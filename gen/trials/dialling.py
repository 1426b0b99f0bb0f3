"""Dialling a joint in: the next weld to try, and the setting to keep, among those that the verdict allows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from gen.errors import InputError
from gen.job import Job
from gen.machine import Welder
from gen.records import KeptRecord
from gen.schedule import schedule_from
from gen.trials.advice import SURE, SURE_LEAST, next_trial, reminders, scatter_in_the_way
from gen.trials.belief import Belief
from gen.trials.joints import Known, choices, in_cycles
from gen.trials.rewritten import rewritten, weld_phase
from gen.trials.values import Advice, Chances, Setting
from gen.trials.verdicts import Forbidden, Verdicts
from gen.trials.wording import good_text
from gen.user_files import read_text
from gen.writing import check_targets, refused

DRESS_EVERY = 20  # welds; the wear of the faces depends on alloy, force and zinc (common practice, no source)
_BEYOND = 1.1
_HARDLY = 0.03  # a negligible difference between two chances of a good weld


@dataclass(frozen=True)
class Proposal:
    """The next weld: the advice, its chances, the reminders before it, and the text of its schedule.

    `chances` and `text` are None where no weld is proposed.
    """

    advice: Advice
    chances: Chances | None
    reminders: tuple[str, ...]
    text: str | None


def propose(
    known: Known, belief: Belief, verdicts: Verdicts, percent: float | None = None, dress_every: int = DRESS_EVERY
) -> Proposal:
    """The most informative weld among the settings that the verdict allows. `percent`: at that percent only."""
    percents = {percent} if percent is not None else {*known.percents, known.percent}
    welder = verdicts.welder
    candidates = choices(known, sorted(percents), welder.mains.frequency_Hz, _longest_s(welder), verdicts.impulses)
    advice = next_trial(belief, candidates, verdicts.allowed)
    text = rewritten(verdicts.text, advice.setting, verdicts.path) if advice.setting else None
    scatter = scatter_in_the_way(belief)
    minded = (*reminders(known.tried, dress_every), *([scatter] if scatter else []))
    return Proposal(advice, belief.chances(advice.setting) if advice.setting else None, minded, text)


def settle(known: Known, belief: Belief, verdicts: Verdicts, percent: float | None = None) -> KeptRecord | None:
    """The record of the best setting inside the good window, with its schedule; None where none inside is allowed."""
    best = _best(known, belief, known.percents if percent is None else (percent,), verdicts)
    return None if best is None else _kept(known, belief, best, verdicts)


def verdicts_on(
    known: Known, welder: Welder, schedule: Path | None, output: Path | None, judge: Callable[[Job], Forbidden | None]
) -> Verdicts:
    """The verdicts on the schedule to be changed and written to `output`.

    The schedule is read, and must have one weld phase. Raises InputError.
    """
    text = known.text if schedule is None else read_text(schedule)
    if text is None:
        allowed = "missing; allowed: a schedule to begin with, since neither a trial nor the handbook gives one"
        raise InputError("command line", "--schedule", None, allowed)
    source = schedule or Path(f"{known.schedule}.toml")
    weld_phase(schedule_from(text, source), source)
    if output is not None:
        schedule_from(text, output)  # its name
    return Verdicts(text, output or source, welder, judge)


def check_output(output: Path | None, known: Known, keep: Iterable[Path]) -> None:
    """Raise InputError unless `output` is a new file, or holds a schedule that the records hold unchanged."""
    if output is None:
        return
    check_targets({"--output": output}, keep)
    held = {record.text for record in known.records} | ({known.kept.text} if known.kept else set())
    if output.exists() and read_text(output) not in held:
        why = (
            "exists already and is not in the records; allowed: a new file, or one unchanged since it was tried or kept"
        )
        raise refused("--output", output, why)


def _kept(known: Known, belief: Belief, best: Setting, verdicts: Verdicts) -> KeptRecord:
    """The record of `best`, with the text of its schedule."""
    job = verdicts.job(best)
    window = belief.window(best.percent)
    return KeptRecord(
        joint=known.name,
        kept_at=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),  # two in a second are two
        schedule=job.schedule.name,
        text=rewritten(verdicts.text, best, verdicts.path),
        digest=job.table.digest,
        weld_s=best.time_s,
        percent=best.percent,
        window_low_s=window.low_s.median,
        window_high_s=window.high_s.median,
        trials=len(known.records),
    )


def _best(known: Known, belief: Belief, percents: Sequence[float], verdicts: Verdicts) -> Setting | None:
    """The setting inside the window whose next weld is most likely good, among those that the verdict allows.

    A setting that was tried is preferred to one that is only negligibly better.
    """
    frequency = verdicts.welder.mains.frequency_Hz
    impulses = verdicts.impulses
    found = {in_cycles(belief.best(percent), frequency, impulses) for percent in percents}
    found.update(choices(known, percents, frequency, _longest_s(verdicts.welder), impulses))
    windows = {percent: belief.window(percent) for percent in percents}
    inside = [s for s in found if windows[s.percent].low_s.median <= s.time_s <= windows[s.percent].high_s.median]
    tried = {in_cycles(each.setting, frequency, impulses) for each in known.tried}
    chances = zip(inside, belief.good(inside))
    good = {setting: chance + (_HARDLY if setting in tried else 0.0) for setting, chance in chances}
    return next((s for s in sorted(inside, key=lambda s: (-good[s], s.time_s)) if verdicts.allowed(s)), None)


def _longest_s(welder: Welder) -> float:
    """A little beyond the longest weld, s, so that a search that ends there finds the verdict's reason."""
    frequency = welder.mains.frequency_Hz
    return _BEYOND * float(welder.limits.longest_weld.half_cycles(frequency)) / (2 * frequency)


def doubts(known: Known, chances: Chances, joint: Path) -> list[str]:
    """Reasons against keeping a setting with these chances yet."""
    found = []
    if chances.good < SURE or chances.good_least < SURE_LEAST:
        found.append(f"{good_text(chances)}, too little to be called settled; weldbeat trial next {joint}")
    if not any(r.outcome == "tore parent" and r.expulsion != "late" for r in known.records):
        found.append("no trial has torn the parent metal without late expulsion")
    return found
