"""`weldbeat trial`: from welds on scrap to a schedule that holds. Its sub-commands are loaded when asked for."""

from __future__ import annotations

import click

from gen.cli.commands import Listed
from gen.cli.options import USER_PATH, number
from gen.units import typed_number
from gen.user_files import written

_LEAST_S, _MOST_S = 0.01, 60.0

joint_argument = click.argument("joint", type=USER_PATH)


def _between(text: str) -> tuple[float, float]:
    try:
        low, high = (typed_number(part) for part in text.split(","))
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

# Sub-command, its module and what the list says of it, in the order in which they are used.
_COMMANDS = {
    "run": ("trial_run", "Trial after trial without typing: shown, sent, seen, a key each."),
    "add": ("trial_records", "Keep one weld on scrap and what came of it."),
    "next": ("trial_window", "Which weld to try now, and why."),
    "show": ("trial_window", "Trials and good window with its limits; as a picture too."),
    "keep": ("trial_window", "Write the schedule that holds, ready to push."),
    "compare": ("trial_window", "The joints beside each other."),
    "page": ("trial_window", "One page about a joint, to print."),
    "remove": ("trial_records", "Take a trial out that was noted wrongly."),
    "export": ("trial_records", "All trials as CSV."),
    "import": ("trial_records", "Add trials from a CSV, all of them or none."),
}


@click.group(
    "trial", cls=Listed, sections={"Commands": _COMMANDS}, context_settings={"help_option_names": ["-h", "--help"]}
)
def trial_command() -> None:
    """Find a joint's weld time on scrap: keep each trial, ask for the next.

    The trials lie in records.sqlite beside the welder file, under the name of
    the joint's file. What is estimated is the good window of weld time, with
    its 95 % limits, beginning from the handbook's suggestion.
    """
