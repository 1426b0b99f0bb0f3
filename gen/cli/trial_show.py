"""Looking at trials: `trial show`, `compare` and `page`."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gen.cli.plan import json_option, welder_option
from gen.cli.trial_joint import (
    between_option,
    check_drawn,
    joint_argument,
    known_of,
    no_trials,
    not_known,
    recorded,
    said,
    setting_text,
    window_text,
)
from gen.errors import InputError
from gen.job import find_welder
from gen.machine.welder import WELDER_FILE
from gen.records import KeptRecord, TrialRecord
from gen.trials.belief import Belief
from gen.trials.joints import Known, joint_in, tried_of
from gen.writing import write_whole

if TYPE_CHECKING:
    from sim.report.trials import Lane

# Of a trial, where any has it: the key, its head in the terminal, its width.
_MEASURED = (
    ("force_N", "force N", 9),
    ("setdown_mm", "setdown mm", 12),
    ("strength_N", "strength N", 12),
    ("twist_Nm", "twist Nm", 10),
    ("nugget_mm", "nugget mm", 11),
)


@click.command("show")
@joint_argument
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Draw them into this SVG file.")
@between_option
@welder_option
@json_option
def show_command(
    joint: Path, output: Path | None, between: tuple[float, float] | None, welder: Path | None, as_json: bool
) -> None:
    """The trials of JOINT and the good window that they leave, with its 95 % limits; with --output as a picture too."""
    known, machine = known_of(joint, welder, between)
    check_drawn("--output", output, ".svg", keep=(joint, welder or Path(WELDER_FILE)))
    if not known.records:
        raise no_trials(known, joint)
    belief, kept = known.belief, known.kept
    if output is not None:
        from sim.report.joint_page import standalone

        write_whole(output, standalone(_lanes(known, belief, kept)))
    if as_json:
        click.echo(json.dumps(_data(known, belief, kept), indent=2))
        return
    frequency = machine.mains.frequency_Hz
    lines = [f"{known.name}, {known.joint.title}", "", *trial_rows(known.records, frequency), ""]
    lines += not_known(known) if belief is None else [said(sentence, "") for sentence in _windows(known, belief)]
    if kept is not None:
        lines.append(f"Kept: {setting_text(kept, frequency)}, schedule {kept.schedule}, {kept.kept_at[:10]}.")
    click.echo("\n".join(lines))
    if output is not None:
        click.echo(f"\nWritten: {output}")


def trial_rows(records: tuple[TrialRecord, ...], frequency_Hz: int) -> list[str]:
    """The trials as a small table; a note on a line of its own."""
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


def _windows(known: Known, belief: Belief) -> list[str]:
    """A sentence for each percent tried."""
    found = []
    for percent in reversed(known.percents or (known.percent,)):
        words = window_text(belief.window(percent), percent)
        found.append(f"{words[:1].upper()}{words[1:]}.")
    return found


def _lanes(known: Known, belief: Belief | None, kept: KeptRecord | None) -> tuple[Lane, ...]:
    """The trials as they are drawn, by percent."""
    from sim.report.trials import Lane, Mark

    percents = {*(known.percents or (known.percent,)), *([kept.percent] if kept else [])}
    lanes = []
    for percent in sorted(percents):
        marks = []
        for record in known.records:
            tried = tried_of(record, known.joint)
            if record.percent == percent:
                marks.append(Mark(record.number, record.weld_s, tried.outcome, tried.expulsion))
        kept_s = kept.weld_s if kept and kept.percent == percent else None
        lanes.append(Lane(percent, belief.window(percent) if belief else None, tuple(marks), kept_s))
    return tuple(lanes)


def _data(known: Known, belief: Belief | None, kept: KeptRecord | None) -> dict[str, Any]:
    """Everything that `show` tells, for another program."""
    windows = [{"percent": p} | asdict(belief.window(p)) for p in known.percents] if belief else None
    return {
        "joint": known.name,
        "sizes": known.joint.model_dump(),
        "trials": [asdict(record) for record in known.records],
        "windows": windows,
        "kept": asdict(kept) if kept else None,
    }


@click.command("page")
@joint_argument
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Write it to this HTML file.")
@between_option
@welder_option
def page_command(joint: Path, output: Path, between: tuple[float, float] | None, welder: Path | None) -> None:
    """One page about JOINT, to print and keep: suggestion and sources, trials, good window, kept schedule, cautions."""
    from sim.report.joint_page import JointPage, render_joint

    known, machine = known_of(joint, welder, between)
    check_drawn("--output", output, ".html", keep=(joint, welder or Path(WELDER_FILE)))
    belief, kept = known.belief, known.kept
    page = JointPage(
        name=known.name,
        joint=known.joint,
        frequency_Hz=machine.mains.frequency_Hz,
        suggestion=known.suggestion,
        between_s=known.between_s,
        records=known.records,
        lanes=_lanes(known, belief, kept),
        windows=tuple(_windows(known, belief)) if belief else (),
        kept=kept,
    )
    write_whole(output, render_joint(page))
    click.echo(f"Written: {output}. Open it in a browser, or print it.")


@click.command("compare")
@click.argument("joint", type=click.Path(path_type=Path), required=False)
@welder_option
@json_option
def compare_command(joint: Path | None, welder: Path | None, as_json: bool) -> None:
    """The joints in the records beside each other: sizes, trials, what was kept and its window, heat relative to JOINT.

    Without JOINT heat is relative to the first that was kept.
    """
    find_welder(welder)
    trials, kept = recorded(welder)
    if not trials and not kept:
        raise InputError("records", "no trials yet", None, "allowed: after the first `weldbeat trial add`")
    rows = _compared(trials, kept)
    if joint is not None and joint.stem not in {row["joint"] for row in rows}:
        raise InputError(
            joint, f"no trials of {joint.stem}", None, f"allowed: {', '.join(row['joint'] for row in rows)}"
        )
    basis = next((row for row in rows if row["i2t"] and (joint is None or row["joint"] == joint.stem)), None)
    for row in rows:
        row["i2t_relative"] = row["i2t"] / basis["i2t"] if basis and row["i2t"] else None
    if as_json:
        click.echo(json.dumps([{k: v for k, v in row.items() if k != "i2t"} for row in rows], indent=2))
        return
    lines = [f"{'joint':<18}{'sizes':<58}{'trials':>7}  {'kept':<15}{'window, s':<14}{'I2t':>6}"]
    for row in rows:
        name, sizes = _cut(row["joint"], 18), _cut(row["sizes"], 58)
        was = f"{row['kept_s']:.3g} s, {row['kept_percent']:g} %" if row["kept_s"] else "-"
        window = f"{row['window_low_s']:.3g} to {row['window_high_s']:.3g}" if row["kept_s"] else "-"
        heat = f"{row['i2t_relative']:.2f}" if row["i2t_relative"] else "-"
        lines.append(f"{name:<18}{sizes:<58}{row['trials']:>7}  {was:<15}{window:<14}{heat:>6}")
    if basis:
        lines.append(
            f"I2t: percent squared times weld time, relative to {basis['joint']}; it compares on one tap only."
        )
    click.echo("\n".join(lines))


def _cut(text: str, width: int) -> str:
    """`text` with a space after it at least, in so many characters."""
    return text if len(text) < width else f"{text[: width - 4]}..."


def _compared(trials: list[TrialRecord], kept: list[KeptRecord]) -> list[dict[str, Any]]:
    """A row for each joint, by name."""
    rows: list[dict[str, Any]] = []
    for name in sorted({record.joint for record in trials} | {record.joint for record in kept}):
        own = [record for record in trials if record.joint == name]
        last = next((record for record in reversed(kept) if record.joint == name), None)
        joint = joint_in(own)
        rows.append(
            {
                "joint": name,
                "sizes": joint.title if joint else "",
                "trials": len(own),
                "kept_s": last.weld_s if last else None,
                "kept_percent": last.percent if last else None,
                "window_low_s": last.window_low_s if last else None,
                "window_high_s": last.window_high_s if last else None,
                "i2t": (last.percent / 100) ** 2 * last.weld_s if last else None,
            }
        )
    return rows
