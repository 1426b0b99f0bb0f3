"""What to try next, and what to keep: `trial next` and `trial keep`."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from gen.cautions import AT_THE_ELECTRODES, caution_lines
from gen.cli.given import number
from gen.cli.plan import json_option, welder_option
from gen.cli.prove import FASTEST, pace_option
from gen.cli.trial_joint import (
    between_option,
    chance,
    joint_argument,
    known_of,
    no_trials,
    not_known,
    percent_option,
    said,
    said_all,
    setting_text,
    window_text,
)
from gen.cli.trial_verdict import Forbidden, Verdicts
from gen.errors import InputError
from gen.machine.welder import WELDER_FILE, Welder
from gen.records import KeptRecord, Records
from gen.schedule import schedule_from
from gen.trials.advice import next_trial, reminders
from gen.trials.belief import Belief
from gen.trials.joints import Known, choices, in_cycles
from gen.trials.rewritten import rewritten, weld_phase
from gen.trials.values import Advice, Setting
from gen.user_files import read_text
from gen.writing import check_targets, refused, write_whole

DRESS_EVERY = 20  # welds; how soon the faces spread depends on alloy, force and zinc (common practice, no source)
_BEYOND = 1.1
_HARDLY = 0.03  # between two probabilities of a good weld

schedule_option = click.option(
    "--schedule",
    type=click.Path(path_type=Path),
    help="The schedule to change. Otherwise the one tried last, or the suggestion.",
)


@click.command("next")
@joint_argument
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write the schedule to try to this file.")
@schedule_option
@percent_option
@between_option
@click.option(
    "--dress-every",
    type=number(1, 10_000),
    metavar="WELDS",
    default=DRESS_EVERY,
    show_default=True,
    help="Remind to dress the electrodes after so many.",
)
@pace_option
@welder_option
@json_option
def next_command(
    joint: Path,
    output: Path | None,
    schedule: Path | None,
    percent: float | None,
    between: tuple[float, float] | None,
    dress_every: int,
    welds_per_minute: float,
    welder: Path | None,
    as_json: bool,
) -> int | None:
    """Which weld of JOINT to try now, and why: of those that the verdict lets by, the one that tells most.

    Exit code 1 where nothing can be told, or the verdict lets nothing by.
    """
    known, machine = known_of(joint, welder, between)
    belief = known.belief
    if belief is None:
        return _nothing_known(known, as_json)
    _check_output(output, known, (joint, welder or Path(WELDER_FILE)))
    verdicts = _verdicts(known, machine, schedule, output, welds_per_minute)
    percents = {percent} if percent is not None else {*known.percents, known.percent}
    frequency = machine.mains.frequency_Hz
    candidates = choices(known, sorted(percents), frequency, _longest_s(machine), verdicts.impulses)
    advice = next_trial(belief, candidates, verdicts.allowed)
    minded = reminders(known.tried, dress_every)
    text = rewritten(verdicts.text, advice.setting, verdicts.path) if advice.setting else None
    if text is not None and output is not None:
        write_whole(output, text)
    if as_json:
        click.echo(json.dumps(_data(advice, belief, minded, verdicts, text), indent=2))
    else:
        click.echo("\n".join(_lines(known, advice, belief, minded, verdicts, joint)))
        if text is not None and output is not None:
            click.echo(f"\nWritten: {output}. Next: {_push(output, welds_per_minute)}")
            click.echo(f"Then weld, and: weldbeat trial add {joint} {output} --outcome ...")
    return None if advice.setting else 1


def _push(output: Path, welds_per_minute: float) -> str:
    """The command that sends it, judged at the same pace."""
    given = click.get_current_context().get_parameter_source("welds_per_minute") is not ParameterSource.DEFAULT
    pace = f" --pace {'max' if welds_per_minute == FASTEST else f'{welds_per_minute:g}'}" if given else ""
    return f"weldbeat push {output} --select{pace}"


def _nothing_known(known: Known, as_json: bool) -> int:
    lines = not_known(known)
    click.echo(json.dumps({"known": False, "why_not": lines[0]}, indent=2) if as_json else "\n".join(lines))
    return 1


def _check_output(output: Path | None, known: Known, keep: Iterable[Path]) -> None:
    """Raise InputError unless a new file goes there, or one over a schedule that the records hold as it is."""
    if output is None:
        return
    check_targets({"--output": output}, keep)
    held = {record.text for record in known.records} | ({known.kept.text} if known.kept else set())
    if output.exists() and read_text(output) not in held:
        why = "is there already, and not in the records; allowed: a new file, or one as it was tried or kept"
        raise refused("--output", output, why)


def _verdicts(
    known: Known, machine: Welder, schedule: Path | None, output: Path | None, welds_per_minute: float
) -> Verdicts:
    """The schedule to change, read and found to have one weld phase. Raises InputError."""
    text = known.text if schedule is None else read_text(schedule)
    if text is None:
        allowed = "missing; allowed: a schedule to begin with, since neither a trial nor the handbook gives one"
        raise InputError("command line", "--schedule", None, allowed)
    source = schedule or Path(f"{known.schedule}.toml")
    weld_phase(schedule_from(text, source), source)
    if output is not None:
        schedule_from(text, output)  # its name
    return Verdicts(text, output or source, machine, welds_per_minute)


def _data(
    advice: Advice, belief: Belief, minded: Iterable[str], verdicts: Verdicts, text: str | None
) -> dict[str, Any]:
    """Everything that `next` tells, for another program."""
    return {
        "known": True,
        "setting": asdict(advice.setting) if advice.setting else None,
        "why": advice.why,
        "settled": advice.settled,
        "chances": asdict(belief.chances(advice.setting)) if advice.setting else None,
        "reminders": list(minded),
        "refused": _refused(verdicts),
        "schedule": text,
    }


def _lines(
    known: Known, advice: Advice, belief: Belief, minded: Iterable[str], verdicts: Verdicts, joint: Path
) -> list[str]:
    frequency_Hz = verdicts.welder.mains.frequency_Hz
    count = len(known.records)
    lines = [f"{known.name}, {known.joint.title}", f"{count or 'no'} trial{'' if count == 1 else 's'} so far", ""]
    if advice.setting is None:
        lines.append(said(f"No weld to try: {advice.why}.", ""))
    else:
        lines.append(said(f"Try {setting_text(advice.setting, frequency_Hz)}: {advice.why}.", ""))
        lines.append(said(chances_text(belief, advice.setting)))
        lines.append(said(window_text(belief.window(advice.setting.percent), advice.setting.percent)))
        if advice.settled:
            lines.append(said(f"It may well be kept: weldbeat trial keep {joint} -o FILE.toml"))
    lines += said_all("Mind", minded)
    lines += _forbidden(verdicts, frequency_Hz)
    return [*lines, "", *caution_lines(cautions=AT_THE_ELECTRODES)]


def _forbidden(verdicts: Verdicts, frequency_Hz: int) -> list[str]:
    """What was asked for on the way and refused, the least of each kind."""
    pace = verdicts.welds_per_minute
    return said_all(
        f"The verdict forbids, at {'the fastest pace' if pace == FASTEST else f'{pace:g} welds a minute'} (--pace)",
        (f"{setting_text(setting, frequency_Hz)}: {why}" for setting, why in nearest(verdicts.refused).items()),
    )


def _refused(verdicts: Verdicts) -> list[dict[str, Any]]:
    return [asdict(setting) | {"why": found.why} for setting, found in verdicts.refused.items()]


def nearest(refused: Mapping[Setting, Forbidden]) -> dict[Setting, str]:
    """Of what was refused for one and the same check, the setting of the least heat."""
    found: dict[str, tuple[Setting, str]] = {}
    for setting, forbidden in sorted(refused.items(), key=lambda item: item[0].time_s * item[0].percent ** 2):
        found.setdefault(forbidden.by, (setting, forbidden.why))
    return dict(found.values())


@click.command("keep")
@joint_argument
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Write the schedule to this file.")
@schedule_option
@percent_option
@between_option
@pace_option
@welder_option
@json_option
def keep_command(
    joint: Path,
    output: Path,
    schedule: Path | None,
    percent: float | None,
    between: tuple[float, float] | None,
    welds_per_minute: float,
    welder: Path | None,
    as_json: bool,
) -> int | None:
    """Write the schedule with the best setting inside the good window of JOINT, ready to push, and record it.

    Exit code 1, and nothing written, where nothing can be told or the verdict refuses the schedule.
    """
    known, machine = known_of(joint, welder, between)
    if not known.records:
        raise no_trials(known, joint)
    belief = known.belief
    if belief is None:
        return _nothing_known(known, as_json)
    _check_output(output, known, (joint, welder or Path(WELDER_FILE)))
    verdicts = _verdicts(known, machine, schedule, output, welds_per_minute)
    frequency = machine.mains.frequency_Hz
    best = _best(known, belief, known.percents if percent is None else (percent,), machine, verdicts)
    if best is None:
        _nothing_kept(known, verdicts, frequency, as_json)
        return 1
    kept = _kept(known, belief, best, verdicts)
    with Records.beside(welder or Path(WELDER_FILE)) as records:
        write_whole(output, kept.text)
        records.add_kept(kept)
    doubts = _doubts(known, belief, best, joint)
    if as_json:
        data = asdict(kept) | {"chances": asdict(belief.chances(best)), "doubts": doubts}
        click.echo(json.dumps(data | {"refused": _refused(verdicts)}, indent=2))
        return None
    after = f"{kept.trials} trial{'' if kept.trials == 1 else 's'}"
    lines = [
        f"Kept for {known.name}: {setting_text(best, frequency)}, after {after}.",
        said(chances_text(belief, best)),
        said(window_text(belief.window(best.percent), best.percent)),
        *said_all("Not sure yet", doubts),
        *_forbidden(verdicts, frequency),
        "",
        *caution_lines(cautions=AT_THE_ELECTRODES),
        f"\nWritten: {output}. Next: {_push(output, welds_per_minute)}",
    ]
    click.echo("\n".join(lines))
    return None


def _nothing_kept(known: Known, verdicts: Verdicts, frequency_Hz: int, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps({"joint": known.name, "refused": _refused(verdicts)}, indent=2))
        return
    reason = (
        "the verdict lets none by" if verdicts.refused else "there is none in whole cycles; more trials may find one"
    )
    lines = [f"No setting inside the good window of {known.name}: {reason}.", *_forbidden(verdicts, frequency_Hz)]
    click.echo("\n".join([*lines, "Nothing was written."]))


def _kept(known: Known, belief: Belief, best: Setting, verdicts: Verdicts) -> KeptRecord:
    """The record of `best`, with the schedule as it is written."""
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


def _best(
    known: Known, belief: Belief, percents: Sequence[float], machine: Welder, verdicts: Verdicts
) -> Setting | None:
    """The setting inside the window whose next weld is most likely good, of those that the verdict lets by.

    One that was tried goes before one that is hardly better.
    """
    frequency = machine.mains.frequency_Hz
    impulses = verdicts.impulses
    found = {in_cycles(belief.best(percent), frequency, impulses) for percent in percents}
    found.update(choices(known, percents, frequency, _longest_s(machine), impulses))
    windows = {percent: belief.window(percent) for percent in percents}
    inside = [s for s in found if windows[s.percent].low_s.median <= s.time_s <= windows[s.percent].high_s.median]
    tried = {in_cycles(each.setting, frequency, impulses) for each in known.tried}
    good = {setting: belief.chances(setting).good + (_HARDLY if setting in tried else 0.0) for setting in inside}
    return next((s for s in sorted(inside, key=lambda s: (-good[s], s.time_s)) if verdicts.allowed(s)), None)


def _longest_s(machine: Welder) -> float:
    """A little beyond the longest weld, so that a search that ends there is told why."""
    frequency = machine.mains.frequency_Hz
    return _BEYOND * float(machine.limits.longest_weld.half_cycles(frequency)) / (2 * frequency)


def _doubts(known: Known, belief: Belief, best: Setting, joint: Path) -> list[str]:
    """What speaks against keeping a setting already."""
    found = []
    good = belief.chances(best).good
    if good < 0.5:
        found.append(f"the next weld is good with {chance(good)} only; weldbeat trial next {joint}")
    if not any(r.outcome == "tore parent" and r.expulsion != "late" for r in known.records):
        found.append("no trial has torn the parent metal without late expulsion")
    return found


def chances_text(belief: Belief, setting: Setting) -> str:
    """What the next weld at a setting may come to."""
    c = belief.chances(setting)
    return (
        f"expected: no bond {chance(c.no_bond)}, broke at joint {chance(c.broke)}, tore parent {chance(c.tore)}; "
        f"expelled late {chance(c.expelled)}; good {chance(c.good)}"
    )
