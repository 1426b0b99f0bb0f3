"""Computations of the joint room and the trials room that run in a worker process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from gen.handbook import by_source, guess, naming_taps, refusal, suggest_on, table_force_N, with_electrodes
from gen.handbook.practice import given_force
from gen.job import Job, find_welder, make_job
from gen.joint import Joint, joint_from, read_joint
from gen.machine.welder import Welder
from gen.records import KeptRecord, TrialRecord
from gen.schedule import read_schedule
from gen.trials import (
    Forbidden,
    Setting,
    better_weld,
    chances_text,
    computed_text,
    doubts,
    good_sentences,
    good_text,
    known_of,
    nearest,
    not_known,
    propose,
    scatter_text,
    setting_text,
    settle,
    verdicts_on,
    window_sentences,
)
from gen.trials.running import try_name
from gen.trials.values import ComputedTimes
from gen.writing import cached
from sim.remedy import bearable_pace
from sim.report.svg import picture
from sim.report.trials import draw_trials, lanes_of
from sim.run import refusal as refused


@dataclass(frozen=True)
class Suggested:
    """A suggestion in words: rows of name, figure and source. `schedule`: the file's text, "" where none can be written."""

    title: str
    machine: str
    rows: tuple[tuple[str, str, str], ...]
    tables: tuple[str, ...]
    why_not: str
    helps: tuple[str, ...]
    assumptions: tuple[str, ...]
    practice: tuple[str, ...]
    cautions: tuple[str, ...]
    refused: str
    schedule: str


@dataclass(frozen=True)
class NextShown:
    """The next weld of a joint: its figures, the reason, its schedule, and a drawing of the trials so far."""

    title: str
    number: int
    cycles: str
    percent: str
    setting: str
    sentences: tuple[str, ...]
    settled: bool
    better: str
    minded: tuple[str, ...]
    forbidden: tuple[str, ...]
    name: str
    schedule: str
    records: tuple[TrialRecord, ...]
    frequency_Hz: int
    picture: Markup
    windows: tuple[str, ...]
    kept: str


def suggested(text: str, path: Path, welder_path: Path) -> Suggested | None:
    """The handbook's suggestion for a joint file with this text. None where the machine's current is unknown.

    Raises InputError.
    """
    joint, welder = joint_from(text, path), find_welder(welder_path)
    found = suggest_on(joint, welder)
    if found is None:
        return None
    found = naming_taps(found, welder)
    why_not = refusal(found, welder) if found.known else ""
    force = given_force(joint)
    forced = (("its force", force.text, force.source),) if force else ()
    return Suggested(
        title=joint.title,
        machine=f"{found.current.text}: {found.current.source}",
        rows=(*forced, *((name, figure.text, figure.source) for name, figure in guess(found))),
        tables=tuple(by_source(found.figures)),
        why_not="" if found.known else found.why_not,
        helps=found.helps,
        assumptions=found.assumptions,
        practice=found.practice,
        cautions=found.cautions,
        refused=why_not,
        schedule=found.schedule_text() if found.known and not why_not else "",
    )


def joint_course(joint: Path, schedule: Path | None, welder_path: Path) -> Markup:
    """The model's weld of the joint, by a schedule or at 100 % until it is good, drawn as by `joint show`.

    Takes seconds. Raises InputError.
    """
    from sim.joint.estimate import as_input_error  # with the model, which is slow to load
    from sim.report.joint_course import course_body, course_page

    wanted, welder = read_joint(joint), find_welder(welder_path)
    table = make_job(read_schedule(schedule), welder, schedule).table if schedule else None
    with as_input_error(joint, welder_path):
        page = course_page(joint.stem, with_electrodes(wanted, welder), welder, table, table_force_N(wanted, welder))
    return course_body(page)


def _judge(pace: float) -> Callable[[Job], Forbidden | None]:
    """The judgement of jobs at a pace."""

    def judge(job: Job) -> Forbidden | None:
        found = refused(job, pace)
        return None if found is None else Forbidden(found.name, found.sentence)

    return judge


@dataclass(frozen=True)
class WindowShown:
    """The window of a joint by the model: a line for each percent, the model's reliability, and the picture as an SVG file."""

    lines: tuple[tuple[str, str], ...]
    trust: tuple[str, ...]
    svg: str


