"""The good window of a joint: `trial next`, `keep`, `show`, `compare` and `page`."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from gen.cautions import AT_THE_ELECTRODES, caution_lines
from gen.cli.joint import by_window
from gen.cli.options import FASTEST, USER_PATH, json_option, number, pace_asked, pace_option, welder_option
from gen.cli.said import said, said_all, say, say_data, say_object
from gen.cli.trial import between_option, joint_argument, percent_option
from gen.errors import InputError
from gen.job import Job, find_welder
from gen.machine import WELDER_FILE
from gen.records import KeptRecord, Records, TrialRecord
from gen.trials import (
    DRESS_EVERY,
    BetterWeld,
    Compared,
    Forbidden,
    Known,
    Proposal,
    Verdicts,
    better_weld,
    chances_text,
    check_output,
    compare,
    computed_text,
    doubts,
    good_sentences,
    good_text,
    known_of,
    nearest,
    no_trials,
    not_known,
    propose,
    recorded,
    scatter_text,
    setting_text,
    settle,
    verdicts_on,
    window_sentences,
    window_text,
)
from gen.trials.belief import Belief
from gen.trials.values import Setting
from gen.writing import check_drawn, write_whole

schedule_option = click.option(
    "--schedule",
    type=USER_PATH,
    help="The schedule to change; otherwise the one tried last, or the suggestion.",
)

dress_option = click.option(
    "--dress-every",
    type=number(1, 10_000),
    metavar="WELDS",
    default=DRESS_EVERY,
    show_default=True,
    help="Remind to dress the electrodes after this many welds.",
)


@click.command("next")
@joint_argument
@click.option("-o", "--output", type=USER_PATH, help="Write the schedule to try to this file.")
@schedule_option
@percent_option
@between_option
@dress_option
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
    welder_path: Path | None,
    as_json: bool,
) -> int | None:
    """The weld of JOINT to try now, and why: the most informative one that the verdict allows.

    Exit code 1 if nothing is known, or the verdict allows no weld.
    """
    known, welder = known_of(joint, welder_path, between, by_window)
    belief = known.belief
    if belief is None:
        return _nothing_known(known, as_json)
    check_output(output, known, (joint, welder_path or Path(WELDER_FILE)))
    verdicts = verdicts_on(known, welder, schedule, output, _judge(welds_per_minute))
    found = propose(known, belief, verdicts, percent, dress_every)
    better = better_weld(found.advice.setting, belief, verdicts, known.records, _bearable(welds_per_minute))
    advised = found.text is not None and not (better and better.in_vain)
    if advised and output is not None:
        write_whole(output, found.text or "")
    if as_json:
        begun = {"computed": asdict(known.computed) if known.computed else None}
        say_data(json.dumps(_next_data(found, belief, verdicts, better) | begun, indent=2))
    else:
        say("\n".join(_next_lines(known, found, belief, verdicts, welds_per_minute, joint, better)))
        if advised and output is not None:
            say(f"\nWritten: {output}. Next: {_push(output, welds_per_minute)}")
            say(f"Then weld, and: weldbeat trial add {joint} {output} --outcome ...")
    return None if advised else 1


def _bearable(welds_per_minute: float) -> Callable[[Job], float | None]:
    """The fastest pace up to this one at which the verdict allows a job."""
    from sim.remedy import bearable_pace

    return lambda job: None if welds_per_minute == FASTEST else bearable_pace(job, welds_per_minute)


def _push(output: Path, welds_per_minute: float) -> str:
    """The command that sends the schedule, judged at the same pace."""
    given = click.get_current_context().get_parameter_source("welds_per_minute") is not ParameterSource.DEFAULT
    pace = f" --pace {'max' if welds_per_minute == FASTEST else f'{welds_per_minute:g}'}" if given else ""
    return f"weldbeat push {output} --select{pace}"


def _nothing_known(known: Known, as_json: bool) -> int:
    lines = not_known(known)
    say_data(json.dumps({"known": False, "why_not": lines[0]}, indent=2) if as_json else "\n".join(lines))
    return 1


def _judge(welds_per_minute: float) -> Callable[[Job], Forbidden | None]:
    """The verdict at this pace, as of `push`."""
    from sim.run import refusal

    def judge(job: Job) -> Forbidden | None:
        found = refusal(job, pace_asked(welds_per_minute))
        return None if found is None else Forbidden(found.name, found.sentence)

    return judge


def _next_data(found: Proposal, belief: Belief, verdicts: Verdicts, better: BetterWeld | None = None) -> dict[str, Any]:
    """All that `next` prints, for another program."""
    advice = found.advice
    return {
        "known": True,
        "better": asdict(better) if better else None,
        "setting": asdict(advice.setting) if advice.setting else None,
        "why": advice.why,
        "settled": advice.settled,
        "chances": asdict(found.chances) if found.chances else None,
        "scatter": asdict(belief.scatter),
        "reminders": list(found.reminders),
        "refused": _refused(verdicts),
        "schedule": found.text,
    }


def _next_lines(
    known: Known,
    found: Proposal,
    belief: Belief,
    verdicts: Verdicts,
    welds_per_minute: float,
    joint: Path,
    better: BetterWeld | None,
) -> list[str]:
    advice = found.advice
    frequency_Hz = verdicts.welder.mains.frequency_Hz
    count = len(known.records)
    lines = [f"{known.name}, {known.joint.title}", f"{count or 'no'} trial{'' if count == 1 else 's'} so far", ""]
    if known.computed is not None:
        lines += [said(computed_text(known.computed), ""), ""]
    if better is not None:
        lines += [said(better.remedy(frequency_Hz), ""), ""]
    if better is not None and better.in_vain and advice.setting is not None:
        lines.append(said(better.in_vain_text(advice.setting, frequency_Hz), ""))
    elif advice.setting is None or found.chances is None:
        lines.append(said(f"No weld to try: {advice.why}.", ""))
    else:
        lines.append(said(f"Try {setting_text(advice.setting, frequency_Hz)}: {good_text(found.chances)}.", ""))
        lines.append(said(advice.why))
        lines.append(said(chances_text(found.chances)))
        lines.append(said(window_text(belief.window(advice.setting.percent), advice.setting.percent)))
        lines.append(said(scatter_text(belief.scatter)))
        if advice.settled:
            lines.append(said(f"Settled. It may be kept: weldbeat trial keep {joint} -o FILE.toml"))
    lines += said_all("Mind", found.reminders)
    lines += _forbidden(verdicts, welds_per_minute)
    return [*lines, "", *caution_lines(cautions=AT_THE_ELECTRODES)]


def _forbidden(verdicts: Verdicts, pace: float) -> list[str]:
    """The refused settings on the way, the least of each kind."""
    frequency_Hz = verdicts.welder.mains.frequency_Hz
    return said_all(
        f"The verdict forbids, at {'the fastest pace' if pace == FASTEST else f'{pace:g} welds a minute'} (--pace)",
        (f"{setting_text(setting, frequency_Hz)}: {why}" for setting, why in nearest(verdicts.refused).items()),
    )


def _refused(verdicts: Verdicts) -> list[dict[str, Any]]:
    return [asdict(setting) | {"why": found.why} for setting, found in verdicts.refused.items()]


@click.command("keep")
@joint_argument
@click.option("-o", "--output", type=USER_PATH, required=True, help="Write the schedule to this file.")
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
    welder_path: Path | None,
    as_json: bool,
) -> int | None:
    """Write the schedule with the best setting inside the good window of JOINT, ready to push, and record it.

    If nothing is known, or the verdict refuses the schedule, nothing is written (exit code 1).
    """
    known, welder = known_of(joint, welder_path, between, by_window)
    if not known.records:
        raise no_trials(known, joint)
    belief = known.belief
    if belief is None:
        return _nothing_known(known, as_json)
    check_output(output, known, (joint, welder_path or Path(WELDER_FILE)))
    verdicts = verdicts_on(known, welder, schedule, output, _judge(welds_per_minute))
    frequency = welder.mains.frequency_Hz
    kept = settle(known, belief, verdicts, percent)
    if kept is None:
        _nothing_kept(known, verdicts, welds_per_minute, as_json)
        return 1
    with Records.beside(welder_path or Path(WELDER_FILE)) as records:
        write_whole(output, kept.text)
        records.add_kept(kept)
    best = Setting(kept.weld_s, kept.percent)
    chances = belief.chances(best)
    notes = doubts(known, chances, joint)
    if as_json:
        data = asdict(kept) | {"chances": asdict(chances), "doubts": notes}
        say_data(json.dumps(data | {"refused": _refused(verdicts)}, indent=2))
        return None
    after = f"{kept.trials} trial{'' if kept.trials == 1 else 's'}"
    lines = [
        f"Kept for {known.name}: {setting_text(best, frequency)}, after {after}.",
        said(good_text(chances)),
        said(chances_text(chances)),
        said(window_text(belief.window(best.percent), best.percent)),
        *said_all("Not sure yet", notes),
        *_forbidden(verdicts, welds_per_minute),
        "",
        *caution_lines(cautions=AT_THE_ELECTRODES),
        f"\nWritten: {output}. Next: {_push(output, welds_per_minute)}",
    ]
    say("\n".join(lines))
    return None


def _nothing_kept(known: Known, verdicts: Verdicts, welds_per_minute: float, as_json: bool) -> None:
    if as_json:
        say_data(json.dumps({"joint": known.name, "refused": _refused(verdicts)}, indent=2))
        return
    reason = (
        "the verdict allows none" if verdicts.refused else "there is none in whole cycles; more trials may find one"
    )
    lines = [f"No setting inside the good window of {known.name}: {reason}.", *_forbidden(verdicts, welds_per_minute)]
    say("\n".join([*lines, "Nothing was written."]))


# Columns shown if any trial has a value: key, heading, width.
_MEASURED = (
    ("force_N", "force N", 9),
    ("setdown_mm", "setdown mm", 12),
    ("strength_N", "strength N", 12),
    ("twist_Nm", "twist Nm", 10),
    ("nugget_mm", "nugget mm", 11),
)


@click.command("show")
@joint_argument
@click.option("-o", "--output", type=USER_PATH, help="Draw them into this SVG file.")
@between_option
@welder_option
@json_option
def show_command(
    joint: Path, output: Path | None, between: tuple[float, float] | None, welder_path: Path | None, as_json: bool
) -> None:
    """The trials of JOINT and their good window with its 95 % limits, as text or as a picture."""
    known, welder = known_of(joint, welder_path, between, by_window)
    check_drawn("--output", output, ".svg", keep=(joint, welder_path or Path(WELDER_FILE)))
    if not known.records:
        raise no_trials(known, joint)
    belief, kept = known.belief, known.kept
    if output is not None:
        from sim.report.joint_page import standalone
        from sim.report.trials import lanes_of

        write_whole(output, standalone(lanes_of(known, belief), f"{known.name}: {known.joint.title}"))
    if as_json:
        say_data(json.dumps(_show_data(known, belief, kept), indent=2))
        return
    frequency = welder.mains.frequency_Hz
    lines = [f"{known.name}, {known.joint.title}", ""]
    if belief is not None:
        lines += [*(said(sentence, "") for sentence in good_sentences(known, belief)), ""]
    lines += [*trial_rows(known.records, frequency), ""]
    lines += (
        not_known(known) if belief is None else [said(sentence, "") for sentence in window_sentences(known, belief)]
    )
    if kept is not None:
        lines.append(f"Kept: {setting_text(kept, frequency)}, schedule {kept.schedule}, {kept.kept_at[:10]}.")
    say("\n".join(lines))
    if output is not None:
        say(f"\nWritten: {output}")


def trial_rows(records: tuple[TrialRecord, ...], frequency_Hz: int) -> list[str]:
    """The trials as a small table, each note on its own line."""
    columns = [column for column in _MEASURED if any(getattr(record, column[0]) is not None for record in records)]
    heads = "".join(f"{head:>{width}}" for _, head, width in columns)
    rows = [f"  no.  {'tried':<11}{'cycles':>7}{'s':>8}{'%':>6}  {'outcome':<15}{'expelled':<9}{heads}".rstrip()]
    for record in records:
        measured = "".join(f"{_cell(getattr(record, key)):>{width}}" for key, _, width in columns)
        expelled = "" if record.expulsion == "none" else record.expulsion
        time = f"{record.weld_s * frequency_Hz:>7.4g}{record.weld_s:>8.3g}{record.percent:>6.3g}"
        which = f"{record.number:>5}{'*' if record.dressed else ' '} {record.tried_at[:10]:<11}"
        rows.append(f"{which}{time}  {record.outcome:<15}{expelled:<9}{measured}".rstrip())
        if record.note:
            rows.append(said(record.note, " " * 7))
    if any(record.dressed for record in records):
        rows.append("  * just after the electrodes were dressed")
    return rows


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"


def _show_data(known: Known, belief: Belief | None, kept: KeptRecord | None) -> dict[str, Any]:
    """All that `show` prints, for another program."""
    windows = [_window_data(belief, percent) for percent in known.percents] if belief else None
    return {
        "joint": known.name,
        "sizes": known.joint.model_dump(),
        "trials": [asdict(record) for record in known.records],
        "windows": windows,
        "scatter": asdict(belief.scatter) if belief else None,
        "kept": asdict(kept) if kept else None,
    }


def _window_data(belief: Belief, percent: float) -> dict[str, Any]:
    best = belief.best(percent)
    data = {"percent": percent, "best_s": best.time_s, "chances": asdict(belief.chances(best))}
    return data | asdict(belief.window(percent))


@click.command("page")
@joint_argument
@click.option("-o", "--output", type=USER_PATH, required=True, help="Write it to this HTML file.")
@between_option
@welder_option
@json_option
def page_command(
    joint: Path, output: Path, between: tuple[float, float] | None, welder_path: Path | None, as_json: bool
) -> None:
    """One page about JOINT, to print and keep: suggestion and sources, trials, good window, kept schedule, cautions."""
    from sim.report.joint_page import page_of, render_joint

    known, welder = known_of(joint, welder_path, between, by_window)
    check_drawn("--output", output, ".html", keep=(joint, welder_path or Path(WELDER_FILE)))
    page = page_of(known, welder.mains.frequency_Hz)
    write_whole(output, render_joint(page))
    if as_json:
        say_object({"written": str(output)})
    else:
        say(f"Written: {output}. Open it in a browser, or print it.")


@click.command("compare")
@click.argument("joint", type=USER_PATH, required=False)
@welder_option
@json_option
def compare_command(joint: Path | None, welder_path: Path | None, as_json: bool) -> None:
    """The joints in the records compared: sizes, trials, kept setting and its window, heat relative to JOINT.

    Without JOINT heat is relative to the first joint kept.
    """
    find_welder(welder_path)
    trials, kept = recorded(welder_path)
    if not trials and not kept:
        raise InputError("records", "no trials yet", None, "allowed: after the first `weldbeat trial add`")
    rows = compare(trials, kept)
    names = [row.joint for row in rows]
    if joint is not None and joint.stem not in names:
        raise InputError(joint, f"no trials of {joint.stem}", None, f"allowed: {', '.join(names)}")
    basis = next((row for row in rows if row.i2t and (joint is None or row.joint == joint.stem)), None)
    heats = [row.i2t / basis.i2t if basis and basis.i2t and row.i2t else None for row in rows]
    if as_json:
        say_data(json.dumps([_compare_data(row, heat) for row, heat in zip(rows, heats, strict=True)], indent=2))
        return
    lines = [f"{'joint':<34}{'trials':>7}  {'kept':<15}{'window, s':<14}{'I2t':>6}"]
    for row, relative in zip(rows, heats, strict=True):
        last = row.kept
        was = f"{last.weld_s:.3g} s, {last.percent:g} %" if last else "-"
        window = f"{last.window_low_s:.3g} to {last.window_high_s:.3g}" if last else "-"
        heat = f"{relative:.2f}" if relative else "-"
        figures = f"{row.trials:>7}  {was:<15}{window:<14}{heat:>6}"
        lines += [f"{row.joint:<34}{figures}"] if len(row.joint) < 34 else [row.joint, f"{'':34}{figures}"]
        lines.append(said(row.sizes))
    if basis:
        lines.append(f"I2t: percent squared times weld time, relative to {basis.joint}; it compares on one tap only.")
    say("\n".join(lines))


def _compare_data(row: Compared, heat: float | None) -> dict[str, Any]:
    kept = row.kept
    return {
        "joint": row.joint,
        "sizes": row.sizes,
        "trials": row.trials,
        "kept_s": kept.weld_s if kept else None,
        "kept_percent": kept.percent if kept else None,
        "window_low_s": kept.window_low_s if kept else None,
        "window_high_s": kept.window_high_s if kept else None,
        "i2t_relative": heat,
    }
