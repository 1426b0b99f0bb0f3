"""`weldbeat trial`: from welds on scrap to a schedule that holds. Its sub-commands are loaded when asked for."""

from __future__ import annotations

import click

from gen.cli.listed import Listed

# Sub-command, its module and what the list says of it, in the order in which they are used.
_COMMANDS = {
    "add": ("trial_add", "Keep one weld on scrap and what came of it."),
    "next": ("trial_next", "Which weld to try now, and why."),
    "show": ("trial_show", "Trials and good window with its limits; as a picture too."),
    "keep": ("trial_next", "Write the schedule that holds, ready to push."),
    "compare": ("trial_show", "The joints beside each other."),
    "page": ("trial_show", "One page about a joint, to print."),
    "remove": ("trial_add", "Take a trial out that was noted wrongly."),
    "export": ("trial_csv", "All trials as CSV."),
    "import": ("trial_csv", "Add trials from a CSV, all of them or none."),
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
