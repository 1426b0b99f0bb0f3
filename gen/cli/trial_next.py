"""What to try next, and what to keep: `trial next` and `trial keep`."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from gen.cautions import AT_THE_ELECTRODES, caution_lines
from gen.cli.given import number
from gen.cli.plan import json_option, welder_option
from gen.cli.prove import pace_option
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
from gen.cli.trial_verdict import Verdicts
from gen.cli.writing import check_targets, refused, write_whole
from gen.errors import InputError
from gen.records import KeptRecord, Records
from gen.schedule import schedule_from
from gen.trials.advice import next_trial, reminders
from gen.trials.belief import Belief
from gen.trials.joints import Known, choices, in_cycles
from gen.trials.rewritten import rewritten, weld_phase
from gen.trials.values import Advice, Setting
from gen.user_files import read_text
from gen.welder import WELDER_FILE, Welder

DRESS_EVERY = 20  # welds; how soon the faces spread depends on alloy, force and zinc (common practice, no source)
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
    candidates = choices(known, sorted(percents), frequency, _longest_s(machine))
    advice = next_trial(belief, candidates, verdicts.allowed)
    minded = reminders(known.tried, dress_every)
    text = rewritten(verdicts.text, advice.setting, verdicts.path) if advice.setting else None
    if text is not None and output is not None:
        write_whole(output, text)
    if as_json:
        click.echo(json.dumps(_data(advice, belief, minded, verdicts, text), indent=2))
    else:
        click.echo("\n".join(_lines(known, advice, belief, minded, verdicts, frequency)))
        if text is not None and output is not None:
            click.echo(f"\nWritten: {output}. Next: weldbeat push {output} --select")
            click.echo(f"Then weld, and: weldbeat trial add {joint} {output} --outcome ...")
    return None if advice.setting else 1


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
        "refused": [asdict(setting) | {"why": why} for setting, why in verdicts.refused.items()],
        "schedule": text,
    }


def _lines(
    known: Known, advice: Advice, belief: Belief, minded: Iterable[str], verdicts: Verdicts, frequency_Hz: int
) -> list[str]:
    count = len(known.records)
    lines = [f"{known.name}, {known.joint.title}", f"{count or 'no'} trial{'' if count == 1 else 's'} so far", ""]
    if advice.setting is None:
        lines.append(said(f"No weld to try: {advice.why}.", ""))
    else:
        lines.append(said(f"Try {setting_text(advice.setting, frequency_Hz)}: {advice.why}.", ""))
        lines.append(said(chances_text(belief, advice.setting)))
        lines.append(said(window_text(belief.window(advice.setting.percent), advice.setting.percent)))
        if advice.settled:
            lines.append(said(f"It may well be kept: weldbeat trial keep {known.name}.toml -o FILE.toml"))
    lines += said_all("Mind", minded)
    lines += said_all(
        f"The verdict forbids, at {verdicts.welds_per_minute:g} welds a minute (--pace)",
        (f"{setting_text(setting, frequency_Hz)}: {why}" for setting, why in nearest(verdicts.refused).items()),
    )
    return [*lines, "", *caution_lines(cautions=AT_THE_ELECTRODES)]


def nearest(refused: Mapping[Setting, str]) -> dict[Setting, str]:
    """Of what was refused for one and the same check, the setting of the least heat."""
    found: dict[str, tuple[Setting, str]] = {}
    for setting, why in sorted(refused.items(), key=lambda item: item[0].time_s * item[0].percent ** 2):
        found.setdefault(why.partition(",")[0], (setting, why))
    return dict(found.values())


@click.command("keep")
@joint_argument
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Write the schedule to this file.")
@schedule_option
@percent_option
@between_option
@pace_option
@welder_option
def keep_command(
    joint: Path,
    output: Path,
    schedule: Path | None,
    percent: float | None,
    between: tuple[float, float] | None,
    welds_per_minute: float,
    welder: Path | None,
) -> int | None:
    """Write the schedule with the best setting inside the good window of JOINT, ready to push, and record it.

    Exit code 1, and nothing written, where nothing can be told or the verdict refuses the schedule.
    """
    known, machine = known_of(joint, welder, between)
    if not known.records:
        raise no_trials(known, joint)
    belief = known.belief
    if belief is None:
        return _nothing_known(known, as_json=False)
    _check_output(output, known, (joint, welder or Path(WELDER_FILE)))
    verdicts = _verdicts(known, machine, schedule, output, welds_per_minute)
    frequency = machine.mains.frequency_Hz
    best = _best(known, belief, known.percents if percent is None else (percent,), machine, verdicts)
    forbidden = said_all(
        f"The verdict forbids, at {welds_per_minute:g} welds a minute (--pace)",
        (f"{setting_text(setting, frequency)}: {why}" for setting, why in nearest(verdicts.refused).items()),
    )
    if best is None:
        reason = "the verdict lets none by" if forbidden else "there is none in whole cycles; more trials may find one"
        click.echo("\n".join([f"No setting inside the good window of {known.name}: {reason}.", *forbidden]))
        click.echo("Nothing was written.")
        return 1
    job = verdicts.job(best)
    window = belief.window(best.percent)
    text = rewritten(verdicts.text, best, verdicts.path)
    now = datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")  # two in a second are two
    kept = KeptRecord(
        joint=known.name,
        kept_at=now,
        schedule=job.schedule.name,
        text=text,
        digest=job.table.digest,
        weld_s=best.time_s,
        percent=best.percent,
        window_low_s=window.low_s.median,
        window_high_s=window.high_s.median,
        trials=len(known.records),
    )
    with Records.beside(welder or Path(WELDER_FILE)) as records:
        write_whole(output, text)
        records.add_kept(kept)
    click.echo(f"Kept for {known.name}: {setting_text(best, frequency)}, after {kept.trials} trials.")
    click.echo(said(chances_text(belief, best)))
    click.echo(said(window_text(window, best.percent)))
    if forbidden:
        click.echo("\n".join([*forbidden, ""]))
    for doubt in _doubts(known, belief, best):
        click.echo(said(f"Not sure yet: {doubt}"))
    click.echo("\n".join(["", *caution_lines(cautions=AT_THE_ELECTRODES)]))
    click.echo(f"\nWritten: {output}. Next: weldbeat push {output} --select")
    return None


def _best(
    known: Known, belief: Belief, percents: Sequence[float], machine: Welder, verdicts: Verdicts
) -> Setting | None:
    """The setting inside the window whose next weld is most likely good, of those that the verdict lets by.

    One that was tried goes before one that is hardly better.
    """
    frequency = machine.mains.frequency_Hz
    found = {in_cycles(belief.best(percent), frequency) for percent in percents}
    found.update(choices(known, percents, frequency, _longest_s(machine)))
    windows = {percent: belief.window(percent) for percent in percents}
    inside = [s for s in found if windows[s.percent].low_s.median <= s.time_s <= windows[s.percent].high_s.median]
    tried = {in_cycles(each.setting, frequency) for each in known.tried}
    good = {setting: belief.chances(setting).good + (_HARDLY if setting in tried else 0.0) for setting in inside}
    return next((s for s in sorted(inside, key=lambda s: (-good[s], s.time_s)) if verdicts.allowed(s)), None)


def _longest_s(machine: Welder) -> float:
    return float(machine.limits.longest_weld.half_cycles(machine.mains.frequency_Hz)) / (2 * machine.mains.frequency_Hz)


def _doubts(known: Known, belief: Belief, best: Setting) -> list[str]:
    """What speaks against keeping a setting already."""
    found = []
    good = belief.chances(best).good
    if good < 0.5:
        found.append(f"the next weld is good with {chance(good)} only; weldbeat trial next {known.name}.toml")
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
