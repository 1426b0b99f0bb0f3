"""`weldbeat trial`: from welds on scrap to a schedule that holds. Its sub-commands lie in the modules named trial_*."""

from __future__ import annotations

import click

from gen.cli.trial_add import add_command, export_command, import_command, remove_command
from gen.cli.trial_next import keep_command, next_command
from gen.cli.trial_show import compare_command, page_command, show_command


class _InOrder(click.Group):
    """Commands in the order in which they are used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group("trial", cls=_InOrder, context_settings={"help_option_names": ["-h", "--help"]})
def trial_command() -> None:
    """Find a joint's weld time on scrap: keep each trial, ask for the next.

    The trials lie in records.sqlite beside the welder file, under the name of
    the joint's file. What is estimated is the good window of weld time, with
    its 95 % limits, beginning from the handbook's suggestion.
    """


for _command in (
    add_command,
    next_command,
    show_command,
    keep_command,
    compare_command,
    page_command,
    remove_command,
    export_command,
    import_command,
):
    trial_command.add_command(_command)
