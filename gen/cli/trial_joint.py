"""What the sub-commands of `trial` share: the joint's file, what the handbook says of it, and its trials so far."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from pathlib import Path

import click

from gen.cli.given import number
from gen.errors import InputError
from gen.handbook import suggest_on
from gen.job import find_welder
from gen.joint import read_joint
from gen.machine.welder import WELDER_FILE, Welder
from gen.records import RECORDS_FILE, KeptRecord, Records, TrialRecord
from gen.trials.joints import Known, check_same_joint
from gen.trials.values import Setting, Window
from gen.user_files import written
from gen.writing import check_targets, refused

WIDTH = 120
_LEAST_S, _MOST_S = 0.01, 60.0

joint_argument = click.argument("joint", type=click.Path(path_type=Path))


def _between(text: str) -> tuple[float, float]:
    try:
        low, high = (float(part) for part in text.split(","))
    except ValueError:
        low = high = 0.0
    if not _LEAST_S <= low < high <= _MOST_S:
        allowed = f"two times in s from {_LEAST_S:g} to {_MOST_S:g}, the smaller first, such as 0.5,2"
        raise click.BadParameter(f"{written(text)} given; allowed: {allowed}")
    return low, high


between_option = click.option(
    "--between",
    type=_between,
    metavar="S,S",
    help="Where you expect the weld time, such as 0.5,2 (s), in place of the handbook.",
)
percent_option = click.option(
    "--percent",
    type=number(1.0, 100.0),
    metavar="NUMBER",
    help="Percent current. Otherwise that of the trials or of the suggestion.",
)


def known_of(joint_path: Path, welder_path: Path | None, between_s: tuple[float, float] | None) -> tuple[Known, Welder]:
    """The joint with its trials on this machine. Raises InputError."""
    joint = read_joint(joint_path)
    machine = find_welder(welder_path)
    found = suggest_on(joint, machine)
    trials, kept = recorded(welder_path, joint_path.stem)
    check_same_joint(joint, trials, joint_path)
    return Known(joint_path.stem, joint, found, between_s, tuple(trials), kept[-1] if kept else None), machine


def recorded(welder_path: Path | None, joint: str | None = None) -> tuple[list[TrialRecord], list[KeptRecord]]:
    """Trials, and what was kept, of `joint` or of all. Where there are no records yet, none are made."""
    welder = welder_path or Path(WELDER_FILE)
    if not welder.absolute().parent.joinpath(RECORDS_FILE).exists():
        return [], []
    with Records.beside(welder) as records:
        return records.trials(joint), records.kept(joint)


def check_drawn(option: str, output: Path | None, ending: str, keep: Iterable[Path]) -> None:
    """Raise InputError where what is drawn or listed cannot go there; the ending keeps it off files of other kinds."""
    check_targets({option: output}, keep)
    if output is not None and output.suffix.lower() != ending:
        raise refused(option, output, f"allowed: a name that ends in {ending}")


def not_known(known: Known) -> list[str]:
    """Why nothing can be estimated, and the ways on; for a joint without a prior."""
    found = known.suggestion
    if found is None:
        why = "the secondary current of this machine is not known"
        helps = ["transformer.open_secondary_V in the welder file, from which it follows"]
    else:
        why, helps = found.why_not, list(found.helps)
    own = "--between 0.5,2: the weld time (s) as you expect it, in place of the handbook"
    return [f"No estimate: {why}.", "What would help", *(f"  {help_}" for help_ in (*helps, own))]


def no_trials(known: Known, source: Path) -> InputError:
    """The message where a command needs trials."""
    allowed = f"allowed: after the first `weldbeat trial add {source.name} SCHEDULE.toml`"
    return InputError(source, f"no trials of {known.name}", None, allowed)


def setting_text(setting: Setting | TrialRecord | KeptRecord, frequency_Hz: int) -> str:
    """A setting in a few words: `79 cycles (1.58 s) at 100 %`."""
    time_s = setting.time_s if isinstance(setting, Setting) else setting.weld_s
    cycles = time_s * frequency_Hz
    return f"{cycles:.4g} cycle{'' if cycles == 1 else 's'} ({time_s:.3g} s) at {setting.percent:g} %"


def window_text(window: Window, percent: float) -> str:
    """The good window with its credible limits."""
    low, high = window.low_s, window.high_s
    return (
        f"good window at {percent:g} %: from {low.median:.3g} s ({low.low:.3g} to {low.high:.3g}) to {high.median:.3g} s "
        f"({high.low:.3g} to {high.high:.3g}), 95 % limits in brackets; probability that there is one: {chance(window.chance)}"
    )


def chance(probability: float) -> str:
    """A probability in per cent; one that is nearly sure is not called so."""
    if 0.01 <= probability <= 0.99:
        return f"{100 * probability:.0f} %"
    return "below 1 %" if probability < 0.5 else "above 99 %"


def said(text: str, indent: str = "  ") -> str:
    """A sentence as indented lines."""
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ", break_long_words=False)


def said_all(heading: str, lines: Iterable[str]) -> list[str]:
    """A heading with sentences under it; nothing where there are none."""
    found = [said(line) for line in lines]
    return ["", heading, *found] if found else []
