"""The command that lists the tasks still to do: `next`; and the line after every other command at a terminal."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from gen.begin.missing import still_missing
from gen.cli.options import json_option
from gen.cli.said import folded, say, say_data
from gen.errors import InputError


@click.command("next")
@json_option
def next_command(as_json: bool) -> None:
    """The tasks still to do for the machine in this folder, in working order, with what to type."""
    tasks = still_missing(Path())
    if as_json:
        say_data(json.dumps({"tasks": [asdict(task) for task in tasks]}, indent=2))
        return
    for number, task in enumerate(tasks, 1):
        say(folded(f"{number:>2}  {task.what}", "", "    "))
        say(folded(task.why, "    "))
        say(folded(task.do, "      "))


def next_line() -> str:
    """The next command for this folder, for the last line of a command; "" if its file cannot be read."""
    try:
        tasks = still_missing(Path())
    except (InputError, OSError):
        return ""
    return f"Next: {tasks[0].do}" if tasks else ""