def joint_window(joint: Path, welder_path: Path) -> WindowShown:
    """The result of `joint window`. The first computation takes up to a minute and a half. Raises InputError."""
    from sim.joint.estimate import as_input_error, trust  # with the model, which is slow to load
    from sim.joint.kept import joint_window
    from sim.joint.outcome import doubts as doubted
    from sim.report.joint_window import standalone_window, window_lines

    wanted, welder = read_joint(joint), find_welder(welder_path)
    with as_input_error(joint, welder_path):
        given, window = joint_window(wanted, welder, cached)
    sentences = (*given.assumed, *doubted(given.work), *trust(given.work))
    trusted = tuple(f"{words[:1].upper()}{words[1:]}." for words in sentences)
    return WindowShown(tuple(window_lines(window)), trusted, standalone_window(window, f"{joint.stem}: {wanted.title}"))


def by_window(joint: Joint, welder: Welder) -> ComputedTimes | None:
    """The good weld times by the model, as the command has them. None where the model has no result. Up to two minutes."""
    from sim.joint.kept import computed_times  # with the model, which is slow to load

    return computed_times(joint, welder, cached)


@dataclass(frozen=True)
class TrialTerms:
    """The terms of the trials: welds a minute; range of the weld time expected, s; percent current.

    None: the command's default.
    """

    pace: float
    between: tuple[float, float] | None = None
    percent: float | None = None
    schedule: Path | None = None


def next_weld(joint: Path, welder_path: Path, terms: TrialTerms) -> NextShown:
    """The next weld to try, among those that the verdict allows at this pace. Raises InputError."""
    known, welder = known_of(joint, welder_path, terms.between, by_window)
    belief, frequency = known.belief, welder.mains.frequency_Hz
    lanes = [lane for lane in lanes_of(known, belief) if lane.marks or lane.window]
    drawn = picture(lambda width, each: draw_trials(lanes, width, each), "trials") if lanes else Markup("")
    kept = setting_text(known.kept, frequency) if known.kept else ""
    windows = tuple(window_sentences(known, belief)) if belief and known.records else ()
    name = try_name(known)
    if belief is None:
        return NextShown(
            known.joint.title, len(known.records) + 1, "", "", "", tuple(not_known(known)), False, "", (), (), name,
            "",
            known.records, frequency, drawn, windows, kept,
        )  # fmt: skip
    # Where neither a table nor a trial gives a schedule to begin with, the folder's.
    begun = terms.schedule if known.computed is not None and not known.records else None
    verdicts = verdicts_on(known, welder, begun, Path(f"{name}.toml"), _judge(terms.pace))
    found = propose(known, belief, verdicts, terms.percent)
    better = better_weld(
        found.advice.setting, belief, verdicts, known.records, lambda job: bearable_pace(job, terms.pace)
    )
    advice, setting = found.advice, found.advice.setting
    told = [f"It {advice.why}."] if setting else [f"No weld to try: {advice.why}."]
    if better is not None and better.in_vain and setting is not None:
        told = [_sentence(better.in_vain_text(setting, frequency)), *told]
    if setting and found.chances:
        told = [f"{_sentence(good_text(found.chances))}", *told, _sentence(chances_text(found.chances))]
    told.append(_sentence(scatter_text(belief.scatter)))
    if known.computed is not None:
        told.append(computed_text(known.computed))
    return NextShown(
        title=known.joint.title,
        number=len(known.records) + 1,
        cycles=f"{setting.time_s * frequency:.4g}" if setting else "",
        percent=f"{setting.percent:g}" if setting else "",
        setting=setting_text(setting, frequency) if setting else "",
        sentences=tuple(told),
        settled=advice.settled,
        better=_sentence(better.remedy(frequency)) if better is not None else "",
        minded=found.reminders,
        forbidden=tuple(f"{setting_text(s, frequency)}: {why}" for s, why in nearest(verdicts.refused).items()),
        name=name,
        schedule=found.text or "",
        records=known.records,
        frequency_Hz=frequency,
        picture=drawn,
        windows=windows,
        kept=kept,
    )


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def kept_as(
    joint: Path, welder_path: Path, output: Path, terms: TrialTerms
) -> tuple[KeptRecord | None, tuple[str, ...], tuple[str, ...]]:
    """The record of the best setting inside the good window, with its schedule at `output`, its sentences and its doubts.

    The record is None where the verdict allows no setting. Raises InputError.
    """
    known, welder = known_of(joint, welder_path, terms.between, by_window)
    belief = known.belief
    if belief is None:
        return None, tuple(not_known(known)), ()
    verdicts = verdicts_on(known, welder, None, output, _judge(terms.pace))
    kept = settle(known, belief, verdicts)
    if kept is None:
        reasons = nearest(verdicts.refused)
        return None, tuple(f"{setting_text(s, welder.mains.frequency_Hz)}: {why}" for s, why in reasons.items()), ()
    chances = belief.chances(Setting(kept.weld_s, kept.percent))
    return (
        kept,
        (*good_sentences(known, belief), *window_sentences(known, belief)),
        tuple(doubts(known, chances, Path(joint.name))),
    )
