"""`weldbeat trial`: from welds on scrap to a schedule that holds. A sub-command is imported when it is called."""

from __future__ import annotations

import click

from gen.ask import expected_times
from gen.cli.commands import Listed
from gen.cli.options import USER_PATH, number, taken

joint_argument = click.argument("joint", type=USER_PATH)


between_option = click.option(
    "--between",
    type=taken(expected_times),
    metavar="S,S",
    help="Where you expect the weld time, such as 0.5,2 (s), in place of the handbook.",
)
percent_option = click.option(
    "--percent",
    type=number(1.0, 100.0),
    metavar="NUMBER",
    help="Percent current; otherwise that of the trials or of the suggestion.",
)

# By sub-command, in working order: its module, and its line in the list.
_COMMANDS = {
    "run": ("trial_run", "Trial after trial: each is shown, sent and watched; a key notes its outcome."),
    "add": ("trial_records", "Record one weld on scrap and its outcome."),
    "next": ("trial_window", "Which weld to try now, and why."),
    "show": ("trial_window", "Print or draw the trials and the good window with its limits."),
    "keep": ("trial_window", "Write the schedule that holds, ready to push."),
    "compare": ("trial_window", "The joints compared."),
    "page": ("trial_window", "One page about a joint, to print."),
    "remove": ("trial_records", "Remove a trial that was recorded wrongly."),
    "export": ("trial_records", "All trials as CSV."),
    "import": ("trial_records", "Add trials from a CSV, all of them or none."),
}


@click.group(
    "trial", cls=Listed, sections={"Commands": _COMMANDS}, context_settings={"help_option_names": ["-h", "--help"]}
)
def trial_command() -> None:
    """Find a joint's weld time on scrap: record each trial, ask for the next.

    The trials are in records.sqlite next to the welder file, under the name of
    the joint's file. The good window of weld time is estimated with its 95 %
    limits, starting from the handbook's suggestion.
    """
